#include "support/support.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "case/case.h"
#include "unit/base/problem_list.h"
#include "unit/base/scratch.h"

static packspan_status read_text(const char *text, struct problems *problems, struct cycle *cycle)
{
    FILE *f = fopen("t.csv", "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
    *problems = (struct problems){0};
    return cycle_read("t.csv", "loop", problems, cycle);
}

/* A trace that is wrong leaves the cycle as it was. */
static void check_wrong(const char *text, const char *messages)
{
    struct problems problems;
    struct cycle cycle = {.points = 99};
    assert_int_equal(read_text(text, &problems, &cycle), PACKSPAN_BAD_CASE);
    assert_problems(&problems, messages);
    assert_int_equal(cycle.points, 99);
    assert_null(cycle.time);
    problems_clear(&problems);
}

static void a_trace_is_read_in_si(void **state)
{
    (void)state;
    struct problems problems;
    struct cycle cycle;
    assert_int_equal(read_text("time_s,speed_mph\n-0.5,0\n0.25,60\n7,1\n", &problems, &cycle),
                     PACKSPAN_OK);
    assert_problems(&problems, "");
    assert_string_equal(cycle.name, "loop");
    assert_string_equal(cycle.file, "t.csv");
    assert_int_equal(cycle.points, 3);
    assert_close(cycle.time[0], -0.5, 0, 0);
    assert_close(cycle.time[1], 0.25, 0, 0);
    assert_close(cycle.speed[0], 0, 0, 0);
    assert_close(cycle.speed[1], 26.8224, 1e-15, 0); /* mile per hour: NIST SP 811 B.8 */
    assert_close(cycle.speed[2], 0.44704, 1e-15, 0);
    cycle_free(&cycle);
    assert_null(cycle.name);

    assert_int_equal(read_text("speed_kmh,time_s,speed_mph\n0,0,\n90,1,\n", &problems, &cycle),
                     PACKSPAN_OK);
    assert_close(cycle.speed[1], 25, 1e-15, 0);
    cycle_free(&cycle);
}

static void a_trace_has_two_points_or_more(void **state)
{
    (void)state;
    check_wrong("time_s,speed_mph\n",
                "t.csv: fewer than two points; a speed trace has two rows or more\n");
    check_wrong("time_s,speed_mph\n0,1\n",
                "t.csv: fewer than two points; a speed trace has two rows or more\n");
}

static void times_rise(void **state)
{
    (void)state;
    check_wrong("time_s,speed_mph\n0,1\n1.5,1\n1.5,1\n1,1\n2,1\n",
                "t.csv:4: column 'time_s': is not after the row before (1.5 s): '1.5'; times rise "
                "from row to row\n"
                "t.csv:5: column 'time_s': is not after the row before (1.5 s): '1'; times rise "
                "from row to row\n");
}

static void speeds_are_not_negative_and_not_all_zero(void **state)
{
    (void)state;
    check_wrong("time_s,speed_kmh\n0,0\n1,-0.1\n2,0\n",
                "t.csv:3: column 'speed_kmh': is below 0: '-0.1'; a speed is 0 or more\n");
    check_wrong("time_s,speed_kmh\n0,0\n1,0\n",
                "t.csv: the vehicle never moves; a cycle needs a speed above 0\n");
}

static void numbers_are_whole_and_present(void **state)
{
    (void)state;
    check_wrong("time_s,speed_mph\n0,0\nx,\n,inf\n",
                "t.csv:3: column 'time_s': is not a number: 'x'; write a finite decimal number "
                "such as 3.25\n"
                "t.csv:4: column 'time_s': is empty; every row needs it\n"
                "t.csv:3: column 'speed_mph': is empty; every row needs it\n"
                "t.csv:4: column 'speed_mph': is not a number: 'inf'; write a finite decimal "
                "number such as 3.25\n");
}

static void one_speed_column_is_needed(void **state)
{
    (void)state;
    check_wrong("time_s\n0\n1\n",
                "t.csv: no speeds; the table needs the column speed_mph or speed_kmh\n");
    check_wrong("time_s,speed_mph,speed_kmh\n0,1,2\n1,1,2\n",
                "t.csv: speed_mph and speed_kmh are both given; keep one of the two\n");
    check_wrong("time_s,speed_kph\n0,1\n1,1\n",
                "t.csv:1: unknown column: 'speed_kph'; did you mean 'speed_kmh'?\n");
    check_wrong("time,speed_kmh\n0,1\n1,-1\n",
                "t.csv:1: unknown column: 'time'; known columns: time_s,speed_kmh,speed_mph\n"
                "t.csv:1: column 'time_s': missing from the header; the table needs this column\n"
                "t.csv:3: column 'speed_kmh': is below 0: '-1'; a speed is 0 or more\n");
}

static void a_missing_file_is_only_a_status(void **state)
{
    (void)state;
    struct problems problems = {0};
    struct cycle cycle;
    assert_int_equal(cycle_read("nowhere.csv", "loop", &problems, &cycle), PACKSPAN_MISSING);
    assert_int_equal(problems.count, 0);
    assert_int_equal(cycle_read(".", "loop", &problems, &cycle), PACKSPAN_IO);
    assert_problems(&problems, ".: is a folder; a CSV table is needed here\n");
    problems_clear(&problems);
}

static void the_folder_of_cycles_can_be_chosen(void **state)
{
    (void)state;
    assert_int_equal(unsetenv("PACKSPAN_CYCLES"), 0);
    assert_string_equal(cycle_folder(), PROJECT_FOLDER "/configs/cycles");
    assert_int_equal(setenv("PACKSPAN_CYCLES", "elsewhere", 1), 0);
    assert_string_equal(cycle_folder(), "elsewhere");
    assert_int_equal(unsetenv("PACKSPAN_CYCLES"), 0);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, scratch_enter, scratch_leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(a_trace_is_read_in_si),
        IN_SCRATCH(a_trace_has_two_points_or_more),
        IN_SCRATCH(times_rise),
        IN_SCRATCH(speeds_are_not_negative_and_not_all_zero),
        IN_SCRATCH(numbers_are_whole_and_present),
        IN_SCRATCH(one_speed_column_is_needed),
        IN_SCRATCH(a_missing_file_is_only_a_status),
        cmocka_unit_test(the_folder_of_cycles_can_be_chosen),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
