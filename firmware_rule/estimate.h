/* What the points so far tell of the law: titrator/control/foresight/estimate.py in 32 bits. */
#ifndef FIRMWARE_RULE_ESTIMATE_H
#define FIRMWARE_RULE_ESTIMATE_H

#include "law.h"
#include "layers.h"
#include "triangle.h"

/* A potential (rising sign) with its standard deviation at a delivered volume. */
struct datum {
    float volume_mL;
    float y_mV;
    float sd_mV;
};

/* Points at rest, oldest first, and readings while titrant ran in at `speed_mL_per_s`. */
struct data {
    const struct datum *at_rest;
    const struct datum *passing;
    int at_rest_count;
    int passing_count;
    float speed_mL_per_s;
};

/* What is known before the first point, beside the law's own branches. */
struct beforehand {
    float amounts_mL[MOST_AMOUNTS];
    float ln_sd[MOST_AMOUNTS];
    float shift_sd_mV;
    float slope_sd;
    float lag_s;
    float lag_ln_sd;
    float volume_sd_mL;
    float along_mV; /* by how much the places shift along a whole amount */
};

/* Scratch: only `x` and `layers` outlive a decision. The unknowns in order: ln of the amounts, shift of all places, own
 * shift of each branch, ln of all slopes, ln of own slopes, the share that the titrant carries where it does, ln of the
 * lag. */
struct estimate {
    const struct law *law;
    const struct beforehand *before;
    int size;
    float x[MOST_UNKNOWNS];
    float prior[MOST_UNKNOWNS];
    float prior_sd[MOST_UNKNOWNS];
    struct layers layers;
    float misfit; /* sum of the squared residuals of the points at rest over their variances */
    struct curve curve; /* of x */
    struct triangle triangle; /* at x: the covariance is RᵀR inverted */
};

/* How many unknowns a law has. */
int estimate_size(const struct law *law);

/* The estimate with what is known beforehand; `x` null: that is where it starts. */
void estimate_begin(struct estimate *estimate, const struct law *law, const struct beforehand *before, const float *x);

/* Amounts, places and slopes anew from the unknowns. */
void estimate_draw(struct estimate *estimate);

/* Sum of the squared residuals over their variances, priors among them (but that of one unknown; -1: of none). */
float estimate_cost(const struct estimate *estimate, const struct data *data, int but);

/* Covariance and misfit anew by `data`, the unknowns where they are. */
void estimate_weigh(struct estimate *estimate, const struct data *data);

/* The unknowns anew by `data`. */
void estimate_fit(struct estimate *estimate, const struct data *data);

/* The least value of an amount between two that the data allow, as estimate.py has it. */
float estimate_earliest_mL(struct estimate *estimate, int number, const struct data *data, float from_mL, float to_mL,
                           float worse);

/* Of equivalence point (amount) `number`, from 0. */
float estimate_point_mL(const struct estimate *estimate, int number);
float estimate_before_mL(const struct estimate *estimate, int number);
float estimate_ln_sd(const struct estimate *estimate, int number);
float estimate_point_sd_mL(const struct estimate *estimate, int number);
void estimate_point_gradient(const struct estimate *estimate, int number, float *out);

/* d(volume that the law gives for a datum)/d(unknowns); speed 0 at rest. */
void estimate_gradient(const struct estimate *estimate, float y_mV, float speed_mL_per_s, const struct place *place,
                       float *out);

/* gradientᵀ covariance gradient. */
float estimate_variance(const struct estimate *estimate, const float *gradient);

/* Variance of a datum's own errors, in mL², where the law gives `volume_mL` for it. */
float estimate_own_variance_mL2(const struct estimate *estimate, const struct datum *datum, float speed_mL_per_s,
                                float volume_mL);

#endif
