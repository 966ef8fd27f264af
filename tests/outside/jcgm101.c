/* The examples of JCGM 101:2008 clause 9 through packspan's own draws, shapes and tallies. Inputs
 * and published results are from memory of the standard; the exact results beside them are
 * closed forms or quadratures. Tolerances are four standard errors of the Monte Carlo. */
#include "support/propagation.h"

static double sum4(const double *x)
{
    return x[0] + x[1] + x[2] + x[3];
}

/* 9.2.2: four N(0, 1); published 2.00, [-3.92, 3.92]. */
static void additive_normals(void **state)
{
    (void)state;
    struct model m = {.inputs = 4,
                      .given = {normal(0, 1), normal(0, 1), normal(0, 1), normal(0, 1)},
                      .work = sum4};
    struct summary s = propagate(&m);
    check_summary(&s, 0.0, 2.0, 3.0, -3.919928, 3.919928);
}

/* 9.2.3: four R(-sqrt 3, sqrt 3); published 2.00, [-3.88, 3.88]; exactly
 * 2 sqrt 3 (2 - (3/5)^(1/4)). The kurtosis of the sum is 3 - 1.2/4. */
static void additive_equal_rectangulars(void **state)
{
    (void)state;
    double h = sqrt(3.0), end = 2.0 * h * (2.0 - pow(0.6, 0.25));
    struct model m = {
        .inputs = 4,
        .given = {rectangular(-h, h), rectangular(-h, h), rectangular(-h, h), rectangular(-h, h)},
        .work = sum4};
    struct summary s = propagate(&m);
    check_summary(&s, 0.0, 2.0, 2.7, -end, end);
}

/* 9.2.4: one of them ten times wider; published 10.1, about [-17.0, 17.0]; exactly 10.148892,
 * [-17.015814, 17.015814]. Kurtosis 3 - 1.2 (3 + 10^4)/103^2. */
static void additive_unequal_rectangulars(void **state)
{
    (void)state;
    double h = sqrt(3.0);
    struct model m = {.inputs = 4,
                      .given = {rectangular(-h, h), rectangular(-h, h), rectangular(-h, h),
                                rectangular(-10.0 * h, 10.0 * h)},
                      .work = sum4};
    struct summary s = propagate(&m);
    check_summary(&s, 0.0, 10.148892, 3.0 - 1.2 * 10003.0 / (103.0 * 103.0), -17.015814, 17.015814);
}

static double mass_difference(const double *x)
{
    return (x[0] + x[1]) * (1.0 + (x[2] - 1.2) * (1.0 / x[3] - 1.0 / x[4])) - 100000.0;
}

/* 9.3: mass calibration, mg; published 1.2341, 0.0754, shortest [1.0834, 1.3825]; quadrature gives
 * 1.2340, 0.0754797 and the symmetric interval [1.0844333, 1.3835667]. The shape is flatter than
 * normal: 3 bounds its kurtosis for the tolerance. */
static void mass_calibration(void **state)
{
    (void)state;
    struct model m = {.inputs = 5,
                      .given = {normal(100000.000, 0.050), normal(1.234, 0.020),
                                rectangular(1.10, 1.30), rectangular(7000, 9000),
                                rectangular(7950, 8050)},
                      .work = mass_difference};
    struct summary s = propagate(&m);
    check_summary(&s, 1.2340000, 0.0754797, 3.0, 1.0844333, 1.3835667);
    /* The length of the shortest interval is steadier than its ends (7.7). */
    double length = s.shortest_high - s.shortest_low, exact = 1.3835667 - 1.0844333;
    assert_close(length, exact, 0.0, 4.0 * (s.low_error + s.high_error));
    assert_true(length <= s.high - s.low);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(additive_normals),
        cmocka_unit_test(additive_equal_rectangulars),
        cmocka_unit_test(additive_unequal_rectangulars),
        cmocka_unit_test(mass_calibration),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
