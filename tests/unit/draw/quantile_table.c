/* Draws by table against the exact quantile functions, which tests/outside/shapes_* check. */
#include "draw/law.h"
#include "support/support.h"

#include <math.h>

enum { COUNT = 1 << 13 };

static struct shape *make(enum shape_kind kind, const double field[SHAPE_FIELD_COUNT], double high)
{
    struct shape_given given = {.kind = kind};
    for (int f = 0; f < SHAPE_FIELD_COUNT; f++)
        given.field[f] = field[f];
    struct shape_domain domain = {-INFINITY, high, true, false};
    struct shape_fault fault;
    struct shape *shape = NULL;
    assert_int_equal(shape_make(&given, &domain, &shape, &fault), PACKSPAN_OK);
    return shape;
}

static const struct {
    enum shape_kind kind;
    double field[SHAPE_FIELD_COUNT]; /* best, low, high, cover, sd, dof, file */
    double high;
} rows[] = {
    {SHAPE_NORMAL, {5, NAN, NAN, NAN, 2, NAN, NAN}, INFINITY},
    {SHAPE_NORMAL, {0.9, NAN, NAN, NAN, 0.06, NAN, NAN}, 1.0}, /* 4.8 % cut off */
    {SHAPE_SPLIT_NORMAL, {480, 475, 600, NAN, NAN, NAN, NAN}, INFINITY},
    {SHAPE_LOGNORMAL, {240, NAN, NAN, NAN, 1, NAN, NAN}, INFINITY},
    {SHAPE_VAGUE_UNIFORM, {NAN, 3, 5, NAN, 1e-6, NAN, NAN}, INFINITY},
    {SHAPE_VAGUE_UNIFORM, {NAN, 3, 5, NAN, 0.3, NAN, NAN}, 4.95},
    {SHAPE_VAGUE_UNIFORM, {NAN, 3, 5, NAN, 0.98, NAN, NAN}, INFINITY},
    {SHAPE_VAGUE_UNIFORM, {NAN, 3, 5, NAN, 1 - 1e-9, NAN, NAN}, INFINITY},
    {SHAPE_PERT, {0.88, 0.88, 0.97, NAN, NAN, NAN, NAN}, INFINITY},
    {SHAPE_ARCSINE, {NAN, 3, 5, NAN, NAN, NAN, NAN}, INFINITY},
    {SHAPE_STUDENT, {1420, NAN, NAN, NAN, 12, 1, NAN}, INFINITY},
};

/* quartile[1] is the median. */
static double scale_at(const double quartile[3], double x)
{
    return fmax(quartile[2] - quartile[0], fabs(x - quartile[1]));
}

static void assert_accurate(const double quartile[3], const double *exact, const double *drawn)
{
    for (int i = 0; i < COUNT; i++)
        assert_close(drawn[i], exact[i], 0.0,
                     QUANTILE_TABLE_ACCURACY * scale_at(quartile, exact[i]));
}

/* Of single numbers, evenly and with a tail that goes beyond the table, and of both tails. */
static void draws_keep_the_stated_accuracy_and_rise(void **state)
{
    (void)state;
    static double u[COUNT], upper[COUNT], exact[COUNT], drawn[COUNT];
    for (size_t r = 0; r < sizeof rows / sizeof rows[0]; r++) {
        struct shape *shape = make(rows[r].kind, rows[r].field, rows[r].high);
        double quartiles[3] = {0.25, 0.5, 0.75}, x[3];
        assert_non_null(shape->table);
        shape_quantiles(shape, 3, quartiles, x);
        for (int i = 0; i < COUNT; i++)
            u[i] = i < 60 ? ldexp(1.0, i - 61) : ((double)i + 0.37) / COUNT;
        shape_quantiles(shape, COUNT, u, exact);
        shape_draws(shape, COUNT, u, drawn);
        assert_accurate(x, exact, drawn);
        for (int i = 1; i < COUNT; i++)
            assert_true(i == 60 || drawn[i] >= drawn[i - 1] - 1e-14 * scale_at(x, exact[i]));
        for (int i = 0; i < COUNT; i++) {
            double tail = pow(0.5, 1.0 + i / 50.0); /* to 2^-165 */
            u[i] = i % 2 ? tail : 1.0 - tail;
            upper[i] = i % 2 ? 1.0 - tail : tail;
        }
        shape_tail_quantiles(shape, COUNT, u, upper, exact);
        shape_tail_draws(shape, COUNT, u, upper, drawn);
        assert_accurate(x, exact, drawn);
        shape_tail_draws(shape, COUNT, u, upper, upper);
        assert_memory_equal(upper, drawn, sizeof drawn);
        shape_free(shape);
    }
}

/* What no table follows well enough is asked from the exact function. */
static void a_shape_beyond_the_accuracy_has_no_table(void **state)
{
    (void)state;
    const double field[SHAPE_FIELD_COUNT] = {1, NAN, NAN, NAN, 3, NAN, NAN};
    struct shape *shape = make(SHAPE_LOGNORMAL, field, INFINITY);
    double u[] = {0.001, 0.3, 0.999}, exact[3], drawn[3];
    assert_null(shape->table);
    shape_quantiles(shape, 3, u, exact);
    shape_draws(shape, 3, u, drawn);
    assert_memory_equal(drawn, exact, sizeof exact);
    shape_free(shape);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(draws_keep_the_stated_accuracy_and_rise),
        cmocka_unit_test(a_shape_beyond_the_accuracy_has_no_table),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
