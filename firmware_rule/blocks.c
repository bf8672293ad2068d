#include "blocks.h"

/* Blocks over which differences of readings are averaged at most. */
enum { LONGEST_NOISE_MEMORY = 40 };

float window_width_s(const struct block_window *window)
{
    return window->merged ? 2.0f * BLOCK_S : BLOCK_S;
}

static void merge(struct block_window *window)
{
    for (int k = 0; 2 * k + 1 < window->count; k++) {
        int one = 2 * k, other = one + 1;
        float p = (float)window->weights[one], q = (float)window->weights[other], both = p + q;
        float apart_s = (window->t_s[other] - window->t_s[one]) / both;
        window->spread_s2[k] = (window->spread_s2[one] * p + window->spread_s2[other] * q) / both +
                               0.5f * p * q * apart_s * apart_s;
        window->y_mV[k] = (window->y_mV[one] * p + window->y_mV[other] * q) / both;
        window->t_s[k] = (window->t_s[one] * p + window->t_s[other] * q) / both;
        window->weights[k] = (uint16_t)(window->weights[one] + window->weights[other]);
    }
    window->count = (uint8_t)(window->count / 2);
    window->merged = 1;
}

void window_append(struct block_window *window, float t_s, float y_mV, float spread_s2, int weight)
{
    if (window->count >= MOST_BLOCKS)
        merge(window);
    int at = window->count++;
    window->t_s[at] = t_s;
    window->y_mV[at] = y_mV;
    window->spread_s2[at] = spread_s2;
    window->weights[at] = (uint16_t)weight;
}

void window_note_differences(struct block_window *window, float squares_mV2, float products_mV2, float freedom)
{
    if (window->stored < LONGEST_NOISE_MEMORY)
        window->stored++;
    float keep = 1.0f - 1.0f / (float)window->stored;
    keep = keep * keep * keep;
    window->squares_mV2 = window->squares_mV2 * keep + squares_mV2;
    window->products_mV2 = window->products_mV2 * keep + products_mV2;
    window->freedom = window->freedom * keep + freedom;
}

void window_drop_oldest(struct block_window *window, int count)
{
    for (int k = count; k < window->count; k++) {
        window->t_s[k - count] = window->t_s[k];
        window->y_mV[k - count] = window->y_mV[k];
        window->spread_s2[k - count] = window->spread_s2[k];
        window->weights[k - count] = window->weights[k];
    }
    window->count = (uint8_t)(window->count - count);
}
