/* Mean and standard deviation against the NIST Statistical Reference Datasets (StRD), univariate
 * summary statistics, whose certified values have 15 digits. NIST's measure of agreement is the
 * log relative error, -log10 |x - certified| / |certified|: the number of digits that are right. */
#include "engine/tally.h"
#include "support/support.h"

#include <stdlib.h>

enum { VALUES_MAX = 1001 };

/* Digits asked for: 14.5 where the values are whole numbers. Elsewhere the values are rounded to
 * doubles before anything is computed, by up to 2^-53 of their size, and the standard deviation
 * loses what its share of the size loses: about 12 digits are left of Mavro (sd/mean 2e-4) and
 * Michelso (3e-4), 15 of NumAcc2 (0.1), 9 of NumAcc3 (1e-7), 8 of NumAcc4 (1e-8). The means keep
 * all. */
struct set {
    const char *name, *file;
    double offset; /* of a NumAcc set that is made by its rule */
    size_t n;
    double mean, sd;
    double mean_digits, sd_digits;
};
static const struct set sets[] = {
    {"Lew", "lew.txt", 0, 200, -177.435000000000, 277.332168044316, 14.5, 14.5},
    {"Lottery", "lottery.txt", 0, 218, 518.958715596330, 291.699727470969, 14.5, 14.5},
    {"Mavro", "mavro.txt", 0, 50, 2.00185600000000, 0.000429123454003053, 14.5, 12},
    {"Michelso", "michelso.txt", 0, 100, 299.852400000000, 0.0790105478190518, 14.5, 12},
    {"NumAcc1", NULL, 0, 3, 10000002, 1, 14.5, 14.5},
    {"NumAcc2", NULL, 1, 1001, 1.2, 0.1, 14.5, 14.5},
    {"NumAcc3", NULL, 1e6, 1001, 1000000.2, 0.1, 14.5, 9},
    {"NumAcc4", NULL, 1e7, 1001, 10000000.2, 0.1, 14.5, 8},
};
enum { SETS = sizeof sets / sizeof sets[0] };

static size_t read_values(const char *file, double x[VALUES_MAX])
{
    char path[512], line[256];
    snprintf(path, sizeof path, "%s/strd/%s", TEST_DATA, file);
    FILE *f = fopen(path, "r");
    if (f == NULL)
        fail_msg("cannot open %s", path);
    size_t n = 0;
    while (fgets(line, sizeof line, f) != NULL) {
        if (line[0] == '#')
            continue;
        char *at = line, *end;
        for (double v = strtod(at, &end); end != at; v = strtod(at, &end)) {
            assert_true(n < VALUES_MAX);
            x[n++] = v;
            at = end;
        }
    }
    fclose(f);
    return n;
}

/* NumAcc1 is three values; the others are c + 0.2 and then 500 times c + 0.1 and c + 0.3. The
 * decimals are parsed, not added, so that each is the double next to the published value. */
static size_t make_values(double offset, double x[VALUES_MAX])
{
    if (offset == 0.0) {
        x[0] = 10000001;
        x[1] = 10000003;
        x[2] = 10000002;
        return 3;
    }
    for (size_t i = 0; i < VALUES_MAX; i++) {
        char text[32];
        snprintf(text, sizeof text, "%.0f.%d", offset, i == 0 ? 2 : i % 2 == 1 ? 1 : 3);
        x[i] = strtod(text, NULL);
    }
    return VALUES_MAX;
}

static size_t values_of(const struct set *s, double x[VALUES_MAX])
{
    return s->file != NULL ? read_values(s->file, x) : make_values(s->offset, x);
}

static double digits(double x, double certified)
{
    double error = fabs(x - certified) / fabs(certified);
    return error == 0.0 ? 15.0 : -log10(error);
}

static void assert_digits(const struct set *s, const char *what, double x, double certified,
                          double wanted)
{
    if (!(digits(x, certified) >= wanted))
        fail_msg("%s: %s %.17g has %.2f digits of %.15g, not %.1f", s->name, what, x,
                 digits(x, certified), certified, wanted);
}

static void moments_reach_the_certified_digits(void **state)
{
    (void)state;
    double x[VALUES_MAX];
    for (int i = 0; i < SETS; i++) {
        const struct set *s = &sets[i];
        assert_int_equal(values_of(s, x), s->n);
        struct moments m;
        moments_of(s->n, x, &m);
        assert_int_equal(m.count, s->n);
        assert_digits(s, "mean", m.mean, s->mean, s->mean_digits);
        assert_digits(s, "sd", moments_sd(&m), s->sd, s->sd_digits);
    }
}

static void merged_blocks_reach_them_too(void **state)
{
    (void)state;
    double x[VALUES_MAX];
    for (int i = 0; i < SETS; i++) {
        const struct set *s = &sets[i];
        assert_int_equal(values_of(s, x), s->n);
        struct moments whole;
        moments_init(&whole);
        for (size_t done = 0; done < s->n; done += 16) {
            struct moments part;
            moments_of(s->n - done < 16 ? s->n - done : 16, x + done, &part);
            moments_merge(&whole, &part);
        }
        assert_int_equal(whole.count, s->n);
        assert_digits(s, "mean", whole.mean, s->mean, s->mean_digits);
        assert_digits(s, "sd", moments_sd(&whole), s->sd, s->sd_digits);
    }
}

/* What the rounding of the values costs is not the tally's doing: with the values as rounded, the
 * standard deviation has all its digits. The reference is the textbook's two passes in the x86-64
 * long double of 64 bits. */
static void nothing_is_lost_beyond_the_rounding_of_the_values(void **state)
{
    (void)state;
    double x[VALUES_MAX];
    for (int i = 0; i < SETS; i++) {
        size_t n = values_of(&sets[i], x);
        long double sum = 0, squares = 0;
        for (size_t j = 0; j < n; j++)
            sum += x[j];
        for (size_t j = 0; j < n; j++)
            squares += (x[j] - sum / (long double)n) * (x[j] - sum / (long double)n);
        struct moments m;
        moments_of(n, x, &m);
        assert_digits(&sets[i], "sd", moments_sd(&m), (double)sqrtl(squares / (long double)(n - 1)),
                      14.5);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(moments_reach_the_certified_digits),
        cmocka_unit_test(merged_blocks_reach_them_too),
        cmocka_unit_test(nothing_is_lost_beyond_the_rounding_of_the_values),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
