/* Wheel energy against closed forms. The force is F = A + B v + C v^2 + M a (40 CFR
 * 1066.210(d)(3)); over a ramp from rest to V in T seconds A, B and C do the work
 * A V T/2 + B V^2 T/3 + C V^3 T/4, and inertia M V^2/2. */
#include "support/support.h"

#include <stdlib.h>

#include "model/trace.h"

#define LBF 4.4482216152605 /* N, NIST SP 811 B.8 */
#define MPH 0.44704         /* m/s, NIST SP 811 B.8 */
#define LB 0.45359237       /* kg, NIST SP 811 B.8 */

struct work {
    double traction, net, distance;
};

static struct work work_of(size_t points, const double *time, const double *speed, double a,
                           double b, double c, double mass)
{
    struct trace t;
    struct work w;
    double road;
    assert_int_equal(trace_make(points, time, speed, &t), PACKSPAN_OK);
    struct wheel_load load = {&a, &b, &c, &mass, NULL};
    trace_traction(&t, 1, &load, &w.traction, &road);
    trace_net_work(&t, 1, &load, &w.net);
    w.distance = t.total_distance;
    trace_free(&t);
    return w;
}

static void constant_speed(void **state)
{
    (void)state;
    static double time[601], speed[601];
    for (size_t i = 0; i <= 600; i++) {
        time[i] = (double)i;
        speed[i] = 65.0 * MPH;
    }
    /* A = 30 lbf, B = 0.2 lbf/mph, C = 0.018 lbf/mph^2: F(65 mph) = 119.05 lbf */
    struct work w =
        work_of(601, time, speed, 30.0 * LBF, 0.2 * LBF / MPH, 0.018 * LBF / (MPH * MPH), 1800.0);
    assert_close(w.traction, 119.05 * LBF * 65.0 * MPH * 600.0, 1e-13, 0.0);
    assert_close(w.net, w.traction, 1e-13, 0.0);
    assert_close(w.distance, 65.0 * MPH * 600.0, 1e-13, 0.0);
}

/* Up to 60 mph in 30 s, 60 s there, down in 30 s, in steps of 1/256 s. */
static void ramp_cruise_ramp(void **state)
{
    (void)state;
    enum { RATE = 256, POINTS = 120 * RATE + 1 };
    double *time = malloc(POINTS * sizeof *time), *speed = malloc(POINTS * sizeof *speed);
    assert_non_null(time);
    assert_non_null(speed);
    double top = 60.0 * MPH;
    for (size_t i = 0; i < POINTS; i++) {
        double t = (double)i / RATE;
        time[i] = t;
        speed[i] = top * fmin(1.0, fmin(t, 120.0 - t) / 30.0);
    }
    double a = 30.0 * LBF, b = 0.2 * LBF / MPH, c = 0.018 * LBF / (MPH * MPH);
    double mass = 1.015 * 4000.0 * LB;
    double ramp = a * top * 30.0 / 2.0 + b * top * top * 30.0 / 3.0 + c * top * top * top * 7.5;
    double kinetic = 0.5 * mass * top * top;
    double cruise = (a + b * top + c * top * top) * top * 60.0;
    struct work w = work_of(POINTS, time, speed, a, b, c, mass);
    /* On the way down inertia always exceeds the road load, so all of it is braking. */
    assert_close(w.traction, ramp + kinetic + cruise, 1e-7, 0.0);
    assert_close(w.net, 2.0 * ramp + cruise, 1e-6, 0.0);
    assert_close(w.distance, 1.5 * 1609.344, 1e-12, 0.0);
    free(time);
    free(speed);
}

/* A vehicle of mass m that coasts under A + C v^2 only follows
 * v = sqrt(A/C) tan(atan(v0 sqrt(C/A)) - t sqrt(A C)/m); all its kinetic energy goes into the road
 * load, so on this trace a vehicle of mass M needs the net work (m - M) (v0^2 - v1^2)/2. */
static void coast_down(void **state)
{
    (void)state;
    enum { POINTS = 20001 };
    double *time = malloc(POINTS * sizeof *time), *speed = malloc(POINTS * sizeof *speed);
    assert_non_null(time);
    assert_non_null(speed);
    const double a = 180.0, c = 0.6, m = 2400.0, v0 = 32.0;
    for (size_t i = 0; i < POINTS; i++) {
        time[i] = 0.005 * (double)i;
        speed[i] = sqrt(a / c) * tan(atan(v0 * sqrt(c / a)) - time[i] * sqrt(a * c) / m);
        assert_true(speed[i] > 0.0);
    }
    double end = speed[POINTS - 1], kinetic = 0.5 * m * (v0 * v0 - end * end);
    struct work coasting = work_of(POINTS, time, speed, a, 0.0, c, m);
    assert_close(coasting.traction, 0.0, 0.0, 1e-6 * kinetic);
    assert_close(coasting.net, 0.0, 0.0, 1e-6 * kinetic);
    struct work heavier = work_of(POINTS, time, speed, a, 0.0, c, 1.5 * m);
    assert_close(heavier.traction, 0.0, 0.0, 1e-6 * kinetic);
    assert_close(heavier.net, -0.5 * kinetic, 1e-6, 0.0);
    struct work lighter = work_of(POINTS, time, speed, a, 0.0, c, 0.5 * m);
    assert_close(lighter.traction, 0.5 * kinetic, 1e-6, 0.0);
    free(time);
    free(speed);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(constant_speed),
        cmocka_unit_test(ramp_cruise_ramp),
        cmocka_unit_test(coast_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
