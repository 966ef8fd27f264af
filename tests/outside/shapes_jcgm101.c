/* Mean and variance of the distributions of JCGM 101:2008, Table 1 and 6.4 (from memory), by the
 * midpoint rule over u. */
#include "unit/draw/shape_text.h"

enum { POINTS = 200000 };

static void assert_moments(const char *shape, const char *fields, double mean, double variance,
                           double relative)
{
    static double x[POINTS];
    struct shape *s = shape_text(shape, fields, anywhere);
    double sum = 0.0, squares = 0.0;
    for (int i = 0; i < POINTS; i++)
        x[i] = (i + 0.5) / POINTS;
    shape_quantiles(s, POINTS, x, x);
    for (int i = 0; i < POINTS; i++)
        sum += x[i];
    for (int i = 0; i < POINTS; i++)
        squares += (x[i] - sum / POINTS) * (x[i] - sum / POINTS);
    assert_close(sum / POINTS, mean, 1e-7, 1e-9);
    assert_close(squares / POINTS, variance, relative, 0);
    shape_free(s);
}

static void moments_agree(void **state)
{
    (void)state;
    /* (b - a)^2/12 */
    assert_moments("uniform", "low=-2 high=4", 1.0, 3.0, 1e-9);
    /* (b - a)^2/12 + d^2/9 */
    assert_moments("vague_uniform", "low=0 high=1 sd=0.1", 0.5, 0.084444444444444447, 1e-7);
    assert_moments("vague_uniform", "low=-1 high=3 sd=1.5", 1.0, 16.0 / 12 + 0.25, 1e-7);
    /* (b - a)^2 (1 + beta^2)/24 */
    assert_moments("trapezoid", "low=0 high=1 cover=0.5", 0.5, 0.052083333333333336, 1e-7);
    assert_moments("trapezoid", "low=0 high=1 cover=1", 0.5, 1.0 / 12, 1e-7);
    /* (b - a)^2/24 */
    assert_moments("triangular", "low=-1 best=1 high=3", 1.0, 16.0 / 24, 1e-7);
    assert_moments("trapezoid", "low=-1 high=3 cover=0", 1.0, 16.0 / 24, 1e-7);
    /* (b - a)^2/8 */
    assert_moments("arcsine", "low=-0.5 high=0.5", 0.0, 0.125, 1e-9);
    /* u^2 */
    assert_moments("normal", "best=7 sd=3", 7.0, 9.0, 1e-4);
    /* s^2 nu/(nu - 2) */
    assert_moments("student", "best=7 sd=3 dof=10", 7.0, 9.0 * 10 / 8, 1e-3);
}

/* beta-PERT: mean (low + 4 best + high)/6, variance (mean - low)(high - mean)/7; Malcolm et al.,
 * Operations Research 7 (1959) 646-669, in its beta form (from memory). */
static void pert_moments_agree(void **state)
{
    (void)state;
    assert_moments("pert", "low=0 best=1 high=5", 1.5, 1.5 * 3.5 / 7, 1e-5);
    assert_moments("pert", "low=0 best=5 high=5", 25.0 / 6, 25.0 / 6 * 5 / 6 / 7, 1e-5);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(moments_agree),
                                       cmocka_unit_test(pert_moments_agree)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
