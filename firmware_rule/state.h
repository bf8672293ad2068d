/* Everything that is kept between readings and decisions: 1,024 bytes at most, held at compile time. */
#ifndef FIRMWARE_RULE_STATE_H
#define FIRMWARE_RULE_STATE_H

#include <stdint.h>

#include "adaptive.h"
#include "detector.h"
#include "estimate.h"

enum { KEPT = 24, KEPT_PASSING = 12 };

/* Why the adaptive rule goes on. */
enum handed_over { NOT_HANDED_OVER, OFF_WHAT_WAS_FORESEEN, OFF_THE_LAW };

/* The rule between decisions. The covariance is not kept: points and unknowns give it anew. */
struct rule_state {
    struct datum points[KEPT];          /* at rest, oldest first */
    struct datum passing[KEPT_PASSING]; /* while titrant ran in, all at the speed of the burette */
    struct adaptive_state adaptive;
    float x[MOST_UNKNOWNS];
    struct layers layers;
    float here_mL;
    float leg_mL;
    float width_mL;
    uint8_t points_count;
    uint8_t passing_count;
    uint8_t recent_count; /* of adaptive */
    uint8_t jump;         /* which equivalence point is sought, from 0 */
    uint8_t flying;
    uint8_t answered;
    uint8_t fitted_passing; /* so many of `passing` did the last fit take */
    uint8_t strange;
    uint8_t behind;
    uint8_t near;
    uint8_t enough;
    uint8_t handed_over;
};

struct state {
    struct rule_state rule;
    struct settling_state settling;
};

#ifndef MOST_STATE_BYTES
#define MOST_STATE_BYTES 1024
#endif

/* C99 has no static assertion: an array of no size but -1 does not compile. */
#define STATE_ASSERT(name, holds) typedef char name[(holds) ? 1 : -1]

STATE_ASSERT(a_float_has_32_bits, sizeof(float) == 4);
STATE_ASSERT(the_state_is_small, sizeof(struct state) <= MOST_STATE_BYTES);

#endif
