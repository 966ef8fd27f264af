/* Properties that every shape keeps, and what is particular to some. */
#include "draw/shape.h"

#include "unit/draw/shape_text.h"

#include <float.h>

static struct shape_domain closed(double low, double high)
{
    return (struct shape_domain){low, high, false, false};
}

static const struct sample_row {
    const char *shape, *fields;
    double cut_low, cut_high; /* a domain that cuts a little off */
} continuous[] = {
    {"normal", "best=2 sd=0.5", 1.0, 3.2},
    {"normal", "low=10 high=14 cover=0.9", 9.5, 15.0},
    {"split_normal", "best=3 low=2 high=7 cover=0.9", 1.9, 9.0},
    {"split_normal", "best=6.99 low=2 high=7", 0.0, 7.02},
    {"lognormal", "best=5 sd=0.4", 2.2, 12.0},
    {"lognormal", "low=2 high=18", 1.5, 24.0},
    {"uniform", "low=-3 high=5", -2.9, 4.8},
    {"vague_uniform", "low=1 high=2 sd=0.1", 0.95, 2.02},
    {"vague_uniform", "low=1 high=2 sd=0.49", 0.7, 2.3},
    {"vague_uniform", "low=1 high=2 sd=1e-6", 1.01, 1.98},
    {"trapezoid", "low=0 high=4 cover=0.5", 0.4, 3.8},
    {"trapezoid", "low=0 high=4 cover=0", 0.4, 3.8},
    {"trapezoid", "low=0 high=4 cover=1 best=2", 0.1, 3.95},
    {"triangular", "low=0 best=0.3 high=2", 0.05, 1.8},
    {"triangular", "low=1 best=1 high=2", 1.01, 1.9},
    {"triangular", "low=1 best=2 high=2", 1.1, 1.99},
    {"pert", "low=0 best=0.2 high=1", 0.04, 0.7},
    {"pert", "low=0 best=0 high=1", 0.001, 0.6},
    {"pert", "low=0 best=0.7 high=1 cover=0.9", -0.15, 1.06},
    {"arcsine", "low=0 high=3", 0.003, 2.996},
    {"student", "best=0 sd=1 dof=1", -30.0, 40.0},
    {"student", "best=7 sd=0.5 dof=2.5", 4.0, 11.0},
    {"student", "best=7 sd=0.5 dof=1e9", 6.0, 8.0},
};
enum { CONTINUOUS = sizeof continuous / sizeof *continuous };

/* Even: not cut. Odd: cut. */
static struct shape *nth_shape(size_t i)
{
    const struct sample_row *row = &continuous[i / 2];
    struct shape_domain domain = i % 2 ? closed(row->cut_low, row->cut_high) : anywhere;
    return shape_text(row->shape, row->fields, domain);
}

/* F(Q(u)) = u; 1e-10 is what the tables of pert and student keep. */
static void distribution_undoes_quantile(void **state)
{
    (void)state;
    for (size_t i = 0; i < 2 * CONTINUOUS; i++) {
        struct shape *s = nth_shape(i);
        for (int k = 1; k < 500; k++) {
            double u = k / 500.0;
            if (!is_close(shape_distribution(s, quantile(s, u)), u, 1e-10, 1e-10))
                fail_msg("%s %s: F(Q(%g)) = %.17g", continuous[i / 2].shape,
                         continuous[i / 2].fields, u, shape_distribution(s, quantile(s, u)));
        }
        shape_free(s);
    }
}

static void cut_is_what_lies_outside(void **state)
{
    (void)state;
    for (size_t i = 0; i < CONTINUOUS; i++) {
        struct shape *whole = nth_shape(2 * i), *part = nth_shape(2 * i + 1);
        double below = shape_distribution(whole, continuous[i].cut_low);
        double above = 1.0 - shape_distribution(whole, continuous[i].cut_high);
        assert_true(shape_cut(whole) == 0.0);
        assert_true(shape_cut(part) > 0.0);
        assert_close(shape_cut(part), below + above, 1e-12, 1e-15);
        /* Renormalised: the part at the whole's median. */
        double median = quantile(whole, 0.5);
        assert_close(shape_distribution(part, median), (0.5 - below) / (1.0 - below - above), 1e-10,
                     0);
        shape_free(whole);
        shape_free(part);
    }
}

/* A draw may fall by a few units in the last digit of the values around it, never more. */
static bool rises(double before, double after, double scale)
{
    return after >= before - 1e-15 * scale;
}

static double scale_of(const struct shape *s)
{
    return fmax(fabs(quantile(s, 0.01)), fabs(quantile(s, 0.99)));
}

static void draws_are_monotone_finite_and_inside(void **state)
{
    (void)state;
    enum { COUNT = 4001 };
    static double u[COUNT], x[COUNT];
    for (int k = 0; k < COUNT; k++)
        u[k] = k < 2000 ? pow(10.0, -300.0 + k * 0.15) : (k - 2000 + 0.5) / 2001.0;
    u[COUNT - 2] = 1.0 - 0x1p-40;
    u[COUNT - 1] = 1.0 - 0x1p-53;
    for (size_t i = 0; i < 2 * CONTINUOUS; i++) {
        const struct sample_row *row = &continuous[i / 2];
        struct shape *s = nth_shape(i);
        double scale = scale_of(s);
        shape_quantiles(s, COUNT, u, x);
        for (int k = 0; k < COUNT; k++) {
            assert_true(isfinite(x[k]));
            if (i % 2)
                assert_true(x[k] >= row->cut_low && x[k] <= row->cut_high);
            if (k != 0 && k != 2000 && !rises(x[k - 1], x[k], scale))
                fail_msg("%s %s falls from %.17g to %.17g at u = %g", row->shape, row->fields,
                         x[k - 1], x[k], u[k]);
        }
        shape_free(s);
    }
}

/* Where one formula takes over from another. */
static void draws_are_monotone_across_joins(void **state)
{
    (void)state;
    static const double joins[] = {0.5, 0.075, 0.925, 1.3887943864964e-11, 1.1e-19};
    for (size_t i = 0; i < 2 * CONTINUOUS; i++) {
        struct shape *s = nth_shape(i);
        for (size_t j = 0; j < sizeof joins / sizeof *joins; j++) {
            double before = quantile(s, joins[j] * (1.0 - 1e-9));
            double at = quantile(s, joins[j]);
            double after = quantile(s, joins[j] * (1.0 + 1e-9));
            assert_true(rises(before, at, scale_of(s)) && rises(at, after, scale_of(s)));
        }
        shape_free(s);
    }
}

static void blocks_and_single_draws_agree(void **state)
{
    (void)state;
    enum { COUNT = 1300 };
    static double u[COUNT], x[COUNT];
    for (int k = 0; k < COUNT; k++)
        u[k] = (k * 619 % COUNT + 0.5) / COUNT;
    for (size_t i = 0; i < 2 * CONTINUOUS; i++) {
        struct shape *s = nth_shape(i);
        memcpy(x, u, sizeof x);
        shape_quantiles(s, COUNT, x, x);
        for (int k = 0; k < COUNT; k++)
            assert_true(x[k] == quantile(s, u[k]));
        shape_free(s);
    }
}

static void open_ends_are_never_reached(void **state)
{
    (void)state;
    struct shape_domain domain = {0.0, 1.0, true, true};
    struct shape *s = shape_text("uniform", "low=0 high=1", domain);
    assert_true(quantile(s, 1e-320) > 0.0);
    assert_true(quantile(s, 1.0 - 0x1p-53) < 1.0);
    shape_free(s);
    s = shape_text("triangular", "low=0 best=1 high=1", domain);
    assert_true(quantile(s, 1.0 - 0x1p-53) == nextafter(1.0, 0.0));
    shape_free(s);
    s = shape_text("lognormal", "best=1 sd=1000",
                   (struct shape_domain){0.0, (double)INFINITY, true, true});
    assert_true(quantile(s, 1e-9) == nextafter(0.0, 1.0));
    assert_true(quantile(s, 1.0 - 1e-9) == DBL_MAX);
    shape_free(s);
}

static void distribution_ends_at_0_and_1(void **state)
{
    (void)state;
    for (size_t i = 0; i < CONTINUOUS; i++) {
        struct shape *s = nth_shape(2 * i + 1);
        assert_true(shape_distribution(s, nextafter(continuous[i].cut_low, -DBL_MAX)) == 0.0);
        assert_true(shape_distribution(s, continuous[i].cut_high) == 1.0);
        assert_true(shape_distribution(s, -(double)INFINITY) == 0.0);
        assert_true(shape_distribution(s, (double)INFINITY) == 1.0);
        assert_false(shape_is_fixed(s));
        shape_free(s);
    }
}

static void assert_covers(const char *shape, const char *fields, double low, double high,
                          double cover)
{
    struct shape *s = shape_text(shape, fields, anywhere);
    assert_close(shape_distribution(s, low), 0.5 * (1.0 - cover), 1e-12, 0);
    assert_close(1.0 - shape_distribution(s, high), 0.5 * (1.0 - cover), 1e-12, 0);
    shape_free(s);
}

/* What cover promises, with equal tails, 0.95 unless given. */
static void cover_lies_between_low_and_high(void **state)
{
    (void)state;
    assert_covers("normal", "low=2 high=5", 2, 5, 0.95);
    assert_covers("normal", "low=2 high=5 cover=0.5 best=3.5", 2, 5, 0.5);
    assert_covers("lognormal", "low=2 high=5", 2, 5, 0.95);
    assert_covers("lognormal", "low=1 high=9 cover=0.8 best=3", 1, 9, 0.8);
    assert_covers("split_normal", "low=2 best=2.1 high=5", 2, 5, 0.95);
    assert_covers("split_normal", "low=2 best=4.9999 high=5 cover=0.2", 2, 5, 0.2);
    assert_covers("split_normal", "low=2 best=3.5 high=5 cover=0.999", 2, 5, 0.999);
    assert_covers("pert", "low=2 best=2.5 high=5 cover=0.9", 2, 5, 0.9);
    assert_covers("pert", "low=2 best=2 high=5 cover=0.5", 2, 5, 0.5);
    assert_covers("pert", "low=2 best=5 high=5 cover=0.99", 2, 5, 0.99);
}

/* z(0.975) = 1.959963984540054 (any table of the normal distribution). */
static void normal_limits_give_its_sd(void **state)
{
    (void)state;
    struct shape *s =
        shape_text("normal", "low=-1.959963984540054 high=1.959963984540054", anywhere);
    assert_close(quantile(s, 0.8413447460685429), 1.0, 1e-14, 0); /* Phi(1) */
    shape_free(s);
}

static double density(const struct shape *s, double from, double to)
{
    return (shape_distribution(s, to) - shape_distribution(s, from)) / (to - from);
}

static void split_normal_joins_at_its_mode(void **state)
{
    (void)state;
    struct shape *s = shape_text("split_normal", "low=2 best=2.5 high=7 cover=0.9", anywhere);
    const double h = 1e-4;
    double left = density(s, 2.5 - h, 2.5), right = density(s, 2.5, 2.5 + h);
    assert_close(left, right, 1e-6, 0);
    assert_true(density(s, 2.5 - 0.02, 2.5 - 0.01) < left);
    assert_true(density(s, 2.5 + 0.2, 2.5 + 0.3) < right);
    shape_free(s);
}

/* The mode of a PERT given by quantiles stays at best. */
static void pert_keeps_its_mode(void **state)
{
    (void)state;
    struct shape *s = shape_text("pert", "low=2 best=2.8 high=5 cover=0.8", anywhere);
    const double h = 1e-3;
    double peak = density(s, 2.8 - h, 2.8 + h);
    for (double away = 0.01; away < 0.5; away += 0.01) {
        assert_true(density(s, 2.8 - away - h, 2.8 - away + h) < peak);
        assert_true(density(s, 2.8 + away - h, 2.8 + away + h) < peak);
    }
    shape_free(s);
}

/* One degree of freedom: -1/tan(pi u). Two: (2u - 1)/sqrt(2u(1 - u)). */
static void student_agrees_with_closed_forms(void **state)
{
    (void)state;
    struct shape *one = shape_text("student", "best=0 sd=1 dof=1", anywhere);
    struct shape *two = shape_text("student", "best=0 sd=1 dof=2", anywhere);
    for (double u = 1e-40; u < 0.5; u *= 1.7) {
        assert_close(quantile(one, u), -1.0 / tan(M_PI * u), 1e-10, 0);
        assert_close(quantile(two, u), (2.0 * u - 1.0) / sqrt(2.0 * u * (1.0 - u)), 1e-10, 0);
    }
    for (double tail = 0x1p-53; tail < 0.5; tail *= 2.0) {
        assert_close(quantile(one, 1.0 - tail), 1.0 / tan(M_PI * tail), 1e-10, 0);
        assert_close(quantile(two, 1.0 - tail),
                     (1.0 - 2.0 * tail) / sqrt(2.0 * tail * (1.0 - tail)), 1e-10, 0);
    }
    shape_free(one);
    shape_free(two);
}

/* best = low: 1 - (1 - u)^(1/5). */
static void pert_agrees_with_a_closed_form(void **state)
{
    (void)state;
    struct shape *s = shape_text("pert", "low=0 best=0 high=1", anywhere);
    for (double u = 1e-40; u < 0.99; u *= 1.7)
        assert_close(quantile(s, u), -expm1(log1p(-u) / 5.0), 1e-10, 0);
    shape_free(s);
    s = shape_text("pert", "low=-1 best=-1 high=0", anywhere);
    for (double tail = 0x1p-53; tail < 0.5; tail *= 2.0)
        assert_close(quantile(s, 1.0 - tail), -pow(tail, 0.2), 1e-10, 0);
    shape_free(s);
}

static void fixed_is_one_value(void **state)
{
    (void)state;
    struct shape *s = shape_text("fixed", "best=1", closed(0.0, 1.0));
    assert_true(shape_is_fixed(s));
    assert_true(quantile(s, 0.123) == 1.0);
    assert_true(shape_distribution(s, 0.999) == 0.0);
    assert_true(shape_distribution(s, 1.0) == 1.0);
    assert_true(shape_cut(s) == 0.0);
    shape_free(s);
}

static void observed_steps_through_its_readings(void **state)
{
    (void)state;
    double values[] = {30.0, 10.0, 20.0, 40.0}, weights[] = {3.0, 1.0, 0.0, 4.0};
    struct shape_given given = given_text("observed", "");
    given.values = values;
    given.weights = weights;
    given.readings = 4;
    struct shape *s = shape_of(&given, anywhere);
    for (int i = 0; i < 4; i++)
        values[i] = weights[i] = -1.0; /* the shape has its own copy */
    assert_true(quantile(s, 1e-9) == 10.0);
    assert_true(quantile(s, 0.125) == 10.0);
    assert_true(quantile(s, nextafter(0.125, 1.0)) == 30.0);
    assert_true(quantile(s, 0.5) == 30.0);
    assert_true(quantile(s, 0.51) == 40.0);
    assert_true(quantile(s, 1.0 - 0x1p-53) == 40.0);
    assert_true(shape_distribution(s, 9.9) == 0.0);
    assert_true(shape_distribution(s, 10.0) == 0.125);
    assert_true(shape_distribution(s, 29.0) == 0.125);
    assert_true(shape_distribution(s, 30.0) == 0.5);
    assert_true(shape_distribution(s, 40.0) == 1.0);
    assert_false(shape_is_fixed(s));
    shape_free(s);
}

static void observed_readings_weigh_the_same(void **state)
{
    (void)state;
    const double values[] = {5, 3, 1, 2, 4, 7, 9, 8, 6, 10};
    struct shape_given given = given_text("observed", "");
    given.values = values;
    given.readings = 10;
    struct shape *s = shape_of(&given, anywhere);
    for (int i = 1; i <= 10; i++) {
        assert_true(quantile(s, i / 10.0 - 1e-12) == i);
        assert_true(quantile(s, (i - 1) / 10.0 + 1e-12) == i);
        assert_close(shape_distribution(s, i), i / 10.0, 1e-15, 0);
    }
    shape_free(s);
}

static double crowd_weight(int set, int reading)
{
    switch (set) {
    case 0:
        return 1.0;
    case 1:
        return ldexp(1.0, -reading); /* most are lost in rounding */
    case 2:
        return reading == 3 ? 1e9 : 1.0;
    case 3:
        return reading % 3 ? 1e-12 : reading + 1;
    default:
        return exp(40.0 * sin(reading * reading));
    }
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The first reading whose share is not below u, found one by one, at every share, at the
 * borders of the guide and at their neighbours. */
static void observed_draws_are_those_of_a_plain_search(void **state)
{
    (void)state;
    enum { MOST = 1000, PLACES = 2 * 1024, COUNT = 3 * (MOST + PLACES) };
    static const int counts[] = {1, 2, 7, 33, MOST};
    static double values[MOST], weights[MOST], shares[MOST], u[COUNT], x[COUNT];
    for (int c = 0; c < 5; c++)
        for (int set = 0; set < 5; set++) {
            double sum = 0.0;
            int n = counts[c], places = 0;
            for (int i = 0; i < n; i++) {
                values[i] = 10.0 + i;
                weights[i] = crowd_weight(set, i);
                shares[i] = sum += weights[i];
            }
            for (int i = 0; i < n; i++)
                shares[i] /= sum;
            for (int i = 0; i < n + PLACES; i++) {
                double place = i < n ? shares[i] : (double)(i - n) / PLACES;
                u[places++] = fmin(fmax(place, 0x1p-53), 1.0 - 0x1p-53);
                u[places++] = fmin(fmax(nextafter(place, 0.0), 0x1p-1074), 1.0 - 0x1p-53);
                u[places++] = fmin(nextafter(place, 1.0), 1.0 - 0x1p-53);
            }
            qsort(u, (size_t)places, sizeof *u, by_value);
            struct shape_given given = given_text("observed", "");
            given.values = values;
            given.weights = weights;
            given.readings = (size_t)n;
            struct shape *s = shape_of(&given, anywhere);
            shape_draws(s, (size_t)places, u, x);
            for (int k = 0, reading = 0; k < places; k++) {
                while (shares[reading] < u[k])
                    reading++;
                assert_true(x[k] == values[reading]);
            }
            shape_free(s);
        }
}

static void observed_outside_the_domain_is_cut(void **state)
{
    (void)state;
    const double values[] = {0.9, 1.5, 0.8, 0.0}, weights[] = {60, 2, 36, 2};
    struct shape_given given = given_text("observed", "");
    given.values = values;
    given.weights = weights;
    given.readings = 4;
    struct shape *s = shape_of(&given, (struct shape_domain){0.0, 1.0, true, false});
    assert_close(shape_cut(s), 0.04, 1e-15, 0);
    assert_true(quantile(s, 1e-6) == 0.8);
    assert_true(quantile(s, 0.37) == 0.8); /* 36/96 = 0.375 */
    assert_true(quantile(s, 0.38) == 0.9);
    assert_true(quantile(s, 1.0 - 1e-6) == 0.9);
    shape_free(s);
    given.values = (const double[]){3.0, 3.0};
    given.weights = NULL;
    given.readings = 2;
    s = shape_of(&given, anywhere);
    assert_true(shape_is_fixed(s));
    shape_free(s);
}

static void shapes_are_found_by_name(void **state)
{
    (void)state;
    for (enum shape_kind kind = 0; kind < SHAPE_COUNT; kind++) {
        assert_int_equal(shape_find(shape_infos[kind].name), kind);
        assert_true(strlen(shape_infos[kind].columns) > 0 && strlen(shape_infos[kind].meaning) > 0);
        for (int f = 0; f < SHAPE_FIELD_COUNT; f++) {
            bool named = strstr(shape_infos[kind].columns, shape_field_names[f]) != NULL;
            assert_int_equal(named, shape_infos[kind].uses >> f & 1);
        }
    }
    assert_int_equal(shape_find("gamma"), SHAPE_COUNT);
    assert_int_equal(shape_find(""), SHAPE_COUNT);
    assert_int_equal(shape_find("Normal"), SHAPE_COUNT);
    shape_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(distribution_undoes_quantile),
        cmocka_unit_test(cut_is_what_lies_outside),
        cmocka_unit_test(draws_are_monotone_finite_and_inside),
        cmocka_unit_test(draws_are_monotone_across_joins),
        cmocka_unit_test(blocks_and_single_draws_agree),
        cmocka_unit_test(open_ends_are_never_reached),
        cmocka_unit_test(distribution_ends_at_0_and_1),
        cmocka_unit_test(cover_lies_between_low_and_high),
        cmocka_unit_test(normal_limits_give_its_sd),
        cmocka_unit_test(split_normal_joins_at_its_mode),
        cmocka_unit_test(pert_keeps_its_mode),
        cmocka_unit_test(student_agrees_with_closed_forms),
        cmocka_unit_test(pert_agrees_with_a_closed_form),
        cmocka_unit_test(fixed_is_one_value),
        cmocka_unit_test(observed_steps_through_its_readings),
        cmocka_unit_test(observed_readings_weigh_the_same),
        cmocka_unit_test(observed_draws_are_those_of_a_plain_search),
        cmocka_unit_test(observed_outside_the_domain_is_cut),
        cmocka_unit_test(shapes_are_found_by_name),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
