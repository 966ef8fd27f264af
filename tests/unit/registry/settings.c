#include "support/support.h"

#include <string.h>

#include "registry/settings.h"

static void defaults_are_as_documented(void **state)
{
    (void)state;
    static const struct {
        enum setting_id id;
        const char *text;
    } rows[] = {
        {SETTING_SAMPLES, "1000000"}, {SETTING_EFFECTIVE, "0"}, {SETTING_SEED, "1"},
        {SETTING_THREADS, "0"},       {SETTING_KEEP, "0"},      {SETTING_QUIET, "no"},
        {SETTING_UNITS, "metric"},    {SETTING_OUT, ""},        {SETTING_STABLE, "0"},
        {SETTING_SEQUENCE, "pcg"},    {SETTING_DESIGN, "grid"}, {SETTING_POINTS, "0"},
        {SETTING_QUANTITIES, ""},     {SETTING_HOURS, "0"},     {SETTING_PILOT, "0"},
        {SETTING_PART, "all"},
    };
    assert_int_equal(sizeof rows / sizeof rows[0], SETTING_COUNT);
    struct settings s;
    memset(&s, 0xff, sizeof s);
    settings_init(&s);
    for (size_t i = 0; i < SETTING_COUNT; i++) {
        char text[64];
        setting_text(&s, rows[i].id, text, sizeof text);
        assert_string_equal(text, rows[i].text);
    }
    assert_int_equal(s.samples, 1000000);
    assert_int_equal(settings_samples(&s), 1000000);
    assert_int_equal(s.effective, 0);
    assert_int_equal(s.stable, 0);
    assert_false(s.sobol);
    assert_int_equal(s.seed, 1);
    assert_int_equal(s.threads, 0);
    assert_int_equal(s.keep, 0);
    assert_int_equal(s.pilot, 0);
    assert_false(s.us_units);
    assert_false(s.quiet);
    assert_string_equal(s.out, "");
}

static void every_setting_is_found_by_its_name_and_described(void **state)
{
    (void)state;
    for (size_t i = 0; i < SETTING_COUNT; i++) {
        assert_int_equal(setting_find(setting_infos[i].name), i);
        assert_true(strlen(setting_infos[i].range) > 0);
        assert_true(strlen(setting_infos[i].meaning) > 0);
        assert_true((setting_infos[i].argument == NULL) == (i == SETTING_QUIET));
    }
    assert_int_equal(setting_find("samples"), SETTING_SAMPLES);
    assert_int_equal(setting_find("out"), SETTING_OUT);
    assert_int_equal(setting_find("Samples"), SETTING_COUNT);
    assert_int_equal(setting_find("sample"), SETTING_COUNT);
    assert_int_equal(setting_find(""), SETTING_COUNT);
}

static void a_part_is_one_of_so_many(void **state)
{
    (void)state;
    static const char *const good[] = {"1/1", "3/7", "1000000/1000000"};
    static const char *const wrong[] = {" 1/3", "1/+3", "+1/3", "1/ 3",  "0/3",       "4/3",
                                        "1/0",  "1",    "/",    "1/",    "/3",        "1/2/3",
                                        "-1/3", "",     "ALL",  "1.5/3", "1/1000001", "a/b"};
    struct settings s;
    char text[64];
    settings_init(&s);
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_true(setting_set(&s, SETTING_PART, good[i]));
        setting_text(&s, SETTING_PART, text, sizeof text);
        assert_string_equal(text, good[i]);
    }
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_false(setting_set(&s, SETTING_PART, wrong[i]));
    assert_int_equal(s.part.part, 1000000);
    assert_true(setting_set(&s, SETTING_PART, "all"));
    assert_int_equal(s.part.parts, 0);
}

static void names_are_not_empty(void **state)
{
    (void)state;
    static const char *const good[] = {"usable_energy", "usable_energy,trip_range.winter", ""};
    static const char *const wrong[] = {",", "a,", ",a", "a,,b", " ", "a, ,b"};
    struct settings s;
    settings_init(&s);
    for (size_t i = 0; i < sizeof good / sizeof good[0]; i++) {
        assert_true(setting_set(&s, SETTING_QUANTITIES, good[i]));
        assert_string_equal(s.quantities, good[i]);
    }
    for (size_t i = 0; i < sizeof wrong / sizeof wrong[0]; i++)
        assert_false(setting_set(&s, SETTING_QUANTITIES, wrong[i]));
}

static void whole_numbers_are_read_exactly(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        uint64_t value;
    } rows[] = {
        {"0", 0},
        {"7", 7},
        {"+7", 7},
        {" 7\t", 7},
        {"007", 7},
        {"1000000", 1000000},
        {"1e6", 1000000},
        {"1E+6", 1000000},
        {"1.5e3", 1500},
        {"12.000", 12},
        {"1200e-2", 12},
        {".5e1", 5},
        {"0e999", 0},
        {"0.0000e-5", 0},
        {"9007199254740993", 9007199254740993u}, /* 2^53 + 1 is no double */
        {"9.007199254740993e15", 9007199254740993u},
        {"1e19", 10000000000000000000u},
        {"18446744073709551615", UINT64_MAX},
        {"1.8446744073709551615e19", UINT64_MAX},
        {"18446744073709551615.0000000000000000000000", UINT64_MAX},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct settings s;
        settings_init(&s);
        s.seed = 42;
        assert_true(setting_set(&s, SETTING_SEED, rows[i].text));
        assert_true(s.seed == rows[i].value);
    }
}

static void texts_out_of_range_are_refused_and_change_nothing(void **state)
{
    (void)state;
    static const struct {
        enum setting_id id;
        const char *text;
    } rows[] = {
        {SETTING_SAMPLES, "99"},
        {SETTING_SAMPLES, "1000000000001"},
        {SETTING_SAMPLES, "1.1e12"},
        {SETTING_SAMPLES, "1e13"},
        {SETTING_SAMPLES, "0"},
        {SETTING_SAMPLES, "-1000"},
        {SETTING_SAMPLES, "1000.5"},
        {SETTING_SAMPLES, "1e300"},
        {SETTING_SAMPLES, "1e400"},
        {SETTING_SAMPLES, "1e99999999999999999999"},
        {SETTING_SAMPLES, "1e-99999999999999999999"},
        {SETTING_SAMPLES, "12345e-2"},
        {SETTING_SAMPLES, "many"},
        {SETTING_SAMPLES, ""},
        {SETTING_SAMPLES, " "},
        {SETTING_SAMPLES, "1,000"},
        {SETTING_SAMPLES, "1 000"},
        {SETTING_SAMPLES, "0x100"},
        {SETTING_SAMPLES, "1000k"},
        {SETTING_SAMPLES, "inf"},
        {SETTING_SAMPLES, "nan"},
        {SETTING_SEED, "-1"},
        {SETTING_SEED, "-0"},
        {SETTING_SEED, "18446744073709551616"},
        {SETTING_SEED, "18446744073709551620"},
        {SETTING_SEED, "99999999999999999999"},
        {SETTING_SEED, "1.8446744073709551616e19"},
        {SETTING_SEED, "0.5"},
        {SETTING_SEED, "2.50"},
        {SETTING_THREADS, "1025"},
        {SETTING_THREADS, "4294967297"}, /* 1 when cut to 32 bits */
        {SETTING_KEEP, "10000001"},
        {SETTING_STABLE, "5"},
        {SETTING_STABLE, "-1"},
        {SETTING_STABLE, "1.5"},
        {SETTING_SEQUENCE, "random"},
        {SETTING_SEQUENCE, "Sobol"},
        {SETTING_SEQUENCE, ""},
        {SETTING_UNITS, "US"},
        {SETTING_UNITS, "imperial"},
        {SETTING_UNITS, ""},
        {SETTING_QUIET, "true"},
        {SETTING_QUIET, "1"},
        {SETTING_QUIET, "Yes"},
        {SETTING_QUIET, ""},
    };
    struct settings before;
    settings_init(&before);
    before.us_units = before.quiet = true;
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct settings s = before;
        if (setting_set(&s, rows[i].id, rows[i].text))
            fail_msg("%s: '%s' is accepted", setting_infos[rows[i].id].name, rows[i].text);
        assert_int_equal(s.samples, before.samples);
        assert_false(s.samples_given);
        assert_int_equal(s.stable, 0);
        assert_false(s.sobol);
        assert_true(s.seed == before.seed);
        assert_int_equal(s.threads, before.threads);
        assert_int_equal(s.keep, before.keep);
        assert_true(s.us_units);
        assert_true(s.quiet);
        assert_string_equal(s.out, "");
    }
}

static void both_ends_of_every_range_are_accepted_and_written_back(void **state)
{
    (void)state;
    static const struct {
        enum setting_id id;
        const char *text, *shown;
    } rows[] = {
        {SETTING_SAMPLES, "100", "100"},
        {SETTING_SAMPLES, "1e12", "1000000000000"},
        {SETTING_SEED, "0", "0"},
        {SETTING_SEED, "18446744073709551615", "18446744073709551615"},
        {SETTING_THREADS, "0", "0"},
        {SETTING_THREADS, "1024", "1024"},
        {SETTING_KEEP, "0", "0"},
        {SETTING_KEEP, "1e7", "10000000"},
        {SETTING_STABLE, "0", "0"},
        {SETTING_STABLE, "4", "4"},
        {SETTING_SEQUENCE, "sobol", "sobol"},
        {SETTING_SEQUENCE, "pcg", "pcg"},
        {SETTING_UNITS, "us", "us"},
        {SETTING_UNITS, "metric", "metric"},
        {SETTING_QUIET, "yes", "yes"},
        {SETTING_QUIET, "no", "no"},
        {SETTING_OUT, "results/a b", "results/a b"},
        {SETTING_OUT, "", ""},
    };
    struct settings s;
    settings_init(&s);
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        char text[64];
        assert_true(setting_set(&s, rows[i].id, rows[i].text));
        setting_text(&s, rows[i].id, text, sizeof text);
        assert_string_equal(text, rows[i].shown);
        assert_true(setting_set(&s, rows[i].id, text));
    }
}

static void samples_not_given_depend_on_how_the_run_goes(void **state)
{
    (void)state;
    struct settings s;
    settings_init(&s);
    assert_true(setting_set(&s, SETTING_SEQUENCE, "sobol"));
    assert_int_equal(settings_samples(&s), 1 << 20);
    assert_true(setting_set(&s, SETTING_STABLE, "2"));
    assert_int_equal(settings_samples(&s), 1000000000);
    assert_true(setting_set(&s, SETTING_SAMPLES, "1000000"));
    assert_int_equal(settings_samples(&s), 1000000);
}

static void a_path_may_have_4095_bytes(void **state)
{
    (void)state;
    struct settings s;
    settings_init(&s);
    char path[4097], text[4096];
    memset(path, 'x', 4096);
    path[4096] = '\0';
    assert_false(setting_set(&s, SETTING_OUT, path));
    assert_string_equal(s.out, "");
    path[4095] = '\0';
    assert_true(setting_set(&s, SETTING_OUT, path));
    setting_text(&s, SETTING_OUT, text, sizeof text);
    assert_string_equal(text, path);
}

static void a_short_buffer_is_not_overrun(void **state)
{
    (void)state;
    struct settings s;
    settings_init(&s);
    char text[4] = "###";
    setting_text(&s, SETTING_SAMPLES, text, sizeof text);
    assert_string_equal(text, "100");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(defaults_are_as_documented),
        cmocka_unit_test(every_setting_is_found_by_its_name_and_described),
        cmocka_unit_test(a_part_is_one_of_so_many),
        cmocka_unit_test(names_are_not_empty),
        cmocka_unit_test(whole_numbers_are_read_exactly),
        cmocka_unit_test(texts_out_of_range_are_refused_and_change_nothing),
        cmocka_unit_test(both_ends_of_every_range_are_accepted_and_written_back),
        cmocka_unit_test(samples_not_given_depend_on_how_the_run_goes),
        cmocka_unit_test(a_path_may_have_4095_bytes),
        cmocka_unit_test(a_short_buffer_is_not_overrun),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
