#include "triangle.h"

#include <math.h>

/* Where row i begins, shifted so that [j] is its column j. */
static int row_of(int size, int i)
{
    return i * size - i * (i + 1) / 2;
}

void triangle_begin(struct triangle *triangle, int size, const float *sd, const float *expected)
{
    triangle->size = size;
    for (int i = 0; i < size; i++) {
        float *row = triangle->cells + row_of(size, i);
        row[i] = 1.0f / sd[i];
        for (int j = i + 1; j < size; j++)
            row[j] = 0.0f;
        triangle->z[i] = expected[i] / sd[i];
    }
}

void triangle_add(struct triangle *triangle, float *gradient, float residual)
{
    int size = triangle->size;
    for (int i = 0; i < size; i++) {
        if (gradient[i] == 0.0f)
            continue;
        float *row = triangle->cells + row_of(size, i);
        float length = hypotf(row[i], gradient[i]);
        float cosine = row[i] / length, sine = gradient[i] / length;
        row[i] = length;
        for (int j = i + 1; j < size; j++) {
            float above = row[j];
            row[j] = cosine * above + sine * gradient[j];
            gradient[j] = cosine * gradient[j] - sine * above;
        }
        float z = triangle->z[i];
        triangle->z[i] = cosine * z + sine * residual;
        residual = cosine * residual - sine * z;
    }
}

void triangle_solve(const struct triangle *triangle, float *x)
{
    int size = triangle->size;
    for (int i = size - 1; i >= 0; i--) {
        const float *row = triangle->cells + row_of(size, i);
        float rest = triangle->z[i];
        for (int j = i + 1; j < size; j++)
            rest -= row[j] * x[j];
        x[i] = rest / row[i];
    }
}

void triangle_towards(const struct triangle *triangle, const float *vector, float *out)
{
    int size = triangle->size;
    for (int i = 0; i < size; i++)
        out[i] = vector[i];
    for (int i = 0; i < size; i++) {
        const float *row = triangle->cells + row_of(size, i);
        out[i] /= row[i];
        for (int j = i + 1; j < size; j++)
            out[j] -= row[j] * out[i];
    }
}

float dot(const float *one, const float *other, int size)
{
    float total = 0.0f;
    for (int k = 0; k < size; k++)
        total += one[k] * other[k];
    return total;
}
