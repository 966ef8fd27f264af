/* Wheel energy of a speed trace step by step, as the reference for the fast evaluation. */
#ifndef PACKSPAN_TESTS_WHEEL_H
#define PACKSPAN_TESTS_WHEEL_H

#include <math.h>
#include <stddef.h>

struct wheel_work {
    double traction, braking, road; /* J; road: the share of A, B, C in the traction */
};

static inline struct wheel_work wheel_work_by_steps(size_t points, const double *time,
                                                    const double *speed, double a, double b,
                                                    double c, double headwind, double mass)
{
    struct wheel_work sum = {0.0, 0.0, 0.0};
    for (size_t i = 1; i < points; i++) {
        double dt = time[i] - time[i - 1];
        double v = 0.5 * (speed[i] + speed[i - 1]);
        double air = v + headwind;
        double road = a + b * v + c * air * fabs(air);
        double force = road + mass * (speed[i] - speed[i - 1]) / dt;
        double work = force * v * dt;
        if (work > 0.0) {
            sum.traction += work;
            sum.road += road * v * dt;
        } else {
            sum.braking -= work;
        }
    }
    return sum;
}

#endif
