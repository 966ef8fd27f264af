/* Correlation matrices: n x n, symmetric, ones on the diagonal, kept whole and row by row. */
#ifndef PACKSPAN_DRAW_CORRELATION_H
#define PACKSPAN_DRAW_CORRELATION_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>

/* Of normal variables (Pearson's) from their rank correlation (Spearman's), both in [-1, 1]. */
double correlation_of_ranks(double rank_correlation);
double ranks_of_correlation(double correlation);

/* The lower triangle L of L L' = a, zero above the diagonal. A pivot within 1e-10 of zero counts as
 * zero. False, and L is of no use, when the matrix is not positive semi-definite: no variables are
 * correlated like this. */
bool correlation_factor(size_t n, const double *a, double *factor);

/* Replaces the symmetric `a` by the nearest correlation matrix (Frobenius norm) whose eigenvalues
 * are `least` or more, about: to 1e-6, or to what a bounded number of steps gives. Pairs that are
 * not `free` (n x n, NULL: all are) are held at zero. `a` is as it was when out of memory. */
packspan_status correlation_nearest(size_t n, const bool *free, double least, double *a);

#endif
