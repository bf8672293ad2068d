#include "law.h"

#include <math.h>

/* Exponents are kept within this: exp(40) is beyond every amount, and its square still is a 32-bit number. */
static const float FARTHEST = 40.0f;
/* 1 - uD is kept above: the titrant's own concentration is never reached. */
static const float POLE = 0.02f;
/* A volume that is nothing beside any burette's, to divide by. */
static const float NOTHING_mL = 1e-20f;

int law_layers(const struct law *law)
{
    int free_ions = 0;
    for (int k = 0; k < law->branches_count; k++)
        free_ions += law->branches[k].kind == FREE;
    return free_ions > 1 ? free_ions : 1;
}

bool law_fits(const struct law *law)
{
    return law->branches_count >= 1 && law->branches_count <= MOST_BRANCHES && law->amounts <= MOST_AMOUNTS &&
           law->carried.count <= MOST_CARRIED;
}

static float exponent(float y_mV, float place_mV, float slope_mV)
{
    return fminf(fmaxf((y_mV - place_mV) / slope_mV, -FARTHEST), FARTHEST);
}

/* The share 1/(1 + exp(-t)) and its derivative. 1 - share as a difference would be 0 in 32 bits from t = 17 on. */
struct share {
    float used;
    float by_t;
};

static struct share share_at(float t)
{
    float left = expf(-t);
    struct share share;
    share.used = 1.0f / (1.0f + left);
    share.by_t = share.used * (left * share.used);
    return share;
}

/* What the branches add up to: N by the amounts, D, exp(t) of the couple; and how each t moves them. */
enum moved { NOTHING, NEEDED, OVER, SHARE_OF_COUPLE };

struct balance {
    float excess;
    float couple;
    enum moved moves[MOST_BRANCHES];
};

static void balance_at(const struct law *law, const struct curve *curve, float y_mV, int solids, struct place *out,
                       struct balance *balance)
{
    int layers = law_layers(law);
    bool bound[MOST_AMOUNTS] = {false};

    balance->excess = balance->couple = 0.0f;
    for (int k = 0; k < law->amounts; k++)
        out->by_amount[k] = 0.0f;
    for (int k = 0; k < law->branches_count; k++) {
        const struct branch *branch = &law->branches[k];
        float t = exponent(y_mV, curve->places_mV[k], curve->slopes_mV[k]);
        balance->moves[k] = NOTHING;
        out->by_t_mL[k] = 0.0f;
        if (branch->kind == BOUND) {
            struct share share = share_at(t);
            bound[branch->step] = true;
            out->by_amount[branch->step] += branch->share * share.used;
            out->by_t_mL[k] = curve->amounts_mL[branch->step] * branch->share * share.by_t;
            balance->moves[k] = NEEDED;
        } else if (branch->kind == COUPLE) {
            out->by_t_mL[k] = balance->couple = expf(t);
            balance->moves[k] = SHARE_OF_COUPLE;
        } else if (branch->kind == EXCESS) {
            out->by_t_mL[k] = expf(t);
            balance->excess += out->by_t_mL[k];
            balance->moves[k] = OVER;
        } else if (layers == 1 || solids-- > 0) {
            out->by_t_mL[k] = expf(-t);
            balance->excess -= out->by_t_mL[k];
            balance->moves[k] = OVER;
            if (layers > 1)
                out->by_amount[branch->step] = 1.0f;
        }
    }
    for (int k = 0; k < law->amounts && layers == 1; k++)
        if (!bound[k])
            out->by_amount[k] = 1.0f;
}

/* The place with nothing carried, `solids` of the solids present. */
static void bare_place(const struct law *law, const struct curve *curve, float y_mV, int solids, struct place *out)
{
    struct balance balance;
    float needed_mL = 0.0f;

    balance_at(law, curve, y_mV, solids, out, &balance);
    for (int k = 0; k < law->amounts; k++)
        needed_mL += curve->amounts_mL[k] * out->by_amount[k];
    float u = 1.0f + balance.couple;
    out->left = fmaxf(1.0f - u * balance.excess, POLE);
    float inner_mL = needed_mL + law->vessel_mL * balance.excess, by_needed = u / out->left;
    out->volume_mL = by_needed * inner_mL;
    out->slope_mL_per_mV = out->by_carried_mL = 0.0f;
    for (int k = 0; k < law->amounts; k++)
        out->by_amount[k] *= by_needed;
    for (int k = 0; k < law->branches_count; k++) {
        if (balance.moves[k] == NEEDED)
            out->by_t_mL[k] *= by_needed;
        else if (balance.moves[k] == OVER)
            out->by_t_mL[k] *= by_needed * (law->vessel_mL + out->volume_mL);
        else
            out->by_t_mL[k] *= inner_mL / out->left / out->left;
        out->slope_mL_per_mV += out->by_t_mL[k] / curve->slopes_mV[k];
    }
}

/* V of V (1 - D - κ q) = N + V0 D, with q the part of the carried share κ that is spent at y. */
static void carry(const struct law *law, const struct curve *curve, float y_mV, struct place *out)
{
    int last = law->amounts - 1, count = law->branches_count;
    float half = law->carried.idle ? 0.5f * curve->carried : 0.0f, bare_mL = out->volume_mL, bare_left = out->left;
    float used_last = out->by_amount[last] * bare_left, point_mL = 0.0f, spent = 0.0f;
    float part = 1.0f / (float)law->carried.count;

    for (int k = 0; k < law->amounts; k++)
        point_mL += curve->amounts_mL[k];
    for (int k = count; k < count + law->carried.count; k++) {
        struct share share = share_at(exponent(y_mV, curve->places_mV[k], curve->slopes_mV[k]));
        spent += part * share.used;
        out->by_t_mL[k] = part * share.by_t;
    }
    out->left = fmaxf(bare_left - curve->carried * spent, POLE);
    out->volume_mL = (bare_mL * bare_left - half * point_mL * used_last) / out->left;
    float of_bound = bare_left / out->left;
    float of_last = of_bound * (1.0f - half * point_mL / curve->amounts_mL[last]);
    float of_free = of_bound * (law->vessel_mL + out->volume_mL) / fmaxf(law->vessel_mL + bare_mL, NOTHING_mL);
    out->slope_mL_per_mV = 0.0f;
    for (int k = 0; k < count + law->carried.count; k++) {
        if (k >= count)
            out->by_t_mL[k] *= out->volume_mL * curve->carried / out->left;
        else if (law->branches[k].kind != BOUND)
            out->by_t_mL[k] *= of_free;
        else
            out->by_t_mL[k] *= law->branches[k].step == last ? of_last : of_bound;
        out->slope_mL_per_mV += out->by_t_mL[k] / curve->slopes_mV[k];
    }
    for (int k = 0; k < law->amounts; k++)
        out->by_amount[k] = (out->by_amount[k] * bare_left - half * used_last) / out->left;
    float idle_mL = law->carried.idle ? 0.5f * point_mL * used_last : 0.0f;
    out->by_carried_mL = (out->volume_mL * spent - (half > 0.0f ? idle_mL : 0.0f)) / out->left;
}

void law_place(const struct law *law, const struct curve *curve, float y_mV, struct place *out)
{
    int layers = law_layers(law);
    bare_place(law, curve, y_mV, 1, out);
    if (law->carried.count)
        carry(law, curve, y_mV, out);
    for (int solids = 2; solids <= layers && !law->carried.count; solids++) {
        struct place tried;
        bare_place(law, curve, y_mV, solids, &tried);
        if (tried.volume_mL > out->volume_mL)
            *out = tried;
    }
}

float law_volume_mL(const struct law *law, const struct curve *curve, float y_mV)
{
    struct place place;
    law_place(law, curve, y_mV, &place);
    return place.volume_mL;
}

void law_place_of(const struct law *law, const struct curve *curve, float y_mV, int solids, struct place *out)
{
    if (solids)
        bare_place(law, curve, y_mV, solids, out);
    else
        law_place(law, curve, y_mV, out);
}
