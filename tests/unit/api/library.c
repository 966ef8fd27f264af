/* The public library as a program of somebody else would use it: public header only. */
#include "support/support.h"

#include <packspan/packspan.h>
#include <string.h>
#include <sys/stat.h>

#include "unit/base/scratch.h"

static packspan_case *open_demo(const char *samples, const char *threads)
{
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open(PROJECT_FOLDER "/configs/demo", &c), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "samples", samples), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "threads", threads), PACKSPAN_OK);
    return c;
}

static double value_of(const packspan_results *r, const char *quantity, packspan_statistic which)
{
    size_t i = 0;
    assert_true(packspan_results_find(r, "van", quantity, &i));
    return packspan_results_value(r, i, which);
}

static void results_are_read_by_name(void **state)
{
    (void)state;
    packspan_case *c = open_demo("20000", "1");
    packspan_results *r = NULL;
    assert_int_equal(packspan_run(c, NULL, NULL, &r), PACKSPAN_OK);
    assert_int_equal(packspan_results_samples(r) + packspan_results_invalid(r), 20000);
    /* label_range is 0.55 city + 0.45 highway, and so are the means */
    assert_close(value_of(r, "label_range", PACKSPAN_MEAN),
                 0.55 * value_of(r, "label_range_city", PACKSPAN_MEAN) +
                     0.45 * value_of(r, "label_range_highway", PACKSPAN_MEAN),
                 1e-12, 0.0);
    size_t i = 0;
    assert_true(packspan_results_find(r, "van", "usable_energy", &i));
    assert_string_equal(packspan_results_text(r, i, PACKSPAN_ROW_UNIT), "kWh");
    assert_close(packspan_results_percentile(r, i, 0.5), packspan_results_value(r, i, PACKSPAN_P50),
                 0.0, 0.0);
    packspan_bin bins[PACKSPAN_BINS_MAX];
    size_t n = packspan_results_histogram(r, i, bins);
    double total = 0.0;
    for (size_t b = 0; b < n; b++)
        total += bins[b].count;
    assert_close(total, (double)packspan_results_samples(r), 1e-12, 0.0);
    assert_false(packspan_results_find(r, "van", "no_such_quantity", &i));
    packspan_results_free(r);
    packspan_case_free(c);
}

static bool stop_at_once(void *user, uint64_t done, uint64_t total)
{
    *(uint64_t *)user = done;
    return done >= total;
}

static void a_stopped_run_keeps_what_is_finished(void **state)
{
    (void)state;
    packspan_case *c = open_demo("1000000", "2");
    packspan_results *r = NULL;
    uint64_t done = 0;
    assert_int_equal(packspan_run(c, stop_at_once, &done, &r), PACKSPAN_INTERRUPTED);
    assert_non_null(r);
    assert_true(done > 0 && done < 1000000);
    assert_int_equal(packspan_results_samples(r) + packspan_results_invalid(r), done);
    packspan_results_free(r);
    packspan_case_free(c);
}

static void settings_are_checked(void **state)
{
    (void)state;
    packspan_case *c = open_demo("1000", "1");
    assert_int_equal(packspan_case_set(c, "samples", "-3"), PACKSPAN_USAGE);
    assert_int_equal(packspan_case_set(c, "sampels", "1000"), PACKSPAN_USAGE);
    assert_string_equal(packspan_case_setting(c, "samples"), "1000");
    packspan_case_free(c);
    packspan_case_free(NULL);
    packspan_results_free(NULL);
}

static void a_missing_folder_is_told(void **state)
{
    (void)state;
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open("no/such/folder", &c), PACKSPAN_MISSING);
    assert_non_null(c);
    assert_true(packspan_case_problem_count(c) > 0);
    assert_non_null(strstr(packspan_case_problem(c, 0), "no/such/folder"));
    packspan_case_free(c);
}

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static bool has_line(const char *path, const char *wanted)
{
    char line[4096];
    bool found = false;
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    while (!found && fgets(line, sizeof line, f))
        found = strcmp(line, wanted) == 0;
    fclose(f);
    return found;
}

/* The checksums are those of `printf 'TEXT' | sha256sum`. */
static void the_record_is_of_the_files_as_they_were_read(void **state)
{
    (void)state;
    assert_int_equal(mkdir("c", 0700), 0);
    put("c/vehicles.csv", "vehicle,role\nvan,subject\n");
    put("c/inputs.csv",
        "vehicle,quantity,unit,shape,best,source\nvan,usable_energy,kWh,fixed,80,invented\n");
    packspan_case *c = NULL;
    packspan_results *r = NULL;
    assert_int_equal(packspan_case_open("c", &c), PACKSPAN_OK);
    put("c/inputs.csv", "changed meanwhile\n");
    assert_int_equal(packspan_case_set(c, "samples", "1000"), PACKSPAN_OK);
    assert_int_equal(packspan_run(c, NULL, NULL, &r), PACKSPAN_OK);
    assert_int_equal(packspan_results_write(r, "out"), PACKSPAN_OK);
    assert_true(has_line("out/run.csv",
                         "case_checksum vehicles.csv,"
                         "8199ef5f41c4f47441f565ad928fa9cd9f96cb2db0a28a02dae7b0a646f62023\n"));
    assert_true(has_line("out/run.csv",
                         "case_checksum inputs.csv,"
                         "e80b6cd713b28c4cb5e5a9a7f984602dc49c110a3032ab2b2e961356d01e2969\n"));
    packspan_results_free(r);
    packspan_case_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(results_are_read_by_name),
        cmocka_unit_test(a_stopped_run_keeps_what_is_finished),
        cmocka_unit_test(settings_are_checked),
        cmocka_unit_test(a_missing_folder_is_told),
        cmocka_unit_test_setup_teardown(the_record_is_of_the_files_as_they_were_read, scratch_enter,
                                        scratch_leave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
