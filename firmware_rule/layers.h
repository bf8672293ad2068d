/* Which of several solids a reading lies on: titrator/control/foresight/layers.py in 32 bits. */
#ifndef FIRMWARE_RULE_LAYERS_H
#define FIRMWARE_RULE_LAYERS_H

#include <stdbool.h>

#include "law.h"

enum { MOST_CORNERS = MOST_AMOUNTS - 1 };
/* So many of the newest readings may turn out to be the first one behind a corner. */
enum { NEWEST = 8 };
/* As they are, the last corner at any of those, another one at any of those. */
enum { MOST_PARTINGS = 1 + 2 * NEWEST };

/* From a corner on a reading lies on the next branch; `newest_mL`: the last reading that was assigned to one. */
struct layers {
    float corners_mL[MOST_CORNERS];
    float newest_mL;
    unsigned char count;
};

/* How many solids there are at a reading, of a law of `solids`; 0 where it knows of one at most. */
int layers_at(const struct layers *layers, int solids, float volume_mL);

/* Whether a reading came that was not assigned yet; it counts as assigned from now on. */
bool layers_unassigned(struct layers *layers, int solids, float newest_mL);

/* The corners as they are, and with the newest reading as the first one of another layer: how many. */
int layers_with_newest(const struct layers *layers, int solids, struct layers *partings);

/* The corners as they are, with the last one elsewhere, and with another one: how many. `newest_mL`: readings in order
 * of volume. */
int layers_moved(const struct layers *layers, int solids, const float *newest_mL, int count, struct layers *partings);

/* Where the layer before the last corner begins: what came before is no longer in question. */
float layers_open_mL(const struct layers *layers);

#endif
