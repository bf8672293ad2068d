#include "rule.h"

#include <math.h>

#include "corner.h"
#include "recall.h"

/* An electrode that has moved by fewer times the noise since the beginning is looked at at rest. */
static const float ANSWER = 4.0f;
/* Lags after which mixing and electrode follow at a constant distance. */
static const float ESTABLISHED = 2.5f;
/* A flight is over once the amount is known to this share. */
static const float LANDED_LN_SD = 0.06f;
/* Mean square of residuals over variances beyond which the law is not that of the curve. */
static const float CREDIBLE = 4.0f;
/* Standard deviations off what was foreseen: two such points, or one, hand the run over. */
static const float STRANGE = 5.0f, VERY_STRANGE = 12.0f;
/* Share of a remainder by which the tail of a settling may err as a law. */
static const float LAW_SHARE = 0.03f;
/* So many readings at rest lie behind a jump. */
enum { AFTER = 3 };
/* So many readings behind a corner see that it is one. */
enum { BEHIND_CORNER = 2 };

static float squared(float value)
{
    return value * value;
}

bool rule_begin(struct rule_state *state, const struct plan *plan)
{
    const struct rule_state empty = {.flying = 1, .answered = 1};
    struct estimate estimate;

    if (!law_fits(&plan->law) || estimate_size(&plan->law) > MOST_UNKNOWNS)
        return false;
    *state = empty;
    state->leg_mL = plan->settings.fallback.first_mL / 2.0f;
    state->width_mL = plan->settings.finest_mL;
    estimate_begin(&estimate, &plan->law, &plan->before, 0);
    for (int k = 0; k < estimate.size; k++)
        state->x[k] = estimate.x[k];
    return true;
}

/* Variance of what is foreseen of a datum's volume at a place of the curve, mL². */
static float foreseen_variance_mL2(const struct estimate *estimate, const struct datum *datum,
                                   const struct place *place)
{
    float gradient[MOST_UNKNOWNS];
    estimate_gradient(estimate, datum->y_mV, 0.0f, place, gradient);
    return estimate_own_variance_mL2(estimate, datum, 0.0f, place->volume_mL) + estimate_variance(estimate, gradient);
}

/* How far the new point lies from what was foreseen, by its volume and by its potential: the less counts. */
static void judge(struct rule_state *state, const struct estimate *estimate, const struct datum *datum)
{
    struct datum there = *datum;
    struct place place;

    law_place(estimate->law, &estimate->curve, datum->y_mV, &place);
    float away = fabsf(datum->volume_mL - place.volume_mL) / sqrtf(foreseen_variance_mL2(estimate, datum, &place));
    if (away > STRANGE) {
        there.y_mV = potential_at(estimate, datum->volume_mL, datum->y_mV, &place);
        float by_potential_mL = fabsf(datum->y_mV - there.y_mV) * place.slope_mL_per_mV;
        away = fminf(away, by_potential_mL / sqrtf(foreseen_variance_mL2(estimate, &there, &place)));
    }
    if (away > STRANGE)
        state->strange++;
    if (away > VERY_STRANGE || state->strange >= 2)
        state->handed_over = OFF_WHAT_WAS_FORESEEN;
}

static void append(struct datum *data, uint8_t *count, int most, const struct datum *datum)
{
    if (*count == most) {
        for (int k = 0; k + 1 < most; k++)
            data[k] = data[k + 1];
        --*count;
    }
    data[(*count)++] = *datum;
}

/* Recount the points about the jump, which the newest point may have moved. */
static void count_points(struct rule_state *state, const struct plan *plan, const struct estimate *estimate,
                         const struct datum *datum)
{
    float jump_mL = estimate_point_mL(estimate, state->jump), zone = zone_mL(state, plan);

    bool at_corner = cornered(state, plan);
    int solids = law_layers(&plan->law);

    state->behind = state->near = 0;
    for (int k = 0; k < state->points_count; k++) {
        float volume_mL = state->points[k].volume_mL, away_mL = volume_mL - jump_mL;
        bool behind = at_corner ? layers_at(&estimate->layers, solids, volume_mL) > state->jump + 1 : away_mL > 0.0f;
        state->behind = (uint8_t)(state->behind + behind);
        state->near = (uint8_t)(state->near + (fabsf(away_mL) <= zone && !(at_corner && behind)));
    }
    bool done = state->behind >= AFTER && datum->volume_mL - jump_mL >= 0.6f * anchor_mL(state, plan, estimate);
    if (at_corner)
        done = state->behind >= BEHIND_CORNER;
    if (!done)
        return;
    if (estimate->misfit > CREDIBLE * (float)state->points_count) {
        state->handed_over = OFF_THE_LAW;
    } else if (state->jump + 1 < plan->sought) {
        state->jump++;
        state->flying = 1;
        state->passing_count = state->fitted_passing = 0;
        state->leg_mL = plan->settings.fallback.first_mL / 2.0f;
    } else {
        state->enough = 1;
    }
}

void rule_add_point(struct rule_state *state, const struct plan *plan, const struct point *point)
{
    struct estimate estimate;
    struct datum datum = {point->volume_mL, plan->sign * (point->potential_mV + point->lacking_mV),
                          sqrtf(squared(point->sd_mV) + squared(point->lacking_sd_mV) +
                                squared(LAW_SHARE * point->lacking_mV))};

    adaptive_add_point(&state->adaptive, state->recent_count, point->volume_mL, point->potential_mV, point->sd_mV);
    state->recent_count = (uint8_t)(state->recent_count < RECENT ? state->recent_count + 1 : RECENT);
    state->here_mL = point->volume_mL;
    if (state->handed_over)
        return;
    recall(state, plan, &estimate);
    if (state->points_count >= 2 && law_layers(&plan->law) == 1) /* a corner ahead is foreseen by no derivative */
        judge(state, &estimate, &datum);
    append(state->points, &state->points_count, KEPT, &datum);
    if (datum.volume_mL <= 0.0f || state->handed_over)
        return;

    struct data data = data_of(state, plan, state->passing_count);
    if (data.at_rest_count >= 3 && !state->flying)
        data.passing_count = 0;
    estimate_fit(&estimate, &data);
    remember(state, &estimate, &data);
    if (estimate.misfit > VERY_STRANGE * (float)state->points_count) {
        state->handed_over = OFF_THE_LAW;
        return;
    }
    if (state->flying && estimate_ln_sd(&estimate, state->jump) < LANDED_LN_SD)
        state->flying = 0;
    state->leg_mL = plan->settings.fallback.first_mL;

    if (cornered(state, plan)) {
        state->width_mL = corner_of(&estimate, state->jump).width_mL;
    } else {
        struct place place;
        potential_at(&estimate, estimate_point_mL(&estimate, state->jump), datum.y_mV, &place);
        state->width_mL = place.slope_mL_per_mV * estimate.curve.slopes_mV[0];
    }
    count_points(state, plan, &estimate, &datum);
}

void rule_add_passing(struct rule_state *state, const struct plan *plan, const struct passing *passing)
{
    struct datum datum = {passing->volume_mL, plan->sign * passing->potential_mV, fmaxf(passing->sd_mV, 0.1f)};

    if (state->handed_over)
        return;
    state->here_mL = passing->reached_mL;
    float lag_mL = expf(state->x[estimate_size(&plan->law) - 1]) * plan->costs.speed_mL_per_s;
    if (passing->volume_mL - state->points[state->points_count - 1].volume_mL < ESTABLISHED * lag_mL)
        return;
    state->answered = datum.y_mV - state->points[0].y_mV > ANSWER * plan->costs.noise_mV;
    append(state->passing, &state->passing_count, KEPT_PASSING, &datum);
}
