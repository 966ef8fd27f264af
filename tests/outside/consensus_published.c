/* The consensus against published combinations of estimates. */
#include "results/chi_squared.h"
#include "results/consensus.h"
#include "support/support.h"

static struct consensus combine(size_t n, const double *x, const double *variance)
{
    double v[CONSENSUS_ROUTES_MAX * CONSENSUS_ROUTES_MAX] = {0};
    for (size_t i = 0; i < n; i++)
        v[i * n + i] = variance[i];
    struct consensus c;
    assert_int_equal(consensus_make(n, x, v, &c), PACKSPAN_OK);
    return c;
}

/* Neutron mean life in seconds, listing of the Particle Data Group (the edition with the average
 * 880.2 +- 1.0 s, scale factor 1.9): value, statistical and systematic uncertainty. */
static const struct {
    double value, statistical, systematic;
} neutron[] = {
    {880.2, 1.2, 0.0}, {887.7, 1.2, 1.9}, {882.5, 1.4, 1.5}, {880.7, 1.3, 1.2},
    {878.5, 0.7, 0.3}, {889.2, 3.0, 3.8}, {882.6, 2.7, 0.0},
};

static struct consensus neutron_consensus(size_t n, const size_t *of)
{
    double x[7], variance[7];
    for (size_t i = 0; i < n; i++) {
        double a = neutron[of[i]].statistical, b = neutron[of[i]].systematic;
        x[i] = neutron[of[i]].value;
        variance[i] = a * a + b * b;
    }
    return combine(n, x, variance);
}

/* The listing gives 880.2 +- 1.0 with scale factor 1.9; the further digits were worked out from its
 * values apart from this program. */
static void neutron_mean_life(void **state)
{
    (void)state;
    const size_t all[] = {0, 1, 2, 3, 4, 5, 6};
    struct consensus c = neutron_consensus(7, all);
    assert_close(c.value, 880.2, 0.0, 0.05);
    assert_close(c.birge, 1.9, 0.0, 0.05);
    assert_close(c.u * c.birge, 1.0, 0.0, 0.05);

    assert_close(c.value, 880.19205, 0.0, 5e-6);
    assert_close(c.u, 0.54607668, 0.0, 5e-9);
    assert_close(c.chi_squared, 21.70332, 0.0, 5e-6);
    assert_int_equal(c.dof, 6);
    assert_close(c.probability, 0.00137023, 0.0, 5e-9);
    assert_close(c.birge, 1.901899, 0.0, 5e-7);
    assert_close(c.u * c.birge, 1.0385827, 0.0, 5e-8);
    assert_false(c.consistent);
    assert_close(c.random_effects.tau_squared, 6.9542311, 0.0, 5e-8);
    assert_close(c.random_effects.value, 881.98522, 0.0, 5e-6);
    assert_close(c.random_effects.u, 1.2628898, 0.0, 5e-8);
}

/* Which of the seven stand apart, by |d| > 2 sqrt(u^2 - u(y)^2) on the figures above: 887.7 lies
 * 7.51 s off with U = 4.36 s, 878.5 lies -1.69 s off with U = 1.06 s, and 889.2 lies 9.01 s off
 * with U = 9.62 s. */
static void neutron_routes_that_disagree(void **state)
{
    (void)state;
    const size_t all[] = {0, 1, 2, 3, 4, 5, 6};
    static const bool disagrees[] = {false, true, false, false, true, false, false};
    struct consensus c = neutron_consensus(7, all);
    for (size_t i = 0; i < 7; i++)
        assert_int_equal(c.route[i].disagrees, disagrees[i]);
    assert_int_equal(c.disagreeing, 2);
    assert_close(c.route[1].deviation, 7.51, 0.0, 0.005);
    assert_close(2.0 * c.route[1].deviation_u, 4.36, 0.0, 0.005);
    assert_close(c.route[5].normalised, 9.01 / 9.62, 0.0, 0.001);
}

/* Values 1, 3, 4 and 7 of the listing agree. */
static void neutron_consistent_subset(void **state)
{
    (void)state;
    const size_t subset[] = {0, 2, 3, 6};
    static const double d[] = {-0.7455373, 1.5544627, -0.2455373, 1.6544627};
    static const double U[] = {1.69690245, 3.73623847, 3.10475086, 5.12635133};
    struct consensus c = neutron_consensus(4, subset);
    assert_close(c.value, 880.9455373, 0.0, 5e-8);
    assert_close(c.u, 0.8486050, 0.0, 5e-8);
    assert_close(c.chi_squared, 1.3546873, 0.0, 5e-8);
    assert_int_equal(c.dof, 3);
    assert_close(c.probability, 0.716190, 0.0, 5e-7);
    assert_close(c.birge, 0.671984, 0.0, 5e-7);
    assert_true(c.consistent);
    assert_int_equal(c.disagreeing, 0);
    for (size_t i = 0; i < 4; i++) {
        assert_close(c.route[i].deviation, d[i], 0.0, 5e-8);
        assert_close(2.0 * c.route[i].deviation_u, U[i], 0.0, 5e-9);
        assert_close(c.route[i].normalised, d[i] / U[i], 0.0, 1e-7);
    }
    assert_true(c.random_effects.tau_squared == 0.0);
    assert_true(c.random_effects.value == c.value);
}

/* BCG vaccine trials: G. A. Colditz et al., JAMA 271 (1994) 698-702. Cases and others among the
 * vaccinated, then among the controls (the counts from memory; they add up to the published
 * 357 347 persons). */
static const double trial[13][4] = {
    {4, 119, 11, 128},       {6, 300, 29, 274},        {3, 228, 11, 209},
    {62, 13536, 248, 12619}, {33, 5036, 47, 5761},     {180, 1361, 372, 1079},
    {8, 2537, 10, 619},      {505, 87886, 499, 87892}, {29, 7470, 45, 7232},
    {17, 1699, 65, 1600},    {186, 50448, 141, 27197}, {5, 2493, 3, 2338},
    {27, 16886, 29, 17825},
};

/* Q = 152.23, tau^2 = 0.3088, mean log risk ratio -0.7141 with standard error 0.1787 are published;
 * the further digits were worked out apart from this program. */
static void bcg_vaccine_trials(void **state)
{
    (void)state;
    double x[13], variance[13], persons = 0.0;
    for (size_t i = 0; i < 13; i++) {
        double a = trial[i][0], b = trial[i][1], c = trial[i][2], d = trial[i][3];
        persons += a + b + c + d;
        x[i] = log((a / (a + b)) / (c / (c + d)));
        variance[i] = 1.0 / a - 1.0 / (a + b) + 1.0 / c - 1.0 / (c + d);
    }
    assert_true(persons == 357347.0);
    struct consensus c = combine(13, x, variance);
    assert_close(c.chi_squared, 152.23, 0.0, 0.005);
    assert_close(c.random_effects.tau_squared, 0.3088, 0.0, 5e-5);
    assert_close(c.random_effects.value, -0.7141, 0.0, 5e-5);
    assert_close(c.random_effects.u, 0.1787, 0.0, 5e-5);

    assert_int_equal(c.dof, 12);
    assert_close(c.value, -0.43028516, 0.0, 5e-9);
    assert_close(c.u, 0.040498752, 0.0, 5e-10);
    assert_close(c.chi_squared, 152.23301, 0.0, 5e-6);
    assert_close(1.0 - c.dof / c.chi_squared, 0.921173, 0.0, 5e-7);
    assert_close(c.birge * c.birge, 12.6861, 0.0, 5e-5);
    assert_close(c.random_effects.tau_squared, 0.30876026, 0.0, 5e-9);
    assert_close(c.random_effects.value, -0.71411722, 0.0, 5e-9);
    assert_close(c.random_effects.u, 0.17874209, 0.0, 5e-9);
    assert_false(c.consistent);
}

/* The 95 % points of printed tables of chi-squared, which decide the test. */
static void points_of_the_chi_squared_table(void **state)
{
    (void)state;
    static const struct {
        double x;
        unsigned dof;
    } table[] = {{3.8415, 1}, {5.9915, 2}, {7.8147, 3}, {9.4877, 4}, {12.5916, 6}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        assert_close(chi_squared_upper(table[i].x, table[i].dof), 0.05, 0.0, 2e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(neutron_mean_life),
        cmocka_unit_test(neutron_routes_that_disagree),
        cmocka_unit_test(neutron_consistent_subset),
        cmocka_unit_test(bcg_vaccine_trials),
        cmocka_unit_test(points_of_the_chi_squared_table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
