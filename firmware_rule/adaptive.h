/* The rule that expects nothing, for what was not foreseen: titrator/control/increments/adaptive.py in 32 bits. */
#ifndef FIRMWARE_RULE_ADAPTIVE_H
#define FIRMWARE_RULE_ADAPTIVE_H

enum { RECENT = 3 };

struct adaptive_settings {
    float aim_mV;
    float first_mL;
    float least_mL;
    float most_mL;
    float growth;
};

/* The last points, oldest first. */
struct adaptive_state {
    float volume_mL[RECENT];
    float potential_mV[RECENT];
    float sd_mV[RECENT];
};

void adaptive_add_point(struct adaptive_state *state, int count, float volume_mL, float potential_mV, float sd_mV);

/* The next addition in mL with `count` points in `state`. */
float adaptive_addition_mL(const struct adaptive_state *state, int count, const struct adaptive_settings *settings,
                           float random_error_mL);

#endif
