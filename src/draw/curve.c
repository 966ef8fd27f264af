#include "draw/curve.h"

#include <stdlib.h>

static double step_length(const struct curve *c)
{
    return (c->last - c->first) / (double)c->steps;
}

bool curve_open(struct curve *c, double first, double last, size_t steps)
{
    *c = (struct curve){first, last, steps, calloc(steps + 1, sizeof *c->knots)};
    return c->knots != NULL;
}

double curve_place(const struct curve *c, size_t i)
{
    return c->first + (double)i * step_length(c);
}

void curve_set(struct curve *c, size_t i, double value, double slope)
{
    c->knots[i] = (struct knot){value, slope * step_length(c)};
}

double curve_at(const struct curve *c, double x)
{
    double position = (x - c->first) / step_length(c);
    size_t i = (size_t)position;
    if (i >= c->steps)
        i = c->steps - 1;
    const struct knot *k = c->knots + i;
    double t = position - (double)i;
    double rise = k[1].value - k[0].value;
    double bend_left = k[0].slope - rise, bend_right = k[1].slope - rise;
    return k[0].value + t * (rise + (1.0 - t) * ((1.0 - t) * bend_left - t * bend_right));
}
