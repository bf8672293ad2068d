/* Least squares of a handful of unknowns: the square root of the normal equations, in 32 bits.
 *
 * titrator/control/foresight/normal.py decomposes RᵀR in 64 bits. There the weights of a reading far from the jump and
 * close to it differ by 10^8, which 32 bits do not hold side by side; R itself holds their roots, 10^4. So each row is
 * turned into R as it comes (Givens' rotations, common practice), and RᵀR is never formed. */
#ifndef FIRMWARE_RULE_TRIANGLE_H
#define FIRMWARE_RULE_TRIANGLE_H

enum { MOST_UNKNOWNS = 12, TRIANGLE_CELLS = MOST_UNKNOWNS * (MOST_UNKNOWNS + 1) / 2 };

/* R by rows without what lies left of its diagonal, and z of R x = z. Rows are in units of their standard deviation. */
struct triangle {
    float cells[TRIANGLE_CELLS];
    float z[MOST_UNKNOWNS];
    int size;
};

/* What is known beforehand: each unknown by itself, `sd` and how far its `expected` value lies from zero. */
void triangle_begin(struct triangle *triangle, int size, const float *sd, const float *expected);

/* One row more, gradient · x = residual, both over the row's standard deviation. The row is used up. */
void triangle_add(struct triangle *triangle, float *gradient, float residual);

/* x of R x = z. */
void triangle_solve(const struct triangle *triangle, float *x);

/* R⁻ᵀ of a vector: the products of two such are those with the covariance between. */
void triangle_towards(const struct triangle *triangle, const float *vector, float *out);

/* Sum of products. */
float dot(const float *one, const float *other, int size);

#endif
