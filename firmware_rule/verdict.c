#include "verdict.h"

#include <math.h>

#include "noise.h"
#include "tail.h"

/* Standard deviations between estimate and bound. */
static const float QUANTILE = 3.2f;
/* The window slides: blocks older than this many stated response times are forgotten. */
static const float WINDOW_OVER_RESPONSE = 12.0f;
/* A faster electrode is treated like this one. */
static const float FASTEST_RESPONSE_S = 0.5f;
/* Share of the change seen that mixing may still hide, per unit of exp(−t / mixing time). */
static const float MIXING_SHARE = 0.1f;
/* A response known to this standard deviation of its logarithm is well described by a parabola. */
static const float SHARP_LN_RESPONSE = 0.15f;
/* Share of a remainder by which the tail may err as a law. */
static const float LAW_SHARE = 0.03f;
/* The oldest third is forgotten where the residuals' mean square without it is below this share of the whole's. */
static const float MISFIT = 0.25f;
/* A reading is settled once its remainder is bounded by this many times the noise of one reading. */
static const float REMAINDER_OVER_NOISE = 1.4f;
static const float TWO_PI_SQUARED = 19.7392088f;

static float squared(float value)
{
    return value * value;
}

static float response_s(const struct settlement *state)
{
    return fmaxf(state->response_s, FASTEST_RESPONSE_S);
}

void judge_begin(struct settlement *state)
{
    state->centre_ln_s = logf(response_s(state));
    state->search_sd = state->sd_ln_response;
    state->slow_variance_mV2 = 0.0f;
    state->excess_before = INFINITY;
}

float still_runs_for_s(const struct settlement *state, const struct settling_settings *settings)
{
    const struct block_window *window = &state->window;
    int newest = window->count - 1;
    if (state->flags & FORECASTS)
        return 0.0f;
    float step_s = window->t_s[newest] - window->t_s[newest - 1] + 0.5f * window_width_s(window);
    float fastest_s = 0.5f * response_s(state);
    float least_mV = fabsf(window->y_mV[newest] - window->y_mV[newest - 1]) / expm1f(fminf(step_s / fastest_s, 50.0f));
    float excess = 0.2f * least_mV / (REMAINDER_OVER_NOISE * settings->reading_noise_mV);
    return excess > 1.0f ? fastest_s * logf(excess) : 0.0f;
}

/* Forget blocks too old to matter and readings during which mixing may hide more than the noise of a block. */
static void slide(struct settlement *state, const struct settling_settings *settings, float now_s)
{
    struct block_window *window = &state->window;
    float until_s = now_s - WINDOW_OVER_RESPONSE * response_s(state);
    int count = 0;

    if (settings->mixing_s > 0.0f) {
        float hidden_mV = MIXING_SHARE * fabsf(window->y_mV[0] - window->y_mV[window->count - 1]);
        float over_noise = hidden_mV / (settings->reading_noise_mV / sqrtf((float)window->weights[0]));
        float times = fmaxf(fmaxf(2.0f, logf(fmaxf(over_noise, 1.0f))), state->mixing_times);
        until_s = fmaxf(until_s, settings->mixing_s * times);
    }
    while (count < window->count - 1 && window->t_s[count] < until_s)
        count++;
    window_drop_oldest(window, count);
}

static float fresh_variance_mV2(const struct settlement *state, const struct settling_settings *settings)
{
    const struct block_window *window = &state->window;
    if (window->freedom == 0.0f)
        return squared(settings->reading_noise_mV);
    return fmaxf(0.5f * window->squares_mV2 / window->freedom, settings->least_variance_mV2);
}

static struct noise noise_of(const struct settlement *state, const struct settling_settings *settings,
                             const struct blocks *blocks, const struct tail *tail)
{
    const struct block_window *window = &state->window;
    float span_s = window->t_s[window->count - 1] - window->t_s[0];
    struct observed seen;

    seen.stated_variance_mV2 = squared(settings->reading_noise_mV);
    seen.fresh_variance_mV2 = fresh_variance_mV2(state, settings);
    seen.opposed = window->squares_mV2 > 0.0f ? -window->products_mV2 / window->squares_mV2 : 0.5f;
    /* (Sum of weights)² over sum of squared weights, for weights rising with the third power. */
    seen.differences = 1.75f * window->freedom;
    seen.per_block = blocks->total_weight / (float)window->count;
    seen.interval_s = span_s > 0.0f ? span_s / (blocks->total_weight - seen.per_block) : 1.0f;
    seen.sum_of_squares_mV2 = tail->sum_of_squares_mV2;
    seen.freedom = tail->degrees_of_freedom;
    return measure_noise(&seen, blocks, tail->response_s);
}

static void fit(struct settlement *state, const struct settling_settings *settings, float now_s, int attempts,
                struct tail *tail, struct noise *noise)
{
    struct stated stated = {logf(response_s(state)), state->sd_ln_response};
    struct search start = {0};
    struct blocks blocks;

    start.centre = state->centre_ln_s;
    start.sd = state->search_sd;
    blocks_prepare(&blocks, &state->window, 0, now_s);
    if (state->slow_variance_mV2 == 0.0f)
        state->slow_variance_mV2 = fresh_variance_mV2(state, settings);
    find_tail(&blocks, state->slow_variance_mV2, &stated, &start, attempts, tail);
    *noise = noise_of(state, settings, &blocks, tail);
    float ratio = noise->slow_variance_mV2 / state->slow_variance_mV2;
    if (!(0.6f < ratio && ratio < 1.6f)) {
        start = tail->search;
        find_tail(&blocks, noise->slow_variance_mV2, &stated, &start, attempts, tail);
    }
    state->slow_variance_mV2 = noise->slow_variance_mV2;
    if (state->flags & FORECASTS && tail->sd_ln_response > SHARP_LN_RESPONSE)
        over_all_responses(&blocks, noise->slow_variance_mV2, &stated, tail);
}

/* Forget the oldest third where the rest fits the tail much better; true where that was done. */
static bool drop_misfit(struct settlement *state, float now_s, const struct tail *tail)
{
    struct block_window *window = &state->window;
    struct blocks rest;
    int third = window->count / 3;

    if (window->count < 9)
        return false;
    blocks_prepare(&rest, window, third, now_s);
    float kept = fit_tail(&rest, tail->response_s, 0.0f).sum_of_squares_mV2 / ((float)rest.count - 2.5f);
    if (kept > MISFIT * tail->sum_of_squares_mV2 / fmaxf(tail->degrees_of_freedom, 1.0f))
        return false;
    window_drop_oldest(window, third);
    return true;
}

/* What rounding to the converter's step may hide of an average. */
static float rounding_mV(const struct settling_settings *settings, const struct noise *noise)
{
    float step_mV = settings->resolution_mV;
    if (step_mV == 0.0f)
        return 0.0f;
    float ratio = fmaxf(squared(noise->reading_sd_mV / step_mV) - 1.0f / 12.0f, 0.0f);
    return 0.5f * step_mV * expf(-TWO_PI_SQUARED * ratio);
}

struct average {
    float potential_mV;
    float sd_mV;
    float lag; /* its remainder over the remainder now */
};

/* As many of the newest blocks, up to some 40 readings, as keep the lag so added below a third of the average's sd. */
static struct average average_of(const struct block_window *window, float now_s, const struct tail *tail,
                                 const struct noise *noise)
{
    struct average best = {0.0f, INFINITY, 1.0f};
    float level_mV = window->y_mV[window->count - 1], n = 0.0f, total = 0.0f, shape = 0.0f;

    for (int k = window->count - 1; k >= 0; k--) {
        float weight = (float)window->weights[k];
        n += weight;
        total += weight * (window->y_mV[k] - level_mV);
        shape += weight * expf((now_s - window->t_s[k]) / tail->response_s);
        float sd_mV = sqrtf(fminf(noise->slow_variance_mV2 / n, squared(noise->reading_sd_mV)));
        float lag = shape / n;
        if (best.sd_mV < INFINITY && (lag - 1.0f) * fabsf(tail->remainder_mV) > 0.33f * sd_mV)
            break;
        best.potential_mV = level_mV + total / n;
        best.sd_mV = sd_mV;
        best.lag = lag;
        if (n > 40.0f)
            break;
    }
    return best;
}

/* About how long until excess is 1, and how well that is known (0 to 1). */
static void remaining(float excess, float age_s, const struct tail *tail, struct verdict *out)
{
    float decay_s = tail->response_s * logf(excess);
    float gather_s = age_s * (powf(excess, 2.0f / 3.0f) - 1.0f);
    float seen = fabsf(tail->remainder_mV) / tail->remainder_sd_mV;
    float share = fminf(1.0f, seen / 3.0f);
    out->remaining_s = share * decay_s + (1.0f - share) * fminf(gather_s, decay_s + 10.0f);
    out->sharp = fminf(1.0f, 0.1f * seen);
}

/* What must come down to 1. */
static float excess_of(struct settlement *state, const struct settling_settings *settings, const struct tail *tail,
                       const struct noise *noise, float quantile, const struct verdict *found)
{
    float rounding = rounding_mV(settings, noise), excess;
    if (settings->drift_limit_mV_per_s == 0.0f) {
        float noise_mV = fmaxf(noise->reading_sd_mV, 0.5f * settings->reading_noise_mV);
        excess = found->remainder_bound_mV / (REMAINDER_OVER_NOISE * hypotf(noise_mV, found->sd_mV) + rounding);
    } else {
        float drift = fabsf(tail->drift_mV_per_s) + quantile * tail->drift_sd_mV_per_s;
        excess = drift / settings->drift_limit_mV_per_s;
    }
    if (state->flags & FORECASTS) {
        float law_mV = LAW_SHARE * found->lacking_mV;
        float error_mV = hypotf(hypotf(found->sd_mV, found->lacking_sd_mV), law_mV) + rounding;
        float now = error_mV / state->enough_mV;
        /* A moment at which noise makes the tail look short would be taken for its end: twice running, not once. */
        excess = fminf(excess, fmaxf(now, state->excess_before));
        state->excess_before = now;
    }
    return excess;
}

bool judge_look(struct settlement *state, const struct settling_settings *settings, float now_s, bool last,
                struct verdict *out)
{
    struct block_window *window = &state->window;
    int attempts = last ? 3 * MOST_ATTEMPTS : MOST_ATTEMPTS;
    struct tail tail;
    struct noise noise;

    slide(state, settings, now_s);
    if (window->count < FEWEST_BLOCKS && !last)
        return false;
    fit(state, settings, now_s, attempts, &tail, &noise);
    for (int k = 0; k < (last ? 3 : 1); k++) {
        if (!(noise.correlated && drop_misfit(state, now_s, &tail)))
            break;
        fit(state, settings, now_s, attempts, &tail, &noise);
    }
    state->centre_ln_s = logf(tail.response_s);
    state->search_sd = tail.found ? tail.sd_ln_response : fmaxf(tail.sd_ln_response, 0.5f * tail.search.half);
    /* Student's t, first correction. */
    float quantile = QUANTILE * (1.0f + (QUANTILE * QUANTILE + 1.0f) / (4.0f * noise.freedom));
    struct average average = average_of(window, now_s, &tail, &noise);
    out->potential_mV = average.potential_mV;
    out->sd_mV = average.sd_mV;
    out->drift_mV_per_s = tail.drift_mV_per_s;
    out->drift_sd_mV_per_s = tail.drift_sd_mV_per_s;
    out->remainder_bound_mV =
        average.lag * (fabsf(tail.remainder_mV) + quantile * tail.remainder_sd_mV) + rounding_mV(settings, &noise);
    out->lacking_mV = -average.lag * tail.remainder_mV;
    out->lacking_sd_mV = average.lag * tail.remainder_sd_mV;
    out->response_s = tail.response_s;
    out->sd_ln_response = tail.sd_ln_response;
    float excess = excess_of(state, settings, &tail, &noise, quantile, out);
    out->settled = excess <= 1.0f && tail.found && window->count >= FEWEST_BLOCKS;
    remaining(fmaxf(excess, 1.0f), now_s - window->t_s[0], &tail, out);
    return true;
}
