/* A smooth curve kept as values and slopes at equal steps (cubic Hermite interpolation). */
#ifndef PACKSPAN_DRAW_CURVE_H
#define PACKSPAN_DRAW_CURVE_H

#include <stdbool.h>
#include <stddef.h>

struct knot {
    double value, slope; /* slope per step */
};

struct curve {
    double first, last;
    size_t steps;
    struct knot *knots; /* steps + 1 of them, malloc'd */
};

/* False when out of memory. */
bool curve_open(struct curve *c, double first, double last, size_t steps);
double curve_place(const struct curve *c, size_t i);
void curve_set(struct curve *c, size_t i, double value, double slope);
/* For first <= x <= last. */
double curve_at(const struct curve *c, double x);

#endif
