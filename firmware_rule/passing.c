#include "passing.h"

#include <math.h>

static const float SPAN_S = 1.0f;
enum { FEWEST = 3 };

void passing_begin(struct passing_readings *readings)
{
    readings->count = readings->oldest = 0;
}

void passing_add(struct passing_readings *readings, float t_s, float potential_mV)
{
    int at = (readings->oldest + readings->count) % MOST_READINGS;
    readings->t_s[at] = t_s;
    readings->y_mV[at] = potential_mV;
    if (readings->count < MOST_READINGS)
        readings->count++;
    else
        readings->oldest = (uint8_t)((readings->oldest + 1) % MOST_READINGS);
}

bool passing_read(const struct passing_readings *readings, float end_s, float reached_mL, float speed_mL_per_s,
                  struct passing *out)
{
    /* From the leg's end and the first potential: small numbers keep the sums exact. */
    float level_mV = readings->y_mV[readings->oldest];
    float count = 0.0f, t = 0.0f, y = 0.0f, squares = 0.0f, products = 0.0f, scatter = 0.0f;

    for (int pass = 0; pass < 3; pass++) {
        for (int k = 0; k < readings->count; k++) {
            int at = (readings->oldest + k) % MOST_READINGS;
            float behind_s = readings->t_s[at] - end_s, mV = readings->y_mV[at] - level_mV;
            if (!(behind_s > -SPAN_S && behind_s <= 0.0f))
                continue;
            if (pass == 0) {
                count += 1.0f;
                t += behind_s;
                y += mV;
            } else if (pass == 1) {
                squares += (behind_s - t) * (behind_s - t);
                products += (behind_s - t) * (mV - y);
            } else {
                float away = mV - y - products / squares * (behind_s - t);
                scatter += away * away;
            }
        }
        if (pass == 0) {
            if (count < (float)FEWEST)
                return false;
            t /= count;
            y /= count;
        }
    }
    out->volume_mL = reached_mL + speed_mL_per_s * t;
    out->potential_mV = level_mV + y;
    out->sd_mV = sqrtf(scatter / fmaxf(1.0f, count - 2.0f) / count);
    out->reached_mL = reached_mL;
    out->readings = (int)count;
    return true;
}
