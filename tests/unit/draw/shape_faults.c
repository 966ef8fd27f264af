/* Every way in which a row makes no shape, with the exact words. */
#include "unit/draw/shape_text.h"

static const struct shape_domain share = {0.0, 1.0, true, false};
static const struct shape_domain positive = {0.0, (double)INFINITY, false, true};

struct fault_row {
    const char *shape, *fields;
    const struct shape_domain *domain;
    enum shape_field field;
    const char *what, *remedy;
};

static const char ways[] = "give best and sd, or low, high and cover";
static const char sd_positive[] = "a spread is positive; a known value has shape fixed";
static const char order[] = "correct one of the two; a known value has shape fixed";
static const char cover_open[] = "cover is the probability between low and high, in (0, 1)";

static const struct fault_row rows[] = {
    /* columns that are not used, or empty */
    {"uniform", "low=1 high=2 best=1.5", &anywhere, SHAPE_BEST, "is not used by shape 'uniform'",
     "it uses low, high"},
    {"fixed", "best=1 sd=1", &anywhere, SHAPE_SD, "is not used by shape 'fixed'", "it uses best"},
    {"normal", "best=1 sd=1 dof=3", &anywhere, SHAPE_DOF, "is not used by shape 'normal'",
     "it uses best, sd or low, high, cover"},
    {"student", "best=1 sd=1 dof=3 low=0", &anywhere, SHAPE_LOW, "is not used by shape 'student'",
     "it uses best, sd, dof"},
    {"triangular", "low=1 best=2 high=3 cover=0.9", &anywhere, SHAPE_COVER,
     "is not used by shape 'triangular'", "it uses low, best, high"},
    {"observed", "best=1", &anywhere, SHAPE_BEST, "is not used by shape 'observed'",
     "it uses file"},
    {"fixed", "", &anywhere, SHAPE_BEST, "is empty", "shape 'fixed' needs a number here"},
    {"uniform", "low=1", &anywhere, SHAPE_HIGH, "is empty", "shape 'uniform' needs a number here"},
    {"arcsine", "high=1", &anywhere, SHAPE_LOW, "is empty", "shape 'arcsine' needs a number here"},
    {"split_normal", "low=1 high=2", &anywhere, SHAPE_BEST, "is empty",
     "shape 'split_normal' needs a number here"},
    {"vague_uniform", "low=1 high=2", &anywhere, SHAPE_SD, "is empty",
     "shape 'vague_uniform' needs a number here"},
    {"trapezoid", "low=1 high=2", &anywhere, SHAPE_COVER, "is empty",
     "shape 'trapezoid' needs a number here"},
    {"triangular", "low=1 high=2", &anywhere, SHAPE_BEST, "is empty",
     "shape 'triangular' needs a number here"},
    {"pert", "best=1 high=2", &anywhere, SHAPE_LOW, "is empty", "shape 'pert' needs a number here"},
    {"student", "best=1 sd=2", &anywhere, SHAPE_DOF, "is empty",
     "shape 'student' needs a number here"},
    /* normal and lognormal: one way or the other */
    {"normal", "", &anywhere, SHAPE_BEST, "is empty", ways},
    {"normal", "best=1", &anywhere, SHAPE_SD, "is empty", ways},
    {"normal", "sd=1", &anywhere, SHAPE_BEST, "is empty", ways},
    {"normal", "low=1", &anywhere, SHAPE_HIGH, "is empty", ways},
    {"lognormal", "high=1 cover=0.9", &anywhere, SHAPE_LOW, "is empty", ways},
    {"normal", "low=1 high=2 sd=1", &anywhere, SHAPE_SD, "is given beside low and high", ways},
    {"lognormal", "low=1 high=2 sd=1", &anywhere, SHAPE_SD, "is given beside low and high", ways},
    {"normal", "best=1 sd=1 cover=0.9", &anywhere, SHAPE_COVER, "is given beside best and sd",
     ways},
    {"normal", "low=1 best=1.6 high=2", &anywhere, SHAPE_BEST,
     "is not the middle of low and high (1.5)",
     "leave best empty, or use split_normal, whose best is the mode"},
    {"lognormal", "low=1 best=2.5 high=4", &anywhere, SHAPE_BEST,
     "is not the median that low and high make (2)", "leave best empty, or give best and sd"},
    /* ranges */
    {"normal", "best=1 sd=0", &anywhere, SHAPE_SD, "is not above 0", sd_positive},
    {"lognormal", "best=1 sd=-1", &anywhere, SHAPE_SD, "is not above 0", sd_positive},
    {"student", "best=1 sd=-1 dof=3", &anywhere, SHAPE_SD, "is not above 0", sd_positive},
    {"vague_uniform", "low=1 high=2 sd=0", &anywhere, SHAPE_SD, "is not above 0", sd_positive},
    {"vague_uniform", "low=1 high=2 sd=0.5", &anywhere, SHAPE_SD,
     "is not below half of high - low (0.5)",
     "sd, by which each limit is unsure, must be below half of high - low"},
    {"student", "best=1 sd=1 dof=0.5", &anywhere, SHAPE_DOF, "is below 1",
     "dof is the number of readings less 1, and at least 1"},
    {"lognormal", "best=0 sd=1", &anywhere, SHAPE_BEST, "is not above 0",
     "a lognormal quantity has values above 0 only"},
    {"lognormal", "low=0 high=1", &anywhere, SHAPE_LOW, "is not above 0",
     "a lognormal quantity has values above 0 only"},
    {"normal", "low=3 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"lognormal", "low=4 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"split_normal", "low=4 best=3.5 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"uniform", "low=5 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"vague_uniform", "low=5 high=3 sd=1", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"trapezoid", "low=5 high=3 cover=1", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"triangular", "low=3 best=3 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"pert", "low=5 best=4 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"arcsine", "low=5 high=3", &anywhere, SHAPE_LOW, "is not below high (3)", order},
    {"uniform", "low=-1e308 high=1e308", &anywhere, SHAPE_HIGH, "is too far from low (-1e+308)",
     "high - low must be a finite number"},
    {"triangular", "low=1 best=0.9 high=3", &anywhere, SHAPE_BEST,
     "is outside low to high (1 to 3)", "correct one of the three"},
    {"pert", "low=1 best=3.1 high=3", &anywhere, SHAPE_BEST, "is outside low to high (1 to 3)",
     "correct one of the three"},
    {"split_normal", "low=1 best=1 high=3", &anywhere, SHAPE_BEST,
     "is not inside low and high (1 to 3)", "best, the mode, must lie inside low and high"},
    {"trapezoid", "low=1 best=1.1 high=3 cover=0.5", &anywhere, SHAPE_BEST,
     "is not the middle of low and high (2)", "leave best empty, or use triangular or pert"},
    {"normal", "low=1 high=3 cover=1", &anywhere, SHAPE_COVER, "is outside (0, 1)", cover_open},
    {"lognormal", "low=1 high=3 cover=0", &anywhere, SHAPE_COVER, "is outside (0, 1)", cover_open},
    {"split_normal", "low=1 best=2 high=3 cover=95", &anywhere, SHAPE_COVER, "is outside (0, 1)",
     cover_open},
    {"trapezoid", "low=1 high=3 cover=1.1", &anywhere, SHAPE_COVER, "is outside [0, 1]",
     "cover of a trapezoid is the width of its top over that of its base, in [0, 1]"},
    {"trapezoid", "low=1 high=3 cover=-0.1", &anywhere, SHAPE_COVER, "is outside [0, 1]",
     "cover of a trapezoid is the width of its top over that of its base, in [0, 1]"},
    {"pert", "low=1 best=2 high=3 cover=1.5", &anywhere, SHAPE_COVER, "is outside (0, 1]",
     "cover is the probability between low and high, in (0, 1]; 1 makes them the limits"},
    {"pert", "low=1 best=2 high=3 cover=0", &anywhere, SHAPE_COVER, "is outside (0, 1]",
     "cover is the probability between low and high, in (0, 1]; 1 makes them the limits"},
    /* the physical domain */
    {"fixed", "best=1.5", &share, SHAPE_BEST, "is outside the physical domain",
     "the domain is (0, 1]"},
    {"fixed", "best=0", &share, SHAPE_BEST, "is outside the physical domain",
     "the domain is (0, 1]"},
    {"fixed", "best=-1", &positive, SHAPE_BEST, "is outside the physical domain",
     "the domain is [0, inf)"},
    {"uniform", "low=0.5 high=1.125", &share, SHAPE_HIGH,
     "puts 20 % of the distribution outside the physical domain", "the domain is (0, 1]"},
    {"uniform", "low=-1 high=9", &positive, SHAPE_LOW,
     "puts 10 % of the distribution outside the physical domain", "the domain is [0, inf)"},
    /* 1 - Phi(1) = 0.158655 */
    {"normal", "best=0.9 sd=0.1", &share, SHAPE_BEST,
     "puts 15.9 % of the distribution outside the physical domain", "the domain is (0, 1]"},
    {"student", "best=-1 sd=1 dof=1", &positive, SHAPE_BEST,
     "puts 75 % of the distribution outside the physical domain", "the domain is [0, inf)"},
    {"pert", "low=2 best=3 high=4", &share, SHAPE_HIGH,
     "puts 100 % of the distribution outside the physical domain", "the domain is (0, 1]"},
};

/* Never a real shape: shows whether the result was touched. */
static char mark;

static void assert_fault(const struct shape_given *given, const struct shape_domain *domain,
                         enum shape_field field, const char *what, const char *remedy)
{
    struct shape *untouched = (struct shape *)(void *)&mark, *s = untouched;
    struct shape_fault fault = {0};
    if (shape_make(given, domain, &s, &fault) != PACKSPAN_BAD_CASE)
        fail_msg("%s makes a shape instead of: %s", shape_infos[given->kind].name, what);
    assert_ptr_equal(s, untouched);
    assert_string_equal(fault.what, what);
    assert_string_equal(fault.remedy, remedy);
    assert_string_equal(shape_field_names[fault.field], shape_field_names[field]);
}

static void rows_are_faulted(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct shape_given given = given_text(rows[i].shape, rows[i].fields);
        assert_fault(&given, rows[i].domain, rows[i].field, rows[i].what, rows[i].remedy);
    }
}

static void readings_are_faulted(void **state)
{
    (void)state;
    const double values[] = {0.5, 2.0, 0.7};
    struct shape_given given = given_text("observed", "");
    assert_fault(&given, &anywhere, SHAPE_FILE, "holds no readings",
                 "it needs one reading or more");
    given.values = values;
    given.readings = 3;
    assert_fault(&given, &share, SHAPE_FILE,
                 "puts 33.3 % of the distribution outside the physical domain",
                 "the domain is (0, 1]");
    assert_fault(&given, &(struct shape_domain){5.0, 6.0, false, false}, SHAPE_FILE,
                 "puts 100 % of the distribution outside the physical domain",
                 "the domain is [5, 6]");
    given.weights = (const double[]){1.0, -2.0, 1.0};
    assert_fault(&given, &anywhere, SHAPE_FILE, "has a wrong weight (-2) in reading 2",
                 "a weight is a finite number, 0 or more");
    given.weights = (const double[]){1.0, 1.0, (double)INFINITY};
    assert_fault(&given, &anywhere, SHAPE_FILE, "has a wrong weight (inf) in reading 3",
                 "a weight is a finite number, 0 or more");
    given.weights = (const double[]){0.0, 0.0, 0.0};
    assert_fault(&given, &anywhere, SHAPE_FILE, "has weights that add up to 0",
                 "the sum of the weights must be above 0 and finite");
    given.values = (const double[]){1.0, (double)NAN, 1.0};
    assert_fault(&given, &anywhere, SHAPE_FILE, "has no finite value in reading 2",
                 "every value must be a finite number");
}

/* 5 % cut off is allowed, a little more is not. */
static void a_twentieth_may_be_cut(void **state)
{
    (void)state;
    struct shape *s = shape_text("uniform", "low=-0.049 high=0.951", share);
    assert_close(shape_cut(s), 0.049, 1e-12, 0);
    shape_free(s);
    struct shape_given given = given_text("uniform", "low=-0.051 high=0.949");
    assert_fault(&given, &share, SHAPE_LOW,
                 "puts 5.1 % of the distribution outside the physical domain",
                 "the domain is (0, 1]");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_are_faulted),
        cmocka_unit_test(readings_are_faulted),
        cmocka_unit_test(a_twentieth_may_be_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
