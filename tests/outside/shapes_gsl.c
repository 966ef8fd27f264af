/* Quantiles and distribution functions against the GNU Scientific Library. */
#include "unit/draw/shape_text.h"

#include <gsl/gsl_cdf.h>

static const double tails[] = {1e-15, 1e-12, 1e-9, 1e-6, 1e-4, 0.001, 0.01, 0.03,     0.074,
                               0.076, 0.1,   0.2,  0.3,  0.4,  0.45,  0.49, 0.4999999};
enum { TAILS = sizeof tails / sizeof *tails };

typedef double inverse(double tail, const double *of);

static double normal_p(double p, const double *of)
{
    return of[0] + gsl_cdf_gaussian_Pinv(p, of[1]);
}
static double normal_q(double q, const double *of)
{
    return of[0] + gsl_cdf_gaussian_Qinv(q, of[1]);
}
static double lognormal_p(double p, const double *of)
{
    return gsl_cdf_lognormal_Pinv(p, log(of[0]), of[1]);
}
static double lognormal_q(double q, const double *of)
{
    return gsl_cdf_lognormal_Qinv(q, log(of[0]), of[1]);
}
static double uniform_p(double p, const double *of)
{
    return gsl_cdf_flat_Pinv(p, of[0], of[1]);
}
static double uniform_q(double q, const double *of)
{
    return gsl_cdf_flat_Qinv(q, of[0], of[1]);
}
static double beta_p(double p, const double *of)
{
    return gsl_cdf_beta_Pinv(p, of[0], of[1]);
}
/* 1 - x, with its digits */
static double minus_beta_q(double q, const double *of)
{
    return -gsl_cdf_beta_Pinv(q, of[1], of[0]);
}

static const struct case_row {
    const char *shape, *fields;
    double of[2];
    inverse *p, *q;
    double relative;
} cases[] = {
    {"normal", "best=0 sd=1", {0, 1}, normal_p, normal_q, 1e-14},
    {"normal", "best=100 sd=7", {100, 7}, normal_p, normal_q, 1e-14},
    {"lognormal", "best=3 sd=0.25", {3, 0.25}, lognormal_p, lognormal_q, 1e-13},
    {"uniform", "low=2 high=5", {2, 5}, uniform_p, uniform_q, 1e-14},
    {"pert", "low=0 best=0.25 high=1", {2, 4}, beta_p, NULL, 1e-8},
    {"pert", "low=0 best=0 high=1", {1, 5}, beta_p, NULL, 1e-8},
    {"pert", "low=0 best=0.9 high=1", {4.6, 1.4}, beta_p, NULL, 1e-8},
    {"pert", "low=-1 best=-0.75 high=0", {2, 4}, NULL, minus_beta_q, 1e-8},
    {"pert", "low=-1 best=0 high=0", {5, 1}, NULL, minus_beta_q, 1e-8},
};

static void check_side(const struct case_row *row, const struct shape *s, double u, double expected)
{
    if (!is_close(quantile(s, u), expected, row->relative, 0))
        fail_msg("%s %s at u = %.17g: %.17g, GSL %.17g", row->shape, row->fields, u, quantile(s, u),
                 expected);
}

static void quantiles_agree(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct case_row *row = &cases[i];
        struct shape *s = shape_text(row->shape, row->fields, anywhere);
        for (size_t k = 0; k < TAILS; k++) {
            double u = 1.0 - tails[k], tail = 1.0 - u; /* the tail that u stands for */
            if (row->p)
                check_side(row, s, tails[k], row->p(tails[k], row->of));
            if (row->q)
                check_side(row, s, u, row->q(tail, row->of));
        }
        shape_free(s);
    }
}

/* The tail left by the domain, down to the last u below 1. */
static void truncated_upper_tail_keeps_its_digits(void **state)
{
    (void)state;
    struct shape *s = shape_text("normal", "best=0 sd=1",
                                 (struct shape_domain){-2.0, (double)INFINITY, false, true});
    double kept = gsl_cdf_ugaussian_Q(-2.0);
    for (int bits = 2; bits <= 53; bits++) {
        double tail = ldexp(1.0, -bits);
        assert_close(quantile(s, 1.0 - tail), gsl_cdf_ugaussian_Qinv(tail * kept), 1e-14, 0);
    }
    shape_free(s);
}

/* GSL's own inverse of Student's t is off in the far tail, its distribution function is not. A
 * quantile off by a relative 1e-8 would put its tail off by 1e-8 times dof and more. */
static void student_quantiles_agree(void **state)
{
    (void)state;
    static const double dofs[] = {1.0, 1.5, 3.0, 4.5, 24.0, 100.0, 1000.0};
    for (size_t i = 0; i < sizeof dofs / sizeof *dofs; i++) {
        struct shape_given given = given_text("student", "best=0 sd=1");
        given.field[SHAPE_DOF] = dofs[i];
        struct shape *s = shape_of(&given, anywhere);
        for (size_t k = 0; k < TAILS; k++) {
            double u = 1.0 - tails[k];
            assert_close(gsl_cdf_tdist_P(quantile(s, tails[k]), dofs[i]), tails[k], 1e-9, 0);
            assert_close(gsl_cdf_tdist_Q(quantile(s, u), dofs[i]), 1.0 - u, 1e-9, 0);
        }
        shape_free(s);
    }
}

static void distribution_functions_agree(void **state)
{
    (void)state;
    struct shape *s = shape_text("student", "best=0 sd=1 dof=5", anywhere);
    for (double t = -40.0; t < 10.0; t += 0.37)
        assert_close(shape_distribution(s, t), gsl_cdf_tdist_P(t, 5.0), 1e-11, 0);
    shape_free(s);
    s = shape_text("pert", "low=0 best=0.3 high=1", anywhere);
    for (double x = 0.001; x < 1.0; x += 0.0071)
        assert_close(shape_distribution(s, x), gsl_cdf_beta_P(x, 2.2, 3.8), 1e-11, 0);
    shape_free(s);
    s = shape_text("normal", "best=1 sd=2", anywhere);
    for (double x = -20.0; x < 20.0; x += 0.31)
        assert_close(shape_distribution(s, x), gsl_cdf_gaussian_P(x - 1.0, 2.0), 1e-12, 0);
    shape_free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(quantiles_agree),
        cmocka_unit_test(student_quantiles_agree),
        cmocka_unit_test(truncated_upper_tail_keeps_its_digits),
        cmocka_unit_test(distribution_functions_agree),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
