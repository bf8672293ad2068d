#include "estimate.h"

#include <math.h>

/* Share of the distance to the next equivalence point by which a law may err. */
static const float MISFIT = 0.002f;
/* Share of the lag by which readings while dosing lie elsewhere than a constant lag says. */
static const float PASSING_MISFIT = 0.2f;
/* Mean square of residuals and priors over variances above which a corner is sought elsewhere. */
static const float SUSPECT = 1.5f;
/* Places of the second solid's branch tried to either side, and their distance in its standard deviations. */
enum { CORNERS = 4 };
static const float CORNER_SD = 0.5f;
/* Added to the potentials in one search after the other, so that a reading may lie on either side of the corner. */
static const float LOOSE_mV[] = {10.0f, 3.0f, 0.0f};
enum { LOOSE_COUNT = 3 };
enum { ROUNDS = 24 };
/* Steps below this many standard deviations end the search. */
static const float SMALL = 0.02f;
/* Standard deviation of ln of an amount that is held for a profile. */
static const float HELD = 1e-3f;
/* Ratio of neighbouring amounts tried in a profile. */
static const float GRID = 1.25f;
/* From a hundredth of an amount on: 1.25^24 is more than that. */
enum { MOST_TRIED = 24 };
/* The most that ln of an amount, and the exponent of a branch by its own place, change in one step. */
static const float LN_STEP = 0.7f, EXPONENT_STEP = 2.0f;

static float squared(float value)
{
    return value * value;
}

int estimate_size(const struct law *law)
{
    int own = 0;
    for (int k = 0; k < law->branches_count; k++)
        own += law->branches[k].own_slope_sd > 0.0f;
    return law->amounts + 1 + law->branches_count + 1 + own + (law->carried.count > 0) + 1;
}

/* Amounts, places and slopes of the unknowns as they are. */
static void draw_curve(struct estimate *estimate)
{
    const struct law *law = estimate->law;
    const float *x = estimate->x;
    int amounts = law->amounts, branches = law->branches_count, own = amounts + 2 + branches;
    float shift_mV = x[amounts], common = expf(x[amounts + 1 + branches]);

    for (int k = 0; k < amounts; k++)
        estimate->curve.amounts_mL[k] = expf(x[k]);
    for (int k = 0; k < branches; k++) {
        const struct branch *branch = &law->branches[k];
        estimate->curve.places_mV[k] = branch->place_mV + shift_mV + x[amounts + 1 + k];
        estimate->curve.slopes_mV[k] = branch->slope_mV * common;
        if (branch->own_slope_sd > 0.0f)
            estimate->curve.slopes_mV[k] *= expf(x[own++]);
    }
    for (int k = 0; k < law->carried.count; k++) {
        estimate->curve.places_mV[branches + k] = law->carried.places_mV[k] + shift_mV;
        estimate->curve.slopes_mV[branches + k] = law->carried.slope_mV * common;
    }
    estimate->curve.carried = law->carried.count ? fmaxf(x[own], 0.0f) : 0.0f;
    estimate->curve.lag_s = expf(x[estimate->size - 1]);
}

void estimate_begin(struct estimate *estimate, const struct law *law, const struct beforehand *before, const float *x)
{
    float *prior = estimate->prior, *sd = estimate->prior_sd;
    int k = 0;

    estimate->law = law;
    estimate->before = before;
    estimate->size = estimate_size(law);
    estimate->misfit = estimate->loose_mV = 0.0f;
    for (int i = 0; i < estimate->size; i++)
        prior[i] = 0.0f;
    for (; k < law->amounts; k++) {
        prior[k] = logf(before->amounts_mL[k]);
        sd[k] = before->ln_sd[k];
    }
    sd[k++] = before->shift_sd_mV;
    for (int i = 0; i < law->branches_count; i++)
        sd[k++] = law->branches[i].place_sd_mV;
    sd[k++] = before->slope_sd;
    for (int i = 0; i < law->branches_count; i++)
        if (law->branches[i].own_slope_sd > 0.0f)
            sd[k++] = law->branches[i].own_slope_sd;
    if (law->carried.count)
        sd[k++] = law->carried.share_sd;
    prior[k] = logf(before->lag_s);
    sd[k] = before->lag_ln_sd;
    for (int i = 0; i < estimate->size; i++)
        estimate->x[i] = x ? x[i] : prior[i];
    draw_curve(estimate);
}

float estimate_own_variance_mL2(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                                const struct place *place)
{
    const struct law *law = estimate->law;
    struct place above, below;
    float total_mL = 0.0f, nearest_mL = INFINITY, share = 0.0f;

    for (int k = 0; k < law->amounts; k++) {
        total_mL += estimate->curve.amounts_mL[k];
        float away_mL = fabsf(place->volume_mL - total_mL);
        if (away_mL < nearest_mL) {
            nearest_mL = away_mL;
            share = fminf(away_mL / estimate->curve.amounts_mL[k], 1.0f);
        }
    }
    float sd_mV = hypotf(hypotf(datum->sd_mV, estimate->loose_mV), estimate->before->along_mV * share);
    law_place(law, &estimate->curve, datum->y_mV + 2.0f * sd_mV, &above);
    law_place(law, &estimate->curve, datum->y_mV - 2.0f * sd_mV, &below);
    return squared(estimate->before->volume_sd_mL) + squared(0.25f * (above.volume_mL - below.volume_mL)) +
           squared(MISFIT * nearest_mL) + squared(PASSING_MISFIT * speed_mL_per_s * estimate->curve.lag_s);
}

void estimate_gradient(const struct estimate *estimate, float y_mV, float speed_mL_per_s, const struct place *place,
                       float *out)
{
    const struct law *law = estimate->law;
    const struct curve *curve = &estimate->curve;
    int amounts = law->amounts, branches = law->branches_count, own = amounts + 2 + branches;
    float shift = 0.0f, common = 0.0f;

    for (int k = 0; k < amounts; k++)
        out[k] = place->by_amount[k] * curve->amounts_mL[k];
    for (int k = 0; k < branches; k++) {
        float by_place = -place->by_t_mL[k] / curve->slopes_mV[k];
        float by_slope = by_place * (y_mV - curve->places_mV[k]);
        out[amounts + 1 + k] = by_place;
        shift += by_place;
        common += by_slope;
        if (law->branches[k].own_slope_sd > 0.0f)
            out[own++] = by_slope;
    }
    for (int k = branches; k < branches + law->carried.count; k++) {
        float by_place = -place->by_t_mL[k] / curve->slopes_mV[k];
        shift += by_place;
        common += by_place * (y_mV - curve->places_mV[k]);
    }
    if (law->carried.count)
        out[own++] = place->by_carried_mL;
    out[amounts] = shift;
    out[amounts + 1 + branches] = common;
    out[own] = speed_mL_per_s * curve->lag_s;
}

/* Residual of a datum, the curve there, and its weight. */
static float residual_mL(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                         struct place *place, float *weight_per_mL)
{
    law_place(estimate->law, &estimate->curve, datum->y_mV, place);
    *weight_per_mL = 1.0f / sqrtf(estimate_own_variance_mL2(estimate, datum, speed_mL_per_s, place));
    return datum->volume_mL - place->volume_mL - speed_mL_per_s * estimate->curve.lag_s;
}

static void add_data(struct estimate *estimate, const struct datum *data, int count, float speed_mL_per_s)
{
    for (int k = 0; k < count; k++) {
        struct place place;
        float gradient[MOST_UNKNOWNS], weight;
        float residual = residual_mL(estimate, &data[k], speed_mL_per_s, &place, &weight);

        estimate_gradient(estimate, data[k].y_mV, speed_mL_per_s, &place, gradient);
        for (int i = 0; i < estimate->size; i++)
            gradient[i] *= weight;
        if (speed_mL_per_s == 0.0f)
            estimate->misfit += squared(weight * residual);
        triangle_add(&estimate->triangle, gradient, weight * residual);
    }
}

void estimate_weigh(struct estimate *estimate, const struct data *data)
{
    float from_prior[MOST_UNKNOWNS];
    for (int i = 0; i < estimate->size; i++)
        from_prior[i] = estimate->prior[i] - estimate->x[i];
    triangle_begin(&estimate->triangle, estimate->size, estimate->prior_sd, from_prior);
    estimate->misfit = 0.0f;
    add_data(estimate, data->at_rest, data->at_rest_count, 0.0f);
    add_data(estimate, data->passing, data->passing_count, data->speed_mL_per_s);
}

/* The share of a step that leaves no unknown too far from where it was. */
static float shortened(const struct estimate *estimate, const float *step)
{
    const struct law *law = estimate->law;
    int first = law->amounts + 1;
    float scale = 1.0f;
    for (int k = 0; k < estimate->size; k++) {
        float most = 3.0f * estimate->prior_sd[k];
        if (k < law->amounts)
            most = fminf(LN_STEP, most);
        else if (first <= k && k < first + law->branches_count)
            most = fminf(EXPONENT_STEP * law->branches[k - first].slope_mV, most);
        if (fabsf(step[k]) * scale > most)
            scale = most / fabsf(step[k]);
    }
    return scale;
}

static float cost_of(const struct estimate *estimate, const struct datum *data, int count, float speed_mL_per_s)
{
    float total = 0.0f;
    for (int k = 0; k < count; k++) {
        struct place place;
        float weight;
        float residual = residual_mL(estimate, &data[k], speed_mL_per_s, &place, &weight);
        total += squared(weight * residual);
    }
    return total;
}

/* Sum of the squared residuals over their variances, priors among them (but that of one unknown; -1: of none). */
static float cost(const struct estimate *estimate, const struct data *data, int but)
{
    float total = 0.0f;
    for (int k = 0; k < estimate->size; k++)
        if (k != but)
            total += squared((estimate->x[k] - estimate->prior[k]) / estimate->prior_sd[k]);
    return total + cost_of(estimate, data->at_rest, data->at_rest_count, 0.0f) +
           cost_of(estimate, data->passing, data->passing_count, data->speed_mL_per_s);
}

static void descend(struct estimate *estimate, const struct data *data)
{
    for (int round = 0; round < ROUNDS; round++) {
        float step[MOST_UNKNOWNS];
        estimate_weigh(estimate, data);
        triangle_solve(&estimate->triangle, step);
        float scale = shortened(estimate, step);
        for (int k = 0; k < estimate->size; k++)
            estimate->x[k] += scale * step[k];
        draw_curve(estimate);
        /* The step's length in standard deviations is that of z. */
        if (scale == 1.0f && dot(estimate->triangle.z, estimate->triangle.z, estimate->size) < SMALL * SMALL)
            break;
    }
    estimate_weigh(estimate, data);
}

/* Descend from several places of the second solid's branch, and stay where that fits best: where a second solid sets in
 * the curve has a corner, behind which no derivative sees. */
static void from_every_corner(struct estimate *estimate, const struct data *data)
{
    int place = estimate->law->amounts + 2;
    float least = cost(estimate, data, -1), best[MOST_UNKNOWNS];

    for (int i = 0; i < estimate->size; i++)
        best[i] = estimate->x[i];
    for (int corner = -CORNERS; corner <= CORNERS; corner++) {
        for (int i = 0; i < estimate->size; i++)
            estimate->x[i] = estimate->prior[i];
        estimate->x[0] = best[0];
        estimate->x[place] = (float)corner * CORNER_SD * estimate->prior_sd[place];
        draw_curve(estimate);
        for (int k = 0; k < LOOSE_COUNT; k++) {
            estimate->loose_mV = LOOSE_mV[k];
            descend(estimate, data);
        }
        float here = cost(estimate, data, -1);
        if (here < least) {
            least = here;
            for (int i = 0; i < estimate->size; i++)
                best[i] = estimate->x[i];
        }
    }
    for (int i = 0; i < estimate->size; i++)
        estimate->x[i] = best[i];
    draw_curve(estimate);
    descend(estimate, data);
}

void estimate_fit(struct estimate *estimate, const struct data *data)
{
    descend(estimate, data);
    float count = (float)(data->at_rest_count + data->passing_count);
    if (law_layers(estimate->law) > 1 && cost(estimate, data, -1) > SUSPECT * (2.0f + count))
        from_every_corner(estimate, data);
}

static void hold(struct estimate *estimate, int number, float ln_amount)
{
    estimate->prior[number] = estimate->x[number] = ln_amount;
    estimate->prior_sd[number] = HELD;
    draw_curve(estimate);
}

/* With all else fitted, the rise of the root of the sum of squares is about straight in ln of the amount: where it
 * passes `most` on the way down to the amount found. */
static float passed_mL(const struct estimate *estimate, int number, const float *costs, int tried, float from_mL,
                       float best, float most)
{
    float amount_mL = estimate->curve.amounts_mL[number];
    float before = INFINITY, before_mL = from_mL, value_mL = from_mL;
    for (int k = 0; k <= tried; k++) {
        bool found = k == tried || value_mL >= amount_mL;
        float here_mL = found ? amount_mL : value_mL;
        float rise = found ? 0.0f : sqrtf(fmaxf(costs[k] - best, 0.0f));
        if (rise <= most) {
            float share = before == INFINITY ? 1.0f : (before - most) / (before - rise);
            return before_mL * powf(here_mL / before_mL, share);
        }
        before = rise;
        before_mL = value_mL;
        value_mL *= GRID;
    }
    return amount_mL;
}

float estimate_earliest_mL(struct estimate *estimate, int number, const struct data *data, float from_mL, float to_mL,
                           float worse)
{
    float mean = estimate->prior[number], sd = estimate->prior_sd[number];
    float costs[MOST_TRIED], best_x[MOST_UNKNOWNS], least = INFINITY;
    int tried = 0;

    for (float value_mL = from_mL; value_mL < to_mL && tried < MOST_TRIED; value_mL *= GRID) {
        hold(estimate, number, logf(value_mL));
        estimate_fit(estimate, data);
        costs[tried] = cost(estimate, data, number) + squared((estimate->x[number] - mean) / sd);
        if (costs[tried] < least) {
            least = costs[tried];
            for (int k = 0; k < estimate->size; k++)
                best_x[k] = estimate->x[k];
        }
        tried++;
    }
    estimate->prior[number] = mean;
    estimate->prior_sd[number] = sd;
    for (int k = 0; tried > 0 && k < estimate->size; k++)
        estimate->x[k] = best_x[k];
    draw_curve(estimate);
    estimate_fit(estimate, data);
    return passed_mL(estimate, number, costs, tried, from_mL, cost(estimate, data, -1), sqrtf(worse));
}

void estimate_point_gradient(const struct estimate *estimate, int number, float *out)
{
    for (int k = 0; k < estimate->size; k++)
        out[k] = k <= number && k < estimate->law->amounts ? estimate->curve.amounts_mL[k] : 0.0f;
}

float estimate_before_mL(const struct estimate *estimate, int number)
{
    float total_mL = 0.0f;
    for (int k = 0; k < number; k++)
        total_mL += estimate->curve.amounts_mL[k];
    return total_mL;
}

float estimate_point_mL(const struct estimate *estimate, int number)
{
    return estimate_before_mL(estimate, number) + estimate->curve.amounts_mL[number];
}

float estimate_variance(const struct estimate *estimate, const float *gradient)
{
    float towards[MOST_UNKNOWNS];
    triangle_towards(&estimate->triangle, gradient, towards);
    return dot(towards, towards, estimate->size);
}

float estimate_ln_sd(const struct estimate *estimate, int number)
{
    float gradient[MOST_UNKNOWNS] = {0.0f};
    gradient[number] = 1.0f;
    return sqrtf(estimate_variance(estimate, gradient));
}

float estimate_point_sd_mL(const struct estimate *estimate, int number)
{
    float gradient[MOST_UNKNOWNS];
    estimate_point_gradient(estimate, number, gradient);
    return sqrtf(estimate_variance(estimate, gradient));
}
