/* What learning and choosing of the rule share: the estimate as the last fit left it, and how wide a jump counts. */
#ifndef FIRMWARE_RULE_RECALL_H
#define FIRMWARE_RULE_RECALL_H

#include "rule.h"

/* What a fit takes: the points at rest but the initial one, and so many readings in passing. */
struct data data_of(const struct rule_state *state, const struct plan *plan, int passing_count);

/* The estimate as the last fit left it, its covariance anew. */
void recall(const struct rule_state *state, const struct plan *plan, struct estimate *estimate);

/* Keep what a fit to `data` found. */
void remember(struct rule_state *state, const struct estimate *estimate, const struct data *data);

/* Whether another solid sets in at the jump: only the branch before it tells where it is. */
bool cornered(const struct rule_state *state, const struct plan *plan);

/* How far apart points before a corner are. */
float apart_mL(const struct plan *plan);

/* How far from the jump a point counts as close. */
float zone_mL(const struct rule_state *state, const struct plan *plan);

/* How far behind the jump the branch behind is read. */
float anchor_mL(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate);

#endif
