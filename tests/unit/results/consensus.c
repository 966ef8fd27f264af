/* The consensus of routes: closed forms, dependent and exact routes, invariances, refusals. */
#include "results/consensus.h"
#include "support/support.h"

#include "results/chi_squared.h"

#include <string.h>

enum { MAX = CONSENSUS_ROUTES_MAX };

static struct consensus combine(size_t n, const double *x, const double *v)
{
    struct consensus c;
    assert_int_equal(consensus_make(n, x, v, &c), PACKSPAN_OK);
    assert_int_equal(c.count, n);
    return c;
}

static struct consensus combine_independent(size_t n, const double *x, const double *u)
{
    double v[MAX * MAX] = {0};
    for (size_t i = 0; i < n; i++)
        v[i * n + i] = u[i] * u[i];
    return combine(n, x, v);
}

/* The covariance of n sums of m independent effects, row i of `part` telling how much of each. */
static struct consensus combine_sums(size_t n, size_t m, const double *x, const double *part)
{
    double v[MAX * MAX];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            v[i * n + j] = 0.0;
            for (size_t k = 0; k < m; k++)
                v[i * n + j] += part[i * m + k] * part[j * m + k];
        }
    return combine(n, x, v);
}

static void one_route_is_the_consensus(void **state)
{
    (void)state;
    struct consensus c = combine_independent(1, (const double[]){75.0}, (const double[]){2.0});
    assert_true(c.value == 75.0 && c.u == 2.0);
    assert_true(c.chi_squared == 0.0 && c.dof == 0 && c.probability == 1.0 && c.birge == 1.0);
    assert_true(c.consistent && c.used == 1 && c.route[0].used && c.route[0].weight == 1.0);
    assert_true(c.route[0].deviation == 0.0 && c.route[0].deviation_u == 0.0);
    assert_true(c.route[0].normalised == 0.0 && !c.route[0].disagrees && !c.route[0].exact);
    assert_int_equal(c.route[0].depends_on, 0);
    assert_true(c.random_effects.tau_squared == 0.0);
    assert_true(c.random_effects.value == 75.0 && c.random_effects.u == 2.0);
}

/* Two routes: minimising the variance of w x1 + (1 - w) x2 by hand gives
 * w = (u2^2 - rho u1 u2)/s, u(y)^2 = u1^2 u2^2 (1 - rho^2)/s, chi-squared = (x1 - x2)^2/s with
 * s = u1^2 + u2^2 - 2 rho u1 u2. */
static void two_correlated_routes(void **state)
{
    (void)state;
    const double x[] = {74.0, 78.5};
    const double us[] = {0.01, 0.5, 1.0, 3.0};
    for (int k = 0; k < 16; k++)
        for (double rho = -0.95; rho < 1.0; rho += 0.19) {
            double u1 = us[k / 4], u2 = us[k % 4], common = rho * u1 * u2;
            double s = u1 * u1 + u2 * u2 - 2.0 * common;
            struct consensus c = combine(2, x, (double[]){u1 * u1, common, common, u2 * u2});
            double w = (u2 * u2 - common) / s;
            double variance = u1 * u1 * u2 * u2 * (1.0 - rho * rho) / s;
            assert_close(c.route[0].weight, w, 1e-12, 1e-14);
            assert_close(c.route[1].weight, 1.0 - w, 1e-12, 1e-14);
            assert_close(c.value, x[0] + (1.0 - w) * 4.5, 1e-13, 0.0);
            assert_close(c.u, sqrt(variance), 1e-12, 0.0);
            assert_close(c.chi_squared, 4.5 * 4.5 / s, 1e-12, 0.0);
            assert_close(c.probability, erfc(4.5 / sqrt(2.0 * s)), 1e-10, 0.0);
            assert_close(c.birge, 4.5 / sqrt(s), 1e-12, 0.0);
            /* Cox: u(d)^2 = u^2 - u(y)^2 */
            double left = u1 * u1 - variance;
            assert_close(c.route[0].deviation_u, sqrt(fmax(left, 0.0)), 1e-6, 1e-9);
            assert_close(fabs(c.route[0].normalised), 4.5 / (2.0 * sqrt(s)), 1e-11, 0.0);
        }
}

/* The less certain route gets a negative weight where rho > u1/u2, and the consensus then lies
 * beyond the more certain one. */
static void strong_correlation_makes_a_weight_negative(void **state)
{
    (void)state;
    const double x[] = {70.0, 80.0};
    for (double rho = 0.31; rho < 0.95; rho += 0.07) {
        struct consensus c = combine(2, x, (double[]){1.0, 2.0 * rho, 2.0 * rho, 4.0});
        bool negative = rho > 0.5;
        assert_int_equal(c.negative_weights, negative);
        assert_int_equal(c.route[1].weight_negative, negative);
        assert_false(c.route[0].weight_negative);
        assert_int_equal(c.value < 70.0, negative);
    }
}

/* rho = u1/u2: the weight is 0, with either sign of its rounding. */
static void rounding_makes_no_weight_negative(void **state)
{
    (void)state;
    for (double u1 = 0.11; u1 < 2.0; u1 += 0.07) {
        double common = u1 * 2.3 * (u1 / 2.3);
        struct consensus c =
            combine(2, (const double[]){70.0, 80.0}, (double[]){u1 * u1, common, common, 5.29});
        assert_int_equal(c.negative_weights, 0);
        assert_close(c.value, 70.0, 1e-14, 0.0);
    }
}

/* The two-sided 5 % point of the normal distribution is 1.959964. */
static void the_test_fails_below_five_per_cent(void **state)
{
    (void)state;
    const double u[] = {3.0, 4.0};
    assert_true(combine_independent(2, (const double[]){0.0, 5.0 * 1.9599}, u).consistent);
    assert_false(combine_independent(2, (const double[]){0.0, 5.0 * 1.9600}, u).consistent);
}

/* Independent routes: the estimate as DerSimonian and Laird (1986) write it. */
static void random_effects_of_independent_routes(void **state)
{
    (void)state;
    const double x[] = {70.0, 74.5, 81.0, 77.0, 60.0};
    const double u[] = {1.0, 2.5, 0.7, 3.0, 4.0};
    double s0 = 0.0, s1 = 0.0, s2 = 0.0;
    for (int i = 0; i < 5; i++) {
        double w = 1.0 / (u[i] * u[i]);
        s0 += w * x[i];
        s1 += w;
        s2 += w * w;
    }
    double q = 0.0;
    for (int i = 0; i < 5; i++)
        q += (x[i] - s0 / s1) * (x[i] - s0 / s1) / (u[i] * u[i]);
    double tau_squared = (q - 4.0) / (s1 - s2 / s1), sum = 0.0, weights = 0.0;
    for (int i = 0; i < 5; i++) {
        sum += x[i] / (u[i] * u[i] + tau_squared);
        weights += 1.0 / (u[i] * u[i] + tau_squared);
    }
    struct consensus c = combine_independent(5, x, u);
    assert_false(c.consistent);
    assert_close(c.chi_squared, q, 1e-12, 0.0);
    assert_close(c.random_effects.tau_squared, tau_squared, 1e-12, 0.0);
    assert_close(c.random_effects.value, sum / weights, 1e-13, 0.0);
    assert_close(c.random_effects.u, sqrt(1.0 / weights), 1e-12, 0.0);
}

/* Equal variances s^2 and correlations r: the common part of the errors drops out of all
 * differences, so tau^2 is the sample variance less s^2 (1 - r), the value is the plain mean, and
 * its variance (s^2 (1 - r) + tau^2)/n + r s^2. */
static void random_effects_of_equally_correlated_routes(void **state)
{
    (void)state;
    const double x[] = {70.0, 74.0, 81.0, 77.0, 62.0, 80.0};
    const double s2 = 4.0, r = 0.6;
    double v[36], mean = 0.0, squares = 0.0;
    for (int i = 0; i < 36; i++)
        v[i] = i % 7 == 0 ? s2 : r * s2;
    for (int i = 0; i < 6; i++)
        mean += x[i] / 6.0;
    for (int i = 0; i < 6; i++)
        squares += (x[i] - mean) * (x[i] - mean);
    struct consensus c = combine(6, x, v);
    double own = s2 * (1.0 - r), tau_squared = squares / 5.0 - own;
    assert_close(c.chi_squared, squares / own, 1e-12, 0.0);
    assert_close(c.value, mean, 1e-13, 0.0);
    assert_close(c.u, sqrt(own / 6.0 + r * s2), 1e-12, 0.0);
    assert_close(c.random_effects.tau_squared, tau_squared, 1e-12, 0.0);
    assert_close(c.random_effects.value, mean, 1e-13, 0.0);
    assert_close(c.random_effects.u, sqrt((own + tau_squared) / 6.0 + r * s2), 1e-12, 0.0);
}

/* With u1 << u2, u(d1)^2 = u1^2 - u(y)^2 = u1^4/(u1^2 + u2^2), which the difference cannot tell,
 * and tau^2 = (chi-squared - 1)(u1^2 + u2^2)/2. */
static void a_route_far_more_certain_loses_no_digits(void **state)
{
    (void)state;
    for (double u1 = 1e-1; u1 > 1e-10; u1 *= 0.1) {
        double s = u1 * u1 + 4.0;
        struct consensus c =
            combine_independent(2, (const double[]){75.0, 81.0}, (const double[]){u1, 2.0});
        assert_close(c.route[0].deviation_u, u1 * u1 / sqrt(s), 1e-12, 0.0);
        assert_close(c.route[0].deviation, -6.0 * u1 * u1 / s, 1e-12, 0.0);
        assert_close(c.route[1].weight, u1 * u1 / s, 1e-12, 0.0);
        assert_close(c.random_effects.tau_squared, (36.0 / s - 1.0) * s / 2.0, 1e-12, 0.0);
    }
}

/* ---- Dependent routes --------------------------------------------------------------------- */

static void assert_same_estimate(const struct consensus *a, const struct consensus *b)
{
    assert_close(a->value, b->value, 1e-14, 0.0);
    assert_close(a->u, b->u, 1e-14, 0.0);
    assert_close(a->chi_squared, b->chi_squared, 1e-13, 0.0);
    assert_int_equal(a->dof, b->dof);
    assert_close(a->random_effects.tau_squared, b->random_effects.tau_squared, 1e-13, 0.0);
    assert_close(a->random_effects.u, b->random_effects.u, 1e-13, 0.0);
}

static void assert_dependent(const struct consensus *c, size_t i, size_t on, bool alone)
{
    assert_false(c->route[i].used);
    assert_int_equal(c->route[i].depends_on, on);
    assert_int_equal(c->route[i].depends_alone, alone);
    assert_true(c->route[i].weight == 0.0);
}

static void identical_routes_count_once(void **state)
{
    (void)state;
    const double part[] = {1.0, 0.5, 0.0, 1.5, 1.0, 0.5};
    struct consensus c = combine_sums(3, 2, (const double[]){75.0, 73.0, 75.0}, part);
    struct consensus two = combine_sums(2, 2, (const double[]){75.0, 73.0}, part);
    assert_int_equal(c.used, 2);
    assert_dependent(&c, 2, 0, true);
    assert_same_estimate(&c, &two);
    assert_close(c.route[2].deviation, c.route[0].deviation, 1e-13, 0.0);
    assert_close(c.route[2].deviation_u, c.route[0].deviation_u, 1e-12, 0.0);
    assert_int_equal(c.dependent_disagrees, 0);
}

static void a_lone_pair_of_identical_routes_agrees(void **state)
{
    (void)state;
    struct consensus c = combine(2, (const double[]){75.0, 75.0}, (double[]){4.0, 4.0, 4.0, 4.0});
    assert_int_equal(c.used, 1);
    assert_dependent(&c, 1, 0, true);
    assert_true(c.value == 75.0 && c.u == 2.0 && c.consistent);
    assert_true(c.route[1].normalised == 0.0 && !c.route[1].disagrees);
}

/* x3 = x1 + 4: it tells nothing new, and can never agree with x1. */
static void a_route_that_only_differs_by_a_constant(void **state)
{
    (void)state;
    const double part[] = {1.0, 0.0, 0.0, 1.5, 1.0, 0.0};
    struct consensus c = combine_sums(3, 2, (const double[]){75.0, 74.0, 79.0}, part);
    struct consensus two = combine_sums(2, 2, (const double[]){75.0, 74.0}, part);
    assert_int_equal(c.used, 2);
    assert_dependent(&c, 2, 0, true);
    assert_same_estimate(&c, &two);
    assert_true(c.consistent);
    assert_close(c.route[2].deviation, c.route[0].deviation + 4.0, 1e-12, 0.0);
    assert_true(c.route[2].disagrees);
    assert_int_equal(c.disagreeing, 0);
    assert_int_equal(c.dependent_disagrees, 1);
}

/* x3 = 0.9 x1: the more certain of the two is used, wherever it stands. */
static void the_more_certain_of_two_dependent_routes_is_used(void **state)
{
    (void)state;
    struct consensus c = combine(2, (const double[]){80.0, 72.0}, (double[]){4.0, 3.6, 3.6, 3.24});
    assert_int_equal(c.used, 1);
    assert_dependent(&c, 0, 1, true);
    assert_true(c.value == 72.0);
    assert_close(c.u, 1.8, 1e-15, 0.0);
    assert_true(c.route[0].disagrees); /* 8 apart, u(d) = 0.2 */
    assert_close(c.route[0].normalised, 20.0, 1e-12, 0.0);
}

/* x3 = x1 + x2 - 75 rests on both; x2 has the larger part. */
static void a_route_that_is_a_combination_of_others(void **state)
{
    (void)state;
    const double part[] = {1.0, 0.0, 0.0, 2.0, 1.0, 2.0};
    struct consensus c = combine_sums(3, 2, (const double[]){75.0, 76.0, 76.0}, part);
    assert_int_equal(c.used, 2);
    assert_dependent(&c, 2, 1, false);
    assert_int_equal(c.dependent_disagrees, 0);
}

/* Two routes of u = 1 whose difference has the given share of a variance of their own. */
static size_t used_with_share(double share)
{
    double r = sqrt(1.0 - share);
    return combine(2, (const double[]){75.0, 75.0}, (double[]){1.0, r, r, 1.0}).used;
}

static void the_tolerance_is_a_share_of_the_variance(void **state)
{
    (void)state;
    assert_int_equal(used_with_share(1.1 * CONSENSUS_OWN_SHARE), 2);
    assert_int_equal(used_with_share(0.9 * CONSENSUS_OWN_SHARE), 1);
}

/* u(d) is 3.2e-5 here, but nothing below 1e-4 of u is told apart: 1.5e-4 is within U(d), 2.5e-4 is
 * not. */
static void a_dependent_route_may_stand_apart_by_the_tolerance(void **state)
{
    (void)state;
    double r = sqrt(1.0 - 1e-9), v[] = {1.0, r, r, 1.0};
    struct consensus c = combine(2, (const double[]){75.0, 75.00015}, v);
    assert_dependent(&c, 1, 0, true);
    assert_false(c.route[1].disagrees);
    assert_true(combine(2, (const double[]){75.0, 75.00025}, v).route[1].disagrees);
}

/* x2 differs from x1 by 2e-4 e2, and x3 tells e2 to 2e-4: each has enough of its own given those
 * before it, but x3 would leave x2 a share of 4e-8 times 4e-8. */
static void no_route_takes_away_what_another_has_of_its_own(void **state)
{
    (void)state;
    const double part[] = {1.0, 0.0, 0.0, 1.0, 2e-4, 0.0, 0.0, 1.1, 2e-4};
    struct consensus c = combine_sums(3, 3, (const double[]){75.0, 75.0, 75.0}, part);
    assert_int_equal(c.used, 2);
    assert_false(c.route[2].used);
    assert_false(c.route[2].depends_alone);
    assert_true(isfinite(c.u) && isfinite(c.chi_squared));
}

/* x2 and x3 are x1 with an error of 1.2e-4 each: either alone leaves x1 a share of 1.5e-8, both
 * together half of that. */
static void what_others_take_away_adds_up(void **state)
{
    (void)state;
    const double part[] = {1.0, 0.0, 0.0, 1.0, 1.22e-4, 0.0, 1.0, 0.0, 1.23e-4};
    const double x[] = {75.0, 75.0, 75.0};
    assert_int_equal(combine_sums(2, 3, x, part).used, 2);
    struct consensus c = combine_sums(3, 3, x, part);
    assert_int_equal(c.used, 2);
    assert_false(c.route[2].used);
}

/* ---- Exact routes ------------------------------------------------------------------------- */

static void an_exact_route_is_the_consensus(void **state)
{
    (void)state;
    const double x[] = {74.0, 75.0, 78.0}, u[] = {1.0, 0.0, 2.0};
    struct consensus c = combine_independent(3, x, u);
    assert_true(c.value == 75.0 && c.u == 0.0);
    assert_true(c.route[1].exact && c.route[1].weight == 1.0);
    assert_false(c.route[0].exact);
    assert_close(c.chi_squared, 1.0 + 2.25, 1e-14, 0.0);
    assert_int_equal(c.dof, 2);
    assert_true(c.consistent);
    for (size_t i = 0; i < 3; i++) {
        assert_close(c.route[i].deviation, x[i] - 75.0, 1e-14, 0.0);
        assert_close(c.route[i].deviation_u, u[i], 1e-14, 0.0);
    }
    assert_true(c.route[1].normalised == 0.0);
    assert_close(c.route[2].normalised, 0.75, 1e-14, 0.0);
}

/* ... and the limit of a route that is nearly so. */
static void a_nearly_exact_route_gives_the_same(void **state)
{
    (void)state;
    const double x[] = {75.0, 77.0, 70.0};
    double v[] = {0.0, 0.0, 0.0, 0.0, 1.0, 0.8, 0.0, 0.8, 4.0};
    struct consensus exact = combine(3, x, v);
    v[0] = 1e-18;
    struct consensus nearly = combine(3, x, v);
    assert_true(exact.route[0].exact && !nearly.route[0].exact);
    assert_false(exact.consistent);
    assert_close(nearly.value, exact.value, 1e-14, 0.0);
    assert_close(nearly.chi_squared, exact.chi_squared, 1e-14, 0.0);
    assert_close(nearly.random_effects.tau_squared, exact.random_effects.tau_squared, 1e-14, 0.0);
    assert_close(nearly.random_effects.value, exact.random_effects.value, 1e-14, 0.0);
    assert_close(nearly.random_effects.u, exact.random_effects.u, 1e-14, 0.0);
    assert_close(nearly.route[2].deviation_u, exact.route[2].deviation_u, 1e-14, 0.0);
}

/* 0.1 + 0.2 and 0.3 differ in the last binary digit. */
static void exact_routes_that_agree(void **state)
{
    (void)state;
    struct consensus c = combine_independent(3, (const double[]){0.1 + 0.2, 0.3, 0.5},
                                             (const double[]){0.0, 0.0, 0.1});
    assert_int_equal(c.used, 2);
    assert_dependent(&c, 0, 1, true);
    assert_true(c.value == 0.3 && c.u == 0.0);
    assert_close(c.chi_squared, 4.0, 1e-12, 0.0);
    assert_true(!c.route[0].disagrees && c.dependent_disagrees == 0);
    assert_true(c.route[0].exact && c.route[1].exact);
}

/* Nothing can lie between: infinitely inconsistent. The random effects are those of routes whose
 * uncertainties are next to nothing beside their differences. */
static void exact_routes_that_differ(void **state)
{
    (void)state;
    struct consensus c =
        combine_independent(3, (const double[]){74.0, 79.0, 76.0}, (const double[]){0.0, 3.0, 0.0});
    assert_true(isinf(c.chi_squared) && isinf(c.birge));
    assert_true(c.probability == 0.0 && !c.consistent);
    assert_int_equal(c.dof, 2);
    assert_true(c.value == 75.0 && c.u == 0.0);
    assert_true(c.route[0].normalised < -1e300 && c.route[2].normalised > 1e300);
    assert_true(c.route[0].disagrees && c.route[2].disagrees && !c.route[1].disagrees);
    assert_int_equal(c.disagreeing, 2);

    struct consensus nearly = combine_independent(3, (const double[]){74.0, 79.0, 76.0},
                                                  (const double[]){1e-7, 3.0, 1e-7});
    assert_close(c.random_effects.tau_squared, 2.0, 1e-14, 0.0);
    assert_close(nearly.random_effects.tau_squared, 2.0, 1e-12, 0.0);
    assert_close(nearly.random_effects.value, c.random_effects.value, 1e-13, 0.0);
    assert_close(nearly.random_effects.u, c.random_effects.u, 1e-12, 0.0);
}

/* What a mean over samples leaves of a constant: a variance of its rounding. */
static void rounding_is_no_uncertainty(void **state)
{
    (void)state;
    double noise = 75.0 * 1e-16;
    struct consensus c = combine(2, (const double[]){75.0, 76.0},
                                 (double[]){noise * noise, noise * 0.5, noise * 0.5, 1.0});
    assert_true(c.route[0].exact && c.value == 75.0 && c.u == 0.0);
    assert_close(c.chi_squared, 1.0, 1e-14, 0.0);
    c = combine(2, (const double[]){75.0, 76.0}, (double[]){0.0, noise, noise, 1.0});
    assert_true(c.route[0].exact && c.value == 75.0 && c.u == 0.0);
}

/* ---- Invariances -------------------------------------------------------------------------- */

/* Five routes with common inputs, one of them dependent. */
static const double five[] = {75.0, 71.0, 82.0, 73.5, 150.0};
static const double five_parts[] = {
    1.0, 0.4, 0.0, 0.2, 0.0, 1.3, 0.5, 0.0, 0.1, 0.4,
    2.5, 0.0, 1.0, 0.7, 0.0, 0.9, 2.0, 0.8, 0.0, 0.4,
};

static void five_covariance(double scale, const size_t *order, double *x, double *v)
{
    for (size_t i = 0; i < 5; i++) {
        x[i] = scale * five[order[i]];
        for (size_t j = 0; j < 5; j++) {
            v[i * 5 + j] = 0.0;
            for (size_t k = 0; k < 4; k++)
                v[i * 5 + j] +=
                    (scale * five_parts[order[i] * 4 + k]) * (scale * five_parts[order[j] * 4 + k]);
        }
    }
}

static struct consensus combine_five(double scale, const size_t *order)
{
    double x[5], v[25];
    five_covariance(scale, order, x, v);
    return combine(5, x, v);
}

static const size_t as_given[] = {0, 1, 2, 3, 4};

/* Joule instead of kWh. */
static void the_unit_does_not_matter(void **state)
{
    (void)state;
    const double scale = 3.6e6;
    struct consensus kwh = combine_five(1.0, as_given), joule = combine_five(scale, as_given);
    assert_false(kwh.consistent);
    assert_int_equal(kwh.used, 4);
    assert_int_equal(joule.used, 4);
    assert_close(joule.value, scale * kwh.value, 1e-12, 0.0);
    assert_close(joule.u, scale * kwh.u, 1e-12, 0.0);
    assert_close(joule.chi_squared, kwh.chi_squared, 1e-11, 0.0);
    assert_close(joule.probability, kwh.probability, 1e-10, 0.0);
    assert_close(joule.random_effects.tau_squared, scale * scale * kwh.random_effects.tau_squared,
                 1e-11, 0.0);
    assert_close(joule.random_effects.value, scale * kwh.random_effects.value, 1e-12, 0.0);
    assert_close(joule.random_effects.u, scale * kwh.random_effects.u, 1e-12, 0.0);
    for (size_t i = 0; i < 5; i++) {
        assert_close(joule.route[i].weight, kwh.route[i].weight, 1e-11, 1e-14);
        assert_close(joule.route[i].normalised, kwh.route[i].normalised, 1e-10, 0.0);
        assert_int_equal(joule.route[i].depends_on, kwh.route[i].depends_on);
        assert_int_equal(joule.route[i].disagrees, kwh.route[i].disagrees);
    }
}

/* To the last bit. */
static void the_order_does_not_matter(void **state)
{
    (void)state;
    static const size_t orders[][5] = {
        {4, 3, 2, 1, 0}, {1, 2, 3, 4, 0}, {2, 0, 4, 1, 3}, {0, 4, 1, 3, 2}};
    struct consensus a = combine_five(1.0, as_given);
    assert_dependent(&a, 4, 0, true);
    for (size_t k = 0; k < sizeof orders / sizeof orders[0]; k++) {
        const size_t *order = orders[k];
        struct consensus b = combine_five(1.0, order);
        assert_true(a.value == b.value && a.u == b.u && a.chi_squared == b.chi_squared);
        assert_true(a.probability == b.probability);
        assert_true(a.random_effects.tau_squared == b.random_effects.tau_squared);
        assert_true(a.random_effects.value == b.random_effects.value);
        assert_true(a.random_effects.u == b.random_effects.u);
        assert_int_equal(a.negative_weights, b.negative_weights);
        assert_int_equal(a.disagreeing, b.disagreeing);
        for (size_t i = 0; i < 5; i++) {
            const struct consensus_route *before = &a.route[order[i]], *after = &b.route[i];
            assert_true(before->weight == after->weight);
            assert_true(before->deviation == after->deviation);
            assert_true(before->deviation_u == after->deviation_u);
            assert_int_equal(before->used, after->used);
            assert_int_equal(before->depends_on, order[after->depends_on]);
        }
    }
}

static void sixteen_equal_routes(void **state)
{
    (void)state;
    double x[MAX], u[MAX];
    for (int i = 0; i < MAX; i++) {
        x[i] = 70.0 + i;
        u[i] = 4.0;
    }
    struct consensus c = combine_independent(MAX, x, u);
    assert_close(c.value, 77.5, 1e-14, 0.0);
    assert_close(c.u, 1.0, 1e-14, 0.0);
    assert_close(c.chi_squared, 340.0 / 16.0, 1e-13, 0.0); /* sum of squares n (n^2 - 1)/12 */
    assert_int_equal(c.dof, 15);
    assert_close(c.route[0].deviation_u, sqrt(15.0), 1e-13, 0.0);
}

/* ---- Refusals ----------------------------------------------------------------------------- */

static void assert_refused(size_t n, const double *x, const double *v)
{
    struct consensus c, before;
    memset(&c, 0x5a, sizeof c);
    memcpy(&before, &c, sizeof c);
    assert_int_equal(consensus_make(n, x, v, &c), PACKSPAN_USAGE);
    assert_memory_equal(&c, &before, sizeof c);
}

static void what_is_no_covariance_is_refused(void **state)
{
    (void)state;
    const double x[MAX + 1] = {75.0, 76.0, 77.0}, v[(MAX + 1) * (MAX + 1)] = {1.0, 0.0, 0.0, 1.0};
    assert_int_equal(combine(2, x, v).used, 2);
    assert_refused(0, x, v);
    assert_refused(MAX + 1, x, v);
    assert_refused(2, (const double[]){75.0, NAN}, v);
    assert_refused(2, (const double[]){-INFINITY, 75.0}, v);
    assert_refused(2, x, (double[]){1.0, NAN, NAN, 1.0});
    assert_refused(2, x, (double[]){INFINITY, 0.0, 0.0, 1.0});
    assert_refused(2, x, (double[]){-1.0, 0.0, 0.0, 1.0});
    assert_refused(2, x, (double[]){1.0, 0.5, 0.4, 1.0}); /* not symmetric */
    assert_refused(2, x, (double[]){1.0, 2.1, 2.1, 4.0}); /* correlation 1.05 */
    assert_refused(2, x, (double[]){0.0, 0.5, 0.5, 1.0}); /* of an exact route */
    /* x1 and x2 vary alike, but x3 goes with x1 and against x2: determinant below zero */
    assert_refused(3, x, (double[]){1.0, 0.9, 0.9, 0.9, 1.0, -0.9, 0.9, -0.9, 1.0});
}

static void ends_of_the_chi_squared_tail(void **state)
{
    (void)state;
    assert_true(chi_squared_upper(0.0, 0) == 1.0 && chi_squared_upper(0.0, 5) == 1.0);
    assert_true(chi_squared_upper(3.0, 0) == 0.0);
    assert_true(chi_squared_upper(INFINITY, 1) == 0.0 && chi_squared_upper(INFINITY, 8) == 0.0);
    assert_true(chi_squared_upper(1e300, CHI_SQUARED_DOF_MAX) == 0.0);
    assert_true(isnan(chi_squared_upper(-1.0, 3)) && isnan(chi_squared_upper(NAN, 3)));
    assert_true(isnan(chi_squared_upper(1.0, CHI_SQUARED_DOF_MAX + 1)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_route_is_the_consensus),
        cmocka_unit_test(two_correlated_routes),
        cmocka_unit_test(strong_correlation_makes_a_weight_negative),
        cmocka_unit_test(rounding_makes_no_weight_negative),
        cmocka_unit_test(the_test_fails_below_five_per_cent),
        cmocka_unit_test(random_effects_of_independent_routes),
        cmocka_unit_test(random_effects_of_equally_correlated_routes),
        cmocka_unit_test(a_route_far_more_certain_loses_no_digits),
        cmocka_unit_test(identical_routes_count_once),
        cmocka_unit_test(a_lone_pair_of_identical_routes_agrees),
        cmocka_unit_test(a_route_that_only_differs_by_a_constant),
        cmocka_unit_test(the_more_certain_of_two_dependent_routes_is_used),
        cmocka_unit_test(a_route_that_is_a_combination_of_others),
        cmocka_unit_test(the_tolerance_is_a_share_of_the_variance),
        cmocka_unit_test(a_dependent_route_may_stand_apart_by_the_tolerance),
        cmocka_unit_test(no_route_takes_away_what_another_has_of_its_own),
        cmocka_unit_test(what_others_take_away_adds_up),
        cmocka_unit_test(an_exact_route_is_the_consensus),
        cmocka_unit_test(a_nearly_exact_route_gives_the_same),
        cmocka_unit_test(exact_routes_that_agree),
        cmocka_unit_test(exact_routes_that_differ),
        cmocka_unit_test(rounding_is_no_uncertainty),
        cmocka_unit_test(the_unit_does_not_matter),
        cmocka_unit_test(the_order_does_not_matter),
        cmocka_unit_test(sixteen_equal_routes),
        cmocka_unit_test(what_is_no_covariance_is_refused),
        cmocka_unit_test(ends_of_the_chi_squared_tail),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
