#include "support/support.h"

#include <stdlib.h>
#include <string.h>

#include "base/problems.h"
#include "unit/base/problem_list.h"

static void assert_text(struct problem p, const char *expected)
{
    char *text = problem_text(&p);
    assert_non_null(text);
    assert_string_equal(text, expected);
    free(text);
}

static void a_problem_names_everything_that_is_known(void **state)
{
    (void)state;
    assert_text((struct problem){.file = "case/inputs.csv",
                                 .line = 7,
                                 .column = "best",
                                 .what = "is not a number",
                                 .text = "1,5",
                                 .remedy = "write 1.5"},
                "case/inputs.csv:7: column 'best': is not a number: '1,5'; write 1.5");
    assert_text((struct problem){.severity = SEVERITY_WARNING,
                                 .file = "inputs.csv",
                                 .line = 7,
                                 .column = "best",
                                 .what = "is doubtful",
                                 .text = "1.2",
                                 .remedy = "check it"},
                "inputs.csv:7: column 'best': warning: is doubtful: '1.2'; check it");
}

static void missing_parts_are_left_out(void **state)
{
    (void)state;
    assert_text((struct problem){.file = "a.csv", .what = "is empty"}, "a.csv: is empty");
    assert_text((struct problem){.file = "a.csv", .what = "is empty", .remedy = "fill it"},
                "a.csv: is empty; fill it");
    assert_text((struct problem){.file = "a.csv", .line = 3, .what = "is odd", .text = "x"},
                "a.csv:3: is odd: 'x'");
    assert_text((struct problem){.file = "a.csv", .column = "b", .what = "is odd", .text = ""},
                "a.csv: column 'b': is odd: ''");
}

static void unprintable_bytes_are_shown_in_hexadecimal(void **state)
{
    (void)state;
    assert_text((struct problem){.file = "a", .what = "odd", .text = "m\xc2\xb2 \xe2\x82\xac"},
                "a: odd: 'm² €'");
    assert_text((struct problem){.file = "a", .what = "odd", .text = "\x1b[31m\x7f\n"},
                "a: odd: '\\x1b[31m\\x7f\\x0a'");
    assert_text((struct problem){.file = "a", .what = "odd", .text = "\xe9t\xe9"},
                "a: odd: '\\xe9t\\xe9'");
    /* U+0085 (control), U+202E (right-to-left override), U+FEFF (invisible) */
    assert_text(
        (struct problem){.file = "a", .what = "odd", .text = "\xc2\x85\xe2\x80\xae\xef\xbb\xbf"},
        "a: odd: '\\xc2\\x85\\xe2\\x80\\xae\\xef\\xbb\\xbf'");
    assert_text((struct problem){.file = "a\x1b", .column = "b\x07", .what = "odd"},
                "a\\x1b: column 'b\\x07': odd");
}

static void long_texts_are_cut_between_characters(void **state)
{
    (void)state;
    char text[80] = "", expected[120];
    memset(text, 'x', 60);
    snprintf(expected, sizeof expected, "a: odd: '%s'", text);
    assert_text((struct problem){.file = "a", .what = "odd", .text = text}, expected);
    snprintf(expected, sizeof expected, "a: odd: '%s…'", text);
    text[60] = 'y';
    assert_text((struct problem){.file = "a", .what = "odd", .text = text}, expected);
    /* 59 bytes, then a character of two: it does not fit any more */
    strcpy(text + 59, "\xc3\xa9");
    snprintf(expected, sizeof expected, "a: odd: '%.59s…'", text);
    assert_text((struct problem){.file = "a", .what = "odd", .text = text}, expected);
}

static void texts_are_copied_and_errors_counted(void **state)
{
    (void)state;
    struct problems list = {0};
    char what[] = "is odd";
    problems_add(&list, SEVERITY_ERROR, "a", 1, NULL, what, NULL, NULL);
    problems_add(&list, SEVERITY_WARNING, "a", 2, "c", what, "t", "r");
    what[0] = 'X';
    assert_int_equal(list.count, 2);
    assert_int_equal(list.errors, 1);
    assert_false(list.out_of_memory);
    assert_problems(&list, "a:1: is odd\na:2: column 'c': warning: is odd: 't'; r\n");
    problems_clear(&list);
    assert_int_equal(list.count, 0);
    assert_int_equal(list.errors, 0);
    assert_null(list.items);
    problems_clear(&list);
}

/* text_format() gives NULL when out of memory, and callers pass that on. */
static void a_problem_that_could_not_be_composed_counts_as_an_error(void **state)
{
    (void)state;
    struct problems list = {0};
    problems_add(&list, SEVERITY_WARNING, "a", 1, NULL, NULL, NULL, NULL);
    assert_int_equal(list.count, 0);
    assert_int_equal(list.errors, 1);
    assert_true(list.out_of_memory);
    problems_clear(&list);
    assert_false(list.out_of_memory);
}

static void sorting_goes_by_file_and_line_and_keeps_equals(void **state)
{
    (void)state;
    struct problems list = {0};
    problems_add(&list, SEVERITY_ERROR, "b", 2, NULL, "first", NULL, NULL);
    problems_add(&list, SEVERITY_ERROR, "b", 10, NULL, "last", NULL, NULL);
    problems_add(&list, SEVERITY_ERROR, "a", 3, NULL, "third line", NULL, NULL);
    problems_add(&list, SEVERITY_ERROR, "b", 2, NULL, "second", NULL, NULL);
    problems_add(&list, SEVERITY_ERROR, "a", 0, NULL, "whole file", NULL, NULL);
    problems_add(&list, SEVERITY_ERROR, "b", 2, NULL, "third", NULL, NULL);
    problems_sort(&list);
    assert_problems(&list, "a: whole file\na:3: third line\n"
                           "b:2: first\nb:2: second\nb:2: third\nb:10: last\n");
    problems_clear(&list);
    problems_sort(&list);
    assert_int_equal(list.count, 0);
}

static void sorting_many_problems_keeps_equals(void **state)
{
    (void)state;
    struct problems list = {0};
    const int count = 1000, lines = 37;
    for (int i = 0; i < count; i++) {
        char what[16];
        snprintf(what, sizeof what, "%d", i);
        problems_add(&list, SEVERITY_ERROR, "a", (i * 17) % lines, NULL, what, NULL, NULL);
    }
    problems_sort(&list);
    assert_int_equal(list.count, count);
    for (size_t i = 1; i < list.count; i++) {
        const struct problem *before = &list.items[i - 1], *after = &list.items[i];
        assert_true(before->line < after->line ||
                    (before->line == after->line && atoi(before->what) < atoi(after->what)));
    }
    problems_clear(&list);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_problem_names_everything_that_is_known),
        cmocka_unit_test(missing_parts_are_left_out),
        cmocka_unit_test(unprintable_bytes_are_shown_in_hexadecimal),
        cmocka_unit_test(long_texts_are_cut_between_characters),
        cmocka_unit_test(texts_are_copied_and_errors_counted),
        cmocka_unit_test(a_problem_that_could_not_be_composed_counts_as_an_error),
        cmocka_unit_test(sorting_goes_by_file_and_line_and_keeps_equals),
        cmocka_unit_test(sorting_many_problems_keeps_equals),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
