#include "corner.h"

#include <math.h>

/* Standard deviations that a reading before the corner stays away from it; the same for the last ones, the error of the
 * next position among them. */
static const float SAFE = 3.5f, LAST = 2.5f;
/* Close enough to where a reading was meant to be. */
static const float ABOUT = 1.2f;
enum { HALVINGS = 40 };

struct corner corner_of(const struct estimate *estimate, int number)
{
    const float *places_mV = estimate->curve.places_mV;
    float low = places_mV[number], high = places_mV[estimate->law->branches_count - 1];
    struct place before, behind;
    struct corner corner;

    for (int k = 0; k < HALVINGS; k++) {
        float middle = 0.5f * (low + high);
        law_place_of(estimate->law, &estimate->curve, middle, number + 2, &behind);
        law_place_of(estimate->law, &estimate->curve, middle, number + 1, &before);
        if (behind.volume_mL < before.volume_mL)
            low = middle;
        else
            high = middle;
    }
    law_place_of(estimate->law, &estimate->curve, low, number + 1, &before);
    corner.volume_mL = before.volume_mL;
    corner.width_mL = before.slope_mL_per_mV * estimate->curve.slopes_mV[number];
    corner.sd_mL = estimate_point_sd_mL(estimate, number) + corner.width_mL;
    return corner;
}

float corner_next_mL(const struct corner *corner, float here_mL, float close_mL, float spacing_mL, int still,
                     float volume_sd_mL)
{
    float away_mL = corner->volume_mL - here_mL;
    float safe_mL = fmaxf(SAFE * corner->sd_mL + 0.01f * fmaxf(away_mL, 0.0f), close_mL);
    if (away_mL > ABOUT * safe_mL)
        return corner->volume_mL - safe_mL;
    float last_mL = LAST * hypotf(corner->sd_mL, volume_sd_mL);
    float step_mL = fmaxf(spacing_mL, (away_mL - last_mL) / (float)(still > 1 ? still : 1));
    return still > 0 && away_mL - spacing_mL > last_mL ? here_mL + step_mL : -1.0f;
}
