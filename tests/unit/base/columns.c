/* Loops over columns: sorting, sums, bounds, exponentials and logarithms. */
#include "base/exponential.h"
#include "base/logarithm.h"
#include "base/range.h"
#include "base/sort.h"
#include "base/sums.h"
#include "support/support.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

static void the_exponential_is_that_of_long_doubles(void **state)
{
    (void)state;
    double x[1000], y[1000];
    for (int i = 0; i < 1000; i++)
        x[i] = -708.0 + 1.4169 * i;
    exponentials(1000, x, y);
    for (int i = 0; i < 1000; i++)
        assert_close(y[i], (double)expl((long double)x[i]), 2.0 * DBL_EPSILON, 0.0);
    double ends[] = {0.0, -INFINITY, -709.0, INFINITY}, out[4];
    exponentials(4, ends, out);
    assert_true(out[0] == 1.0 && out[1] == 0.0 && out[2] == 0.0);
    assert_close(out[3], exp(709.0), 4.0 * DBL_EPSILON, 0.0);
}

/* Over all powers of two, and densely around 1, where the result is nearly 0. */
static void the_logarithm_is_that_of_long_doubles(void **state)
{
    (void)state;
    enum { COUNT = 4000 };
    static double x[COUNT], y[COUNT];
    for (int i = 0; i < COUNT; i++)
        x[i] = i < 2000 ? ldexp(1.0 + i / 2001.0, i - 1000) : 0.2 + i / 2500.0;
    logarithms(COUNT, x, y);
    for (int i = 0; i < COUNT; i++)
        assert_close(y[i], (double)logl((long double)x[i]), 2.0 * DBL_EPSILON, 0.0);
    double ends[] = {1.0, DBL_MIN, DBL_MAX, 1.0 - 0x1p-53, 1.0 + 0x1p-52}, out[5];
    logarithms(5, ends, out);
    assert_true(out[0] == 0.0);
    for (int i = 1; i < 5; i++)
        assert_close(out[i], (double)logl((long double)ends[i]), 2.0 * DBL_EPSILON, 0.0);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void sorting_gives_what_qsort_gives(void **state)
{
    (void)state;
    enum { COUNT = 3000 };
    static struct weighted_value list[COUNT], spare[COUNT];
    static double sorted[COUNT];
    srand(1);
    for (int i = 0; i < COUNT; i++) {
        double value = ldexp(rand() - RAND_MAX / 2, rand() % 80 - 40);
        sorted[i] = value;
        list[i] = (struct weighted_value){value, 3.0 * value};
    }
    qsort(sorted, COUNT, sizeof *sorted, by_value);
    sort_weighted(COUNT, list, spare);
    for (int i = 0; i < COUNT; i++) {
        assert_true(list[i].value == sorted[i]);
        assert_true(list[i].weight == 3.0 * sorted[i]);
    }
    sort_weighted(0, list, spare);
}

static void sums_and_bounds_of_any_length(void **state)
{
    (void)state;
    double x[100], one[100];
    for (int i = 0; i < 100; i++) {
        x[i] = (i * 37) % 101; /* whole numbers: exact in any order */
        one[i] = 1.0;
    }
    for (size_t n = 1; n <= 100; n++) {
        double sum = 0.0, square = 0.0, off = 0.0, low = x[0], high = x[0];
        for (size_t i = 0; i < n; i++) {
            sum += x[i];
            square += x[i] * x[i];
            off += (x[i] - 3.0) * (x[i] - 5.0);
            low = fmin(low, x[i]);
            high = fmax(high, x[i]);
        }
        assert_true(sum_of(n, x) == sum);
        assert_true(sum_of_products(n, x, x) == square);
        assert_true(sum_of_deviations(n, one, x, 3.0, x, 5.0) == off);
        assert_true(range_of(n, x).low == low && range_of(n, x).high == high);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_exponential_is_that_of_long_doubles),
        cmocka_unit_test(the_logarithm_is_that_of_long_doubles),
        cmocka_unit_test(sorting_gives_what_qsort_gives),
        cmocka_unit_test(sums_and_bounds_of_any_length),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
