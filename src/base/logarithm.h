/* The natural logarithm of many numbers at once, the same to the last bit on every processor and
 * compiler, which that of the C library is not. */
#ifndef PACKSPAN_BASE_LOGARITHM_H
#define PACKSPAN_BASE_LOGARITHM_H

#include <stddef.h>

/* y[i] = ln(x[i]) to 2 units in the last place, for finite x[i] of 2^-1022 or more; of any other it
 * is some number, or NaN. y may be the same array as x. */
void logarithms(size_t n, const double *x, double *y);

#endif
