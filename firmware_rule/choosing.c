/* Where the rule goes next: the second half of titrator/control/increments/foreseeing.py. */
#include <math.h>
#include <stddef.h>

#include "corner.h"
#include "recall.h"
#include "rule.h"

/* Standard deviations that a flight stays away from the earliest place of the jump, and a reading from the jump; the
 * most that is left of the distance to one that is badly known. */
static const float SURE = 2.2f, SAFE = 2.3f, CREEP = 0.7f;
/* An amount less well known is profiled. */
static const float KNOWN_LN_SD = 0.15f;
/* Rise of the sum of squares that rules an amount out. */
static const float UNLIKELY = 5.0f;
/* The electrode answers alike within so many times what is close. */
static const float ALIKE = 3.0f;
/* A shallow jump is read so many of its widths before it. */
static const float FLANK = 3.0f;
/* The branch behind the last jump is read at one of these multiples of the least distance. */
static const float ANCHORS[] = {1.0f, 2.0f, 4.0f, 8.0f};
enum { MOST_ANCHORS = 4 };
/* So many readings at rest lie before a jump; so many places about it are looked at. */
enum { BEFORE = 4, MOST_PLACES = 16 };
/* In mid-jump a reading may err by so much. */
static const float MOST_mV = 5.0f;
/* A flight ends this share of the amount before the jump. */
static const float LANDING = 0.06f;
/* Beyond so many of the least additions, whole ones of these; else whole ones of the finest. */
static const float COARSE = 10.0f;
/* Behind a corner may be unmixed this share of the way from it. */
static const float PASSED = 0.4f;
/* A place at the very edge of what is close counts as close, whatever the last bit says. */
static const float EDGE = 1.001f;

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

/* Places to go to: from `first_mL` on, those numbered `from` to `to`, `apart_mL` from each other, or as many `times` that. */
struct places {
    float first_mL;
    float apart_mL;
    const float *times; /* none: as numbered */
    int from;
    int to;
};

/* Places about the jump ahead of here, the least addition apart. */
static struct places close_places(const struct rule_state *state, const struct plan *plan, float here_mL, float jump_mL)
{
    float finest_mL = plan->settings.finest_mL, end_mL = jump_mL + zone_mL(state, plan);
    struct places places = {here_mL + finest_mL, finest_mL, NULL, 0, 0};
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

/* The next reading at rest before a corner, or behind it. */
static struct step to_corner(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate)
{
    const struct datum *here = &state->points[state->points_count - 1];
    const struct corner corner = corner_of(estimate, state->jump);
    float zone = zone_mL(state, plan), away_mL = corner.volume_mL - here->volume_mL;
    float next_mL = corner_next_mL(&corner, here->volume_mL, zone, apart_mL(plan), plan->settings.near - state->near,
                                   plan->before.volume_sd_mL);
    if (next_mL < 0.0f) {
        float behind_mL = fmaxf(0.0f, -away_mL) + anchor_mL(state, plan, estimate), far_mV = plan->settings.far_mV;
        return forecast_step(plan, away_mL + behind_mL, away_mL + behind_mL, far_mV, PASSED * behind_mL / far_mV);
    }
    float before_mL = corner.volume_mL - next_mL, addition_mL = next_mL - here->volume_mL;
    float slope = fmaxf(before_mL, corner.sd_mL) / estimate->curve.slopes_mV[state->jump];
    float needs = needs_mV(state, plan, estimate, before_mL, corner.sd_mL);
    struct step step = forecast_step(plan, addition_mL, addition_mL, needs, slope);
    step.enough.alike = away_mL < ALIKE * zone;
    return step;
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
    bool last = false;
    struct design design;
    struct prospect found = {0};

    design_begin(&design, estimate, state->jump, here, &plan->costs);
    if (away_mL > 0.0f && (safe_mL > zone || away_mL > 2.0f * zone)) {
        float flank_mL = FLANK * state->width_mL;
        float short_mL = fmaxf(fmaxf(safe_mL, zone), away_mL > 2.0f * flank_mL ? flank_mL : 0.0f);
        places.first_mL = jump_mL - fminf(short_mL, CREEP * away_mL);
    } else if (state->behind >= 2 && (state->near >= settings->near || away_mL < -zone)) {
        last = state->jump + 1 == plan->sought; /* farther behind another one the next might lie */
        places = (struct places){jump_mL, anchor_mL(state, plan, estimate), ANCHORS, 0, last ? MOST_ANCHORS - 1 : 0};
    } else if (away_mL < -zone) { /* the jump was passed by: what lies behind it still tells */
        places.first_mL = jump_mL - 1.6f * away_mL;
    } else {
        places = close_places(state, plan, here->volume_mL, jump_mL);
        design_with_anchor(&design, anchor_mL(state, plan, estimate), 0.5f * settings->far_mV);
    }
    for (int k = places.from; k <= places.to; k++) {
        float times = places.times ? places.times[k] : (float)k;
        float volume_mL = fmaxf(places.first_mL + times * places.apart_mL, here->volume_mL + settings->finest_mL);
        float needs = needs_mV(state, plan, estimate, volume_mL - jump_mL, sd_mL);
        struct prospect each = design_prospect(&design, volume_mL, needs);
        bool better = last ? variance_left(&each) < variance_left(&found) : gain_per_s(&each) > gain_per_s(&found);
        if (k == places.from || better)
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
        if (state->flying)
            step = fly(state, plan, &estimate);
        else
            step = (cornered(state, plan) ? to_corner : approach)(state, plan, &estimate);
    }
    step.addition_mL = whole_mL(plan, step.addition_mL);
    return step;
}
