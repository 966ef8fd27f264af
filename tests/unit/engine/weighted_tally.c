/* Tallies with weights against the same values written down as often as their weight says, and
 * against a weighted sort where that would be too many. */
#include "engine/tally.h"
#include "support/support.h"

#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum { PILOT = 16384, BLOCK = 512 };

static const double reported[] = {0.01, 0.025, 0.05, 0.10,  0.25, 0.50,
                                  0.75, 0.90,  0.95, 0.975, 0.99};
enum { REPORTED = sizeof reported / sizeof reported[0] };

/* Uniform on (0, 1): SplitMix64 (Steele, Lea, Flood, OOPSLA 2014). */
static double uniform(uint64_t *state)
{
    uint64_t z = *state += 0x9e3779b97f4a7c15;
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9;
    z = (z ^ (z >> 27)) * 0x94d049bb133111eb;
    return ((double)((z ^ (z >> 31)) >> 11) + 0.5) * 0x1p-53;
}

static void *allocate(size_t n, size_t size)
{
    void *p = calloc(n, size);
    assert_non_null(p);
    return p;
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* ---- a weighted column, and the layout it is counted in ---- */

struct weighted {
    double x;
    uint64_t weight;
};

struct column {
    size_t n;
    double *x;
    uint64_t *weights, *counts, *below;
    uint32_t *pilot_below;
    struct bin_layout *layout;
    struct distribution d;
    struct weighted *sorted;
};

static int by_weighted_value(const void *a, const void *b)
{
    double x = ((const struct weighted *)a)->x, y = ((const struct weighted *)b)->x;
    return (x > y) - (x < y);
}

/* The pilot is another draw of what is counted, as in a run with evidence. */
static struct bin_layout *sketch_like(double quantile(double u), size_t n, uint64_t seed)
{
    static double pilot[PILOT];
    for (size_t i = 0; i < n; i++)
        pilot[i] = quantile(uniform(&seed));
    qsort(pilot, n, sizeof *pilot, by_value);
    struct bin_layout *layout = NULL;
    assert_int_equal(bin_layout_sketch(pilot, n, &layout), PACKSPAN_OK);
    return layout;
}

static struct bin_layout *layout_like(double quantile(double u), uint64_t seed)
{
    struct bin_layout *layout = sketch_like(quantile, PILOT, seed);
    bin_layout_lay(layout);
    return layout;
}

/* Of a column's counts, or of others in the same bins. */
static uint64_t *cumulated(const struct bin_layout *l, const uint64_t *counts)
{
    size_t bins = bin_layout_size(l);
    uint64_t *below = allocate(bins + 1, sizeof *below);
    bin_counts_cumulate(bins, counts, below);
    return below;
}

static void tally(struct column *c)
{
    double sum = 0.0, squares = 0.0;
    c->counts = allocate(bin_layout_size(c->layout), sizeof *c->counts);
    moments_init(&c->d.moments);
    for (size_t done = 0; done < c->n; done += BLOCK) {
        size_t m = c->n - done < BLOCK ? c->n - done : BLOCK;
        struct moments part;
        bin_count_weighted(c->layout, m, c->x + done, c->weights + done, c->counts);
        double weights[BLOCK];
        uint64_t total = 0;
        for (size_t i = 0; i < m; i++) {
            weights[i] = (double)c->weights[done + i];
            total += c->weights[done + i];
        }
        moments_of_weighted(m, c->x + done, weights, total, &part);
        moments_merge(&c->d.moments, &part);
    }
    c->sorted = allocate(c->n, sizeof *c->sorted);
    for (size_t i = 0; i < c->n; i++) {
        double w = (double)c->weights[i];
        sum += w;
        squares += w * w;
        c->sorted[i] = (struct weighted){c->x[i], c->weights[i]};
    }
    qsort(c->sorted, c->n, sizeof *c->sorted, by_weighted_value);
    c->below = cumulated(c->layout, c->counts);
    c->pilot_below = allocate(bin_layout_size(c->layout) + 1, sizeof *c->pilot_below);
    bin_layout_cumulate(c->layout, c->pilot_below);
    c->d.layout = c->layout;
    c->d.below = c->below;
    c->d.pilot_below = c->pilot_below;
    c->d.effective = sum * sum / squares;
}

static struct column column_of(size_t n, double quantile(double u),
                               uint64_t weight(double x, double u), uint64_t seed)
{
    struct column c = {.n = n, .x = allocate(n, sizeof *c.x)};
    c.weights = allocate(n, sizeof *c.weights);
    c.layout = layout_like(quantile, seed + 1);
    for (size_t i = 0; i < n; i++) {
        c.x[i] = quantile(uniform(&seed));
        c.weights[i] = weight(c.x[i], uniform(&seed));
    }
    tally(&c);
    return c;
}

/* What tally() has made. */
static void tally_free(struct column *c)
{
    free(c->counts);
    free(c->below);
    free(c->pilot_below);
    free(c->sorted);
}

static void column_free(struct column *c)
{
    tally_free(c);
    free(c->x);
    free(c->weights);
    bin_layout_free(c->layout);
}

/* ---- shapes and weights ---- */

static double lognormal(double u)
{
    return exp(0.5 * gsl_cdf_ugaussian_Pinv(u));
}

static double normal(double u)
{
    return gsl_cdf_ugaussian_Pinv(u);
}

/* One part in five is a second value. */
static double two_valued(double u)
{
    return u < 0.8 ? 3888.0 : 4416.0;
}

static uint64_t nought_to_five(double x, double u)
{
    (void)x;
    return (uint64_t)(6.0 * u);
}

static uint64_t three(double x, double u)
{
    (void)x;
    (void)u;
    return 3;
}

static uint64_t nothing(double x, double u)
{
    (void)x;
    (void)u;
    return 0;
}

/* As the weights of a run: up to 2^24, whatever the value. */
static uint64_t up_to_2_24(double x, double u)
{
    (void)x;
    return 1 + (uint64_t)(u * u * 0x1p24);
}

/* A likelihood: a reading of 0.7 with sd 0.5. */
static uint64_t likelihood(double x, double u)
{
    (void)u;
    double z = (x - 0.7) / 0.5;
    return (uint64_t)llrint(0x1p24 * exp(-0.5 * z * z));
}

/* ---- references ---- */

/* Value of rank `rank`, from 1, when every value is there as often as its weight says. */
static double ranked(const struct column *c, uint64_t rank)
{
    uint64_t before = 0;
    size_t i = 0;
    while (before + c->sorted[i].weight < rank)
        before += c->sorted[i++].weight;
    return c->sorted[i].x;
}

/* Hyndman and Fan's type 7: h = (n - 1) p, ranks from 1. */
static double type7(const struct column *c, double p)
{
    double h = (double)(c->d.moments.count - 1) * p, part = h - floor(h);
    uint64_t j = (uint64_t)h + 1;
    double below = ranked(c, j);
    return part > 0.0 ? below + part * (ranked(c, j + 1) - below) : below;
}

/* The project's promise: 1e-4 interquartile ranges. */
static void assert_percentiles_keep(const struct column *c)
{
    double allowed = 1e-4 * (type7(c, 0.75) - type7(c, 0.25));
    for (int i = 0; i < REPORTED; i++) {
        double p = reported[i], want = type7(c, p);
        assert_close(distribution_percentile(&c->d, p), want, 1e-14, allowed);
    }
    assert_close(distribution_percentile(&c->d, 0.0), ranked(c, 1), 0.0, 0.0);
    assert_close(distribution_percentile(&c->d, 1.0), ranked(c, c->d.moments.count), 0.0, 0.0);
}

/* ---- tests ---- */

static void a_weight_is_a_number_of_copies(void **state)
{
    (void)state;
    const size_t sizes[] = {1, 2, 9, 500, 20000};
    for (size_t k = 0; k < sizeof sizes / sizeof sizes[0]; k++) {
        struct column c = column_of(sizes[k], lognormal, nought_to_five, 10 + k);
        c.weights[0] = 2; /* not nothing at all */
        tally_free(&c);
        tally(&c);
        double *copies = allocate(5 * c.n, sizeof *copies);
        size_t n = 0;
        for (size_t i = 0; i < c.n; i++)
            for (uint64_t w = 0; w < c.weights[i]; w++)
                copies[n++] = c.x[i];
        uint64_t *counts = allocate(bin_layout_size(c.layout), sizeof *counts);
        struct moments m;
        struct bin_counter counter = {0};
        assert_int_equal(bin_counter_open(c.layout, &counter), PACKSPAN_OK);
        bin_count(c.layout, n, copies, &counter);
        bin_counters_drain(c.layout, 1, &(struct bin_counter *){&counter}, counts);
        bin_counter_close(&counter);
        moments_of(n, copies, &m);

        assert_memory_equal(c.counts, counts, bin_layout_size(c.layout) * sizeof *counts);
        assert_int_equal(c.d.moments.count, m.count);
        assert_close(c.d.moments.mean, m.mean, 1e-14, 0.0);
        assert_close(c.d.moments.squares, m.squares, 1e-12, 1e-25);
        assert_close(c.d.moments.min, m.min, 0.0, 0.0);
        assert_close(c.d.moments.max, m.max, 0.0, 0.0);

        uint64_t *below = cumulated(c.layout, counts);
        struct distribution d = {c.layout, below, c.pilot_below, m, (double)n};
        double low, high, copies_low, copies_high;
        for (int i = 0; i < REPORTED; i++)
            assert_close(distribution_percentile(&c.d, reported[i]),
                         distribution_percentile(&d, reported[i]), 0.0, 0.0);
        distribution_shortest95(&c.d, &low, &high);
        distribution_shortest95(&d, &copies_low, &copies_high);
        assert_close(low, copies_low, 0.0, 0.0);
        assert_close(high, copies_high, 0.0, 0.0);
        free(copies);
        free(counts);
        free(below);
        column_free(&c);
    }
}

static double near(double u)
{
    return 3.0 + gsl_cdf_ugaussian_Pinv(u);
}

static double far(double u)
{
    return 30.0 + gsl_cdf_ugaussian_Pinv(u);
}

/* Bins for several candidates apart from one another are wider than the promise, and hold few
 * values of a short run. */
static void percentiles_keep_in_bins_that_are_shared(void **state)
{
    (void)state;
    double (*const quantiles[])(double) = {normal, near, far};
    for (uint64_t seed = 1; seed <= 3; seed++) {
        struct bin_layout *sketches[3], *joint = NULL;
        for (size_t k = 0; k < 3; k++)
            sketches[k] = sketch_like(quantiles[k], 1500, 10 * seed + k);
        assert_int_equal(bin_layout_join(3, (const struct bin_layout *const *)sketches, &joint),
                         PACKSPAN_OK);
        assert_non_null(joint);
        for (size_t k = 0; k < 3; k++) {
            struct column c = column_of(20000, quantiles[k], up_to_2_24, 100 * seed + k);
            struct bin_layout *own = c.layout;
            tally_free(&c);
            c.layout = joint;
            tally(&c);
            assert_percentiles_keep(&c);
            c.layout = own;
            column_free(&c);
            bin_layout_free(sketches[k]);
        }
        bin_layout_free(joint);
    }
}

static void percentiles_agree_with_a_weighted_sort(void **state)
{
    (void)state;
    double (*const quantiles[])(double) = {lognormal, normal, two_valued};
    uint64_t (*const weights[])(double, double) = {nought_to_five, three, up_to_2_24};
    for (uint64_t q = 0; q < 3; q++)
        for (uint64_t w = 0; w < 3; w++) {
            struct column c = column_of(200000, quantiles[q], weights[w], 100 * q + w);
            assert_percentiles_keep(&c);
            column_free(&c);
        }
}

/* The normal prior N(0, 1) read as 0.7 with sd 0.5 has mean 0.7/(1 + 0.25) and variance
 * 0.25/(1 + 0.25). */
static double posterior(double u)
{
    return 0.56 + sqrt(0.2) * gsl_cdf_ugaussian_Pinv(u);
}

static void likelihoods_as_weights(void **state)
{
    (void)state;
    struct column c = column_of(200000, normal, likelihood, 7);
    bin_layout_free(c.layout);
    tally_free(&c);
    c.layout = layout_like(posterior, 8);
    tally(&c);
    assert_percentiles_keep(&c);
    double n = c.d.effective, sd = sqrt(0.2);
    assert_close(c.d.moments.mean, 0.56, 0.0, 4.0 * sd / sqrt(n));
    assert_close(distribution_sd(&c.d), sd, 0.0, 4.0 * sd / sqrt(2.0 * n));
    for (int i = 0; i < REPORTED; i++) {
        double error = distribution_percentile_error(&c.d, reported[i]);
        assert_close(distribution_percentile(&c.d, reported[i]), posterior(reported[i]), 0.0,
                     5.0 * error);
    }
    /* n / N = (E w)^2 / E w^2; of w^k, a likelihood of variance v = 0.25/k, the mean is
     * sqrt(v/(1 + v)) exp(-0.7^2 / (2 (1 + v))). */
    double first = sqrt(0.25 / 1.25) * exp(-0.49 / 2.5);
    double second = sqrt(0.125 / 1.125) * exp(-0.49 / 2.25);
    assert_close(n / (double)c.n, first * first / second, 0.02, 0.0);
    column_free(&c);
}

static void equal_weights_change_nothing(void **state)
{
    (void)state;
    struct column c = column_of(50000, normal, three, 21);
    assert_close(c.d.effective, 50000.0, 1e-12, 0.0);
    double mean = 0.0, squares = 0.0;
    for (size_t i = 0; i < c.n; i++)
        mean += c.x[i] / (double)c.n;
    for (size_t i = 0; i < c.n; i++)
        squares += (c.x[i] - mean) * (c.x[i] - mean);
    /* n - 1 of the values, not of their copies */
    assert_close(distribution_sd(&c.d), sqrt(squares / (double)(c.n - 1)), 1e-11, 0.0);

    struct column plain = {.n = c.n, .x = c.x, .layout = c.layout};
    plain.weights = allocate(c.n, sizeof *plain.weights);
    for (size_t i = 0; i < c.n; i++)
        plain.weights[i] = 1;
    tally(&plain);
    /* The same but for the ranks between copies: a place or two in the order of the values. */
    for (int i = 0; i < REPORTED; i++) {
        double p = reported[i], q = normal(p);
        double spacing = sqrt(2.0 * M_PI) * exp(0.5 * q * q) / (double)c.n;
        assert_close(distribution_percentile_error(&c.d, p),
                     distribution_percentile_error(&plain.d, p), 0.0, 2.0 * spacing);
    }
    free(plain.weights);
    tally_free(&plain);
    column_free(&c);
}

/* sqrt(p (1 - p) / n) / f(q), n being the effective values when weights say nothing of the values
 * (from memory); the estimate rests on 2 sqrt(n p (1 - p)) order statistics, and five of their
 * inverse roots are allowed. */
static void percentile_errors_go_by_effective_values(void **state)
{
    (void)state;
    struct column c = column_of(200000, normal, up_to_2_24, 31);
    double n = c.d.effective;
    /* w = u^2: (1/3)^2 / (1/5) of the values */
    assert_close(n, 200000.0 * 5.0 / 9.0, 0.01, 0.0);
    for (int i = 0; i < REPORTED; i++) {
        double p = reported[i], q = normal(p);
        double density = exp(-0.5 * q * q) / sqrt(2.0 * M_PI);
        double noise = 1.0 / sqrt(2.0 * sqrt(n * p * (1.0 - p)));
        assert_close(distribution_percentile_error(&c.d, p), sqrt(p * (1.0 - p) / n) / density,
                     5.0 * noise, 0.0);
    }
    column_free(&c);
}

static void the_histogram_holds_all_weight(void **state)
{
    (void)state;
    struct column c = column_of(30000, lognormal, up_to_2_24, 41);
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    size_t n = distribution_histogram(&c.d, bins);
    uint64_t total = 0, sum = 0;
    for (size_t i = 0; i < c.n; i++)
        total += c.weights[i];
    for (size_t b = 0; b < n; b++) {
        uint64_t inside = 0;
        for (size_t i = 0; i < c.n; i++)
            if (c.x[i] >= bins[b].low && (c.x[i] < bins[b].high || b + 1 == n))
                inside += c.weights[i];
        /* an edge is rounded: a value on it may be on either side */
        assert_close((double)bins[b].count, (double)inside, 0.0, 0x1p25);
        sum += bins[b].count;
    }
    assert_true(sum == total);
    assert_true(c.d.moments.count == total);
    column_free(&c);
}

static void no_weight_is_no_distribution(void **state)
{
    (void)state;
    struct column c = column_of(100, normal, nothing, 51);
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    double low, high;
    assert_int_equal(c.d.moments.count, 0);
    assert_true(isnan(distribution_percentile(&c.d, 0.5)));
    distribution_shortest95(&c.d, &low, &high);
    assert_true(isnan(low) && isnan(high));
    assert_int_equal(distribution_histogram(&c.d, bins), 0);
    column_free(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_weight_is_a_number_of_copies),
        cmocka_unit_test(percentiles_agree_with_a_weighted_sort),
        cmocka_unit_test(percentiles_keep_in_bins_that_are_shared),
        cmocka_unit_test(likelihoods_as_weights),
        cmocka_unit_test(equal_weights_change_nothing),
        cmocka_unit_test(percentile_errors_go_by_effective_values),
        cmocka_unit_test(the_histogram_holds_all_weight),
        cmocka_unit_test(no_weight_is_no_distribution),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
