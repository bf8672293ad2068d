/* Where the next reading tells most about the equivalence point per second: titrator/control/foresight/design.py. */
#ifndef FIRMWARE_RULE_DESIGN_H
#define FIRMWARE_RULE_DESIGN_H

#include "estimate.h"

/* What a reading costs. */
struct costs {
    float mixing_s;
    float response_s;
    float speed_mL_per_s;
    float noise_mV;
};

/* A place to go to: its volume, the expected potential (rising), the error that serves, gain and cost. */
struct prospect {
    float volume_mL;
    float y_mV;
    float enough_mV;
    float gain;
    float cost_s;
};

/* Scratch: what the estimate knows of equivalence point `number` while the plunger rests at `here`. */
struct design {
    const struct estimate *estimate;
    const struct costs *costs;
    struct datum here;
    int number;
    struct triangle triangle;
    float point[MOST_UNKNOWNS]; /* R⁻ᵀ of how the point depends on the unknowns */
};

/* The potential where the law has `volume_mL`, sought around `near_mV`; and the curve there. */
float potential_at(const struct estimate *estimate, float volume_mL, float near_mV, struct place *place);

void design_begin(struct design *design, const struct estimate *estimate, int number, const struct datum *here,
                  const struct costs *costs);

/* The same, once a reading `distance_mL` behind the point has told the branch there. */
void design_with_anchor(struct design *design, float distance_mL, float needs_mV);

struct prospect design_prospect(const struct design *design, float volume_mL, float needs_mV);

/* What counts while more readings follow. */
float gain_per_s(const struct prospect *prospect);

/* What counts at the last reading: the share of the variance that is left, times the time of the whole run. */
float variance_left(const struct prospect *prospect);

#endif
