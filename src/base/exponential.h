/* The exponential function of many numbers at once, the same to the last bit on every processor
 * and compiler, which that of the C library is not. */
#ifndef PACKSPAN_BASE_EXPONENTIAL_H
#define PACKSPAN_BASE_EXPONENTIAL_H

#include <stddef.h>

/* y[i] = exp(x[i]) to 2 units in the last place; 0 below -708, and above 709 as for 709. No NaN. y
 * may be the same array as x. */
void exponentials(size_t n, const double *x, double *y);

#endif
