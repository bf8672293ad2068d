/* How the estimate finds its unknowns: the second half of titrator/control/foresight/estimate.py. */
#include <math.h>

#include "estimate.h"

/* Mean square of residuals and priors over variances above which a corner is sought among the newest readings. */
static const float SUSPECT = 1.5f;
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

static void descend(struct estimate *estimate, const struct data *data)
{
    for (int round = 0; round < ROUNDS; round++) {
        float step[MOST_UNKNOWNS];
        estimate_weigh(estimate, data);
        triangle_solve(&estimate->triangle, step);
        float scale = shortened(estimate, step);
        for (int k = 0; k < estimate->size; k++)
            estimate->x[k] += scale * step[k];
        estimate_draw(estimate);
        /* The step's length in standard deviations is that of z. */
        if (scale == 1.0f && dot(estimate->triangle.z, estimate->triangle.z, estimate->size) < SMALL * SMALL)
            break;
    }
    estimate_weigh(estimate, data);
}

/* Fit with the readings parted into layers in each of these ways, and keep what fits best. */
static void choose(struct estimate *estimate, const struct data *data, const struct layers *partings, int count)
{
    float least = INFINITY, start[MOST_UNKNOWNS], best[MOST_UNKNOWNS];
    struct layers kept = estimate->layers;

    for (int i = 0; i < estimate->size; i++)
        start[i] = best[i] = estimate->x[i];
    for (int k = 0; k < count; k++) {
        for (int i = 0; i < estimate->size; i++)
            estimate->x[i] = start[i];
        estimate->layers = partings[k];
        estimate_draw(estimate);
        descend(estimate, data);
        float here = estimate_cost(estimate, data, -1);
        if (here < least) {
            least = here;
            kept = partings[k];
            for (int i = 0; i < estimate->size; i++)
                best[i] = estimate->x[i];
        }
    }
    for (int i = 0; i < estimate->size; i++)
        estimate->x[i] = best[i];
    estimate->layers = kept;
    estimate_draw(estimate);
    descend(estimate, data);
}

/* The newest readings, in order of volume, of those behind the corner before the last one: how many. */
static int newest_of(const struct data *data, float open_mL, float *newest_mL)
{
    int count = 0;
    for (int k = 0; k < data->at_rest_count + data->passing_count; k++) {
        bool at_rest = k < data->at_rest_count;
        float volume_mL = at_rest ? data->at_rest[k].volume_mL : data->passing[k - data->at_rest_count].volume_mL;
        if (volume_mL <= open_mL || (count == NEWEST && volume_mL <= newest_mL[0]))
            continue;
        for (int i = 0; i + 1 < count && count == NEWEST; i++)
            newest_mL[i] = newest_mL[i + 1];
        if (count < NEWEST)
            count++;
        int at = count - 1;
        for (; at > 0 && newest_mL[at - 1] > volume_mL; at--)
            newest_mL[at] = newest_mL[at - 1];
        newest_mL[at] = volume_mL;
    }
    return count;
}

void estimate_fit(struct estimate *estimate, const struct data *data)
{
    int solids = law_layers(estimate->law);
    float newest_mL[NEWEST], all = (float)(data->at_rest_count + data->passing_count);
    struct layers partings[MOST_PARTINGS];
    int count = newest_of(data, layers_open_mL(&estimate->layers), newest_mL);

    if (!layers_unassigned(&estimate->layers, solids, count ? newest_mL[count - 1] : 0.0f)) {
        descend(estimate, data);
        return;
    }
    choose(estimate, data, partings, layers_with_newest(&estimate->layers, solids, partings));
    if (estimate_cost(estimate, data, -1) > SUSPECT * (2.0f + all)) {
        count = newest_of(data, layers_open_mL(&estimate->layers), newest_mL);
        choose(estimate, data, partings, layers_moved(&estimate->layers, solids, newest_mL, count, partings));
    }
}

static void hold(struct estimate *estimate, int number, float ln_amount)
{
    estimate->prior[number] = estimate->x[number] = ln_amount;
    estimate->prior_sd[number] = HELD;
    estimate_draw(estimate);
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
        costs[tried] = estimate_cost(estimate, data, number) + squared((estimate->x[number] - mean) / sd);
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
    estimate_draw(estimate);
    estimate_fit(estimate, data);
    return passed_mL(estimate, number, costs, tried, from_mL, estimate_cost(estimate, data, -1), sqrtf(worse));
}
