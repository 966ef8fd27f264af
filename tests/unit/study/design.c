/* Designs: what is judged by a few places against a look at every point. */
#include "support/support.h"

#include <string.h>

#include "study/design.h"

enum { STEPS = 3, TRIALS = 40 };

/* Where an axis of each field begins and ends, for shapes near the ends of a share's domain [0, 1].
 */
struct field_span {
    enum study_field field;
    double low, high;
};

struct shape_spans {
    enum shape_kind kind;
    double cover, dof; /* NAN: not given */
    struct field_span spans[3];
    size_t count;
};

static const struct shape_spans shapes[] = {
    {SHAPE_NORMAL, NAN, NAN, {{STUDY_BEST, -0.1, 1.1}, {STUDY_SD, -0.02, 0.4}}, 2},
    {SHAPE_NORMAL, 0.9, NAN, {{STUDY_LOW, -0.3, 0.6}, {STUDY_HIGH, 0.4, 1.3}}, 2},
    {SHAPE_SPLIT_NORMAL,
     0.9,
     NAN,
     {{STUDY_LOW, 0.0, 0.5}, {STUDY_BEST, 0.4, 0.6}, {STUDY_HIGH, 0.5, 1.0}},
     3},
    {SHAPE_LOGNORMAL, NAN, NAN, {{STUDY_BEST, -0.05, 1.1}, {STUDY_SD, -0.05, 1.0}}, 2},
    {SHAPE_LOGNORMAL, 0.9, NAN, {{STUDY_LOW, -0.05, 0.6}, {STUDY_HIGH, 0.4, 1.3}}, 2},
    {SHAPE_UNIFORM, NAN, NAN, {{STUDY_LOW, -0.1, 0.6}, {STUDY_HIGH, 0.4, 1.1}}, 2},
    {SHAPE_VAGUE_UNIFORM,
     NAN,
     NAN,
     {{STUDY_LOW, -0.1, 0.6}, {STUDY_HIGH, 0.4, 1.1}, {STUDY_SD, -0.01, 0.3}},
     3},
    {SHAPE_TRAPEZOID, 0.4, NAN, {{STUDY_LOW, -0.2, 0.6}, {STUDY_HIGH, 0.4, 1.2}}, 2},
    {SHAPE_TRIANGULAR,
     NAN,
     NAN,
     {{STUDY_LOW, -0.3, 0.5}, {STUDY_BEST, 0.3, 0.7}, {STUDY_HIGH, 0.5, 1.3}},
     3},
    {SHAPE_PERT,
     NAN,
     NAN,
     {{STUDY_LOW, -0.3, 0.5}, {STUDY_BEST, 0.3, 0.7}, {STUDY_HIGH, 0.5, 1.3}},
     3},
    {SHAPE_PERT,
     0.8,
     NAN,
     {{STUDY_LOW, 0.0, 0.5}, {STUDY_BEST, 0.4, 0.6}, {STUDY_HIGH, 0.5, 1.0}},
     3},
    {SHAPE_ARCSINE, NAN, NAN, {{STUDY_LOW, -0.02, 0.6}, {STUDY_HIGH, 0.4, 1.02}}, 2},
    {SHAPE_STUDENT, NAN, 3.0, {{STUDY_BEST, -0.1, 1.1}, {STUDY_SD, -0.02, 0.3}}, 2},
};

/* Numerical Recipes' quick generator (a = 1664525, c = 1013904223), as good as this needs. */
static double random_share(uint32_t *state)
{
    *state = *state * 1664525u + 1013904223u;
    return (double)*state / 4294967296.0;
}

/* A short way along its span, so that many designs are good and many are nearly so. */
static void turn_knob(struct study_knob *k, const struct field_span *span, uint32_t *state)
{
    double width = span->high - span->low, reach = random_share(state) * random_share(state);
    double from = random_share(state) * (1.0 - reach);
    k->from = span->low + width * from;
    k->to = span->low + width * (from + reach);
}

static bool is_good_at_every_point(const struct design *d)
{
    double values[3];
    for (uint64_t p = 0; p < d->points; p++) {
        struct shape_fault fault;
        design_values(d, p, values);
        const struct input in = design_input(d, 0, values);
        struct shape_domain domain = input_domain(&in);
        if (shape_check(&in.given, &domain, &fault) != PACKSPAN_OK)
            return false;
    }
    return true;
}

static struct input input_of(const struct shape_spans *spans)
{
    struct input in = {.trip = TRIP_NONE,
                       .quantity = quantity_find("regen_efficiency"),
                       .to_si = {1.0, 0.0},
                       .given = {.kind = spans->kind}};
    for (size_t f = 0; f < SHAPE_FIELD_COUNT; f++)
        in.given.field[f] = NAN;
    in.given.field[SHAPE_COVER] = spans->cover;
    in.given.field[SHAPE_DOF] = spans->dof;
    return in;
}

/* Judges a random design in both ways; true when it is good. */
static bool judge(const struct shape_spans *spans, uint32_t *seed)
{
    static char name[] = "axis", unit[] = "1";
    struct input in = input_of(spans);
    struct study_axis axes[3];
    struct study_knob knobs[3];
    for (size_t a = 0; a < spans->count; a++) {
        axes[a] = (struct study_axis){.name = name, .steps = STEPS, .knob = a};
        knobs[a] = (struct study_knob){.axis = a,
                                       .field = spans->spans[a].field,
                                       .unit = unit,
                                       .to_si = {1.0, 0.0},
                                       .file = "study.csv"};
        turn_knob(&knobs[a], &spans->spans[a], seed);
    }
    struct case_data c = {
        .inputs = &in,
        .input_count = 1,
        .study = {
            .axes = axes, .axis_count = spans->count, .knobs = knobs, .knob_count = spans->count}};
    struct design d;
    const char *contradiction = NULL;
    struct problems problems = {0};
    assert_int_equal(design_open(&c, &d, &contradiction), PACKSPAN_OK);
    bool is_good = is_good_at_every_point(&d);
    packspan_status status = design_check(&d, &problems);
    assert_int_equal(status, is_good ? PACKSPAN_OK : PACKSPAN_BAD_CASE);
    problems_clear(&problems);
    design_close(&d);
    return is_good;
}

static void corners_tell_what_every_point_does(void **state)
{
    (void)state;
    for (size_t s = 0; s < sizeof shapes / sizeof shapes[0]; s++) {
        uint32_t seed = 1;
        int good = 0;
        for (int trial = 0; trial < TRIALS; trial++)
            good += judge(&shapes[s], &seed);
        assert_true(good >= 3 && good <= TRIALS - 3); /* or else this tells nothing */
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(corners_tell_what_every_point_does),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
