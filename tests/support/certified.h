/* Reads tests/data/certified.csv: certified figures of electric vehicles, in the units of the
 * column names. */
#ifndef PACKSPAN_TESTS_CERTIFIED_H
#define PACKSPAN_TESTS_CERTIFIED_H

#include <stdlib.h>
#include <string.h>

#include "case/table.h"
#include "support/support.h"

enum certified_column {
    CERTIFIED_A,
    CERTIFIED_B,
    CERTIFIED_C,
    CERTIFIED_TEST_WEIGHT,
    CERTIFIED_CITY_AC,
    CERTIFIED_HIGHWAY_AC,
    CERTIFIED_CITY_DC,
    CERTIFIED_HIGHWAY_DC,
    CERTIFIED_USABLE,
    CERTIFIED_RECHARGE,
    CERTIFIED_RANGE_CITY,
    CERTIFIED_RANGE_HIGHWAY,
    CERTIFIED_RANGE,
    CERTIFIED_CONSUMPTION,
    CERTIFIED_FACTOR_CITY,
    CERTIFIED_FACTOR_HIGHWAY,
    CERTIFIED_VALUES,
    CERTIFIED_ID = CERTIFIED_VALUES,
    CERTIFIED_FAMILY,
    CERTIFIED_YEAR,
    CERTIFIED_FLAGS,
    CERTIFIED_COLUMNS
};

static const struct table_column certified_columns[CERTIFIED_COLUMNS] = {
    [CERTIFIED_A] = {"road_load_a_lbf", true},
    [CERTIFIED_B] = {"road_load_b_lbf_per_mph", true},
    [CERTIFIED_C] = {"road_load_c_lbf_per_mph2", true},
    [CERTIFIED_TEST_WEIGHT] = {"test_weight_lb", true},
    [CERTIFIED_CITY_AC] = {"udds_ac_wh_per_mi", true},
    [CERTIFIED_HIGHWAY_AC] = {"hwfet_ac_wh_per_mi", true},
    [CERTIFIED_CITY_DC] = {"udds_dc_wh_per_mi", true},
    [CERTIFIED_HIGHWAY_DC] = {"hwfet_dc_wh_per_mi", true},
    [CERTIFIED_USABLE] = {"usable_energy_kwh", true},
    [CERTIFIED_RECHARGE] = {"recharge_energy_kwh", true},
    [CERTIFIED_RANGE_CITY] = {"label_range_city_mi", true},
    [CERTIFIED_RANGE_HIGHWAY] = {"label_range_highway_mi", true},
    [CERTIFIED_RANGE] = {"label_range_combined_mi", true},
    [CERTIFIED_CONSUMPTION] = {"label_kwh_per_100mi", true},
    [CERTIFIED_FACTOR_CITY] = {"label_factor_city", true},
    [CERTIFIED_FACTOR_HIGHWAY] = {"label_factor_highway", true},
    [CERTIFIED_ID] = {"id", true},
    [CERTIFIED_FAMILY] = {"family", true},
    [CERTIFIED_YEAR] = {"model_year", true},
    [CERTIFIED_FLAGS] = {"flags", true},
};

struct certified {
    char id[8], family[8];
    int model_year;
    double value[CERTIFIED_VALUES]; /* NaN where nothing was published */
    double half[CERTIFIED_VALUES];  /* half a unit of the last digit that was published */
    bool no_label, recharge_from_label, label_average_of_tests;
};

static inline double certified_half_digit(const char *text)
{
    const char *point = strchr(text, '.');
    return 0.5 * pow(10.0, point ? -(double)strlen(point + 1) : 0.0);
}

/* Number of rows, which are malloc'd into *out; any problem of the file fails the test. */
static inline size_t certified_read(const char *path, struct certified **out)
{
    struct problems problems = {0};
    struct table table;
    packspan_status status =
        table_read(path, certified_columns, CERTIFIED_COLUMNS, &problems, &table);
    assert_int_equal(status, PACKSPAN_OK);
    struct certified *rows = calloc(table.row_count + 1, sizeof *rows);
    assert_non_null(rows);
    for (size_t i = 0; i < table.row_count; i++) {
        struct certified *row = &rows[i];
        bool bad = false;
        snprintf(row->id, sizeof row->id, "%s", table_text(&table, i, CERTIFIED_ID));
        snprintf(row->family, sizeof row->family, "%s", table_text(&table, i, CERTIFIED_FAMILY));
        row->model_year = (int)table_number(&table, i, CERTIFIED_YEAR, &problems, &bad);
        for (size_t c = 0; c < CERTIFIED_VALUES; c++) {
            row->value[c] = table_number(&table, i, c, &problems, &bad);
            row->half[c] = certified_half_digit(table_text(&table, i, c));
        }
        const char *flags = table_text(&table, i, CERTIFIED_FLAGS);
        row->no_label = strstr(flags, "no_label") != NULL;
        row->recharge_from_label = strstr(flags, "recharge_from_label") != NULL;
        row->label_average_of_tests = strstr(flags, "label_average_of_tests") != NULL;
        assert_false(bad);
    }
    assert_int_equal(problems.count, 0);
    size_t count = table.row_count;
    table_free(&table);
    problems_clear(&problems);
    *out = rows;
    return count;
}

/* True when the row has every one of the columns, whose list ends with CERTIFIED_VALUES. */
static inline bool certified_has(const struct certified *row, const enum certified_column *columns)
{
    for (; *columns != CERTIFIED_VALUES; columns++)
        if (isnan(row->value[*columns]))
            return false;
    return true;
}

#endif
