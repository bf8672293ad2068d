/* Noise of readings measured from the readings themselves: titrator/control/settling/noise.py in 32 bits. */
#ifndef FIRMWARE_RULE_NOISE_H
#define FIRMWARE_RULE_NOISE_H

#include <stdbool.h>

#include "tail.h"

/* What readings and residuals show, as noise.py has it. */
struct observed {
    float stated_variance_mV2;
    float fresh_variance_mV2;
    float opposed;
    float differences;
    float interval_s;
    float per_block;
    float sum_of_squares_mV2;
    float freedom;
};

struct noise {
    float reading_sd_mV;
    float slow_variance_mV2; /* what one reading contributes to averages over many */
    float freedom;
    bool correlated;
};

/* Noise of one reading and of averages; the blocks' residuals about the tail of `response_s` tell of noise unlike
 * white. */
struct noise measure_noise(const struct observed *seen, const struct blocks *blocks, float response_s);

#endif
