/* Comparison loss in microwave power meter calibration, JCGM 101:2008 9.4: Y = X1^2 + X2^2 of two
 * normal inputs with u = 0.005, independent and correlated. What is published is from memory of the
 * standard. Exact moments follow from the cumulants of a quadratic form in normal variables; exact
 * intervals are quantiles of scipy.stats.chi2 and ncx2 (r = 0), or of scipy.integrate.quad over one
 * of the two independent parts (r = 0.9), SciPy 1.10.1. Unit 1e-6. */
#include "draw/correlation.h"
#include "support/propagation.h"

static const double u = 0.005, unit = 1e-6;

struct row {
    double correlation, x1;
    double mean, sd;                                            /* exact */
    double shortest_low, shortest_high, low, high;              /* exact, 95 % */
    double told_mean, told_sd, told_shortest, told_shortest_to; /* published, rounded to 1 */
};

static const struct row rows[] = {
    {0.0, 0.000, 50, 50.0000, 0, 149.787, 1.266, 184.444, 50, 50, 0, 150},
    {0.0, 0.010, 150, 111.8034, 0, 366.005, 8.547, 427.123, 150, 112, 0, 367},
    {0.0, 0.050, 2550, 502.4938, 1593.570, 3548.570, 1638.477, 3603.358, 2551, 502, 1590, 3543},
    {0.9, 0.000, 50, 67.2681, 0, 185.056, 0.561, 241.217, 50, 67, 0, 185},
    {0.9, 0.010, 150, 120.5197, 12.652, 397.479, 29.081, 478.311, 150, 121, 13, 398},
    {0.9, 0.050, 2550, 504.5047, 1624.419, 3554.682, 1696.858, 3659.796, 2551, 505, 1628, 3555},
};

static double loss(const double *x)
{
    return (x[0] * x[0] + x[1] * x[1]) / unit;
}

/* Cumulants of x'x: 2^(k-1) (k-1)! (tr V^k + k m' V^(k-1) m); V has the eigenvalues u^2 (1 +- r),
 * and x1 splits equally between their directions. */
static double kurtosis_of(const struct row *row)
{
    double more = u * u * (1.0 + row->correlation), less = u * u * (1.0 - row->correlation);
    double half = 0.5 * row->x1 * row->x1;
    double second = 2.0 * (pow(more, 2) + pow(less, 2) + 2.0 * half * (more + less));
    double fourth =
        48.0 * (pow(more, 4) + pow(less, 4) + 4.0 * half * (pow(more, 3) + pow(less, 3)));
    return 3.0 + fourth / (second * second);
}

static void check_row(const struct row *row)
{
    struct model m = {.inputs = 2,
                      .given = {normal(row->x1, u), normal(0.0, u)},
                      .work = loss,
                      .links = 1,
                      .link = {{0, 1, ranks_of_correlation(row->correlation)}},
                      .inside_low = row->shortest_low,
                      .inside_high = row->shortest_high};
    struct summary s = propagate(&m);
    double kurtosis = kurtosis_of(row), n = SAMPLES;
    check_summary(&s, row->mean, row->sd, kurtosis, row->low, row->high);
    assert_close(s.inside, 0.95, 0.0, 4.0 * sqrt(0.95 * 0.05 / n));
    /* The length of the shortest interval is steadier than its ends (7.7). */
    double length = s.shortest_high - s.shortest_low;
    double error = 4.0 * (s.low_error + s.high_error);
    assert_close(length, row->shortest_high - row->shortest_low, 0.0, error);
    assert_true(length <= s.high - s.low);

    /* What is published has the Monte Carlo error of a run of this size, too, and is rounded. */
    double mean_error = row->sd / sqrt(n), sd_error = row->sd * sqrt((kurtosis - 1.0) / (4.0 * n));
    assert_close(s.moments.mean, row->told_mean, 0.0, 0.5 + 4.0 * M_SQRT2 * mean_error);
    assert_close(moments_sd(&s.moments), row->told_sd, 0.0, 0.5 + 4.0 * M_SQRT2 * sd_error);
    assert_close(length, row->told_shortest_to - row->told_shortest, 0.0, 1.0 + M_SQRT2 * error);
}

static void independent(void **state)
{
    (void)state;
    for (size_t i = 0; i < 3; i++)
        check_row(&rows[i]);
}

static void correlated(void **state)
{
    (void)state;
    for (size_t i = 3; i < 6; i++)
        check_row(&rows[i]);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(independent),
        cmocka_unit_test(correlated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
