/* Judging a window of blocks: titrator/control/settling/verdict.py in 32 bits. */
#ifndef FIRMWARE_RULE_VERDICT_H
#define FIRMWARE_RULE_VERDICT_H

#include <stdbool.h>

#include "settlement.h"

enum { FEWEST_BLOCKS = 5 };

/* What a look at the window says. */
struct verdict {
    float potential_mV;
    float sd_mV;
    float drift_mV_per_s;
    float drift_sd_mV_per_s;
    float remainder_bound_mV;
    float lacking_mV;
    float lacking_sd_mV;
    float remaining_s;
    float sharp;
    float response_s;
    float sd_ln_response;
    bool settled;
};

/* Begin: where the first look starts from. */
void judge_begin(struct settlement *state);

/* The time for which even the fastest tail believed in stays far from its end (0: worth a look). */
float still_runs_for_s(const struct settlement *state, const struct settling_settings *settings);

/* Judge at `now_s`; false with too few blocks unless it is the last look. */
bool judge_look(struct settlement *state, const struct settling_settings *settings, float now_s, bool last,
                struct verdict *out);

#endif
