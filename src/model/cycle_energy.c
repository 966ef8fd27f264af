#include "model/cycle_energy.h"
#include "base/hot_loop.h"

#include <math.h>

HOT_LOOP void cycle_consumption(const struct trace *t, size_t n, const double *traction,
                                const double *braking, const double *drive_efficiency,
                                const double *regen_efficiency, const double *accessory_power,
                                double *out)
{
    for (size_t i = 0; i < n; i++) {
        double energy = traction[i] / drive_efficiency[i] - regen_efficiency[i] * braking[i] +
                        accessory_power[i] * t->duration;
        out[i] = energy > 0.0 ? energy / t->total_distance : NAN;
    }
}

double label_equation_root(double city_share, double city_slope, double city_base,
                           double highway_share, double highway_slope, double highway_base,
                           double target)
{
    /* Multiplied out: quadratic x^2 + linear x + constant = 0. The left side of the equation falls
     * from infinity to 0 beyond its larger pole, so the larger root is the one wanted. */
    double quadratic = target * city_slope * highway_slope;
    double linear = target * (city_slope * highway_base + highway_slope * city_base) -
                    city_share * highway_slope - highway_share * city_slope;
    double constant =
        target * city_base * highway_base - city_share * highway_base - highway_share * city_base;
    double root = sqrt(linear * linear - 4.0 * quadratic * constant);
    /* The form without cancellation for the larger root. */
    double x =
        linear <= 0.0 ? (root - linear) / (2.0 * quadratic) : -2.0 * constant / (linear + root);
    return x > 0.0 ? x : NAN;
}
