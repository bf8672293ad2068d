/* What the detector and the judge of one settlement keep between readings. */
#ifndef FIRMWARE_RULE_SETTLEMENT_H
#define FIRMWARE_RULE_SETTLEMENT_H

#include <stdint.h>

#include "blocks.h"

/* Known before the first reading: titrator/control/settling/settings.py, what is derived there among it. */
struct settling_settings {
    float reading_noise_mV;   /* of one reading, rounding included */
    float resolution_mV;
    float least_variance_mV2; /* always allowed to a reading */
    float response_s;
    float mixing_s;
    float least_wait_s;
    float longest_s;
    float drift_limit_mV_per_s; /* 0: derived */
};

enum settlement_flag {
    FIRST_TO_COME = 1,
    OVER = 2,
    HOLDS = 4,     /* a reading far off, until the next one tells */
    FORECASTS = 8, /* something serves instead of a settled reading */
    REMAINS = 16   /* remaining_s is known */
};

/* Times in s since the settlement began. */
struct settlement {
    struct block_window window;
    /* the block under way */
    float sum_t_s;
    float sum_y_mV;
    float squares_mV2;
    float products_mV2;
    float first_y_mV;
    float last_t_s;
    float last_y_mV;
    float last_d_mV;
    float check_t_s;
    float block_end_s;
    /* gates for outliers, and the reading held */
    float gate_mV2;
    float widest_mV2;
    float held_t_s;
    float held_y_mV;
    /* what serves as a reading */
    float enough_mV;
    float mixing_times;
    float response_s; /* taken to be, with its standard deviation of the logarithm */
    float sd_ln_response;
    /* where the next look at the window starts from */
    float centre_ln_s;
    float search_sd;
    float slow_variance_mV2;
    float excess_before;
    float remaining_s;
    uint16_t block_readings;
    uint16_t readings;
    uint16_t outliers;
    uint8_t flags;
};

#endif
