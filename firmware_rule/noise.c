#include "noise.h"

#include <math.h>

/* The stated noise counts for this many degrees of freedom beside what is measured. */
static const float PRIOR_FREEDOM = 3.0f;
/* Correlation times weighed. */
static const float CORRELATION_TIMES_S[] = {0.04f, 0.08f, 0.15f, 0.3f, 0.5f, 0.8f, 1.2f, 1.7f, 2.3f};
enum { TIMES_COUNT = 9 };

static float squared(float value)
{
    return value * value;
}

/* What one correlation time says, and the logarithm of how well. */
struct weighed {
    float log_weight;
    float variance_mV2;
    float slow_variance_mV2;
    float independent;
};

static struct weighed weigh(const struct observed *seen, float fresh_mV2, const struct residuals *residuals,
                            float time_s)
{
    float n = fmaxf(seen->per_block, 1.0f), freedom = fmaxf(seen->freedom, 1.0f);
    float rho = expf(-seen->interval_s / time_s);
    float gap = 1.0f - rho, power = powf(rho, n), cube = n * n * gap * gap * gap;
    float slow = (1.0f + rho) / (gap * gap); /* long-run variance of one reading over the fresh variance */
    float block = slow / n - 2.0f * rho * (1.0f - power) / cube; /* of a block average, likewise */
    float phi = fminf(rho * squared(1.0f - power) / (cube * block), 0.99f); /* of neighbouring averages */
    float spread = fresh_mV2 * block * (1.0f - phi * phi);
    /* The fit takes up as many slow modes as it has parameters; whitened, each counts like any other. */
    float misfit = (residuals->squares - 2.0f * phi * residuals->products + phi * phi * residuals->inner) / spread;
    float as_stated = 0.5f * logf(fresh_mV2 / gap / seen->stated_variance_mV2) / 0.4f;
    struct weighed out;
    out.log_weight = -0.5f * (freedom * logf(spread / seen->stated_variance_mV2) + misfit) -
                     squared(seen->opposed - 0.5f * gap) * seen->differences / 1.5f - 0.5f * squared(as_stated);
    out.variance_mV2 = fresh_mV2 / gap;
    out.slow_variance_mV2 = fresh_mV2 * slow;
    out.independent = fmaxf(freedom * (1.0f - phi) / (1.0f + phi), 1.0f);
    return out;
}

/* Weigh correlation times by the likelihood of differences, block residuals and stated noise. */
static struct noise correlated(const struct observed *seen, float fresh_mV2, const struct residuals *residuals)
{
    struct weighed found[TIMES_COUNT];
    float best = -INFINITY, total = 0.0f, variance_mV2 = 0.0f, slow_mV2 = 0.0f, independent = 0.0f;

    for (int k = 0; k < TIMES_COUNT; k++) {
        found[k] = weigh(seen, fresh_mV2, residuals, CORRELATION_TIMES_S[k]);
        best = fmaxf(best, found[k].log_weight);
    }
    for (int k = 0; k < TIMES_COUNT; k++) {
        float weight = expf(found[k].log_weight - best);
        total += weight;
        variance_mV2 += weight * found[k].variance_mV2;
        slow_mV2 += weight * found[k].slow_variance_mV2;
        independent += weight * found[k].independent;
    }
    variance_mV2 = fmaxf(variance_mV2 / total, 0.25f * seen->stated_variance_mV2);
    variance_mV2 = fminf(variance_mV2, 4.0f * seen->stated_variance_mV2);
    struct noise noise = {sqrtf(variance_mV2), slow_mV2 / total, PRIOR_FREEDOM + independent / total + 50.0f, true};
    return noise;
}

struct noise measure_noise(const struct observed *seen, const struct blocks *blocks, float response_s)
{
    float counted = 0.67f * seen->differences, stated_mV2 = seen->stated_variance_mV2;
    float total = PRIOR_FREEDOM + counted + seen->freedom, freedom = fmaxf(seen->freedom, 1.0f);
    float white_mV2 =
        (PRIOR_FREEDOM * stated_mV2 + counted * seen->fresh_variance_mV2 + seen->sum_of_squares_mV2) / total;
    /* Differences alone, the stated noise counted lightly: a block residual must not make its own yardstick. */
    float fresh_mV2 = (0.5f * stated_mV2 + counted * seen->fresh_variance_mV2) / (0.5f + counted);
    float ratio = seen->sum_of_squares_mV2 / (freedom * fresh_mV2);
    float spread = sqrtf(2.0f / freedom + 2.0f / (1.0f + counted));
    float unlike_white = (0.5f - seen->opposed) * sqrtf(2.0f * fmaxf(seen->differences, 1.0f));

    if (seen->freedom < 1.0f || (ratio <= 1.0f + 1.3f * spread && unlike_white <= 1.6f)) {
        struct noise noise = {sqrtf(white_mV2), white_mV2, total, false};
        return noise;
    }
    struct residuals residuals = residual_products(blocks, response_s);
    return correlated(seen, fresh_mV2, &residuals);
}
