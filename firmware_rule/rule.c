#include "rule.h"

#include <math.h>

/* Standard deviations that a flight stays away from the earliest place of the jump, and a reading from the jump; the most
 * that is left of the distance to one that is badly known. */
static const float SURE = 2.2f, SAFE = 2.3f, CREEP = 0.7f;
/* An electrode that has moved by fewer times the noise since the beginning is looked at at rest. */
static const float ANSWER = 4.0f;
/* Lags after which mixing and electrode follow at a constant distance. */
static const float ESTABLISHED = 2.5f;
/* A flight is over once the amount is known to this share. */
static const float LANDED_LN_SD = 0.06f;
/* An amount less well known is profiled. */
static const float KNOWN_LN_SD = 0.15f;
/* Rise of the sum of squares that rules an amount out. */
static const float UNLIKELY = 5.0f;
/* Close: so many standard deviations of the burette; the branch behind and a like answer in times of that. */
static const float CLOSE = 20.0f, ANCHOR = 3.0f, ALIKE = 3.0f;
/* Share of the amount behind the jump where its curve is flat again. */
static const float BRANCH = 0.012f;
/* A shallow jump is read so many of its widths before it and behind it. */
static const float FLANK = 3.0f, BEHIND = 15.0f;
/* So many readings at rest lie on either side of a jump. */
enum { BEFORE = 4, AFTER = 3 };
enum { MOST_PLACES = 16 };
/* In mid-jump a reading may err by so much. */
static const float MOST_mV = 5.0f;
/* A flight ends this share of the amount before the jump. */
static const float LANDING = 0.06f;
/* Mean square of residuals over variances beyond which the law is not that of the curve. */
static const float CREDIBLE = 4.0f;
/* Beyond so many of the least additions, whole ones of these; else whole ones of the finest. */
static const float COARSE = 10.0f;
/* A place at the very edge of what is close counts as close, whatever the last bit says. */
static const float EDGE = 1.001f;
/* Standard deviations off what was foreseen: two such points, or one, hand the run over. */
static const float STRANGE = 5.0f, VERY_STRANGE = 12.0f;
/* Share of a remainder by which the tail of a settling may err as a law. */
static const float LAW_SHARE = 0.03f;

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

/* ------------------------------------------------------------------------------------------ the estimate */

/* What a fit takes. The initial point lies at volume 0 and tells nothing of the law. */
static struct data data_of(const struct rule_state *state, const struct plan *plan, int passing_count)
{
    int initial = state->points_count && state->points[0].volume_mL == 0.0f;
    struct data data = {state->points + initial, state->passing, state->points_count - initial,
                        passing_count, plan->costs.speed_mL_per_s};
    return data;
}

/* The estimate as the last fit left it. */
static void recall(const struct rule_state *state, const struct plan *plan, struct estimate *estimate)
{
    struct data data = data_of(state, plan, state->fitted_passing);
    estimate_begin(estimate, &plan->law, &plan->before, state->x);
    estimate_weigh(estimate, &data);
}

static void remember(struct rule_state *state, const struct estimate *estimate, const struct data *data)
{
    for (int k = 0; k < estimate->size; k++)
        state->x[k] = estimate->x[k];
    state->fitted_passing = (uint8_t)data->passing_count;
}

static float zone_mL(const struct rule_state *state, const struct plan *plan)
{
    float close_mL = fmaxf(CLOSE * plan->before.volume_sd_mL, 3.0f * plan->settings.finest_mL);
    return fmaxf(close_mL, state->width_mL);
}

/* How far behind the jump the branch behind is read. */
static float anchor_mL(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate)
{
    float flat_mL = BRANCH * estimate->curve.amounts_mL[state->jump];
    return fmaxf(fmaxf(ANCHOR * zone_mL(state, plan), flat_mL), BEHIND * state->width_mL);
}

/* The error that serves on a branch. */
static float branch_mV(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate)
{
    const struct rule_settings *settings = &plan->settings;
    float worth_mV =
        settings->patience * plan->before.volume_sd_mL * estimate->curve.slopes_mV[0] / state->width_mL;
    return fmaxf(0.8f * plan->costs.noise_mV, fminf(settings->far_mV, worth_mV));
}

/* The error of a reading that serves at a distance from the jump, itself known to `sd_mL`. */
static float needs_mV(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate,
                      float distance_mL, float sd_mL)
{
    if (fabsf(distance_mL) > EDGE * zone_mL(state, plan))
        return branch_mV(state, plan, estimate);
    float worth_mV = plan->settings.patience * plan->before.volume_sd_mL * estimate->curve.slopes_mV[0] /
                     (fabsf(distance_mL) + sd_mL + state->width_mL);
    return fmaxf(0.8f * plan->costs.noise_mV, fminf(worth_mV, MOST_mV));
}

/* ------------------------------------------------------------------------------------------ learning */

/* Variance of what is foreseen of a datum's volume at a place of the curve, mL². */
static float foreseen_variance_mL2(const struct estimate *estimate, const struct datum *datum, const struct place *place)
{
    float gradient[MOST_UNKNOWNS];
    estimate_gradient(estimate, datum->y_mV, 0.0f, place, gradient);
    return estimate_own_variance_mL2(estimate, datum, 0.0f, place) + estimate_variance(estimate, gradient);
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

    state->behind = state->near = 0;
    for (int k = 0; k < state->points_count; k++) {
        float away_mL = state->points[k].volume_mL - jump_mL;
        state->behind = (uint8_t)(state->behind + (away_mL > 0.0f));
        state->near = (uint8_t)(state->near + (fabsf(away_mL) <= zone));
    }
    bool done = state->behind >= AFTER && datum->volume_mL - jump_mL >= 0.6f * anchor_mL(state, plan, estimate);
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

    struct place place;
    potential_at(&estimate, estimate_point_mL(&estimate, state->jump), datum.y_mV, &place);
    state->width_mL = place.slope_mL_per_mV * estimate.curve.slopes_mV[0];
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

/* ------------------------------------------------------------------------------------------ choosing */

/* Whole smallest additions: the last digits of an estimate decide nothing. */
static float whole_mL(const struct plan *plan, float addition_mL)
{
    float least_mL = plan->settings.fallback.least_mL;
    float unit_mL = addition_mL > COARSE * least_mL ? least_mL : plan->settings.finest_mL;
    return unit_mL * fmaxf(1.0f, rintf(addition_mL / unit_mL));
}

static struct step adaptive_step(const struct rule_state *state, const struct plan *plan)
{
    struct step step = {0};
    step.addition_mL = adaptive_addition_mL(&state->adaptive, state->recent_count, &plan->settings.fallback,
                                            plan->settings.random_error_mL);
    return step;
}

/* A reading that is forecast once what is not yet mixed moves it by less than it may err. */
static struct step forecast_step(const struct plan *plan, float addition_mL, float unmixed_of_mL, float needs,
                                 float slope_mL_per_mV)
{
    struct step step = {0};
    float unmixed_mL = fminf(unmixed_of_mL, plan->costs.speed_mL_per_s * plan->costs.mixing_s);
    float allowed_mL = 0.5f * needs * slope_mL_per_mV + 0.2f * plan->before.volume_sd_mL;
    step.addition_mL = addition_mL;
    step.enough.error_mV = needs;
    step.enough.mixing_times = 1.1f * logf(fmaxf(1.0f, unmixed_mL / allowed_mL));
    return step;
}

/* Where the jump may lie at the earliest. */
static float earliest_mL(struct rule_state *state, const struct plan *plan, struct estimate *estimate)
{
    int jump = state->jump;
    float least_mL = INFINITY;

    if (state->passing_count) {
        struct data data = data_of(state, plan, state->passing_count);
        if (estimate_ln_sd(estimate, jump) > KNOWN_LN_SD) {
            float most_mL = 8.0f * plan->before.amounts_mL[jump];
            float from_mL = fmaxf(1.03f * (state->here_mL - estimate_before_mL(estimate, jump)), 0.01f * most_mL);
            least_mL = estimate_earliest_mL(estimate, jump, &data, from_mL, most_mL, UNLIKELY);
        }
        estimate_fit(estimate, &data);
        remember(state, estimate, &data);
    }
    float likely_mL = estimate->curve.amounts_mL[jump] * expf(-SURE * estimate_ln_sd(estimate, jump));
    return estimate_before_mL(estimate, jump) + fminf(least_mL, likely_mL);
}

static struct step fly(struct rule_state *state, const struct plan *plan, struct estimate *estimate)
{
    const struct rule_settings *settings = &plan->settings;
    float low_mL = earliest_mL(state, plan, estimate);
    float amount_mL = estimate->curve.amounts_mL[state->jump];
    float passed_mL = estimate_before_mL(estimate, state->jump);
    float left_mL = low_mL - LANDING * (low_mL - passed_mL) - state->here_mL;
    float last_mL = state->points[state->points_count - 1].volume_mL;

    state->leg_mL = fminf(2.0f * state->leg_mL, fmaxf(left_mL, 0.0f));
    bool last = left_mL < 0.03f * amount_mL || state->leg_mL < settings->fallback.first_mL || !state->answered;
    if (last && state->here_mL <= last_mL && last_mL > 0.0f) {
        struct step step = adaptive_step(state, plan);
        step.enough.error_mV = settings->far_mV;
        return step;
    }
    if (last) {
        float slope = LANDING * amount_mL / estimate->curve.slopes_mV[0];
        /* Of a long delivery what a second brings is unmixed. */
        float needs = state->jump ? branch_mV(state, plan, estimate) : settings->far_mV;
        float leg_mL = fmaxf(state->leg_mL, settings->fallback.least_mL);
        return forecast_step(plan, leg_mL, plan->costs.speed_mL_per_s, needs, slope);
    }
    struct step step = {0};
    step.addition_mL = state->leg_mL;
    step.passing = true;
    return step;
}

/* Places to go to: from `first_mL` on, those numbered `from` to `to`, `apart_mL` from each other. */
struct places {
    float first_mL;
    float apart_mL;
    int from;
    int to;
};

/* Places about the jump ahead of here, the least addition apart. */
static struct places close_places(const struct rule_state *state, const struct plan *plan, float here_mL, float jump_mL)
{
    float finest_mL = plan->settings.finest_mL, end_mL = jump_mL + zone_mL(state, plan);
    struct places places = {here_mL + finest_mL, finest_mL, 0, 0};
    int beyond = 0; /* the first place behind the jump */

    while (places.first_mL + (float)(places.to + 1) * finest_mL < end_mL && places.to + 1 < MOST_PLACES)
        places.to++;
    while (beyond <= places.to && places.first_mL + (float)beyond * finest_mL < jump_mL)
        beyond++;
    if (state->points_count - state->behind < BEFORE)
        places.to = beyond > 0 ? beyond - 1 : 0;
    else if (state->near >= plan->settings.near - 2) /* enough of them before the jump */
        places.from = beyond <= places.to ? beyond : places.to;
    return places;
}

/* The next reading at rest: nearer, about the jump, or behind it. */
static struct step approach(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate)
{
    const struct rule_settings *settings = &plan->settings;
    const struct datum *here = &state->points[state->points_count - 1];
    float jump_mL = estimate_point_mL(estimate, state->jump), sd_mL = estimate_point_sd_mL(estimate, state->jump);
    float away_mL = jump_mL - here->volume_mL, zone = zone_mL(state, plan);
    float safe_mL = SAFE * sd_mL + 0.01f * fmaxf(away_mL, 0.0f);
    struct places places = {0};
    struct design design;
    struct prospect found = {0};

    design_begin(&design, estimate, state->jump, here, &plan->costs);
    if (away_mL > 0.0f && (safe_mL > zone || away_mL > 2.0f * zone)) {
        float flank_mL = FLANK * state->width_mL;
        float short_mL = fmaxf(fmaxf(safe_mL, zone), away_mL > 2.0f * flank_mL ? flank_mL : 0.0f);
        places.first_mL = jump_mL - fminf(short_mL, CREEP * away_mL);
    } else if (state->behind >= 2 && (state->near >= settings->near || away_mL < -zone)) {
        places.first_mL = jump_mL + anchor_mL(state, plan, estimate);
    } else if (away_mL < -zone) { /* the jump was passed by: what lies behind it still tells */
        places.first_mL = jump_mL - 1.6f * away_mL;
    } else {
        places = close_places(state, plan, here->volume_mL, jump_mL);
        design_with_anchor(&design, anchor_mL(state, plan, estimate), 0.5f * settings->far_mV);
    }
    for (int k = places.from; k <= places.to; k++) {
        float volume_mL = fmaxf(places.first_mL + (float)k * places.apart_mL, here->volume_mL + settings->finest_mL);
        float needs = needs_mV(state, plan, estimate, volume_mL - jump_mL, sd_mL);
        struct prospect each = design_prospect(&design, volume_mL, needs);
        if (k == places.from || gain_per_s(&each) > gain_per_s(&found))
            found = each;
    }
    struct place place;
    law_place(estimate->law, &estimate->curve, found.y_mV, &place);
    float addition_mL = found.volume_mL - here->volume_mL;
    struct step step = forecast_step(plan, addition_mL, addition_mL, found.enough_mV, place.slope_mL_per_mV);
    step.enough.alike = fmaxf(fabsf(away_mL), fabsf(found.volume_mL - jump_mL)) < ALIKE * zone;
    return step;
}

struct step rule_next_step(struct rule_state *state, const struct plan *plan)
{
    struct step step;
    if (state->handed_over) {
        step = adaptive_step(state, plan);
    } else {
        struct estimate estimate;
        recall(state, plan, &estimate);
        step = state->flying ? fly(state, plan, &estimate) : approach(state, plan, &estimate);
    }
    step.addition_mL = whole_mL(plan, step.addition_mL);
    return step;
}
