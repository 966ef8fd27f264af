/* Unscrambled points in every dimension against the table that sobol_scipy.py made with SciPy. */
#include "draw/sobol.h"
#include "support/support.h"

#include <stdlib.h>

enum { POINTS = 5 };

static void read_row(FILE *table, uint64_t row[POINTS])
{
    char line[256], *text = line;
    assert_non_null(fgets(line, sizeof line, table));
    for (int i = 0; i < POINTS; i++) {
        char *end;
        row[i] = strtoull(text, &end, 10);
        assert_true(end > text && *end == (i + 1 < POINTS ? ',' : '\n'));
        text = end + 1;
    }
}

/* First digit in the highest bit. */
static uint64_t point(const struct sobol *s, uint64_t number)
{
    uint32_t points[SOBOL_BLOCK];
    uint64_t value = 0;
    sobol_block(s, number / SOBOL_BLOCK, points);
    for (int i = 0; i < 32; i++)
        value = value << 1 | (points[number % SOBOL_BLOCK] >> i & 1);
    return value;
}

static void points_agree(void **state)
{
    (void)state;
    FILE *table = fopen(TEST_DATA "/sobol_scipy.csv", "r");
    assert_non_null(table);
    char comment[256];
    uint64_t numbers[POINTS], expected[POINTS];
    assert_non_null(fgets(comment, sizeof comment, table));
    read_row(table, numbers);
    for (size_t d = 0; d < SOBOL_DIMENSIONS; d++) {
        struct sobol s;
        sobol_open(&s, d);
        read_row(table, expected);
        for (int i = 0; i < POINTS; i++)
            assert_int_equal(point(&s, numbers[i]), expected[i]);
    }
    assert_int_equal(fgetc(table), EOF);
    fclose(table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(points_agree)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
