/* Regression of block averages on a first-order tail: titrator/control/settling/tail.py in 32 bits.
 *
 * Potential(t) = end + remainder · exp((now − t)/τ). The exponential is taken from the oldest block on, where it is 1,
 * and as what it differs from 1: within 32 bits neither overflow a short τ nor drown a long one. */
#ifndef FIRMWARE_RULE_TAIL_H
#define FIRMWARE_RULE_TAIL_H

#include <stdbool.h>

#include "blocks.h"

enum { MOST_ATTEMPTS = 3 };

/* Scratch: what a regression needs of the blocks from `first` on, oldest first. Potentials from that of the newest. */
struct blocks {
    const float *t_s;
    const float *spread_s2;
    const uint16_t *weights;
    int count;
    float oldest_s; /* now less the oldest block's time */
    float y_mV[MOST_BLOCKS];
    float total_weight;
    float mean_mV;
};

/* Fit at one τ. Remainder: potential now less end value; its variance for unit variance of one reading; weighted sum of
 * squares. */
struct tail_fit {
    float remainder_mV;
    float unit_variance;
    float sum_of_squares_mV2;
};

/* What is known of ln τ beforehand. */
struct stated {
    float ln_response;
    float sd;
};

/* Three fits at ln τ = centre − half, centre, centre + half; sd of ln τ as far as known. Starts the next search. */
struct search {
    float centre;
    float half;
    float sd;
    struct tail_fit fits[3];
    bool fitted;
};

struct tail {
    float remainder_mV;
    float remainder_sd_mV;
    float drift_mV_per_s;
    float drift_sd_mV_per_s;
    float response_s;
    float sd_ln_response;
    float sum_of_squares_mV2;
    float degrees_of_freedom;
    struct search search;
    bool found;
};

/* Sums over weighted residuals u, weights scaled to a mean of one: of u², of u times the u before, of u² without both
 * ends (mV²). */
struct residuals {
    float squares;
    float products;
    float inner;
};

void blocks_prepare(struct blocks *blocks, const struct block_window *window, int first, float now_s);

struct tail_fit fit_tail(const struct blocks *blocks, float response_s, float ridge);

struct residuals residual_products(const struct blocks *blocks, float response_s);

/* The tail with τ found from data and prior. `start`: where to begin; its fits, if it has any, are of these blocks. */
void find_tail(const struct blocks *blocks, float variance_mV2, const struct stated *stated, const struct search *start,
               int most_attempts, struct tail *out);

/* Remainder and drift averaged over every ln τ within `stated`, each by how well it fits. */
void over_all_responses(const struct blocks *blocks, float variance_mV2, const struct stated *stated,
                        struct tail *tail);

#endif
