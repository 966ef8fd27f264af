#include "draw/curve.h"

#include <stdlib.h>

static double step_length(const struct curve *c)
{
    return (c->last - c->first) / (double)c->steps;
}

bool curve_open(struct curve *c, double first, double last, size_t steps)
{
    *c = (struct curve){.first = first,
                        .last = last,
                        .per_unit = (double)steps / (last - first),
                        .steps = steps,
                        .knots = calloc(steps + 1, sizeof *c->knots)};
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
