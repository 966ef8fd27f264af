/* The consensus of correlated routes and the chi-squared tail against GSL. */
#include "results/chi_squared.h"
#include "results/consensus.h"
#include "support/support.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

enum { ROUTES_MAX = 8 };

/* The textbook formulas word for word, with the inverse of the covariance. */
struct reference {
    double y, u, chi_squared, trace_p;
    double weight[ROUTES_MAX], deviation_u[ROUTES_MAX];
};

static void solve_reference(size_t n, const double *x, const double *v, struct reference *r)
{
    gsl_matrix *inverse = gsl_matrix_alloc(n, n);
    gsl_matrix_const_view covariance = gsl_matrix_const_view_array(v, n, n);
    gsl_matrix_memcpy(inverse, &covariance.matrix);
    gsl_linalg_cholesky_decomp1(inverse);
    gsl_linalg_cholesky_invert(inverse);
    gsl_vector *row_sums = gsl_vector_alloc(n), *ones = gsl_vector_alloc(n);
    gsl_vector_set_all(ones, 1.0);
    gsl_blas_dgemv(CblasNoTrans, 1.0, inverse, ones, 0.0, row_sums);
    double total, squares, trace = 0.0;
    gsl_blas_ddot(ones, row_sums, &total);
    gsl_blas_ddot(row_sums, row_sums, &squares);
    r->y = 0.0;
    for (size_t i = 0; i < n; i++) {
        r->weight[i] = gsl_vector_get(row_sums, i) / total;
        r->y += r->weight[i] * x[i];
        trace += gsl_matrix_get(inverse, i, i);
    }
    r->u = sqrt(1.0 / total);
    r->trace_p = trace - squares / total;
    r->chi_squared = 0.0;
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j < n; j++)
            r->chi_squared += (x[i] - r->y) * gsl_matrix_get(inverse, i, j) * (x[j] - r->y);
        r->deviation_u[i] = sqrt(v[i * n + i] - 1.0 / total);
    }
    gsl_vector_free(ones);
    gsl_vector_free(row_sums);
    gsl_matrix_free(inverse);
}

/* V = A A'/n + 0.05 I of a random A, with standard uncertainties spread over a factor of ten. */
static void make_covariance(gsl_rng *rng, size_t n, double *v)
{
    double a[ROUTES_MAX][ROUTES_MAX], scale[ROUTES_MAX];
    for (size_t i = 0; i < n; i++) {
        scale[i] = exp(gsl_ran_flat(rng, 0.0, M_LN10));
        for (size_t j = 0; j < n; j++)
            a[i][j] = gsl_ran_gaussian(rng, 1.0);
    }
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double sum = i == j ? 0.05 : 0.0;
            for (size_t k = 0; k < n; k++)
                sum += a[i][k] * a[j][k] / (double)n;
            v[i * n + j] = sum * (scale[i] * scale[j]);
        }
}

static void assert_random_effects(size_t n, const double *x, const double *v,
                                  const struct reference *r, const struct consensus *c)
{
    double dof = (double)n - 1.0, widened[ROUTES_MAX * ROUTES_MAX];
    double tau_squared = fmax(0.0, (r->chi_squared - dof) / r->trace_p);
    assert_close(c->random_effects.tau_squared, tau_squared, 1e-9, 1e-10);
    for (size_t i = 0; i < n * n; i++)
        widened[i] = v[i] + (i % (n + 1) == 0 ? tau_squared : 0.0);
    struct reference random;
    solve_reference(n, x, widened, &random);
    assert_close(c->random_effects.value, random.y, 1e-9, 0.0);
    assert_close(c->random_effects.u, random.u, 1e-9, 0.0);
}

static void correlated_routes_solve_the_normal_equations(void **state)
{
    (void)state;
    gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
    size_t negative = 0, inconsistent = 0;
    for (int trial = 0; trial < 700; trial++) {
        size_t n = 2 + (size_t)trial % (ROUTES_MAX - 1);
        double x[ROUTES_MAX], v[ROUTES_MAX * ROUTES_MAX];
        make_covariance(rng, n, v);
        for (size_t i = 0; i < n; i++)
            x[i] = 75.0 + gsl_ran_gaussian(rng, 2.0);
        struct reference r;
        struct consensus c;
        solve_reference(n, x, v, &r);
        assert_int_equal(consensus_make(n, x, v, &c), PACKSPAN_OK);
        assert_int_equal(c.used, n);
        assert_close(c.value, r.y, 1e-10, 0.0);
        assert_close(c.u, r.u, 1e-10, 0.0);
        assert_close(c.chi_squared, r.chi_squared, 1e-9, 0.0);
        assert_close(c.probability, gsl_cdf_chisq_Q(r.chi_squared, (double)n - 1.0), 1e-8, 0.0);
        size_t below_zero = 0;
        for (size_t i = 0; i < n; i++) {
            assert_close(c.route[i].weight, r.weight[i], 1e-9, 1e-10);
            assert_close(c.route[i].deviation, x[i] - r.y, 1e-9, 1e-9);
            assert_close(c.route[i].deviation_u, r.deviation_u[i], 1e-8, 1e-8);
            assert_int_equal(c.route[i].weight_negative, r.weight[i] < 0.0);
            below_zero += r.weight[i] < 0.0;
        }
        assert_int_equal(c.negative_weights, below_zero);
        assert_random_effects(n, x, v, &r, &c);
        negative += below_zero > 0;
        inconsistent += !c.consistent;
    }
    /* Both kinds must have been met often for the comparison to mean something. */
    assert_true(negative > 100);
    assert_true(inconsistent > 100);
    gsl_rng_free(rng);
}

static void tail_of_chi_squared(void **state)
{
    (void)state;
    for (unsigned dof = 1; dof <= CHI_SQUARED_DOF_MAX; dof++)
        for (double x = 1e-6; x < 1300.0; x *= 1.7)
            assert_close(chi_squared_upper(x, dof), gsl_cdf_chisq_Q(x, dof), 1e-12, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(correlated_routes_solve_the_normal_equations),
        cmocka_unit_test(tail_of_chi_squared),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
