/* A quantile function kept as short polynomials, for draws at a steady cost of a few nanoseconds
 * whatever the shape. */
#ifndef PACKSPAN_DRAW_QUANTILE_TABLE_H
#define PACKSPAN_DRAW_QUANTILE_TABLE_H

#include <stdbool.h>
#include <stddef.h>

/* Differs from the exact quantile by less than this share of the interquartile range, or of the
 * distance from the median where that is larger. */
#define QUANTILE_TABLE_ACCURACY 1e-10

struct quantile_table;

/* x[i] = quantile where the lower tail is lower[i] and the upper one, 1 - lower[i], upper[i]. */
typedef void exact_quantiles(const void *of, size_t n, const double *lower, const double *upper,
                             double *x);

/* At the lower tail `join` the quantile function need not be smooth. NULL in *out when a table
 * would not be accurate. False when out of memory. */
bool quantile_table_make(exact_quantiles *exact, const void *of, double join,
                         struct quantile_table **out);
void quantile_table_free(struct quantile_table *t);

/* As exact() to the accuracy above; the farthest draws, about one in 8000, are asked from it. Tails
 * in (0, 1); an `upper` of NULL stands for 1 - lower. x may be the same array as one of them. Rises
 * with the lower tail but for rounding. */
void quantile_table_draw(const struct quantile_table *t, exact_quantiles *exact, const void *of,
                         size_t n, const double *lower, const double *upper, double *x);

#endif
