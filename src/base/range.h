/* Bounds of a column. */
#ifndef PACKSPAN_BASE_RANGE_H
#define PACKSPAN_BASE_RANGE_H

#include <stddef.h>

struct range {
    double low, high;
};

/* Of n >= 1 values; where some are NaN the result may be anything. */
struct range range_of(size_t n, const double *x);

#endif
