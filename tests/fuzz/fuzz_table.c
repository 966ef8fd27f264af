/* Reads any bytes as a table, uses all that comes out, and stops the program when something that
 * always holds does not. */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/problems.h"
#include "case/table.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length);

static void require(bool holds)
{
    if (!holds)
        abort();
}

static const struct table_column columns[] = {
    {"vehicle", true}, {"quantity", true}, {"unit", false}, {"shape", false},
    {"best", false},   {"low", false},     {"high", false}, {"source", false},
};
#define COLUMN_COUNT (sizeof columns / sizeof columns[0])

static bool is_blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static void use_field(const struct table *t, size_t row, size_t column, struct problems *problems)
{
    const char *text = table_text(t, row, column);
    size_t length = strlen(text);
    require(length == 0 || (!is_blank(text[0]) && !is_blank(text[length - 1])));
    bool bad = false;
    size_t before = problems->errors;
    double value = table_number(t, row, column, problems, &bad);
    require(bad == (problems->errors > before));
    require(isfinite(value) == (length > 0 && !bad));
}

static void use_problems(struct problems *problems)
{
    require(!problems->out_of_memory);
    require(problems->errors == problems->count);
    problems_sort(problems);
    for (size_t i = 0; i < problems->count; i++) {
        char *text = problem_text(&problems->items[i]);
        require(text && strncmp(text, "t.csv:", 6) == 0);
        for (const char *c = text; *c; c++)
            require((unsigned char)*c >= 0x20 && *c != 0x7f);
        free(text);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length)
{
    struct problems problems = {0};
    struct table t;
    packspan_status status =
        table_parse("t.csv", (const char *)bytes, length, columns, COLUMN_COUNT, &problems, &t);
    require(status == PACKSPAN_OK);
    for (size_t row = 0; row < t.row_count; row++) {
        require(t.lines[row] > (row ? t.lines[row - 1] : 1));
        for (size_t column = 0; column < COLUMN_COUNT; column++)
            use_field(&t, row, column, &problems);
    }
    use_problems(&problems);
    table_free(&t);
    problems_clear(&problems);
    return 0;
}
