/* The examples of JCGM 101:2008 clause 9 through packspan's own draws, shapes and tallies. Inputs
 * and published results are from memory of the standard; the exact results beside them are
 * closed forms or quadratures. Tolerances are four standard errors of the Monte Carlo. */
#include "support/support.h"

#include <stdlib.h>

#include "draw/shape.h"
#include "draw/stream.h"
#include "engine/tally.h"
#include "model/block.h"

enum { SAMPLES = 1000448, PILOT = 16384, INPUTS_MAX = 5 };

struct model {
    size_t inputs;
    struct shape_given given[INPUTS_MAX];
    double (*work)(const double *x);
};

struct summary {
    struct moments moments;
    double low, high;                   /* probabilistically symmetric 95 % */
    double low_error, high_error;       /* one standard error */
    double shortest_low, shortest_high; /* 95 % */
};

static int compare(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void fill(const struct model *m, struct shape *const *shapes, uint64_t first, double *y)
{
    static double x[INPUTS_MAX][BLOCK_SAMPLES];
    for (size_t k = 0; k < m->inputs; k++) {
        static const char *const names[INPUTS_MAX] = {"x1", "x2", "x3", "x4", "x5"};
        struct stream s;
        stream_open(&s, 20081231, "vehicle", "example", names[k]);
        stream_uniforms(&s, first, BLOCK_SAMPLES, x[k]);
        shape_quantiles(shapes[k], BLOCK_SAMPLES, x[k], x[k]);
    }
    for (size_t i = 0; i < BLOCK_SAMPLES; i++) {
        double one[INPUTS_MAX];
        for (size_t k = 0; k < m->inputs; k++)
            one[k] = x[k][i];
        y[i] = m->work(one);
    }
}

static struct summary run(const struct model *m)
{
    struct shape *shapes[INPUTS_MAX];
    struct shape_domain everything = {-INFINITY, INFINITY, true, true};
    struct shape_fault fault;
    for (size_t k = 0; k < m->inputs; k++)
        assert_int_equal(shape_make(&m->given[k], &everything, &shapes[k], &fault), PACKSPAN_OK);

    double *pilot = malloc(PILOT * sizeof *pilot);
    assert_non_null(pilot);
    for (size_t first = 0; first < PILOT; first += BLOCK_SAMPLES)
        fill(m, shapes, first, pilot + first);
    qsort(pilot, PILOT, sizeof *pilot, compare);
    struct bin_layout *layout = NULL;
    assert_int_equal(bin_layout_make(pilot, PILOT, &layout), PACKSPAN_OK);
    free(pilot);

    uint64_t *counts = calloc(bin_layout_size(layout), sizeof *counts);
    assert_non_null(counts);
    struct summary s;
    moments_init(&s.moments);
    for (uint64_t first = 0; first < SAMPLES; first += BLOCK_SAMPLES) {
        double y[BLOCK_SAMPLES];
        struct moments part;
        fill(m, shapes, first, y);
        moments_init(&part);
        moments_of(BLOCK_SAMPLES, y, &part);
        moments_merge(&s.moments, &part);
        bin_count(layout, BLOCK_SAMPLES, y, counts);
    }
    struct distribution d = {layout, counts, s.moments, SAMPLES};
    s.low = distribution_percentile(&d, 0.025);
    s.high = distribution_percentile(&d, 0.975);
    s.low_error = distribution_percentile_error(&d, 0.025);
    s.high_error = distribution_percentile_error(&d, 0.975);
    distribution_shortest95(&d, &s.shortest_low, &s.shortest_high);
    free(counts);
    bin_layout_free(layout);
    for (size_t k = 0; k < m->inputs; k++)
        shape_free(shapes[k]);
    return s;
}

static struct shape_given given(enum shape_kind kind, double best, double low, double high,
                                double sd)
{
    return (struct shape_given){.kind = kind, .field = {best, low, high, NAN, sd, NAN, NAN}};
}

static struct shape_given normal(double mean, double sd)
{
    return given(SHAPE_NORMAL, mean, NAN, NAN, sd);
}

static struct shape_given rectangular(double low, double high)
{
    return given(SHAPE_UNIFORM, NAN, low, high, NAN);
}

/* `kurtosis` (not excess) sets the standard error of the sd: u sqrt((kurtosis - 1)/(4 n)). */
static void check(const struct summary *s, double mean, double sd, double kurtosis, double low,
                  double high)
{
    double n = SAMPLES;
    assert_close(s->moments.mean, mean, 0.0, 4.0 * sd / sqrt(n));
    assert_close(moments_sd(&s->moments), sd, 0.0, 4.0 * sd * sqrt((kurtosis - 1.0) / (4.0 * n)));
    assert_close(s->low, low, 0.0, 4.0 * s->low_error);
    assert_close(s->high, high, 0.0, 4.0 * s->high_error);
}

static double sum4(const double *x)
{
    return x[0] + x[1] + x[2] + x[3];
}

/* 9.2.2: four N(0, 1); published 2.00, [-3.92, 3.92]. */
static void additive_normals(void **state)
{
    (void)state;
    struct model m = {4, {normal(0, 1), normal(0, 1), normal(0, 1), normal(0, 1)}, sum4};
    struct summary s = run(&m);
    check(&s, 0.0, 2.0, 3.0, -3.919928, 3.919928);
}

/* 9.2.3: four R(-sqrt 3, sqrt 3); published 2.00, [-3.88, 3.88]; exactly
 * 2 sqrt 3 (2 - (3/5)^(1/4)). The kurtosis of the sum is 3 - 1.2/4. */
static void additive_equal_rectangulars(void **state)
{
    (void)state;
    double h = sqrt(3.0), end = 2.0 * h * (2.0 - pow(0.6, 0.25));
    struct model m = {
        4, {rectangular(-h, h), rectangular(-h, h), rectangular(-h, h), rectangular(-h, h)}, sum4};
    struct summary s = run(&m);
    check(&s, 0.0, 2.0, 2.7, -end, end);
}

/* 9.2.4: one of them ten times wider; published 10.1, about [-17.0, 17.0]; exactly 10.148892,
 * [-17.015814, 17.015814]. Kurtosis 3 - 1.2 (3 + 10^4)/103^2. */
static void additive_unequal_rectangulars(void **state)
{
    (void)state;
    double h = sqrt(3.0);
    struct model m = {4,
                      {rectangular(-h, h), rectangular(-h, h), rectangular(-h, h),
                       rectangular(-10.0 * h, 10.0 * h)},
                      sum4};
    struct summary s = run(&m);
    check(&s, 0.0, 10.148892, 3.0 - 1.2 * 10003.0 / (103.0 * 103.0), -17.015814, 17.015814);
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
    struct model m = {5,
                      {normal(100000.000, 0.050), normal(1.234, 0.020), rectangular(1.10, 1.30),
                       rectangular(7000, 9000), rectangular(7950, 8050)},
                      mass_difference};
    struct summary s = run(&m);
    check(&s, 1.2340000, 0.0754797, 3.0, 1.0844333, 1.3835667);
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
