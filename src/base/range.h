/* Bounds of a column. */
#ifndef PACKSPAN_BASE_RANGE_H
#define PACKSPAN_BASE_RANGE_H

#include "base/sums.h"

struct range {
    double low, high;
};

/* The end of finding bounds in lanes; spoils them. */
static inline struct range range_of_lanes(double low[SUM_LANES], double high[SUM_LANES])
{
    for (int half = SUM_LANES / 2; half > 0; half /= 2)
        for (int j = 0; j < half; j++) {
            low[j] = low[j + half] < low[j] ? low[j + half] : low[j];
            high[j] = high[j + half] > high[j] ? high[j + half] : high[j];
        }
    return (struct range){low[0], high[0]};
}

/* Of n >= 1 values; where some are NaN the result may be anything. */
struct range range_of(size_t n, const double *x);

#endif
