#include "tail.h"

#include <math.h>

/* τ is sought from a quarter of the stated response to some fifty times it. */
static const float FASTEST_LN = -1.4f, SLOWEST_LN = 4.0f;
/* Weak prior of the tail's height at the start of the window. */
static const float AMPLITUDE_SD_MV = 500.0f;
/* Values of ln τ tried to either side of what is stated, and their distance in its standard deviations. */
enum { NODES = 11 };
static const float NODE_SD = 0.25f;
/* Least variance of a remainder over that of a reading: 32 bits end at 1e-38, and what follows divides by it. */
static const float LEAST_UNIT_VARIANCE = 1e-30f;

static float squared(float value)
{
    return value * value;
}

void blocks_prepare(struct blocks *blocks, const struct block_window *window, int first, float now_s)
{
    float level_mV = window->y_mV[window->count - 1], total_mV = 0.0f;

    blocks->t_s = window->t_s + first;
    blocks->spread_s2 = window->spread_s2 + first;
    blocks->weights = window->weights + first;
    blocks->count = window->count - first;
    blocks->oldest_s = now_s - blocks->t_s[0];
    blocks->total_weight = 0.0f;
    for (int k = 0; k < blocks->count; k++) {
        blocks->y_mV[k] = window->y_mV[first + k] - level_mV;
        blocks->total_weight += (float)blocks->weights[k];
        total_mV += (float)blocks->weights[k] * blocks->y_mV[k];
    }
    blocks->mean_mV = total_mV / blocks->total_weight;
}

/* A straight line of the potential in what the exponential, 1 at the oldest block, differs from 1. */
struct line {
    float shape[MOST_BLOCKS];
    float mean_shape;
    float height_mV; /* of the tail at the oldest block */
    float precision; /* of the height, for unit variance of one reading */
};

static void fit_line(const struct blocks *blocks, float rate, float ridge, struct line *out)
{
    float total = 0.0f, squares = 0.0f, products = 0.0f;
    for (int k = 0; k < blocks->count; k++) {
        /* Averaged over the block to second order. */
        float bent = blocks->spread_s2[k] * rate * rate;
        out->shape[k] = expm1f((blocks->t_s[0] - blocks->t_s[k]) * rate) * (1.0f + bent) + bent;
        total += (float)blocks->weights[k] * out->shape[k];
    }
    out->mean_shape = total / blocks->total_weight;
    for (int k = 0; k < blocks->count; k++) {
        float away = out->shape[k] - out->mean_shape;
        squares += (float)blocks->weights[k] * away * away;
        products += (float)blocks->weights[k] * away * (blocks->y_mV[k] - blocks->mean_mV);
    }
    out->precision = squares + ridge;
    out->height_mV = products / out->precision;
}

static float residual_mV(const struct blocks *blocks, const struct line *line, int k)
{
    return blocks->y_mV[k] - blocks->mean_mV - line->height_mV * (line->shape[k] - line->mean_shape);
}

struct tail_fit fit_tail(const struct blocks *blocks, float response_s, float ridge)
{
    struct line line;
    struct tail_fit fit;
    float rate = 1.0f / response_s, left = expf(-blocks->oldest_s * rate);

    fit_line(blocks, rate, ridge, &line);
    fit.remainder_mV = line.height_mV * left;
    fit.unit_variance = left * left / line.precision;
    fit.sum_of_squares_mV2 = ridge * squared(line.height_mV);
    for (int k = 0; k < blocks->count; k++)
        fit.sum_of_squares_mV2 += (float)blocks->weights[k] * squared(residual_mV(blocks, &line, k));
    return fit;
}

struct residuals residual_products(const struct blocks *blocks, float response_s)
{
    struct line line;
    struct residuals out = {0};
    float scale = (float)blocks->count / blocks->total_weight, before = 0.0f, ends = 0.0f;

    fit_line(blocks, 1.0f / response_s, 0.0f, &line);
    for (int k = 0; k < blocks->count; k++) {
        float u = residual_mV(blocks, &line, k) * sqrtf((float)blocks->weights[k] * scale);
        out.squares += u * u;
        out.products += u * before;
        /* With one block it is both ends. */
        ends += u * u * (float)((k == 0) + (k == blocks->count - 1));
        before = u;
    }
    out.inner = out.squares - ends;
    return out;
}

struct moments {
    float mean;
    float variance;
};

/* Of the parabola through three values at −half, 0, half for x ~ N(step, sd²). */
static struct moments moments(float low, float mid, float high, float half, float step, float sd)
{
    float curve = (high - 2.0f * mid + low) / (half * half);
    float slope = (high - low) / (2.0f * half), variance = sd * sd;
    struct moments out;
    out.mean = mid + slope * step + 0.5f * curve * (step * step + variance);
    slope += curve * step;
    out.variance = variance * (slope * slope + 0.5f * curve * curve * variance);
    return out;
}

static float least_of(float one, float two, float three)
{
    return fminf(fminf(one, two), three);
}

/* Mean and variance over ln τ ~ N(centre + step, sd²) of the three fits' parabola in ln τ. */
static void combine(const struct blocks *blocks, const struct search *search, float step, float variance_mV2,
                    float prior_sd, struct tail *out)
{
    const struct tail_fit *fits = search->fits;
    float half = search->half, sd = search->sd, ratio = expf(half), k1 = expf(-search->centre);
    float rates[3] = {k1 * ratio, k1, k1 / ratio}, v[3], w[3], r[3], drifts[3], q[3];

    for (int k = 0; k < 3; k++) {
        r[k] = fits[k].remainder_mV;
        v[k] = fits[k].unit_variance;
        q[k] = fits[k].sum_of_squares_mV2;
        drifts[k] = -r[k] * rates[k];
        w[k] = v[k] * rates[k] * rates[k];
    }
    struct moments remainder = moments(r[0], r[1], r[2], half, step, sd);
    struct moments drift = moments(drifts[0], drifts[1], drifts[2], half, step, sd);
    /* A parabola through variances may dip below the least of them: then that one is taken. */
    float unit = fmaxf(moments(v[0], v[1], v[2], half, step, sd).mean, least_of(v[0], v[1], v[2]));
    float drift_unit = fmaxf(moments(w[0], w[1], w[2], half, step, sd).mean, least_of(w[0], w[1], w[2]));
    float slope = (q[2] - q[0]) / (2.0f * half), curve = (q[2] - 2.0f * q[1] + q[0]) / (half * half);
    float least = q[1] + step * (slope + 0.5f * step * curve);
    out->remainder_mV = remainder.mean;
    out->remainder_sd_mV = sqrtf(fmaxf(unit, LEAST_UNIT_VARIANCE) * variance_mV2 + remainder.variance);
    out->drift_mV_per_s = drift.mean;
    out->drift_sd_mV_per_s = sqrtf(fmaxf(drift_unit, LEAST_UNIT_VARIANCE) * variance_mV2 + drift.variance);
    out->response_s = expf(search->centre + step);
    out->sd_ln_response = fminf(sd, prior_sd);
    out->sum_of_squares_mV2 = fmaxf(0.0f, fminf(least, least_of(q[0], q[1], q[2])));
    /* End, remainder, and as much of τ as the data rather than the prior decide. */
    out->degrees_of_freedom = fmaxf(0.0f, (float)blocks->count - 3.0f + fminf(1.0f, squared(sd / prior_sd)));
    out->search = *search;
}

void find_tail(const struct blocks *blocks, float variance_mV2, const struct stated *stated, const struct search *start,
               int most_attempts, struct tail *out)
{
    float ridge = variance_mV2 / squared(AMPLITUDE_SD_MV), prior = 1.0f / squared(stated->sd);
    float span = fmaxf(start->sd, 0.003f), step = 0.0f;
    struct search search = *start, placed = *start;
    bool found = false;

    for (int attempt = 0; attempt < most_attempts && !found; attempt++) {
        if (!search.fitted) {
            search.half = fminf(span, 0.6f);
            for (int k = 0; k < 3; k++)
                search.fits[k] = fit_tail(blocks, expf(search.centre + (float)(k - 1) * search.half), ridge);
            search.fitted = true;
        }
        float half = search.half, away = search.centre - stated->ln_response, sums[3];
        for (int k = 0; k < 3; k++)
            sums[k] = search.fits[k].sum_of_squares_mV2 / variance_mV2 + squared(away + (float)(k - 1) * half) * prior;
        float curvature = fmaxf((sums[0] - 2.0f * sums[1] + sums[2]) / (half * half), prior);
        step = fminf(fmaxf(0.5f * (sums[0] - sums[2]) / (half * curvature), -2.0f * half), 2.0f * half);
        step = fminf(fmaxf(step, FASTEST_LN - away), SLOWEST_LN - away);
        search.sd = sqrtf(2.0f / curvature);
        placed = search;
        bool inside = fabsf(step) <= 0.8f * half;
        found = inside && 0.35f * half <= search.sd && search.sd <= 2.5f * half;
        /* Narrow the span by five at most, and only once the bottom lies within it; widen it while it lies far off. */
        span = fmaxf(fmaxf(search.sd, 0.003f), inside ? 0.2f * half : fabsf(step));
        search.centre += step;
        search.fitted = false;
    }
    combine(blocks, &placed, step, variance_mV2, stated->sd, out);
    out->found = found;
}

void over_all_responses(const struct blocks *blocks, float variance_mV2, const struct stated *stated,
                        struct tail *tail)
{
    float ridge = variance_mV2 / squared(AMPLITUDE_SD_MV), least = INFINITY;
    struct tail_fit fits[2 * NODES + 1];
    float thetas[2 * NODES + 1], squares[2 * NODES + 1];
    float total = 0.0f, mean = 0.0f, square = 0.0f, inner = 0.0f, drift = 0.0f, drift_square = 0.0f, drift_inner = 0.0f;
    float ln_mean = 0.0f, ln_square = 0.0f;

    for (int k = 0; k <= 2 * NODES; k++) {
        float away = NODE_SD * (float)(k - NODES);
        float theta = fmaxf(stated->ln_response + away * stated->sd, stated->ln_response + FASTEST_LN);
        thetas[k] = fminf(theta, SLOWEST_LN);
        fits[k] = fit_tail(blocks, expf(thetas[k]), ridge);
        squares[k] = fits[k].sum_of_squares_mV2 / variance_mV2 + away * away;
        least = fminf(least, squares[k]);
    }
    /* Moments about the tail already found: their squares are then no larger than the spread. */
    for (int k = 0; k <= 2 * NODES; k++) {
        float weight = expf(0.5f * (least - squares[k])), rate = expf(-thetas[k]);
        float away_mV = fits[k].remainder_mV - tail->remainder_mV;
        float drift_away = -rate * fits[k].remainder_mV - tail->drift_mV_per_s;
        float ln_away = thetas[k] - stated->ln_response;
        total += weight;
        mean += weight * away_mV;
        square += weight * away_mV * away_mV;
        inner += weight * fits[k].unit_variance;
        drift += weight * drift_away;
        drift_square += weight * drift_away * drift_away;
        drift_inner += weight * rate * rate * fits[k].unit_variance;
        ln_mean += weight * ln_away;
        ln_square += weight * ln_away * ln_away;
    }
    mean /= total;
    drift /= total;
    ln_mean /= total;
    tail->remainder_mV += mean;
    tail->remainder_sd_mV =
        sqrtf(fmaxf(square / total - mean * mean, 0.0f) + variance_mV2 * fmaxf(inner / total, LEAST_UNIT_VARIANCE));
    tail->drift_mV_per_s += drift;
    tail->drift_sd_mV_per_s =
        sqrtf(fmaxf(drift_square / total - drift * drift, 0.0f) + variance_mV2 * drift_inner / total);
    tail->response_s = expf(stated->ln_response + ln_mean);
    tail->sd_ln_response = sqrtf(fmaxf(ln_square / total - ln_mean * ln_mean, 0.0f));
    tail->found = true;
}
