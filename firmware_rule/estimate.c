#include "estimate.h"

#include <math.h>

/* Share of the distance to the next equivalence point by which a law may err. */
static const float MISFIT = 0.002f;
/* Share of the lag by which readings while dosing lie elsewhere than a constant lag says. */
static const float PASSING_MISFIT = 0.2f;
/* Standard deviations that the potential of a reading is taken to err by at most. */
static const float FARTHEST = 4.0f;

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

void estimate_draw(struct estimate *estimate)
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
    estimate->misfit = 0.0f;
    estimate->layers = (struct layers){{0.0f}, 0.0f, 0};
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
    estimate_draw(estimate);
}

/* Variance of a datum's volume but for what its potential errs, and the standard deviation of that. */
static float without_potential(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                               float volume_mL, float *sd_mV)
{
    const struct law *law = estimate->law;
    float total_mL = 0.0f, nearest_mL = INFINITY, share = 0.0f;

    for (int k = 0; k < law->amounts; k++) {
        total_mL += estimate->curve.amounts_mL[k];
        float away_mL = fabsf(volume_mL - total_mL);
        if (away_mL < nearest_mL) {
            nearest_mL = away_mL;
            share = fminf(away_mL / estimate->curve.amounts_mL[k], 1.0f);
        }
    }
    *sd_mV = hypotf(datum->sd_mV, estimate->before->along_mV * share);
    return squared(estimate->before->volume_sd_mL) + squared(MISFIT * nearest_mL) +
           squared(PASSING_MISFIT * speed_mL_per_s * estimate->curve.lag_s);
}

float estimate_own_variance_mL2(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                                float volume_mL)
{
    float sd_mV, variance = without_potential(estimate, datum, speed_mL_per_s, volume_mL, &sd_mV);

    float above_mL = law_volume_mL(estimate->law, &estimate->curve, datum->y_mV + 2.0f * sd_mV);
    float below_mL = law_volume_mL(estimate->law, &estimate->curve, datum->y_mV - 2.0f * sd_mV);
    return variance + squared(0.25f * (above_mL - below_mL));
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

/* A datum where the curve was looked at. */
struct seen {
    struct place place;
    float y_mV;
    float weight_per_mL;
};

/* The same on the branch that a datum of several solids is assigned to, at the potential where both its errors together
 * are least: behind a corner the potential hardly rises. */
static float on_branch_mL(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                          struct seen *seen)
{
    const struct law *law = estimate->law;
    int solids = layers_at(&estimate->layers, law_layers(law), datum->volume_mL);
    float read_mL = datum->volume_mL - speed_mL_per_s * estimate->curve.lag_s, reach_mV = FARTHEST * datum->sd_mV;
    float sd_mV, chord_mL, straight_mL;
    struct place *place = &seen->place;

    seen->y_mV = datum->y_mV;
    law_place_of(law, &estimate->curve, seen->y_mV, solids, place);
    float variance = without_potential(estimate, datum, speed_mL_per_s, place->volume_mL, &sd_mV);
    for (int k = 0; k < 2; k++) {
        chord_mL = sd_mV * place->slope_mL_per_mV;
        straight_mL = read_mL - place->volume_mL - place->slope_mL_per_mV * (datum->y_mV - seen->y_mV);
        float moved_mV = straight_mL * sd_mV * chord_mL / (variance + squared(chord_mL));
        seen->y_mV = datum->y_mV + fminf(fmaxf(moved_mV, -reach_mV), reach_mV);
        law_place_of(law, &estimate->curve, seen->y_mV, solids, place);
    }
    chord_mL = sd_mV * place->slope_mL_per_mV;
    seen->weight_per_mL = 1.0f / sqrtf(variance + squared(chord_mL));
    return read_mL - place->volume_mL - place->slope_mL_per_mV * (datum->y_mV - seen->y_mV);
}

/* Residual of a datum, the curve there, and its weight. */
static float residual_mL(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                         struct seen *seen)
{
    struct place *place = &seen->place;
    if (law_layers(estimate->law) > 1)
        return on_branch_mL(estimate, datum, speed_mL_per_s, seen);
    seen->y_mV = datum->y_mV;
    law_place(estimate->law, &estimate->curve, datum->y_mV, place);
    seen->weight_per_mL = 1.0f / sqrtf(estimate_own_variance_mL2(estimate, datum, speed_mL_per_s, place->volume_mL));
    return datum->volume_mL - place->volume_mL - speed_mL_per_s * estimate->curve.lag_s;
}

static void add_data(struct estimate *estimate, const struct datum *data, int count, float speed_mL_per_s)
{
    for (int k = 0; k < count; k++) {
        struct seen seen;
        float gradient[MOST_UNKNOWNS];
        float residual = residual_mL(estimate, &data[k], speed_mL_per_s, &seen), weight = seen.weight_per_mL;

        estimate_gradient(estimate, seen.y_mV, speed_mL_per_s, &seen.place, gradient);
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

static float cost_of(const struct estimate *estimate, const struct datum *data, int count, float speed_mL_per_s)
{
    float total = 0.0f;
    for (int k = 0; k < count; k++) {
        struct seen seen;
        float residual = residual_mL(estimate, &data[k], speed_mL_per_s, &seen);
        total += squared(seen.weight_per_mL * residual);
    }
    return total;
}

float estimate_cost(const struct estimate *estimate, const struct data *data, int but)
{
    float total = 0.0f;
    for (int k = 0; k < estimate->size; k++)
        if (k != but)
            total += squared((estimate->x[k] - estimate->prior[k]) / estimate->prior_sd[k]);
    return total + cost_of(estimate, data->at_rest, data->at_rest_count, 0.0f) +
           cost_of(estimate, data->passing, data->passing_count, data->speed_mL_per_s);
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
