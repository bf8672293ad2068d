#include "detector.h"

#include <math.h>

#include "verdict.h"

/* Prior standard deviation of ln τ. */
static const float SD_LN_RESPONSE = 0.5f;
/* The same from one reading close about a jump to the next. */
static const float SD_LN_ALIKE = 0.2f;
/* A reading at the very moment of the beginning counts. */
static const float JUST_BEFORE_S = -1e-6f;

static float squared(float value)
{
    return value * value;
}

void settling_prepare(struct settling_state *state, const struct settling_settings *settings)
{
    state->last_response_s = settings->response_s;
    state->last_sd_ln = SD_LN_RESPONSE;
}

static void clear_block(struct settlement *now)
{
    now->block_readings = 0;
    now->sum_t_s = now->sum_y_mV = now->squares_mV2 = now->products_mV2 = 0.0f;
    now->first_y_mV = now->last_y_mV;
}

void settling_begin(struct settling_state *state, const struct settling_settings *settings,
                    const struct enough *enough)
{
    const struct settlement fresh = {.flags = FIRST_TO_COME, .gate_mV2 = -1.0f};
    struct settlement *now = &state->now.settlement;

    *now = fresh;
    now->last_t_s = JUST_BEFORE_S;
    now->check_t_s = settings->least_wait_s;
    now->block_end_s = fminf(BLOCK_S, settings->longest_s);
    now->widest_mV2 = squared(16.0f * settings->reading_noise_mV + settings->resolution_mV);
    now->response_s = settings->response_s;
    now->sd_ln_response = SD_LN_RESPONSE;
    if (enough->error_mV > 0.0f) {
        now->flags |= FORECASTS;
        now->enough_mV = enough->error_mV;
        now->mixing_times = enough->mixing_times;
        if (enough->alike) {
            now->response_s = state->last_response_s;
            now->sd_ln_response = fminf(hypotf(SD_LN_ALIKE, state->last_sd_ln), SD_LN_RESPONSE);
        }
    }
    judge_begin(now);
    clear_block(now);
}

static void count_reading(struct settlement *now, float t_s, float potential_mV)
{
    float d = potential_mV - now->last_y_mV;
    now->last_y_mV = potential_mV;
    now->block_readings++;
    now->sum_t_s += t_s;
    now->sum_y_mV += potential_mV;
    now->squares_mV2 += d * d;
    now->products_mV2 += d * now->last_d_mV;
    now->last_d_mV = d;
}

/* The held reading was none the less one: count it. */
static void take_held(struct settlement *now)
{
    now->flags &= (uint8_t)~HOLDS;
    now->gate_mV2 = now->widest_mV2;
    count_reading(now, now->held_t_s, now->held_y_mV);
}

/* Hold a reading far from the one before until the next tells a lone outlier from a moving potential. */
static bool plausible(struct settlement *now, float t_s, float potential_mV)
{
    if (now->flags & FIRST_TO_COME) {
        now->flags &= (uint8_t)~FIRST_TO_COME;
        now->gate_mV2 = now->widest_mV2;
        now->last_y_mV = now->first_y_mV = potential_mV;
        return true;
    }
    float away = potential_mV - now->last_y_mV;
    if (now->flags & HOLDS) {
        float held = now->held_y_mV - now->last_y_mV;
        if (held * away > 0.0f && away * away > 0.25f * now->widest_mV2) {
            take_held(now);
            return true;
        }
        now->flags &= (uint8_t)~HOLDS;
        now->gate_mV2 = now->widest_mV2;
        now->outliers++;
        if (away * away <= now->widest_mV2)
            return true;
    }
    now->held_t_s = t_s;
    now->held_y_mV = potential_mV;
    now->flags |= HOLDS;
    now->gate_mV2 = -1.0f;
    now->last_t_s = t_s;
    return false;
}

static void store_block(struct settlement *now, const struct settling_settings *settings)
{
    float n = (float)now->block_readings, mean_t_s = now->sum_t_s / n, spread_s2 = 0.0f;

    if (now->block_readings > 1) {
        float slope = (now->last_y_mV - now->first_y_mV) / n, trend = n * slope * slope;
        float squares = fmaxf(now->squares_mV2 - trend, 0.0f);
        /* Removing the block's own slope costs 1/n of a difference and adds 2/n of a product (white noise). */
        float freedom = n - 1.0f / n;
        window_note_differences(&now->window, squares, (now->products_mV2 - trend) * freedom / (n + 2.0f / n), freedom);
        float noise_mV = sqrtf(now->window.squares_mV2 / now->window.freedom + 2.0f * settings->least_variance_mV2);
        now->widest_mV2 = squared(6.0f * noise_mV + fabsf(slope) + settings->resolution_mV);
        if (!(now->flags & HOLDS))
            now->gate_mV2 = now->widest_mV2;
        float half_span_s = now->last_t_s - mean_t_s;
        spread_s2 = half_span_s * half_span_s * (n + 1.0f) / (6.0f * (n - 1.0f)); /* readings evenly spaced */
    }
    window_append(&now->window, mean_t_s, now->sum_y_mV / n, spread_s2, now->block_readings);
    now->readings = (uint16_t)(now->readings + now->block_readings);
    clear_block(now);
}

static bool look(struct settling_state *state, const struct settling_settings *settings, float t_s, bool last,
                 struct settled *out)
{
    struct settlement *now = &state->now.settlement;
    struct verdict verdict;

    if (!judge_look(now, settings, now->last_t_s, last, &verdict))
        return false;
    if (!verdict.settled && !last) {
        now->flags |= REMAINS;
        now->remaining_s = fminf(verdict.remaining_s, settings->longest_s - t_s);
        float sooner_s = (0.6f + 0.2f * verdict.sharp) * verdict.remaining_s;
        if (now->flags & FORECASTS)
            sooner_s = fminf(sooner_s, BLOCK_S);
        now->check_t_s = t_s + sooner_s - 0.5f * window_width_s(&now->window);
        return false;
    }
    now->flags |= OVER;
    now->flags &= (uint8_t)~REMAINS;
    state->last_response_s = verdict.response_s;
    state->last_sd_ln = verdict.sd_ln_response;
    out->potential_mV = verdict.potential_mV;
    out->sd_mV = verdict.sd_mV;
    out->drift_mV_per_s = verdict.drift_mV_per_s;
    out->drift_sd_mV_per_s = verdict.drift_sd_mV_per_s;
    out->remainder_bound_mV = verdict.remainder_bound_mV;
    out->lacking_mV = verdict.lacking_mV;
    out->lacking_sd_mV = verdict.lacking_sd_mV;
    out->settled = verdict.settled && !last;
    out->waited_s = t_s;
    out->readings = now->readings;
    return true;
}

static bool close_block(struct settling_state *state, const struct settling_settings *settings, float t_s,
                        struct settled *out)
{
    struct settlement *now = &state->now.settlement;
    float width_s;

    if (now->flags & OVER)
        clear_block(now);
    else
        store_block(now, settings);
    width_s = window_width_s(&now->window);
    now->block_end_s += width_s;
    if (now->block_end_s <= t_s)
        now->block_end_s = t_s + width_s;
    if (t_s < settings->longest_s && settings->longest_s < now->block_end_s)
        now->block_end_s = settings->longest_s;
    if (t_s >= settings->longest_s)
        return settling_expire(state, settings, t_s, out);
    if (t_s < now->check_t_s || now->window.count < FEWEST_BLOCKS || now->flags & OVER)
        return false;
    float runs_s = still_runs_for_s(now, settings);
    if (runs_s > 0.0f) {
        now->check_t_s = t_s + runs_s;
        return false;
    }
    return look(state, settings, t_s, false, out);
}

bool settling_add(struct settling_state *state, const struct settling_settings *settings, float t_s, float potential_mV,
                  struct settled *out)
{
    struct settlement *now = &state->now.settlement;
    float d = potential_mV - now->last_y_mV;

    /* Also the first reading, any reading while one is held, and what is no number. */
    if (!(d * d <= now->gate_mV2) && !plausible(now, t_s, potential_mV))
        return settling_expire(state, settings, t_s, out);
    now->last_t_s = t_s;
    count_reading(now, t_s, potential_mV);
    return t_s < now->block_end_s ? false : close_block(state, settings, t_s, out);
}

bool settling_expire(struct settling_state *state, const struct settling_settings *settings, float t_s,
                     struct settled *out)
{
    struct settlement *now = &state->now.settlement;

    if (now->flags & OVER || t_s < settings->longest_s)
        return false;
    if (now->flags & HOLDS)
        take_held(now);
    if (now->block_readings)
        store_block(now, settings);
    return now->window.count ? look(state, settings, t_s, true, out) : false;
}
