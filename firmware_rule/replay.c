/* A host's tool: decisions recorded from the Python rule, replayed through the C. Words in, one line a decision out.
 *
 * plan …      the numbers of `struct plan`, a new run begins
 * point …     volume_mL potential_mV sd_mV lacking_mV lacking_sd_mV
 * passing …   volume_mL potential_mV sd_mV reached_mL
 * step        prints: addition_mL error_mV mixing_times alike passing handed_over jump near behind
 * enough      prints whether the rule has what it sought
 * settling …  the numbers of `struct settling_settings`, a new titration begins
 * begin       error_mV (0: nothing but a settled reading serves) mixing_times alike; its time begins at 0; prints begin
 * reading     t_s potential_mV   } print what is logged: potential_mV sd_mV lacking_mV lacking_sd_mV
 * expire      t_s                }   remainder_bound_mV drift_mV_per_s waited_s readings settled
 * leg         a leg that is passed by begins, its time at 0
 * passes      t_s potential_mV
 * passed      end_s reached_mL speed_mL_per_s; prints: volume_mL potential_mV sd_mV readings, or none
 * sizes       prints a name and a size in bytes for each structure */
#include <float.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "rule.h"
#include "tail.h"

/* Were this host to reckon floats in more bits, the replay would prove nothing. */
STATE_ASSERT(floats_are_reckoned_in_32_bits, FLT_EVAL_METHOD == 0);

static float number(void)
{
    float value;
    if (scanf("%f", &value) != 1) {
        fprintf(stderr, "replay: expected a number\n");
        exit(2);
    }
    return value;
}

static unsigned char whole(void)
{
    return (unsigned char)number();
}

static struct plan read_plan(void)
{
    struct plan plan = {0};
    struct rule_settings *settings = &plan.settings;
    settings->fallback.aim_mV = number();
    settings->fallback.first_mL = number();
    settings->fallback.least_mL = number();
    settings->fallback.most_mL = number();
    settings->fallback.growth = number();
    settings->near = whole();
    settings->patience = number();
    settings->far_mV = number();
    settings->finest_mL = number();
    settings->random_error_mL = number();
    plan.sign = number();
    plan.sought = whole();
    plan.costs.mixing_s = number();
    plan.costs.response_s = number();
    plan.costs.speed_mL_per_s = number();
    plan.costs.noise_mV = number();
    plan.law.vessel_mL = number();
    plan.law.amounts = whole();
    plan.law.branches_count = whole();
    for (int k = 0; k < plan.law.branches_count && k < MOST_BRANCHES; k++) {
        struct branch *branch = &plan.law.branches[k];
        branch->kind = whole();
        branch->place_mV = number();
        branch->place_sd_mV = number();
        branch->slope_mV = number();
        branch->step = whole();
        branch->share = number();
        branch->own_slope_sd = number();
    }
    for (int k = 0; k < plan.law.amounts && k < MOST_AMOUNTS; k++) {
        plan.before.amounts_mL[k] = number();
        plan.before.ln_sd[k] = number();
    }
    plan.before.shift_sd_mV = number();
    plan.before.slope_sd = number();
    plan.before.lag_s = number();
    plan.before.lag_ln_sd = number();
    plan.before.volume_sd_mL = number();
    plan.before.along_mV = number();
    plan.law.carried.count = whole();
    for (int k = 0; k < plan.law.carried.count && k < MOST_CARRIED; k++)
        plan.law.carried.places_mV[k] = number();
    if (plan.law.carried.count) {
        plan.law.carried.slope_mV = number();
        plan.law.carried.share_sd = number();
        plan.law.carried.idle = whole();
    }
    return plan;
}

static void print_step(const struct step *step, const struct rule_state *rule)
{
    printf("%.9g %.9g %.9g %d %d %d %d %d %d\n", (double)step->addition_mL, (double)step->enough.error_mV,
           (double)step->enough.mixing_times, step->enough.alike, step->passing, rule->handed_over, rule->jump,
           rule->near, rule->behind);
}

static struct settling_settings read_settling(void)
{
    struct settling_settings settings;
    settings.reading_noise_mV = number();
    settings.resolution_mV = number();
    settings.least_variance_mV2 = number();
    settings.response_s = number();
    settings.mixing_s = number();
    settings.least_wait_s = number();
    settings.longest_s = number();
    settings.drift_limit_mV_per_s = number();
    return settings;
}

static void print_settled(const struct settled *found)
{
    printf("%.9g %.9g %.9g %.9g %.9g %.9g %.9g %d %d\n", (double)found->potential_mV, (double)found->sd_mV,
           (double)found->lacking_mV, (double)found->lacking_sd_mV, (double)found->remainder_bound_mV,
           (double)found->drift_mV_per_s, (double)found->waited_s, found->readings, found->settled);
}

#define PRINT_SIZE(name) printf(#name " %zu\n", sizeof(struct name))

static void print_sizes(void)
{
    PRINT_SIZE(state);
    PRINT_SIZE(rule_state);
    PRINT_SIZE(settling_state);
    PRINT_SIZE(settlement);
    PRINT_SIZE(passing_readings);
    PRINT_SIZE(plan);
    PRINT_SIZE(settling_settings);
    PRINT_SIZE(estimate);
    PRINT_SIZE(design);
    PRINT_SIZE(blocks);
}

static bool rule_word(const char *word, struct rule_state *rule)
{
    static struct plan plan;
    if (!strcmp(word, "plan")) {
        plan = read_plan();
        if (!rule_begin(rule, &plan)) {
            fprintf(stderr, "replay: this plan has more branches or amounts than are rendered\n");
            exit(2);
        }
    } else if (!strcmp(word, "point")) {
        struct point point;
        point.volume_mL = number();
        point.potential_mV = number();
        point.sd_mV = number();
        point.lacking_mV = number();
        point.lacking_sd_mV = number();
        rule_add_point(rule, &plan, &point);
    } else if (!strcmp(word, "passing")) {
        struct passing passing;
        passing.volume_mL = number();
        passing.potential_mV = number();
        passing.sd_mV = number();
        passing.reached_mL = number();
        passing.readings = 0; /* the rule does not ask */
        rule_add_passing(rule, &plan, &passing);
    } else if (!strcmp(word, "step")) {
        struct step step = rule_next_step(rule, &plan);
        print_step(&step, rule);
    } else if (!strcmp(word, "enough")) {
        printf("%d\n", rule->enough);
    } else {
        return false;
    }
    return true;
}

static bool settling_word(const char *word, struct settling_state *state)
{
    static struct settling_settings settings;
    struct settled found;
    if (!strcmp(word, "settling")) {
        settings = read_settling();
        settling_prepare(state, &settings);
    } else if (!strcmp(word, "begin")) {
        struct enough enough;
        enough.error_mV = number();
        enough.mixing_times = number();
        enough.alike = whole();
        settling_begin(state, &settings, &enough);
        printf("begin\n");
    } else if (!strcmp(word, "reading")) {
        float t_s = number(), potential_mV = number();
        if (settling_add(state, &settings, t_s, potential_mV, &found))
            print_settled(&found);
    } else if (!strcmp(word, "expire")) {
        if (settling_expire(state, &settings, number(), &found))
            print_settled(&found);
    } else {
        return false;
    }
    return true;
}

static bool passing_word(const char *word, struct passing_readings *readings)
{
    if (!strcmp(word, "leg")) {
        passing_begin(readings);
    } else if (!strcmp(word, "passes")) {
        float t_s = number(), potential_mV = number();
        passing_add(readings, t_s, potential_mV);
    } else if (!strcmp(word, "passed")) {
        float end_s = number(), reached_mL = number(), speed_mL_per_s = number();
        struct passing found;
        if (passing_read(readings, end_s, reached_mL, speed_mL_per_s, &found))
            printf("%.9g %.9g %.9g %d\n", (double)found.volume_mL, (double)found.potential_mV, (double)found.sd_mV,
                   found.readings);
        else
            printf("none\n");
    } else {
        return false;
    }
    return true;
}

int main(void)
{
    static struct state state;
    char word[16];

    while (scanf("%15s", word) == 1) {
        if (rule_word(word, &state.rule) || settling_word(word, &state.settling) ||
            passing_word(word, &state.settling.now.passing))
            continue;
        if (strcmp(word, "sizes")) {
            fprintf(stderr, "replay: expected one of the words in its first lines, got %s\n", word);
            return 2;
        }
        print_sizes();
    }
    return 0;
}
