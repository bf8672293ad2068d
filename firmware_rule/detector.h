/* The settling detector: readings in, a logged reading out: titrator/control/settling/detector.py in 32 bits. */
#ifndef FIRMWARE_RULE_DETECTOR_H
#define FIRMWARE_RULE_DETECTOR_H

#include <stdbool.h>

#include "passing.h"
#include "settlement.h"

/* Titrant either runs in or a reading is waited for. */
struct settling_state {
    union {
        struct settlement settlement;
        struct passing_readings passing;
    } now;
    /* of the settlement before, for an electrode that answers alike */
    float last_response_s;
    float last_sd_ln;
};

/* What serves instead of a settled reading. `error_mV` 0: nothing does. */
struct enough {
    float error_mV;
    float mixing_times;
    bool alike;
};

/* A logged reading. */
struct settled {
    float potential_mV;
    float sd_mV;
    float drift_mV_per_s;
    float drift_sd_mV_per_s;
    float remainder_bound_mV;
    float lacking_mV;
    float lacking_sd_mV;
    float waited_s;
    int readings;
    bool settled;
};

/* Once, before a titration's first settlement. */
void settling_prepare(struct settling_state *state, const struct settling_settings *settings);

/* A settlement begins: the time is 0. */
void settling_begin(struct settling_state *state, const struct settling_settings *settings,
                    const struct enough *enough);

/* One reading, later than the one before; true once there is a logged reading. */
bool settling_add(struct settling_state *state, const struct settling_settings *settings, float t_s, float potential_mV,
                  struct settled *out);

/* The unsettled reading once the longest wait is over, though no reading came. */
bool settling_expire(struct settling_state *state, const struct settling_settings *settings, float t_s,
                     struct settled *out);

#endif
