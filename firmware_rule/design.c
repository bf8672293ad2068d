#include "design.h"

#include <math.h>

/* Counted for each reading beside its time. */
static const float OVERHEAD_S = 25.0f;
/* Readings behind mixing from which a tail can be told at all. */
static const float LEAST_WAIT_S = 2.5f;
/* A tail is forecast from about so many times the error that the forecast may have. */
static const float FORESIGHT = 6.0f;
static const float MIXINGS = 2.0f;
/* About the time of a run before its last reading. */
static const float WHOLE_S = 200.0f;
/* Halvings of ±2000 mV down to the last bit of a potential. */
enum { HALVINGS = 36 };
static const float SPAN_mV = 2000.0f;
/* Share of the distance to the point by which a law may err, as in the estimate. */
static const float MISFIT = 0.002f;

float potential_at(const struct estimate *estimate, float volume_mL, float near_mV, struct place *place)
{
    float low = near_mV - SPAN_mV, high = near_mV + SPAN_mV;
    for (int k = 0; k < HALVINGS; k++) {
        float middle = 0.5f * (low + high);
        if (law_volume_mL(estimate->law, &estimate->curve, middle) < volume_mL)
            low = middle;
        else
            high = middle;
    }
    float y_mV = 0.5f * (low + high);
    law_place(estimate->law, &estimate->curve, y_mV, place);
    return y_mV;
}

static void look_from(struct design *design)
{
    float gradient[MOST_UNKNOWNS];
    estimate_point_gradient(design->estimate, design->number, gradient);
    triangle_towards(&design->triangle, gradient, design->point);
}

void design_begin(struct design *design, const struct estimate *estimate, int number, const struct datum *here,
                  const struct costs *costs)
{
    design->estimate = estimate;
    design->costs = costs;
    design->here = *here;
    design->number = number;
    design->triangle = estimate->triangle;
    look_from(design);
}

/* A reading at a volume: how it depends on the unknowns, its own standard deviation in mL, its potential. */
static float reading(const struct design *design, float volume_mL, float needs_mV, float *gradient, float *own_sd_mL)
{
    const struct estimate *estimate = design->estimate;
    struct place place;
    float y_mV = potential_at(estimate, volume_mL, design->here.y_mV, &place);
    float distance_mL = fabsf(volume_mL - estimate_point_mL(estimate, design->number));
    float share = fminf(1.0f, distance_mL / estimate->curve.amounts_mL[design->number]);
    float chord_mL = place.slope_mL_per_mV * hypotf(needs_mV, estimate->before->along_mV * share);
    float away_mL = MISFIT * distance_mL, volume_sd_mL = estimate->before->volume_sd_mL;

    estimate_gradient(estimate, y_mV, 0.0f, &place, gradient);
    *own_sd_mL = sqrtf(volume_sd_mL * volume_sd_mL + chord_mL * chord_mL + away_mL * away_mL);
    return y_mV;
}

void design_with_anchor(struct design *design, float distance_mL, float needs_mV)
{
    float gradient[MOST_UNKNOWNS], own_sd_mL;
    float volume_mL = estimate_point_mL(design->estimate, design->number) + distance_mL;
    reading(design, volume_mL, needs_mV, gradient, &own_sd_mL);
    for (int k = 0; k < design->estimate->size; k++)
        gradient[k] /= own_sd_mL;
    triangle_add(&design->triangle, gradient, 0.0f);
    look_from(design);
}

static float cost_s(const struct design *design, float volume_mL, float y_mV, float needs_mV)
{
    const struct costs *costs = design->costs;
    float settling_s = costs->response_s * log1pf(fabsf(y_mV - design->here.y_mV) / (FORESIGHT * needs_mV));
    float travel_s = (volume_mL - design->here.volume_mL) / costs->speed_mL_per_s;
    return OVERHEAD_S + travel_s + MIXINGS * costs->mixing_s + fmaxf(LEAST_WAIT_S, settling_s);
}

struct prospect design_prospect(const struct design *design, float volume_mL, float needs_mV)
{
    struct prospect out;
    float gradient[MOST_UNKNOWNS], towards[MOST_UNKNOWNS], own_sd_mL;
    int size = design->estimate->size;

    out.volume_mL = volume_mL;
    out.enough_mV = needs_mV;
    out.y_mV = reading(design, volume_mL, needs_mV, gradient, &own_sd_mL);
    triangle_towards(&design->triangle, gradient, towards);
    float shared = dot(towards, design->point, size);
    out.gain = shared * shared / (own_sd_mL * own_sd_mL + dot(towards, towards, size)) /
               dot(design->point, design->point, size);
    out.cost_s = cost_s(design, volume_mL, out.y_mV, needs_mV);
    return out;
}

float gain_per_s(const struct prospect *prospect)
{
    return prospect->gain / prospect->cost_s;
}

float variance_left(const struct prospect *prospect)
{
    return (1.0f - prospect->gain) * (WHOLE_S + prospect->cost_s);
}
