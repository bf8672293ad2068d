#include "recall.h"

#include <math.h>

/* Close: so many standard deviations of the burette; the branch behind in times of that. */
static const float CLOSE = 20.0f, ANCHOR = 3.0f;
/* Share of the amount behind the jump where its curve is flat again. */
static const float BRANCH = 0.012f;
/* A shallow jump is read at least so many of its widths behind it; so many count as close to it. */
static const float BEHIND = 15.0f, WIDE = 2.5f;
/* Before the corner where another solid sets in, points lie so many standard deviations of the burette apart. */
static const float CORNER = 5.0f;

/* What a fit takes. The initial point lies at volume 0 and tells nothing of the law. */
struct data data_of(const struct rule_state *state, const struct plan *plan, int passing_count)
{
    int initial = state->points_count && state->points[0].volume_mL == 0.0f;
    struct data data = {state->points + initial, state->passing, state->points_count - initial,
                        passing_count, plan->costs.speed_mL_per_s};
    return data;
}

/* The estimate as the last fit left it. */
void recall(const struct rule_state *state, const struct plan *plan, struct estimate *estimate)
{
    struct data data = data_of(state, plan, state->fitted_passing);
    estimate_begin(estimate, &plan->law, &plan->before, state->x);
    estimate->layers = state->layers;
    estimate_weigh(estimate, &data);
}

void remember(struct rule_state *state, const struct estimate *estimate, const struct data *data)
{
    for (int k = 0; k < estimate->size; k++)
        state->x[k] = estimate->x[k];
    state->layers = estimate->layers;
    state->fitted_passing = (uint8_t)data->passing_count;
}

bool cornered(const struct rule_state *state, const struct plan *plan)
{
    return state->jump + 1 < law_layers(&plan->law);
}

float apart_mL(const struct plan *plan)
{
    return fmaxf(plan->settings.finest_mL, CORNER * plan->before.volume_sd_mL);
}

float zone_mL(const struct rule_state *state, const struct plan *plan)
{
    if (cornered(state, plan))
        return (float)plan->settings.near * apart_mL(plan) + state->width_mL;
    float close_mL = fmaxf(CLOSE * plan->before.volume_sd_mL, 3.0f * plan->settings.finest_mL);
    return fmaxf(close_mL, WIDE * state->width_mL);
}

/* How far behind the jump the branch behind is read at least. */
float anchor_mL(const struct rule_state *state, const struct plan *plan, const struct estimate *estimate)
{
    float flat_mL = BRANCH * estimate->curve.amounts_mL[state->jump];
    return fmaxf(fmaxf(ANCHOR * zone_mL(state, plan), flat_mL), BEHIND * state->width_mL);
}
