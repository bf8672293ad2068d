/* Readings while titrant runs in: titrator/control/passing.py in 32 bits. */
#ifndef FIRMWARE_RULE_PASSING_H
#define FIRMWARE_RULE_PASSING_H

#include <stdbool.h>
#include <stdint.h>

/* The last second of up to so many readings a second. */
enum { MOST_READINGS = 32 };

struct passing_readings {
    float t_s[MOST_READINGS]; /* since the leg began */
    float y_mV[MOST_READINGS];
    uint8_t count;
    uint8_t oldest;
};

/* What was read, at the volume that had been delivered at the readings' mean time. */
struct passing {
    float volume_mL;
    float potential_mV;
    float sd_mV;
    float reached_mL;
    int readings;
};

void passing_begin(struct passing_readings *readings);

void passing_add(struct passing_readings *readings, float t_s, float potential_mV);

/* The average up to `end_s`, when `reached_mL` had been delivered; false where too few were read. */
bool passing_read(const struct passing_readings *readings, float end_s, float reached_mL, float speed_mL_per_s,
                  struct passing *out);

#endif
