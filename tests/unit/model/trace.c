/* The fast evaluation of a trace against the step-by-step sum. */
#include "support/support.h"

#include <stdlib.h>

#include "model/block.h"
#include "model/trace.h"
#include "support/wheel.h"

enum { POINTS = 900 };

struct drawn {
    double time[POINTS], speed[POINTS];
    double a[BLOCK_SAMPLES], b[BLOCK_SAMPLES], c[BLOCK_SAMPLES], mass[BLOCK_SAMPLES],
        wind[BLOCK_SAMPLES];
};

/* A small generator of its own, so that the test does not rest on what it tests. */
static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005U + 1442695040888963407U;
    return (double)(*state >> 11) * 0x1p-53;
}

/* Uneven steps, stops and hard braking; `spread` widens the samples' coefficients. */
static void draw(uint64_t seed, double spread, double wind_low, double wind_high, struct drawn *d)
{
    uint64_t state = seed;
    double v = 0.0;
    d->time[0] = d->speed[0] = 0.0;
    for (size_t i = 1; i < POINTS; i++) {
        double dt = 0.1 + 2.0 * uniform(&state);
        v += (uniform(&state) - 0.48) * 4.0 * dt;
        v = v < 0.0 || uniform(&state) < 0.02 ? 0.0 : v > 45.0 ? 45.0 : v;
        d->time[i] = d->time[i - 1] + dt;
        d->speed[i] = v;
    }
    for (size_t i = 0; i < BLOCK_SAMPLES; i++) {
        d->a[i] = 180.0 + spread * 400.0 * (uniform(&state) - 0.5);
        d->b[i] = 3.0 + spread * 12.0 * (uniform(&state) - 0.5);
        d->c[i] = 0.5 + spread * 0.9 * (uniform(&state) - 0.5);
        d->mass[i] = 2500.0 + spread * 4000.0 * (uniform(&state) - 0.5);
        d->wind[i] = wind_low + (wind_high - wind_low) * uniform(&state);
    }
}

static void compare(const struct drawn *d, const double *wind, size_t n)
{
    struct trace t;
    double traction[BLOCK_SAMPLES], road[BLOCK_SAMPLES], net[BLOCK_SAMPLES];
    assert_int_equal(trace_make(POINTS, d->time, d->speed, &t), PACKSPAN_OK);
    struct wheel_load load = {d->a, d->b, d->c, d->mass, wind};
    trace_traction(&t, n, &load, traction, road);
    trace_net_work(&t, n, &load, net);
    for (size_t i = 0; i < n; i++) {
        struct wheel_work sum = wheel_work_by_steps(POINTS, d->time, d->speed, d->a[i], d->b[i],
                                                    d->c[i], wind ? wind[i] : 0.0, d->mass[i]);
        assert_close(traction[i], sum.traction, 1e-12, 0.0);
        assert_close(road[i], sum.road, 1e-11, 1e-12 * sum.traction);
        assert_close(net[i], sum.traction - sum.braking, 0.0, 1e-12 * sum.traction);
    }
    trace_free(&t);
}

static void calm_blocks_agree(void **state)
{
    (void)state;
    static struct drawn d;
    for (uint64_t seed = 1; seed <= 8; seed++) {
        draw(seed, seed % 2 ? 0.05 : 0.8, 0.0, 0.0, &d);
        compare(&d, NULL, BLOCK_SAMPLES);
    }
}

static void blocks_of_any_length_agree(void **state)
{
    (void)state;
    static struct drawn d;
    draw(99, 0.5, 0.0, 0.0, &d);
    static const size_t lengths[] = {1, 2, 15, 16, 17, 511, 1001};
    for (size_t i = 0; i < sizeof lengths / sizeof lengths[0]; i++)
        compare(&d, NULL, lengths[i]);
}

static void headwind_and_overtaking_tailwind_agree(void **state)
{
    (void)state;
    static struct drawn d;
    for (uint64_t seed = 20; seed < 26; seed++) {
        draw(seed, 0.3, -15.0, 12.0, &d);
        compare(&d, d.wind, BLOCK_SAMPLES);
    }
}

static void all_steps_one_sign_agree(void **state)
{
    (void)state;
    static struct drawn d;
    draw(5, 0.05, 0.0, 0.0, &d);
    for (size_t i = 0; i < BLOCK_SAMPLES; i++)
        d.a[i] += 1e6; /* always traction */
    compare(&d, NULL, BLOCK_SAMPLES);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(calm_blocks_agree),
        cmocka_unit_test(blocks_of_any_length_agree),
        cmocka_unit_test(headwind_and_overtaking_tailwind_agree),
        cmocka_unit_test(all_steps_one_sign_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
