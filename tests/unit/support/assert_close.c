#include "support/support.h"

static void finite_values_within_tolerance_pass(void **state)
{
    (void)state;
    assert_true(is_close(1.0, 1.0, 0.0, 0.0));
    assert_true(is_close(101.0, 100.0, 0.01, 0.0));
    assert_true(is_close(0.5, 0.0, 0.0, 0.5));
    assert_false(is_close(101.1, 100.0, 0.01, 0.0));
    assert_false(is_close(0.51, 0.0, 0.0, 0.5));
}

static void non_finite_values_never_pass(void **state)
{
    (void)state;
    assert_false(is_close(NAN, NAN, 1.0, 1.0));
    assert_false(is_close(INFINITY, INFINITY, 1.0, 1.0));
    assert_false(is_close(1.0, NAN, 1.0, 1.0));
    assert_false(is_close(1.0, INFINITY, 1.0, INFINITY));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(finite_values_within_tolerance_pass),
        cmocka_unit_test(non_finite_values_never_pass),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
