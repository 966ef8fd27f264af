/* A folder "c" in a scratch folder, its tables, and what reading it says. */
#ifndef PACKSPAN_TESTS_CASE_TABLES_H
#define PACKSPAN_TESTS_CASE_TABLES_H

#include "support/support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "case/case.h"
#include "unit/base/problem_list.h"
#include "unit/base/scratch.h"

static int enter_scratch(void **state)
{
    return scratch_enter(state) || mkdir("c", 0700);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, enter_scratch, scratch_leave)

static inline void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static inline void put_rows(const char *path, const char *header, const char *rows)
{
    char *text = text_format("%s\n%s", header, rows);
    assert_non_null(text);
    put(path, text);
    free(text);
}

static const char good_vehicles[] = "vehicle,role\nvan,subject\nold_van,reference\n";
static const char good_inputs[] =
    "vehicle,quantity,unit,shape,best,source\nvan,cell_count,1,fixed,224,invented\n";

static inline void put_good_tables(void)
{
    put("c/vehicles.csv", good_vehicles);
    put("c/inputs.csv", good_inputs);
}

/* Reads the folder "c" and compares status and messages. */
static inline void check_case(packspan_status status, const char *messages)
{
    struct case_data c;
    packspan_status got = case_data_read("c", &c);
    assert_problems(&c.problems, messages);
    assert_int_equal(got, status);
    case_data_free(&c);
}

static inline void check_table(const char *path, const char *header, const char *rows,
                               const char *messages)
{
    put_rows(path, header, rows);
    check_case(strstr(messages, "warning: ") || !*messages ? PACKSPAN_OK : PACKSPAN_BAD_CASE,
               messages);
}

static inline void read_good(const char *folder, struct case_data *c)
{
    packspan_status status = case_data_read(folder, c);
    assert_problems(&c->problems, "");
    assert_int_equal(status, PACKSPAN_OK);
}

#endif
