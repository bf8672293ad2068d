/* Block averages of readings in bounded memory: titrator/control/settling/blocks.py in 32 bits. */
#ifndef FIRMWARE_RULE_BLOCKS_H
#define FIRMWARE_RULE_BLOCKS_H

#include <stdint.h>

enum { MOST_BLOCKS = 24 };
/* Width of a block at first. */
static const float BLOCK_S = 0.5f;

/* Oldest first. Times in s since the settlement began, so that 32 bits resolve them however long the run is. */
struct block_window {
    float t_s[MOST_BLOCKS];
    float y_mV[MOST_BLOCKS];
    float spread_s2[MOST_BLOCKS];  /* half the variance of the readings' times in the block */
    uint16_t weights[MOST_BLOCKS]; /* counts of readings */
    float squares_mV2;
    float products_mV2;
    float freedom;
    uint8_t count;
    uint8_t stored;
    uint8_t merged; /* whether blocks are twice as wide as at first */
};

float window_width_s(const struct block_window *window);

/* Add the newest block; neighbours are merged in pairs first where the window is full. */
void window_append(struct block_window *window, float t_s, float y_mV, float spread_s2, int weight);

/* Add the newest block's differences, the older ones' weights lowered. */
void window_note_differences(struct block_window *window, float squares_mV2, float products_mV2, float freedom);

void window_drop_oldest(struct block_window *window, int count);

#endif
