/* The law of a titration curve with the potential given: titrator/control/foresight/law.py in 32 bits.
 *
 * With t = (y - place)/slope of each branch, the volume of titrant is V = u (N + V0 D)/(1 - u D). Volumes in mL,
 * potentials in mV with the sign that makes them rise. */
#ifndef FIRMWARE_RULE_LAW_H
#define FIRMWARE_RULE_LAW_H

#include <stdbool.h>

enum { MOST_AMOUNTS = 3, MOST_BRANCHES = 6, MOST_CARRIED = 2, MOST_LINES = MOST_BRANCHES + MOST_CARRIED };

enum kind {
    BOUND,  /* the analyte passes from one form into another that stays */
    FREE,   /* the analyte itself is what the electrode follows */
    COUPLE, /* behind the last point: the titrant's two forms */
    EXCESS  /* behind the last point: the titrant itself */
};

/* One exponential as expected beforehand. `step` (from 0): its amount; `share`: the part of the amount;
 * `own_slope_sd` above 0: the electrode does not follow it. */
struct branch {
    float place_mV;
    float place_sd_mV;
    float slope_mV;
    float share;
    float own_slope_sd;
    unsigned char kind;
    unsigned char step;
};

/* What the titrant itself carries and loses on the way: carbonate in a base. `count` 0: nothing. `idle`: at the last
 * point the first half of it is spent. */
struct carried {
    float places_mV[MOST_CARRIED];
    float slope_mV;
    float share_sd;
    unsigned char count;
    bool idle;
};

struct law {
    struct branch branches[MOST_BRANCHES];
    struct carried carried;
    float vessel_mL; /* the liquid at the start */
    unsigned char branches_count;
    unsigned char amounts;
};

/* Values that a law is evaluated with: amounts; places and slopes of the branches, of what is carried behind them, and
 * its share; and how far readings are behind while titrant runs in. */
struct curve {
    float amounts_mL[MOST_AMOUNTS];
    float places_mV[MOST_LINES];
    float slopes_mV[MOST_LINES];
    float carried;
    float lag_s;
};

/* V at one potential, dV/dy, dV by the amounts, by each branch's t and each carried t behind them, by the share
 * carried, and 1 - u D, the part of the titrant that is still for the analyte. */
struct place {
    float volume_mL;
    float slope_mL_per_mV;
    float by_amount[MOST_AMOUNTS];
    float by_t_mL[MOST_LINES];
    float by_carried_mL;
    float left;
};

/* Several free ions make as many solids, one after the other; else 1. */
int law_layers(const struct law *law);

/* Whether this rendering can hold the law. */
bool law_fits(const struct law *law);

void law_place(const struct law *law, const struct curve *curve, float y_mV, struct place *out);

/* The volume of that place alone. */
float law_volume_mL(const struct law *law, const struct curve *curve, float y_mV);

/* The same with so many of several solids; 0: the law itself is to say. */
void law_place_of(const struct law *law, const struct curve *curve, float y_mV, int solids, struct place *out);

#endif
