/* The corner where the next of several solids sets in, and its approach: titrator/control/foresight/corner.py. */
#ifndef FIRMWARE_RULE_CORNER_H
#define FIRMWARE_RULE_CORNER_H

#include "estimate.h"

/* Where the branch before it ends, how far from the equivalence point that is, and how sure. */
struct corner {
    float volume_mL;
    float width_mL;
    float sd_mL;
};

/* The corner before equivalence point `number` (from 0). */
struct corner corner_of(const struct estimate *estimate, int number);

/* Where the next of `still` readings before the corner lies, from `close_mL` before it on `spacing_mL` apart or more;
 * below 0 where it is time to pass it. */
float corner_next_mL(const struct corner *corner, float here_mL, float close_mL, float spacing_mL, int still,
                     float volume_sd_mL);

#endif
