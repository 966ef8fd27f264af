/* The C library's own %.10g, in the C locale, is what is expected. */
#include "base/decimal.h"

#include "support/support.h"

#include <stdlib.h>
#include <string.h>

#include "unit/base/comma_locale.h"

static void assert_as_printf(double value)
{
    char expected[64], text[DECIMAL_SIZE];
    snprintf(expected, sizeof expected, "%.10g", value);
    size_t length = decimal_write(value, text);
    if (strcmp(text, expected) != 0)
        fail_msg("%a is written as %s, expected %s", value, text, expected);
    assert_int_equal(length, strlen(expected));
}

/* Xorshift of Marsaglia, J. Stat. Software 8 (2003), 14. */
static uint64_t next(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static void any_double_is_as_printf(void **state)
{
    (void)state;
    uint64_t bits = 1;
    for (int i = 0; i < 200000; i++) {
        double value;
        next(&bits);
        memcpy(&value, &bits, sizeof value);
        assert_as_printf(value);
    }
}

static void usual_sizes_are_as_printf(void **state)
{
    (void)state;
    uint64_t bits = 2;
    for (int i = 0; i < 200000; i++) {
        double share = (double)(next(&bits) >> 11) * 0x1p-53;
        int exponent = (int)(next(&bits) % 80) - 45;
        assert_as_printf(ldexp(share, exponent));
        assert_as_printf(-ldexp(share, exponent));
    }
}

/* Where the number of digits or the form changes. */
static void powers_of_ten_are_as_printf(void **state)
{
    (void)state;
    for (int exponent = -30; exponent <= 30; exponent++) {
        double power = pow(10.0, exponent);
        assert_as_printf(power);
        assert_as_printf(nextafter(power, 0.0));
        assert_as_printf(nextafter(power, INFINITY));
        for (int k = 1; k <= 200; k++) {
            assert_as_printf(power * (1.0 - k * 1e-12));
            assert_as_printf(power * (1.0 + k * 1e-11));
            assert_as_printf(power * k);
        }
    }
}

/* Halves between two numbers of ten digits go to the even one. */
static void ties_are_as_printf(void **state)
{
    (void)state;
    uint64_t bits = 3;
    for (int i = 0; i < 100000; i++) {
        double ten_digits = (double)(1000000000 + next(&bits) % 9000000000);
        assert_as_printf(ten_digits + 0.5);
        assert_as_printf((2.0 * ten_digits + 1.0) / ldexp(1.0, (int)(next(&bits) % 12)));
    }
}

static void special_values_are_as_printf(void **state)
{
    (void)state;
    const double values[] = {0.0, -0.0, INFINITY, -INFINITY, NAN, 1.0, -1.0, 1e10, 9999999999.5};
    for (size_t i = 0; i < sizeof values / sizeof values[0]; i++)
        assert_as_printf(values[i]);
}

static void the_locale_plays_no_part(void **state)
{
    (void)state;
    char small[DECIMAL_SIZE], usual[DECIMAL_SIZE];
    bool entered = comma_locale_enter();
    decimal_write(-1.25e-30, small);
    decimal_write(1.25, usual);
    if (!entered)
        skip();
    comma_locale_leave();
    assert_string_equal(small, "-1.25e-30");
    assert_string_equal(usual, "1.25");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_double_is_as_printf),      cmocka_unit_test(usual_sizes_are_as_printf),
        cmocka_unit_test(powers_of_ten_are_as_printf),  cmocka_unit_test(ties_are_as_printf),
        cmocka_unit_test(special_values_are_as_printf), cmocka_unit_test(the_locale_plays_no_part),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
