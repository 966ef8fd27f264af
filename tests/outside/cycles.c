/* The shipped speed traces against the figures published for their schedules. The distance is that
 * of the trapezoidal rule, as the model integrates it. */
#include "case/case.h"
#include "registry/constants.h"
#include "support/support.h"

#define MPH (MILE / 3600.0)
#define KMH (1.0 / 3.6)

static void read_shipped(const char *name, struct cycle *cycle)
{
    char path[4096];
    struct problems problems = {0};
    snprintf(path, sizeof path, "%s/%s.csv", cycle_folder(), name);
    assert_int_equal(cycle_read(path, name, &problems, cycle), PACKSPAN_OK);
    assert_int_equal(problems.count, 0);
}

/* Metres driven after `from` up to `to` seconds. */
static double distance(const struct cycle *c, double from, double to)
{
    double sum = 0.0;
    for (size_t i = 1; i < c->points; i++)
        if (c->time[i - 1] >= from && c->time[i] <= to)
            sum += 0.5 * (c->speed[i] + c->speed[i - 1]) * (c->time[i] - c->time[i - 1]);
    return sum;
}

static double highest_speed(const struct cycle *c, double from, double to)
{
    double highest = 0.0;
    for (size_t i = 0; i < c->points; i++)
        if (c->time[i] >= from && c->time[i] <= to)
            highest = fmax(highest, c->speed[i]);
    return highest;
}

/* Figures as printed; half a unit of their last digit is allowed. */
struct schedule {
    const char *name;
    double speed_unit, distance_unit;
    double trace;   /* s */
    double seconds; /* of driving, after which the vehicle stands */
    double distance, distance_half_digit;
    double average, average_half_digit; /* over `seconds` */
    double highest;
};

static void whole_schedules_have_their_published_figures(void **state)
{
    (void)state;
    static const struct schedule rows[] = {
        /* 7.45 mi: 40 CFR 600.116-12, table 1. 1369 s, 19.6 mph, 56.7 mph: from memory. */
        {"udds", MPH, MILE, 1369, 1369, 7.45, 0.005, 19.6, 0.05, 56.7},
        /* 10.3 mi: 40 CFR 600.116-12, tables 1 to 4. From memory: its second digit (10.26), 765 s,
         * 48.3 mph, 59.9 mph. */
        {"hwfet", MPH, MILE, 765, 765, 10.26, 0.005, 48.3, 0.05, 59.9},
        /* From memory: 596 s, printed with rests to 600 s, 8.01 mi, 48.4 mph, 80.3 mph. */
        {"us06", MPH, MILE, 600, 596, 8.01, 0.005, 48.4, 0.05, 80.3},
        /* From memory: 596 s, printed with rests to 600 s, 3.58 mi, 21.6 mph, 54.8 mph. */
        {"sc03", MPH, MILE, 600, 596, 3.58, 0.005, 21.6, 0.05, 54.8},
        /* UN GTR No. 15, Annex 1, from memory: 1800 s, 23 266 m, 46.5 km/h, 131.3 km/h. */
        {"wltc3b", KMH, 1000.0, 1800, 1800, 23.266, 0.0005, 46.5, 0.05, 131.3},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        const struct schedule *s = &rows[i];
        struct cycle c;
        read_shipped(s->name, &c);
        double metres = distance(&c, 0, s->seconds);
        assert_close(c.time[0], 0, 0, 0);
        assert_close(c.time[c.points - 1], s->trace, 0, 0);
        assert_close(highest_speed(&c, s->seconds, s->trace), 0, 0, 0);
        assert_close(metres / s->distance_unit, s->distance, 0, s->distance_half_digit);
        assert_close(metres / s->seconds / s->speed_unit, s->average, 0, s->average_half_digit);
        assert_close(highest_speed(&c, 0, s->trace) / s->speed_unit, s->highest, 1e-14, 0);
        cycle_free(&c);
    }
}

/* 3.59 mi: 40 CFR 600.116-12, tables 1 to 4, the first phase of UDDS. That it ends after 505 s is
 * from memory. */
static void the_first_phase_of_udds_has_its_published_distance(void **state)
{
    (void)state;
    struct cycle c;
    read_shipped("udds", &c);
    assert_close(distance(&c, 0, 505) / MILE, 3.59, 0, 0.005);
    cycle_free(&c);
}

/* UN GTR No. 15, Annex 1, from memory: durations, distances and highest speeds of the phases low,
 * medium, high and extra high. */
static void the_phases_of_wltc_have_their_published_figures(void **state)
{
    (void)state;
    static const struct {
        double seconds, metres, highest;
    } phases[] = {{589, 3095, 56.5}, {433, 4756, 76.6}, {455, 7162, 97.4}, {323, 8254, 131.3}};
    struct cycle c;
    read_shipped("wltc3b", &c);
    double start = 0.0;
    for (size_t i = 0; i < sizeof phases / sizeof phases[0]; i++) {
        double end = start + phases[i].seconds;
        assert_close(distance(&c, start, end), phases[i].metres, 0, 0.5);
        assert_close(highest_speed(&c, start, end) / KMH, phases[i].highest, 1e-14, 0);
        assert_close(highest_speed(&c, end, end), 0, 0, 0); /* every phase ends at rest */
        start = end;
    }
    assert_close(start, 1800, 0, 0);
    cycle_free(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_schedules_have_their_published_figures),
        cmocka_unit_test(the_first_phase_of_udds_has_its_published_distance),
        cmocka_unit_test(the_phases_of_wltc_have_their_published_figures),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
