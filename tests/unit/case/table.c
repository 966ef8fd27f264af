#include "support/support.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/problems.h"
#include "base/text.h"
#include "case/table.h"
#include "unit/base/problem_list.h"
#include "unit/base/scratch.h"

enum { NAME, VALUE, NOTE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    {"name", true}, {"value", true}, {"note", false}};

static void parse(const char *text, size_t length, struct problems *problems, struct table *t)
{
    *problems = (struct problems){0};
    /* A copy of the exact size, so that a sanitizer sees a step too far. */
    char *bytes = malloc(length ? length : 1);
    assert_non_null(bytes);
    memcpy(bytes, text, length);
    assert_int_equal(table_parse("t.csv", bytes, length, columns, COLUMN_COUNT, problems, t),
                     PACKSPAN_OK);
    free(bytes);
}

/* All rows as "LINE:name|value|note\n". */
static char *rows_text(const struct table *t)
{
    char *all = text_copy("");
    for (size_t row = 0; row < t->row_count; row++) {
        char *longer = text_format("%s%ld:%s|%s|%s\n", all, t->lines[row], table_text(t, row, NAME),
                                   table_text(t, row, VALUE), table_text(t, row, NOTE));
        assert_non_null(longer);
        free(all);
        all = longer;
    }
    return all;
}

static void check_bytes(const char *bytes, size_t length, const char *rows, const char *messages)
{
    struct problems problems;
    struct table t;
    parse(bytes, length, &problems, &t);
    char *got = rows_text(&t);
    assert_problems(&problems, messages);
    assert_string_equal(got, rows);
    assert_int_equal(problems.count, problems.errors);
    free(got);
    table_free(&t);
    problems_clear(&problems);
}

static void check(const char *text, const char *rows, const char *messages)
{
    check_bytes(text, strlen(text), rows, messages);
}

/* ---- what is fine ---- */

static void rows_are_read_by_column_name_in_any_order(void **state)
{
    (void)state;
    check("name,value,note\na,1,x\nb,2,y\n", "2:a|1|x\n3:b|2|y\n", "");
    check("note,value,name\nx,1,a\n", "2:a|1|x\n", "");
    check("value,name\n1,a\n", "2:a|1|\n", "");
    check("name,value\n", "", "");
    check("name,value", "", "");
}

static void all_line_ends_and_a_missing_last_one_are_fine(void **state)
{
    (void)state;
    check("name,value\r\na,1\r\nb,2\r\n", "2:a|1|\n3:b|2|\n", "");
    check("name,value\ra,1\rb,2\r", "2:a|1|\n3:b|2|\n", "");
    check("name,value\na,1\r\nb,2\rc,3", "2:a|1|\n3:b|2|\n4:c|3|\n", "");
    check("name,value\n\r\n\ra,1", "4:a|1|\n", "");
}

static void a_byte_order_mark_is_skipped(void **state)
{
    (void)state;
    check("\xef\xbb\xbf"
          "name,value\na,1\n",
          "2:a|1|\n", "");
    check("\xef\xbb\xbf"
          "\"name\",value\na,1\n",
          "2:a|1|\n", "");
}

static void blank_lines_and_rows_of_separators_are_ignored(void **state)
{
    (void)state;
    check("\n \t\nname,value\n\n  \na,1\n,,\n \"\" , \n\nb,2\n\n", "6:a|1|\n10:b|2|\n", "");
    check(",,\nname,value\na,1\n", "3:a|1|\n", "");
    check("name\tvalue\n\t\t\na\t1\n", "3:a|1|\n", "");
}

static void comments_are_ignored_whatever_they_hold(void **state)
{
    (void)state;
    check("# a \"quote, and more\nname,value\n#x,y,z,,,,\n  # \"\na,1\n\"# quoted, \"b\" c\n"
          "\" # also\",\nb,#2\n",
          "5:a|1|\n8:b|#2|\n", "");
    check("\"# title\"\nname;value\n\t# ;;;;\na;1\n", "4:a|1|\n", "");
    check("name\tvalue\n# a \"\t\t\t\na\t1\n", "3:a|1|\n", "");
}

static void a_number_sign_inside_a_quoted_field_is_no_comment(void **state)
{
    (void)state;
    check("name,value\n\"a\n# b\",1\nc,2\n", "2:a\n# b|1|\n4:c|2|\n", "");
}

static void fields_are_trimmed(void **state)
{
    (void)state;
    check(" name ,\tvalue\n a b , 1\t\n\"  c  \" , \" 2\n\"\n", "2:a b|1|\n3:c|2|\n", "");
}

static void quoted_fields_hold_separators_quotes_and_line_ends(void **state)
{
    (void)state;
    check("name,value,note\n\"a,b\",1,\"say \"\"yes\"\"\"\n\"c\nd\r\ne\",2,\nf,3,\n",
          "2:a,b|1|say \"yes\"\n3:c\nd\r\ne|2|\n6:f|3|\n", "");
    check("name,value\n\"a\",\"1\"", "2:a|1|\n", "");
}

static void missing_fields_at_the_end_of_a_row_are_empty(void **state)
{
    (void)state;
    check("name,value,note\na\nb,2\n", "2:a||\n3:b|2|\n", "");
}

static void check_separator(const char *text, bool decimal_comma, const char *rows)
{
    struct problems problems;
    struct table t;
    parse(text, strlen(text), &problems, &t);
    char *got = rows_text(&t);
    assert_problems(&problems, "");
    assert_string_equal(got, rows);
    assert_int_equal(t.decimal_comma, decimal_comma);
    free(got);
    table_free(&t);
    problems_clear(&problems);
}

static void the_separator_is_read_off_the_header(void **state)
{
    (void)state;
    check_separator("name,value\na;b,1\n", false, "2:a;b|1|\n");
    check_separator("name;value\na,b;1,5\n", true, "2:a,b|1,5|\n");
    check_separator("name\tvalue\na,b;c\t1,5\n", true, "2:a,b;c|1,5|\n");
    check_separator("# a;b\n\nname,\tvalue\na,1\n", false, "4:a|1|\n");
    check_separator("\"name\";\"value\"\na;1\n", true, "2:a|1|\n");
}

static void a_single_column_needs_no_separator(void **state)
{
    (void)state;
    static const struct table_column one[] = {{"value", true}};
    const char *text = "value\n1\n\n2\n";
    struct problems problems = {0};
    struct table t;
    assert_int_equal(table_parse("t.csv", text, strlen(text), one, 1, &problems, &t), PACKSPAN_OK);
    assert_problems(&problems, "");
    assert_false(t.decimal_comma);
    assert_int_equal(t.row_count, 2);
    assert_string_equal(table_text(&t, 1, 0), "2");
    assert_int_equal(t.lines[1], 4);
    table_free(&t);
}

static void many_rows_and_long_fields_are_kept(void **state)
{
    (void)state;
    const size_t rows = 5000, length = 100000;
    char *text = NULL;
    size_t size;
    FILE *stream = open_memstream(&text, &size);
    assert_non_null(stream);
    fputs("name,value\n", stream);
    for (size_t i = 0; i < rows; i++)
        fprintf(stream, "r%zu,%zu\n", i, 2 * i);
    fputc('"', stream);
    for (size_t i = 0; i < length; i++)
        fputc('x', stream);
    fputs("\",last", stream);
    assert_int_equal(fclose(stream), 0);

    struct problems problems;
    struct table t;
    parse(text, size, &problems, &t);
    free(text);
    assert_problems(&problems, "");
    assert_int_equal(t.row_count, rows + 1);
    for (size_t i = 0; i < rows; i++) {
        assert_int_equal(atoi(table_text(&t, i, NAME) + 1), i);
        assert_int_equal(atoi(table_text(&t, i, VALUE)), 2 * i);
        assert_int_equal(t.lines[i], i + 2);
    }
    assert_int_equal(strlen(table_text(&t, rows, NAME)), length);
    assert_string_equal(table_text(&t, rows, VALUE), "last");
    table_free(&t);
}

/* ---- what is wrong ---- */

static void a_file_without_a_header_is_reported(void **state)
{
    (void)state;
    const char *empty = "t.csv: the file is empty; the first row names the columns: "
                        "name,value,note\n";
    check("", "", empty);
    check("\xef\xbb\xbf", "", empty);
    const char *headless = "t.csv: no header; the first row names the columns: name,value,note\n";
    check("\n", "", headless);
    check(" \n# only\n,,\n", "", headless);
}

static void binary_files_are_reported_with_the_place(void **state)
{
    (void)state;
    check_bytes("name,value\na,\0\n", 15, "",
                "t.csv:2: not a text file: byte 0x00 at byte offset 13; "
                "save the table as CSV text in UTF-8\n");
    check("PK\x03\x04", "",
          "t.csv:1: not a text file: byte 0x03 at byte offset 2; "
          "save the table as CSV text in UTF-8\n");
    check("\xef\xbb\xbfname,value\r\na\r\x7f", "",
          "t.csv:3: not a text file: byte 0x7f at byte offset 17; "
          "save the table as CSV text in UTF-8\n");
}

static void other_encodings_are_reported_with_the_place(void **state)
{
    (void)state;
    check("name,value\nr\xe9sum\xe9,1\n", "",
          "t.csv:2: not UTF-8: byte 0xe9 at byte offset 12; save the table as CSV text in UTF-8\n");
    check_bytes("\xff\xfen\0a\0", 6, "",
                "t.csv:1: not UTF-8: byte 0xff at byte offset 0; "
                "save the table as CSV text in UTF-8\n");
    check("name,value\na,\xe2\x82", "",
          "t.csv:2: not UTF-8: byte 0xe2 at byte offset 13; save the table as CSV text in UTF-8\n");
}

static void an_unknown_column_offers_the_nearest_name(void **state)
{
    (void)state;
    check("name,valeu,value\na,x,1\n", "2:a|1|\n",
          "t.csv:1: unknown column: 'valeu'; did you mean 'value'?\n");
    check("\n# x\nname,value,Note\na,1,x\n", "4:a|1|\n",
          "t.csv:3: unknown column: 'Note'; did you mean 'note'?\n");
    check("name,value,temperature\na,1,x\n", "2:a|1|\n",
          "t.csv:1: unknown column: 'temperature'; known columns: name,value,note\n");
}

static void a_column_without_a_name_is_reported(void **state)
{
    (void)state;
    check("name,value,\na,1,x\n", "2:a|1|\n",
          "t.csv:1: column number 3 has no name; known columns: name,value,note\n");
}

static void a_column_given_twice_is_reported(void **state)
{
    (void)state;
    check("name,value,name\na,1,b\n", "2:a|1|\n",
          "t.csv:1: column 'name': given twice; keep one of the two\n");
    check("name,value,odd,odd\na,1,b,c\n", "2:a|1|\n",
          "t.csv:1: unknown column: 'odd'; known columns: name,value,note\n"
          "t.csv:1: column 'odd': given twice; keep one of the two\n");
}

static void a_missing_required_column_is_reported(void **state)
{
    (void)state;
    check("name,note\na,x\n", "2:a||x\n",
          "t.csv:1: column 'value': missing from the header; the table needs this column\n");
    check("note\nx\n", "2:||x\n",
          "t.csv:1: column 'name': missing from the header; the table needs this column\n"
          "t.csv:1: column 'value': missing from the header; the table needs this column\n");
}

static void a_row_with_too_many_fields_is_reported_and_kept(void **state)
{
    (void)state;
    check("name,value\na,1,x,y\nb,2\nc,3,\n", "2:a|1|\n3:b|2|\n4:c|3|\n",
          "t.csv:2: 4 fields, but the header names 2: 'x'; "
          "put a field that holds a ',' between quotes\n"
          "t.csv:4: 3 fields, but the header names 2: ''; "
          "put a field that holds a ',' between quotes\n");
    check("name,value\na,3,25\n", "2:a|3|\n",
          "t.csv:2: 3 fields, but the header names 2: '25'; "
          "put a field that holds a ',' between quotes, and write decimals with a point\n");
    check("name;value\na;1;x\n", "2:a|1|\n",
          "t.csv:2: 3 fields, but the header names 2: 'x'; "
          "put a field that holds a ';' between quotes\n");
    check("name\tvalue\na\t1\tx\n", "2:a|1|\n",
          "t.csv:2: 3 fields, but the header names 2: 'x'; "
          "put a field that holds a tab between quotes\n");
}

static void a_header_of_absurd_width_is_reported(void **state)
{
    (void)state;
    char text[2002];
    for (size_t i = 0; i < 2000; i += 2)
        memcpy(text + i, "x,", 2);
    strcpy(text + 2000, "x");
    check(text, "", "t.csv:1: more than 1000 columns; known columns: name,value,note\n");
}

#define RULE "a quoted field begins and ends with a quote, and a quote inside it is written twice\n"

static void a_quote_in_the_wrong_place_is_reported_and_the_next_line_read(void **state)
{
    (void)state;
    check("name,value\na \"b\",1\nc,2\n", "3:c|2|\n",
          "t.csv:2: column 'name': a quote in the wrong place: 'a \"b\",1'; " RULE);
    check("name,value\na,\"1\"2\nb,\"1\" \"2\nc,2\n", "4:c|2|\n",
          "t.csv:2: column 'value': a quote in the wrong place: 'a,\"1\"2'; " RULE
          "t.csv:3: column 'value': a quote in the wrong place: 'b,\"1\" \"2'; " RULE);
    check("name,value\na,1,b\"\nc,2\n", "3:c|2|\n",
          "t.csv:2: a quote in the wrong place: 'a,1,b\"'; " RULE);
}

static void a_forgotten_quote_is_traced_to_the_line_where_the_row_began(void **state)
{
    (void)state;
    check("name,value\n\"a,1\nb,2\n\"c\",3\nd,4\n", "5:d|4|\n",
          "t.csv:4: column 'name': a quote in the wrong place: '\"c\",3'; "
          "the row began on line 2; " RULE);
}

static void a_quote_that_is_never_closed_is_reported_where_its_row_begins(void **state)
{
    (void)state;
    check("name,value\na,1\nb,\"2\nc,3\n", "2:a|1|\n",
          "t.csv:3: column 'value': a quote is never closed: 'b,\"2'; " RULE);
    check("name,value\na,\"", "",
          "t.csv:2: column 'value': a quote is never closed: 'a,\"'; " RULE);
}

static void a_header_with_a_wrong_quote_ends_the_reading(void **state)
{
    (void)state;
    check("na\"me,value\na,1,2,3\n", "",
          "t.csv:1: a quote in the wrong place: 'na\"me,value'; " RULE);
    check("name,\"value\na,1,2,3\n", "", "t.csv:1: a quote is never closed: 'name,\"value'; " RULE);
}

static void every_problem_is_found_in_one_pass(void **state)
{
    (void)state;
    check("name,vlaue\na,1,2\nb\"\nc,3\n", "2:a||\n4:c||\n",
          "t.csv:1: unknown column: 'vlaue'; did you mean 'value'?\n"
          "t.csv:1: column 'value': missing from the header; the table needs this column\n"
          "t.csv:2: 3 fields, but the header names 2: '2'; "
          "put a field that holds a ',' between quotes, and write decimals with a point\n"
          "t.csv:3: column 'name': a quote in the wrong place: 'b\"'; " RULE);
}

/* ---- numbers ---- */

static void numbers_are_read_or_reported(void **state)
{
    (void)state;
    const char *text = "name,value,note\na,1.5,\nb,\"1,5\",\nc,,\nd,1e999,\n";
    struct problems problems;
    struct table t;
    parse(text, strlen(text), &problems, &t);
    bool bad = false;
    assert_close(table_number(&t, 0, VALUE, &problems, &bad), 1.5, 0.0, 0.0);
    assert_true(isnan(table_number(&t, 2, VALUE, &problems, &bad)));
    assert_false(bad);
    assert_problems(&problems, "");
    assert_true(isnan(table_number(&t, 1, VALUE, &problems, &bad)));
    assert_true(bad);
    bad = false;
    assert_true(isnan(table_number(&t, 3, VALUE, &problems, &bad)));
    assert_true(bad);
    assert_problems(&problems, "t.csv:3: column 'value': is not a number: '1,5'; "
                               "write a decimal point as in 3.25: a decimal comma needs ';' or a "
                               "tab between the fields\n"
                               "t.csv:5: column 'value': is not a number: '1e999'; "
                               "write a finite decimal number such as 3.25\n");
    table_free(&t);
    problems_clear(&problems);
}

static void a_decimal_comma_is_read_with_a_semicolon_or_a_tab(void **state)
{
    (void)state;
    static const char *const texts[] = {"name;value\na;1,5\nb;1.5\nc;1.234,5\n",
                                        "name\tvalue\na\t1,5\nb\t1.5\nc\t1.234,5\n"};
    for (size_t i = 0; i < 2; i++) {
        struct problems problems;
        struct table t;
        parse(texts[i], strlen(texts[i]), &problems, &t);
        bool bad = false;
        assert_close(table_number(&t, 0, VALUE, &problems, &bad), 1.5, 0.0, 0.0);
        assert_close(table_number(&t, 1, VALUE, &problems, &bad), 1.5, 0.0, 0.0);
        assert_false(bad);
        assert_true(isnan(table_number(&t, 2, VALUE, &problems, &bad)));
        assert_true(bad);
        assert_problems(&problems, "t.csv:4: column 'value': is not a number: '1.234,5'; "
                                   "write a finite decimal number such as 3.25\n");
        table_free(&t);
        problems_clear(&problems);
    }
}

static void a_problem_of_a_field_names_its_place(void **state)
{
    (void)state;
    const char *text = "name,value,note\n\n\"a\nb\",1,\n";
    struct problems problems;
    struct table t;
    parse(text, strlen(text), &problems, &t);
    table_problem(&t, 0, NAME, SEVERITY_WARNING, "is odd", "choose another", &problems);
    table_problem(&t, 0, NOTE, SEVERITY_ERROR, "is needed here", NULL, &problems);
    assert_problems(&problems, "t.csv:3: column 'name': warning: is odd: 'a\\x0ab'; "
                               "choose another\n"
                               "t.csv:3: column 'note': is needed here\n");
    table_free(&t);
    problems_clear(&problems);
}

/* ---- files ---- */

static char *folder;

static int create_folder(void **state)
{
    (void)state;
    folder = scratch_create();
    return folder ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    scratch_remove(folder);
    free(folder);
    return 0;
}

static char *inside(const char *name)
{
    char *path = text_format("%s/%s", folder, name);
    assert_non_null(path);
    return path;
}

static packspan_status read_path(const char *path, struct problems *problems, struct table *t)
{
    *problems = (struct problems){0};
    return table_read(path, columns, COLUMN_COUNT, problems, t);
}

static void a_table_is_read_from_a_file(void **state)
{
    (void)state;
    char *path = inside("t.csv");
    FILE *stream = fopen(path, "w");
    assert_non_null(stream);
    assert_true(fputs("name,value\na,1\n", stream) >= 0);
    assert_int_equal(fclose(stream), 0);
    struct problems problems;
    struct table t;
    assert_int_equal(read_path(path, &problems, &t), PACKSPAN_OK);
    assert_problems(&problems, "");
    assert_string_equal(t.file, path);
    assert_int_equal(t.row_count, 1);
    assert_string_equal(table_text(&t, 0, NAME), "a");
    table_free(&t);
    table_free(&t);
    free(path);
}

static void a_missing_file_is_told_by_the_status_alone(void **state)
{
    (void)state;
    char *path = inside("t.csv");
    struct problems problems;
    struct table t;
    assert_int_equal(read_path(path, &problems, &t), PACKSPAN_MISSING);
    assert_int_equal(problems.count, 0);
    assert_int_equal(problems.errors, 0);
    assert_int_equal(t.row_count, 0);
    table_free(&t);
    free(path);
}

static void assert_unreadable(const char *path, const char *message)
{
    struct problems problems;
    struct table t;
    assert_int_equal(read_path(path, &problems, &t), PACKSPAN_IO);
    assert_int_equal(t.row_count, 0);
    char *expected = text_format("%s: %s\n", path, message);
    assert_problems(&problems, expected);
    free(expected);
    table_free(&t);
    problems_clear(&problems);
}

static void a_folder_is_no_table(void **state)
{
    (void)state;
    assert_unreadable(folder, "is a folder; a CSV table is needed here");
}

static void a_file_that_is_too_large_is_reported(void **state)
{
    (void)state;
    char *path = inside("t.csv");
    FILE *stream = fopen(path, "w");
    assert_non_null(stream);
    assert_int_equal(fclose(stream), 0);
    assert_int_equal(truncate(path, ((off_t)64 << 20) + 1), 0); /* a hole, not written */
    assert_unreadable(path, "larger than 64 MiB; leave out rows that are not needed");
    free(path);
}

static void a_file_that_cannot_be_opened_tells_why(void **state)
{
    (void)state;
    char *path = inside("loop");
    assert_int_equal(symlink(path, path), 0);
    assert_unreadable(path, "cannot be read: 'Too many levels of symbolic links'");
    free(path);
}

#define in_scratch(test) cmocka_unit_test_setup_teardown(test, create_folder, remove_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_are_read_by_column_name_in_any_order),
        cmocka_unit_test(all_line_ends_and_a_missing_last_one_are_fine),
        cmocka_unit_test(a_byte_order_mark_is_skipped),
        cmocka_unit_test(blank_lines_and_rows_of_separators_are_ignored),
        cmocka_unit_test(comments_are_ignored_whatever_they_hold),
        cmocka_unit_test(a_number_sign_inside_a_quoted_field_is_no_comment),
        cmocka_unit_test(fields_are_trimmed),
        cmocka_unit_test(quoted_fields_hold_separators_quotes_and_line_ends),
        cmocka_unit_test(missing_fields_at_the_end_of_a_row_are_empty),
        cmocka_unit_test(the_separator_is_read_off_the_header),
        cmocka_unit_test(a_single_column_needs_no_separator),
        cmocka_unit_test(many_rows_and_long_fields_are_kept),
        cmocka_unit_test(a_file_without_a_header_is_reported),
        cmocka_unit_test(binary_files_are_reported_with_the_place),
        cmocka_unit_test(other_encodings_are_reported_with_the_place),
        cmocka_unit_test(an_unknown_column_offers_the_nearest_name),
        cmocka_unit_test(a_column_without_a_name_is_reported),
        cmocka_unit_test(a_column_given_twice_is_reported),
        cmocka_unit_test(a_missing_required_column_is_reported),
        cmocka_unit_test(a_row_with_too_many_fields_is_reported_and_kept),
        cmocka_unit_test(a_header_of_absurd_width_is_reported),
        cmocka_unit_test(a_quote_in_the_wrong_place_is_reported_and_the_next_line_read),
        cmocka_unit_test(a_forgotten_quote_is_traced_to_the_line_where_the_row_began),
        cmocka_unit_test(a_quote_that_is_never_closed_is_reported_where_its_row_begins),
        cmocka_unit_test(a_header_with_a_wrong_quote_ends_the_reading),
        cmocka_unit_test(every_problem_is_found_in_one_pass),
        cmocka_unit_test(numbers_are_read_or_reported),
        cmocka_unit_test(a_decimal_comma_is_read_with_a_semicolon_or_a_tab),
        cmocka_unit_test(a_problem_of_a_field_names_its_place),
        in_scratch(a_table_is_read_from_a_file),
        in_scratch(a_missing_file_is_told_by_the_status_alone),
        in_scratch(a_folder_is_no_table),
        in_scratch(a_file_that_is_too_large_is_reported),
        in_scratch(a_file_that_cannot_be_opened_tells_why),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
