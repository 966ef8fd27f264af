/* Consumption of a cycle, and the equation of the combined label range; shared by several
 * relations. */
#ifndef PACKSPAN_MODEL_CYCLE_ENERGY_H
#define PACKSPAN_MODEL_CYCLE_ENERGY_H

#include <stddef.h>

#include "model/trace.h"

/* out[i] = (traction / drive_efficiency - regen_efficiency braking + accessory_power T) / D, J/m;
 * a value that is not positive becomes NaN, which makes the sample invalid. */
void cycle_consumption(const struct trace *t, size_t n, const double *traction,
                       const double *braking, const double *drive_efficiency,
                       const double *regen_efficiency, const double *accessory_power, double *out);

/* The x > 0 that solves
 *     city_share / (city_slope x + city_base) + highway_share / (highway_slope x + highway_base)
 *         = target
 * with both denominators positive: a combined label range per energy on the left, falling in x.
 * Slopes, shares and target are positive. NaN where there is none. */
double label_equation_root(double city_share, double city_slope, double city_base,
                           double highway_share, double highway_slope, double highway_base,
                           double target);

#endif
