#include "adaptive.h"

#include <math.h>

/* Slopes that differ by less than this share are taken as equal. */
static const float STRAIGHT = 0.02f;
/* Bisection steps on a logarithm that spans 35: the last is below the last bit. */
enum { HALVINGS = 32 };
static const float SQRT_2 = 1.41421356f;

void adaptive_add_point(struct adaptive_state *state, int count, float volume_mL, float potential_mV, float sd_mV)
{
    int at = count < RECENT ? count : RECENT - 1;
    for (int k = 0; count >= RECENT && k + 1 < RECENT; k++) {
        state->volume_mL[k] = state->volume_mL[k + 1];
        state->potential_mV[k] = state->potential_mV[k + 1];
        state->sd_mV[k] = state->sd_mV[k + 1];
    }
    state->volume_mL[at] = volume_mL;
    state->potential_mV[at] = potential_mV;
    state->sd_mV[at] = sd_mV;
}

/* Standard error of the slope between two points as a share of it; infinite where nothing changed. */
static float error_share(const struct adaptive_state *state, int one, int other, float random_error_mL)
{
    float step_mV = fabsf(state->potential_mV[other] - state->potential_mV[one]);
    if (step_mV == 0.0f)
        return INFINITY;
    float noise = hypotf(state->sd_mV[one], state->sd_mV[other]) / step_mV;
    return hypotf(noise, SQRT_2 * random_error_mL / (state->volume_mL[other] - state->volume_mL[one]));
}

/* How far D lies beyond the last of three points, `first_mL` and `second_mL` apart, of a curve that steepens towards
 * it; `ratio` of the first chord's rise to the second's. */
static float distance_ahead_mL(float first_mL, float second_mL, float ratio)
{
    float span_mL = first_mL + second_mL;
    float low = logf(span_mL * 1e-9f), high = logf(span_mL * 1e6f);
    for (int k = 0; k < HALVINGS; k++) {
        float middle = 0.5f * (low + high);
        float distance_mL = expf(middle);
        if (log1pf(first_mL / (distance_mL + second_mL)) / log1pf(second_mL / distance_mL) < ratio)
            low = middle;
        else
            high = middle;
    }
    return expf(0.5f * (low + high));
}

static float logarithmic_addition_mL(const struct adaptive_state *state, float aim_mV, float straight_mL,
                                     float least_bend)
{
    float first_mL = state->volume_mL[1] - state->volume_mL[0], second_mL = state->volume_mL[2] - state->volume_mL[1];
    float first_mV = state->potential_mV[1] - state->potential_mV[0];
    float second_mV = state->potential_mV[2] - state->potential_mV[1];
    if (first_mV * second_mV <= 0.0f)
        return straight_mL;
    float ratio = first_mV / second_mV;
    float chords = ratio * second_mL / first_mL;
    if (fabsf(chords - 1.0f) < least_bend)
        return straight_mL;
    if (chords < 1.0f) {
        float near_mL = distance_ahead_mL(first_mL, second_mL, ratio);
        float s_mV = fabsf(second_mV) / log1pf(second_mL / near_mL);
        return -near_mL * expm1f(-aim_mV / s_mV);
    }
    float behind_mL = distance_ahead_mL(second_mL, first_mL, 1.0f / ratio);
    float s_mV = fabsf(second_mV) / log1pf(second_mL / (behind_mL + first_mL));
    return (behind_mL + first_mL + second_mL) * expm1f(fminf(aim_mV / s_mV, 50.0f));
}

/* The addition that meets the aim by the local curve; infinite where the curve does not rise or fall. */
static float wanted_mL(const struct adaptive_state *state, int count, float aim_mV, float random_error_mL)
{
    int last = count - 1;
    float share = error_share(state, last - 1, last, random_error_mL);
    if (share >= 1.0f)
        return INFINITY;
    float straight_mL = aim_mV * (state->volume_mL[last] - state->volume_mL[last - 1]) /
                        fabsf(state->potential_mV[last] - state->potential_mV[last - 1]);
    if (count < RECENT)
        return straight_mL;
    float bend_error = hypotf(share, error_share(state, 0, 1, random_error_mL));
    return logarithmic_addition_mL(state, aim_mV, straight_mL, fmaxf(STRAIGHT, bend_error));
}

float adaptive_addition_mL(const struct adaptive_state *state, int count, const struct adaptive_settings *settings,
                           float random_error_mL)
{
    if (count < 2)
        return settings->first_mL;
    float last_mL = state->volume_mL[count - 1] - state->volume_mL[count - 2];
    float most_mL = fminf(settings->most_mL, settings->growth * last_mL);
    return fmaxf(settings->least_mL, fminf(most_mL, wanted_mL(state, count, settings->aim_mV, random_error_mL)));
}
