/* The rule `foreseeing`: titrator/control/increments/foreseeing.py in 32 bits.
 *
 * A rendering for study and for proof, not a firmware. Names and order are those of the Python, which is the truth. */
#ifndef FIRMWARE_RULE_RULE_H
#define FIRMWARE_RULE_RULE_H

#include <stdbool.h>

#include "design.h"
#include "state.h"

struct rule_settings {
    struct adaptive_settings fallback;
    float patience;
    float far_mV;
    float finest_mL;
    float random_error_mL;
    unsigned char near;
};

/* What is told before the run and never changes in it. */
struct plan {
    struct rule_settings settings;
    struct law law;
    struct beforehand before;
    struct costs costs;
    float sign; /* 1 for a potential that rises, else -1 */
    unsigned char sought;
};

/* A logged point, as titrator/control/point.py has it. */
struct point {
    float volume_mL;
    float potential_mV;
    float sd_mV;
    float lacking_mV;
    float lacking_sd_mV;
};

/* What comes next, and what serves as its reading. `passing`: it is not waited for at all. */
struct step {
    float addition_mL;
    struct enough enough;
    bool passing;
};

/* False for a plan that this rendering cannot hold. */
bool rule_begin(struct rule_state *state, const struct plan *plan);

void rule_add_point(struct rule_state *state, const struct plan *plan, const struct point *point);

void rule_add_passing(struct rule_state *state, const struct plan *plan, const struct passing *passing);

/* The state learns what a flight's new fit found. */
struct step rule_next_step(struct rule_state *state, const struct plan *plan);

#endif
