/* Sums over columns. The order of adding is fixed, in lanes that the compiler may keep in vector
 * registers without changing a bit. */
#ifndef PACKSPAN_BASE_SUMS_H
#define PACKSPAN_BASE_SUMS_H

#include <stddef.h>

enum { SUM_LANES = 16 };

/* The end of such a sum; spoils the lanes. */
static inline double sum_of_lanes(double lane[SUM_LANES])
{
    for (int half = SUM_LANES / 2; half > 0; half /= 2)
        for (int j = 0; j < half; j++)
            lane[j] += lane[j + half];
    return lane[0];
}

double sum_of(size_t n, const double *x);
double sum_of_products(size_t n, const double *x, const double *y);
/* Sum of w (x - x_mean) (y - y_mean). */
double sum_of_deviations(size_t n, const double *w, const double *x, double x_mean, const double *y,
                         double y_mean);

#endif
