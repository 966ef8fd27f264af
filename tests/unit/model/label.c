/* The label equation and its solutions, put back into the equation. */
#include "support/support.h"

#include "model/cycle_energy.h"

static double left_side(const double *k, double x)
{
    return k[0] / (k[1] * x + k[2]) + k[3] / (k[4] * x + k[5]);
}

static void root_solves_the_equation(void **state)
{
    (void)state;
    /* share, slope, base of city and highway; bases negative as braking returns energy */
    static const double cases[][6] = {
        {38.5, 1.0, -0.2, 31.5, 1.1, -0.05},     {38.5, 1.0, 0.3, 31.5, 1.1, 0.1},
        {1e9, 600.0, -150.0, 8e8, 700.0, -10.0}, {5.0, 2.0, -1.9, 5.0, 1.0, 0.0},
        {1.0, 1.0, 0.0, 1.0, 1.0, 0.0},
    };
    static const double targets[] = {1e-3, 0.7, 60.0, 5e5};
    for (size_t c = 0; c < sizeof cases / sizeof cases[0]; c++) {
        for (size_t t = 0; t < sizeof targets / sizeof targets[0]; t++) {
            const double *k = cases[c];
            double x = label_equation_root(k[0], k[1], k[2], k[3], k[4], k[5], targets[t]);
            if (k[2] > 0.0 && left_side(k, 0.0) < targets[t]) {
                assert_true(isnan(x)); /* no positive root: the left side is falling */
                continue;
            }
            assert_true(k[1] * x + k[2] > 0.0 && k[4] * x + k[5] > 0.0);
            assert_close(left_side(k, x), targets[t], 1e-9, 0.0);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(root_solves_the_equation)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
