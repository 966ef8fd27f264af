#include "support/support.h"

#include <float.h>
#include <locale.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "unit/base/comma_locale.h"

static void format_and_copy_allocate(void **state)
{
    (void)state;
    char *text = text_format("%s:%d", "rows", 7);
    assert_string_equal(text, "rows:7");
    char *copy = text_copy(text);
    assert_ptr_not_equal(copy, text);
    assert_string_equal(copy, "rows:7");
    free(copy);
    free(text);
    assert_null(text_copy(NULL));
}

static void nearest_word_is_found_through_each_kind_of_slip(void **state)
{
    (void)state;
    static const char *const names[] = {"vehicle", "quantity", "unit", "shape",
                                        "best",    "low",      "high", "sd"};
    static const struct {
        const char *word, *nearest;
    } cases[] = {
        {"vehicle", "vehicle"},
        {"Vehicle", "vehicle"}, /* case */
        {"SD", "sd"},
        {"vehcile", "vehicle"}, /* swap: one step, so also fine in short words */
        {"hihg", "high"},
        {"vehicles", "vehicle"}, /* insert */
        {"quantit", "quantity"}, /* delete */
        {"shade", "shape"},      /* replace */
        {"lo", "low"},
        {"quntty", "quantity"}, /* two of six letters */
        {"qunty", NULL},        /* three of five letters */
        {"x", NULL},
        {"", NULL},
        {"colour", NULL},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        const char *nearest = text_nearest(cases[i].word, names, 8);
        if (cases[i].nearest && nearest)
            assert_string_equal(nearest, cases[i].nearest);
        else
            assert_true(nearest == cases[i].nearest);
    }
    assert_null(text_nearest("vehicle", names, 0));
}

static void nearest_prefers_the_closer_and_then_the_first(void **state)
{
    (void)state;
    static const char *const names[] = {"low_speed", "slow_speed", "flow_speed", "slow_speeds"};
    assert_ptr_equal(text_nearest("slow_speed", names, 4), names[1]);
    assert_ptr_equal(text_nearest("xlow_speed", names, 4), names[0]);
}

static void nearest_ignores_words_of_absurd_length(void **state)
{
    (void)state;
    char longest[129], longer[130];
    memset(longest, 'a', 128);
    longest[128] = '\0';
    memset(longer, 'a', 129);
    longer[129] = '\0';
    const char *const names[] = {longer, longest};
    assert_ptr_equal(text_nearest(longest, names, 2), longest);
    assert_null(text_nearest(longer, names, 2));
}

static void decimal_numbers_are_read(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double value;
    } cases[] = {
        {"0", 0.0},
        {"3.25", 3.25},
        {"1e6", 1e6},
        {"1E+6", 1e6},
        {"+3", 3.0},
        {"-3", -3.0},
        {".5", 0.5},
        {"5.", 5.0},
        {"-.5e-3", -5e-4},
        {"  7\t", 7.0},
        {"0.1", 0.1},
        {"1e-400", 0.0},
        {"00012", 12.0},
        {"5.e2", 500.0},
        {"1.7976931348623157e308", DBL_MAX},
        {"2.2250738585072014e-308", DBL_MIN},
        {"9007199254740993", 9007199254740992.0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        for (int comma = 0; comma < 2; comma++) {
            double value = NAN;
            assert_true(text_number(cases[i].text, comma, &value));
            assert_close(value, cases[i].value, 0.0, 0.0);
        }
    }
}

static void other_texts_are_refused_and_leave_the_value(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "",
        " ",
        ".",
        "+",
        "-",
        "e5",
        "1e",
        "1e+",
        "--1",
        "+-1",
        "1-",
        "1 000",
        "1_000",
        "1'000",
        "0x10",
        "0x1p3",
        "inf",
        "-inf",
        "nan",
        "NaN",
        "nan(1)",
        "infinity",
        "1e309",
        "-1e999",
        "1.2.3",
        "1.234,5",
        "1,2,3",
        "1,234.5",
        "12kg",
        "1d3",
        "\xc2\xa0"
        "1",
        "1\n",
        "\xe2\x88\x92"
        "1",
        ",",
        "1e5.0",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++) {
        for (int comma = 0; comma < 2; comma++) {
            double value = 42.0;
            assert_false(text_number(texts[i], comma, &value));
            assert_close(value, 42.0, 0.0, 0.0);
        }
    }
}

static void a_decimal_comma_is_read_only_where_it_is_allowed(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        double value;
    } cases[] = {{"1,5", 1.5}, {"-1,5e2", -150.0}, {",5", 0.5}, {"5,", 5.0}};
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        double value = 42.0;
        assert_false(text_number(cases[i].text, false, &value));
        assert_close(value, 42.0, 0.0, 0.0);
        assert_true(text_number(cases[i].text, true, &value));
        assert_close(value, cases[i].value, 0.0, 0.0);
    }
}

static void numbers_of_more_than_512_characters_are_refused(void **state)
{
    (void)state;
    char digits[514] = "";
    memset(digits, '0', 512);
    digits[511] = '7';
    double value = NAN;
    assert_true(text_number(digits, false, &value));
    assert_close(value, 7.0, 0.0, 0.0);
    digits[512] = '7';
    assert_false(text_number(digits, false, &value));
}

static void the_locale_does_not_matter(void **state)
{
    (void)state;
    if (!comma_locale_enter())
        skip();
    char written[16], cut[4];
    char *formatted = text_format("%g of %s", 1.5, "2,5");
    text_print(written, sizeof written, "%.2f", 0.25);
    text_print(cut, sizeof cut, "%.2f", 10.25);
    assert_close(strtod("1,5", NULL), 1.5, 0.0, 0.0); /* the locale is in force */
    double point = NAN, comma = NAN, refused = 42.0;
    bool point_read = text_number("1.5", false, &point);
    bool comma_read = text_number("1,5", true, &comma);
    bool refused_read = text_number("1,5", false, &refused);
    comma_locale_leave();
    assert_string_equal(formatted, "1.5 of 2,5");
    free(formatted);
    assert_string_equal(written, "0.25");
    assert_string_equal(cut, "10.");
    assert_true(point_read);
    assert_close(point, 1.5, 0.0, 0.0);
    assert_true(comma_read);
    assert_close(comma, 1.5, 0.0, 0.0);
    assert_false(refused_read);
}

/* RFC 3629: the first and last code point of every length, and what section 3 and 10 forbid. */
static void utf8_characters_are_told_from_other_bytes(void **state)
{
    (void)state;
    static const struct {
        const char *bytes;
        size_t size;
        uint32_t code;
    } cases[] = {
        {"A", 1, 0x41},
        {"\x7f", 1, 0x7f},
        {"\xc2\x80", 2, 0x80},
        {"\xdf\xbf", 2, 0x7ff},
        {"\xe0\xa0\x80", 3, 0x800},
        {"\xef\xbf\xbf", 3, 0xffff},
        {"\xf0\x90\x80\x80", 4, 0x10000},
        {"\xf4\x8f\xbf\xbf", 4, 0x10ffff},
        {"\x80", 0, 0},     /* continuation without a lead */
        {"\xc0\x80", 0, 0}, /* overlong */
        {"\xc1\xbf", 0, 0},
        {"\xe0\x9f\xbf", 0, 0},
        {"\xf0\x8f\xbf\xbf", 0, 0},
        {"\xed\xa0\x80", 0, 0}, /* surrogates */
        {"\xed\xbf\xbf", 0, 0},
        {"\xf4\x90\x80\x80", 0, 0}, /* above U+10FFFF */
        {"\xf8\x88\x80\x80", 0, 0},
        {"\xff", 0, 0},
        {"\xe9tat", 0, 0},  /* Latin-1 */
        {"\xe2\x82", 0, 0}, /* cut off */
        {"", 0, 0},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        uint32_t code = 0;
        assert_int_equal(text_character(cases[i].bytes, strlen(cases[i].bytes), &code),
                         cases[i].size);
        assert_int_equal(code, cases[i].code);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(format_and_copy_allocate),
        cmocka_unit_test(nearest_word_is_found_through_each_kind_of_slip),
        cmocka_unit_test(nearest_prefers_the_closer_and_then_the_first),
        cmocka_unit_test(nearest_ignores_words_of_absurd_length),
        cmocka_unit_test(decimal_numbers_are_read),
        cmocka_unit_test(other_texts_are_refused_and_leave_the_value),
        cmocka_unit_test(a_decimal_comma_is_read_only_where_it_is_allowed),
        cmocka_unit_test(numbers_of_more_than_512_characters_are_refused),
        cmocka_unit_test(the_locale_does_not_matter),
        cmocka_unit_test(utf8_characters_are_told_from_other_bytes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
