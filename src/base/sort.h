/* Sorting many numbers. */
#ifndef PACKSPAN_BASE_SORT_H
#define PACKSPAN_BASE_SORT_H

#include <stddef.h>

struct weighted_value {
    double value, weight;
};

/* Puts finite values in rising order, -0 before 0, equal ones as they were. `spare` has room for n.
 * Time grows as n: digit by digit from the last one, Knuth, TAOCP 3, 5.2.5. */
void sort_weighted(size_t n, struct weighted_value *list, struct weighted_value *spare);

#endif
