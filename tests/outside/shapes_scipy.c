/* Quantiles, whole and truncated, against the table that shapes_scipy.py made with SciPy. */
#include "unit/draw/shape_text.h"

enum { CELLS = 8 };

static bool split(char *line, char *cells[CELLS])
{
    line[strcspn(line, "\n")] = '\0';
    for (int i = 0; i < CELLS; i++)
        cells[i] = strsep(&line, ",");
    return cells[CELLS - 1] != NULL && line == NULL;
}

static double number(const char *text)
{
    char *end;
    double value = strtod(text, &end);
    if (end == text || *end)
        fail_msg("'%s' is no number", text);
    return value;
}

static void check_row(char *cells[CELLS], unsigned *shapes)
{
    struct shape_domain domain = {number(cells[2]), number(cells[3]), false, false};
    struct shape *s = shape_text(cells[0], cells[1], domain);
    double u = number(cells[4]), expected = number(cells[5]);
    double x = quantile(s, u);
    if (!is_close(x, expected, number(cells[6]), number(cells[7])))
        fail_msg("%s %s in %s to %s at u = %s: %.17g, SciPy %s", cells[0], cells[1], cells[2],
                 cells[3], cells[4], x, cells[5]);
    *shapes |= 1u << shape_find(cells[0]);
    shape_free(s);
}

static void quantiles_agree(void **state)
{
    (void)state;
    FILE *table = fopen(TEST_DATA "/shapes_scipy.csv", "r");
    assert_non_null(table);
    char line[512], *cells[CELLS];
    unsigned shapes = 0;
    size_t rows = 0;
    assert_non_null(fgets(line, sizeof line, table)); /* the comment and the header */
    assert_non_null(fgets(line, sizeof line, table));
    for (; fgets(line, sizeof line, table); rows++) {
        assert_true(split(line, cells));
        check_row(cells, &shapes);
    }
    fclose(table);
    assert_true(rows >= 500);
    assert_int_equal(shapes,
                     (1u << SHAPE_COUNT) - 1 - (1u << SHAPE_FIXED) - (1u << SHAPE_OBSERVED));
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(quantiles_agree)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
