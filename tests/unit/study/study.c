/* Studies through the public header, as a program of somebody else would run them. */
#include "support/support.h"

#include <packspan/packspan.h>
#include <string.h>
#include <sys/stat.h>

#include "unit/base/comma_locale.h"

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

/* A case in which usable_energy = cell_count * cell_energy * usable_fraction. */
static void put_case(const char *axes)
{
    assert_int_equal(mkdir("c", 0700), 0);
    put("c/vehicles.csv", "vehicle,role\nvan,subject\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,low,high,source\n"
                        "van,cell_count,1,fixed,200,,,invented\n"
                        "van,cell_energy,Wh,uniform,,200,220,invented\n"
                        "van,usable_fraction,%,fixed,90,,,invented\n");
    put("c/study.csv", axes);
}

static const char header[] = "axis,vehicle,quantity,field,unit,from,to,steps,spacing,values\n";

static packspan_study *open_study(packspan_case **c)
{
    packspan_study *s = NULL;
    assert_int_equal(packspan_case_open("c", c), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(*c, "samples", "1000"), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(*c, "threads", "2"), PACKSPAN_OK);
    assert_int_equal(packspan_study_open(*c, &s), PACKSPAN_OK);
    return s;
}

static char *read_all(const char *path)
{
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    char *text = calloc(1, 1 << 20);
    assert_non_null(text);
    assert_true(fread(text, 1, (1 << 20) - 1, f) > 0);
    fclose(f);
    return text;
}

static bool stop_after_three(void *user, const packspan_study_state *state)
{
    uint64_t *asked = user;
    ++*asked;
    assert_int_equal(state->points, 40);
    assert_true(state->done <= state->points);
    return state->done < 3;
}

static void a_stopped_study_goes_on_where_it_was(void **state)
{
    (void)state;
    char axes[256];
    snprintf(axes, sizeof axes, "%sshare,van,usable_fraction,value,%%,80,95,40,linear,\n", header);
    put_case(axes);
    packspan_case *c = NULL;
    packspan_study *s = open_study(&c);
    packspan_study_report report;
    uint64_t asked = 0;
    assert_int_equal(packspan_study_points(s), 40);
    assert_int_equal(packspan_study_samples(s), 1000);
    assert_int_equal(packspan_study_run(s, "out", stop_after_three, &asked, &report),
                     PACKSPAN_INTERRUPTED);
    uint64_t done = report.done;
    assert_true(asked > 1 && done >= 3 && done < 40);
    assert_int_equal(report.found, 0);
    assert_false(report.out_of_time);
    assert_int_equal(access("out/study.csv", F_OK), -1);

    assert_int_equal(packspan_study_run(s, "out", NULL, NULL, &report), PACKSPAN_OK);
    assert_int_equal(report.found, done);
    assert_int_equal(report.done, 40);
    assert_int_equal(report.refused, 0);
    assert_int_equal(packspan_study_remark_count(s), 0);
    assert_int_equal(packspan_study_all_points(s), 40);
    assert_false(report.was_complete);
    assert_int_equal(packspan_study_run(s, "out", NULL, NULL, &report), PACKSPAN_OK);
    assert_true(report.was_complete);
    assert_string_equal(packspan_study_failure(s), "");
    packspan_study_free(s);
    packspan_case_free(c);
}

/* The mean of what is shifted, scaled and replaced is known exactly: cell_energy is uniform, its
 * mean the middle of its limits (JCGM 101:2008, 6.4.2.4), and the seed gives it the same luck. */
static void axes_act_on_inputs_as_they_say(void **state)
{
    (void)state;
    char axes[512];
    snprintf(axes, sizeof axes,
             "%senergy,van,cell_energy,value+,kWh,,,,,0;0.01;-0.02\n"
             "cells,van,cell_count,best+,1,0,20,2,,\n",
             header);
    put_case(axes);
    packspan_case *c = NULL;
    packspan_study *s = open_study(&c);
    packspan_study_report report;
    assert_int_equal(packspan_study_run(s, "out", NULL, NULL, &report), PACKSPAN_OK);
    char *table = read_all("out/study.csv"), *row = table;
    double base = 0.0;
    for (int point = 0; point < 6; point++) {
        static const double shifts[] = {0.0, 0.01, -0.02}, cells[] = {200.0, 220.0};
        char quantity[40];
        int number = 0;
        double energy_axis, cells_axis, mean = 0.0, cell_energy = 0.0, nominal = 0.0;
        for (int i = 0; i < 6; i++) { /* rows of the point */
            row = strchr(row, '\n') + 1;
            assert_int_equal(sscanf(row, "%d,%lf,%lf,van,%39[^,],%*[^,],%lf", &number, &energy_axis,
                                    &cells_axis, quantity, &mean),
                             5);
            assert_int_equal(number, point + 1);
            cell_energy = strcmp(quantity, "cell_energy") == 0 ? mean : cell_energy;
            nominal = strcmp(quantity, "nominal_energy") == 0 ? mean : nominal;
        }
        assert_close(energy_axis, shifts[point / 2], 0.0, 0.0);
        assert_close(cells_axis, cells[point % 2] - 200.0, 0.0, 0.0);
        base = point == 0 ? cell_energy : base;
        assert_close(cell_energy, 0.21 + shifts[point / 2], 0.01, 0.0);
        assert_close(cell_energy, base + shifts[point / 2], 1e-9, 0.0);
        assert_close(nominal, cells[point % 2] * cell_energy, 1e-9, 0.0);
    }
    assert_string_equal(packspan_study_point_text(s, 3), "4: energy = 0.01 kWh, cells = 20");
    free(table);
    packspan_study_free(s);
    packspan_case_free(c);
}

/* A program may have set one with a decimal comma; a point's values stay what they are. */
static void tables_have_points_in_any_locale(void **state)
{
    (void)state;
    char axes[256];
    snprintf(axes, sizeof axes, "%senergy,van,cell_energy,best+,kWh,0,0.01,3,linear,\n", header);
    put_case(axes);
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,low,high,source\n"
                        "van,cell_count,1,fixed,200,,,invented\n"
                        "van,cell_energy,Wh,fixed,200.5,,,invented\n");
    if (!comma_locale_enter())
        skip();
    packspan_case *c = NULL;
    packspan_study *s = open_study(&c);
    packspan_study_report report;
    packspan_status status = packspan_study_run(s, "out", NULL, NULL, &report);
    char *text = strdup(packspan_study_point_text(s, 1));
    comma_locale_leave();
    assert_int_equal(status, PACKSPAN_OK);
    assert_string_equal(text, "2: energy = 0.005 kWh");
    char *table = read_all("out/study.csv");
    assert_non_null(strstr(table, "\n2,0.005,van,cell_energy,kWh,0.2055,0,0.2055,0.2055,"));
    free(table);
    free(text);
    packspan_study_free(s);
    packspan_case_free(c);
}

static void a_study_is_not_written_over_a_case(void **state)
{
    (void)state;
    char axes[256];
    snprintf(axes, sizeof axes, "%sshare,van,usable_fraction,value,%%,80,95,2,linear,\n", header);
    put_case(axes);
    packspan_case *c = NULL;
    packspan_study *s = open_study(&c);
    packspan_study_report report;
    assert_int_equal(packspan_study_run(s, "c", NULL, NULL, &report), PACKSPAN_USAGE);
    char *kept = read_all("c/study.csv");
    assert_string_equal(kept, axes);
    free(kept);
    packspan_study_free(s);
    packspan_case_free(c);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, scratch_enter, scratch_leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(a_stopped_study_goes_on_where_it_was),
        IN_SCRATCH(axes_act_on_inputs_as_they_say),
        IN_SCRATCH(tables_have_points_in_any_locale),
        IN_SCRATCH(a_study_is_not_written_over_a_case),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
