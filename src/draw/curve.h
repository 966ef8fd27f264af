/* A smooth curve kept as values and slopes at equal steps (cubic Hermite interpolation). */
#ifndef PACKSPAN_DRAW_CURVE_H
#define PACKSPAN_DRAW_CURVE_H

#include <stdbool.h>
#include <stddef.h>

struct knot {
    double value, slope; /* slope per step */
};

struct curve {
    double first, last, per_unit; /* steps per unit of x */
    size_t steps;
    struct knot *knots; /* steps + 1 of them, malloc'd */
};

/* False when out of memory. */
bool curve_open(struct curve *c, double first, double last, size_t steps);
double curve_place(const struct curve *c, size_t i);
void curve_set(struct curve *c, size_t i, double value, double slope);
/* For first <= x <= last. */
static inline double curve_at(const struct curve *c, double x)
{
    double position = (x - c->first) * c->per_unit;
    size_t i = (size_t)position;
    if (i >= c->steps)
        i = c->steps - 1;
    const struct knot *k = c->knots + i;
    double t = position - (double)i;
    double rise = k[1].value - k[0].value;
    double bend_left = k[0].slope - rise, bend_right = k[1].slope - rise;
    return k[0].value + t * (rise + (1.0 - t) * ((1.0 - t) * bend_left - t * bend_right));
}

#endif
