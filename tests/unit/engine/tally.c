#include "engine/tally.h"
#include "support/support.h"

#include <float.h>
#include <gsl/gsl_cdf.h>
#include <stdlib.h>
#include <string.h>

enum { PILOT = 16384 };

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

/* Sample i of 2^17 evenly spread over (0, 1), in van der Corput's order, so that the beginning is
 * spread evenly too: no sampling noise. */
enum { EVEN = 1 << 17 };
static double evenly(size_t i)
{
    size_t reversed = 0;
    for (int bit = 0; bit < 17; bit++)
        reversed |= (i >> bit & 1) << (16 - bit);
    return ((double)reversed + 0.5) / EVEN;
}

static double quantile_uniform(double u)
{
    return u;
}

static double quantile_normal(double u)
{
    return gsl_cdf_ugaussian_Pinv(u);
}

static double quantile_lognormal(double u)
{
    return exp(gsl_cdf_ugaussian_Pinv(u));
}

/* Two peaks, six standard deviations apart. */
static double quantile_bimodal(double u)
{
    return u < 0.5 ? gsl_cdf_ugaussian_Pinv(2.0 * u) - 3.0
                   : gsl_cdf_ugaussian_Pinv(2.0 * u - 1.0) + 3.0;
}

static double quantile_cauchy(double u)
{
    return gsl_cdf_cauchy_Pinv(u, 1.0);
}

static double quantile_exponential(double u)
{
    return gsl_cdf_exponential_Pinv(u, 1.0);
}

static double quantile_constant(double u)
{
    (void)u;
    return 53.7;
}

/* One part in five is a second value. */
static double quantile_two_valued(double u)
{
    return u < 0.8 ? 3888.0 : 4416.0;
}

/* A heap of zeros with a tail. */
static double quantile_mixed(double u)
{
    return u < 0.6 ? 0.0 : gsl_cdf_exponential_Pinv((u - 0.6) / 0.4, 1.0);
}

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void *allocate(size_t n, size_t size)
{
    void *p = calloc(n, size);
    assert_non_null(p);
    return p;
}

static double *sorted_copy(size_t n, const double *x)
{
    double *copy = allocate(n, sizeof *copy);
    memcpy(copy, x, n * sizeof *copy);
    qsort(copy, n, sizeof *copy, by_value);
    return copy;
}

/* Hyndman and Fan, Amer. Statist. 50 (1996) 361: Q(p) = (1 - g) x_j + g x_j+1 with
 * j = floor(n p + m), m = 1 - p, ranks from 1. */
static double type7(size_t n, const double *sorted, double p)
{
    double place = (double)n * p + 1.0 - p;
    double j = floor(place + 1e-12), g = fmax(place - j, 0.0);
    size_t i = (size_t)j;
    return i >= n ? sorted[n - 1] : (1.0 - g) * sorted[i - 1] + g * sorted[i];
}

static void drain(const struct bin_layout *l, struct bin_counter *counter, uint64_t *counts)
{
    bin_counters_drain(l, 1, &(struct bin_counter *){counter}, counts);
}

/* counts += what bin_count() finds. */
static void count_into(const struct bin_layout *l, size_t n, const double *x, uint64_t *counts)
{
    struct bin_counter counter = {0};
    assert_int_equal(bin_counter_open(l, &counter), PACKSPAN_OK);
    bin_count(l, n, x, &counter);
    drain(l, &counter, counts);
    bin_counter_close(&counter);
}

/* A column as a run would tally it: layout from the first samples, then block after block. */
struct column {
    size_t n;
    double *x, *sorted;
    struct bin_layout *layout;
    uint64_t *counts, *below;
    uint32_t *pilot_below;
    struct distribution d;
};

static void tally_column(struct column *c)
{
    size_t pilot_count = c->n < PILOT ? c->n : PILOT;
    double *pilot = sorted_copy(pilot_count, c->x);
    assert_int_equal(bin_layout_make(pilot, pilot_count, &c->layout), PACKSPAN_OK);
    free(pilot);
    c->counts = allocate(bin_layout_size(c->layout), sizeof *c->counts);
    struct bin_counter counter = {0};
    uint64_t *joined[BIN_SHIFTS];
    for (int shift = 0; shift < BIN_SHIFTS; shift++)
        joined[shift] = allocate(bin_joined_size(c->layout, shift), sizeof *joined[shift]);
    assert_int_equal(bin_counter_open(c->layout, &counter), PACKSPAN_OK);
    moments_init(&c->d.moments);
    for (size_t done = 0; done < c->n; done += 1000) {
        size_t m = c->n - done < 1000 ? c->n - done : 1000;
        struct moments part;
        if (bin_counter_shift(done) > counter.shift) {
            drain(c->layout, &counter, joined[counter.shift]);
            counter.shift = bin_counter_shift(done);
        }
        bin_count(c->layout, m, c->x + done, &counter);
        moments_of(m, c->x + done, &part);
        moments_merge(&c->d.moments, &part);
        c->d.effective = (double)c->d.moments.count;
    }
    drain(c->layout, &counter, joined[counter.shift]);
    bin_counter_close(&counter);
    for (int shift = 0; shift < BIN_SHIFTS; shift++) {
        bin_share_out(c->layout, shift, joined[shift], c->counts);
        free(joined[shift]);
    }
    size_t bins = bin_layout_size(c->layout);
    c->below = allocate(bins + 1, sizeof *c->below);
    c->pilot_below = allocate(bins + 1, sizeof *c->pilot_below);
    bin_counts_cumulate(bins, c->counts, c->below);
    bin_layout_cumulate(c->layout, c->pilot_below);
    c->d.layout = c->layout;
    c->d.below = c->below;
    c->d.pilot_below = c->pilot_below;
    c->d.effective = (double)c->n;
    c->sorted = sorted_copy(c->n, c->x);
}

static struct column column_of(size_t n, const double *x)
{
    struct column c = {.n = n, .x = allocate(n, sizeof *c.x)};
    memcpy(c.x, x, n * sizeof *x);
    tally_column(&c);
    return c;
}

static struct column column_drawn(size_t n, double quantile(double u), uint64_t seed)
{
    struct column c = {.n = n, .x = allocate(n, sizeof *c.x)};
    for (size_t i = 0; i < n; i++)
        c.x[i] = quantile(uniform(&seed));
    tally_column(&c);
    return c;
}

static struct column column_even(double quantile(double u))
{
    struct column c = {.n = EVEN, .x = allocate(EVEN, sizeof *c.x)};
    for (size_t i = 0; i < EVEN; i++)
        c.x[i] = quantile(evenly(i));
    tally_column(&c);
    return c;
}

static void column_free(struct column *c)
{
    bin_layout_free(c->layout);
    free(c->counts);
    free(c->below);
    free(c->pilot_below);
    free(c->sorted);
    free(c->x);
}

static double iqr_of(const struct column *c)
{
    return type7(c->n, c->sorted, 0.75) - type7(c->n, c->sorted, 0.25);
}

/* The project's promise: 1e-4 interquartile ranges. */
static const double promise = 1e-4;

static const struct shape {
    const char *name;
    double (*quantile)(double u);
    /* In interquartile ranges, for the percentiles 5 to 95 and for those outside. */
    double inner, outer;
} shapes[] = {
    {"uniform", quantile_uniform, promise, promise},
    {"normal", quantile_normal, promise, promise},
    {"lognormal", quantile_lognormal, promise, promise},
    {"exponential", quantile_exponential, promise, promise},
    {"bimodal", quantile_bimodal, promise, promise},
    {"constant", quantile_constant, promise, promise},
    {"two-valued", quantile_two_valued, promise, promise},
    {"mixed", quantile_mixed, promise, promise},
    /* The windows of the outer percentiles are so wide that the bins run out. */
    {"Cauchy", quantile_cauchy, 4e-4, 3e-3},
};
enum { SHAPES = sizeof shapes / sizeof shapes[0] };

static void assert_percentiles_keep(const struct shape *s, const struct column *c)
{
    double iqr = iqr_of(c);
    for (int i = 0; i < REPORTED; i++) {
        double p = reported[i];
        double bound = p < 0.05 || p > 0.95 ? s->outer : s->inner;
        double got = distribution_percentile(&c->d, p), want = type7(c->n, c->sorted, p);
        if (!(fabs(got - want) <= bound * iqr + 1e-14 * fabs(want)))
            fail_msg("%s, n = %zu: percentile %g is %.17g, sorted %.17g, %.2g interquartile ranges",
                     s->name, c->n, p, got, want, fabs(got - want) / iqr);
    }
    assert_true(distribution_percentile(&c->d, 0.0) == c->sorted[0]);
    assert_true(distribution_percentile(&c->d, 1.0) == c->sorted[c->n - 1]);
}

static void percentiles_agree_with_a_full_sort(void **state)
{
    (void)state;
    const size_t sizes[] = {1, 2, 3, 100, 1000, PILOT, PILOT + 1, 20000, 100000};
    for (int i = 0; i < SHAPES; i++)
        for (size_t j = 0; j < sizeof sizes / sizeof sizes[0]; j++) {
            struct column c = column_drawn(sizes[j], shapes[i].quantile, 1000 * j + (size_t)i);
            assert_percentiles_keep(&shapes[i], &c);
            column_free(&c);
        }
}

static void percentiles_of_a_million_agree_with_a_full_sort(void **state)
{
    (void)state;
    for (int i = 1; i < SHAPES; i += i == 2 ? SHAPES - 3 : 1) {
        struct column c = column_drawn(1000000, shapes[i].quantile, 77 + (size_t)i);
        assert_percentiles_keep(&shapes[i], &c);
        column_free(&c);
    }
}

/* Within the promise, percentiles must not lean to one side: the mean of 220 errors, each of about
 * 3e-5, is within five times 2e-6 of nothing. */
static void percentiles_lean_to_no_side(void **state)
{
    (void)state;
    double sum = 0.0;
    for (uint64_t run = 0; run < 20; run++) {
        struct column c = column_drawn(40000, quantile_uniform, run << 40);
        for (int i = 0; i < REPORTED; i++) {
            double want = type7(c.n, c.sorted, reported[i]);
            sum += (distribution_percentile(&c.d, reported[i]) - want) / iqr_of(&c);
        }
        column_free(&c);
    }
    assert_close(sum / (20.0 * REPORTED), 0.0, 0.0, 1e-5);
}

/* Nothing is left to luck: after the pilot the values come in clumps, so that a bin holds many
 * values in one place, at its end as likely as in its middle. */
static void percentiles_of_clumps_agree_with_a_full_sort(void **state)
{
    (void)state;
    for (int i = 0; i < SHAPES; i++) {
        struct column c = {.n = 100000, .x = allocate(100000, sizeof *c.x)};
        uint64_t seed = 40 + (uint64_t)i;
        for (size_t j = 0; j < c.n; j++) {
            double u = uniform(&seed);
            c.x[j] = shapes[i].quantile(j < PILOT ? u : (floor(u * 2000.0) + 0.37) / 2000.0);
        }
        tally_column(&c);
        assert_percentiles_keep(&shapes[i], &c);
        column_free(&c);
    }
}

/* As long as the pilot is all there is, the bins do not matter, however heavy the tails. */
static void a_run_no_longer_than_the_pilot_is_exact(void **state)
{
    (void)state;
    const size_t sizes[] = {5, 100, 3000, PILOT};
    for (int i = 0; i < SHAPES; i++)
        for (size_t j = 0; j < sizeof sizes / sizeof sizes[0]; j++) {
            struct column c = column_drawn(sizes[j], shapes[i].quantile, 31 * j + (size_t)i);
            for (int k = 0; k <= 200; k++) {
                double p = k / 200.0;
                assert_close(distribution_percentile(&c.d, p), type7(c.n, c.sorted, p), 1e-9,
                             1e-12);
            }
            column_free(&c);
        }
}

static void percentiles_are_of_type_7(void **state)
{
    (void)state;
    /* Hyndman and Fan's definition 7, worked by hand for the first ten primes. */
    const double primes[] = {2, 3, 5, 7, 11, 13, 17, 19, 23, 29};
    struct column c = column_of(10, primes);
    assert_close(distribution_percentile(&c.d, 0.05), 2.45, 1e-15, 0.0);
    assert_close(distribution_percentile(&c.d, 0.25), 5.5, 1e-15, 0.0);
    assert_close(distribution_percentile(&c.d, 0.50), 12.0, 1e-15, 0.0);
    assert_close(distribution_percentile(&c.d, 0.90), 23.6, 1e-15, 0.0);
    column_free(&c);

    /* Type 7 quartiles as published on the R-help mailing list (ETH Zurich). */
    const double six[] = {1, 12, 14, 3, 96, 111};
    c = column_of(6, six);
    assert_close(distribution_percentile(&c.d, 0.25), 5.25, 1e-15, 0.0);
    assert_close(distribution_percentile(&c.d, 0.50), 13.0, 1e-15, 0.0);
    assert_close(distribution_percentile(&c.d, 0.75), 75.5, 1e-15, 0.0);
    column_free(&c);
}

static void percentiles_never_go_down(void **state)
{
    (void)state;
    for (int i = 0; i < SHAPES; i++) {
        struct column c = column_drawn(50000, shapes[i].quantile, 5 + (size_t)i);
        double before = c.sorted[0];
        for (int k = 0; k <= 2000; k++) {
            double now = distribution_percentile(&c.d, k / 2000.0);
            assert_true(now >= before);
            before = now;
        }
        assert_true(before == c.sorted[c.n - 1]);
        column_free(&c);
    }
}

/* An outlier that the pilot never saw does not move the value that it always saw. */
static void a_rare_outlier_leaves_a_constant_alone(void **state)
{
    (void)state;
    struct column c = {.n = 100000, .x = allocate(100000, sizeof *c.x)};
    for (size_t i = 0; i < c.n; i++)
        c.x[i] = i == 60000 ? 1e6 : i == 70000 ? -1e6 : 53.7;
    tally_column(&c);
    for (int i = 0; i < REPORTED; i++)
        assert_true(distribution_percentile(&c.d, reported[i]) == 53.7);
    assert_true(distribution_percentile(&c.d, 0.0) == -1e6);
    assert_true(distribution_percentile(&c.d, 1.0) == 1e6);
    column_free(&c);
}

/* The large-sample standard error of a percentile, sqrt(p (1 - p) / n) / f(q) (from memory). */
static double normal_percentile_error(double p, double n)
{
    double density = exp(-0.5 * pow(quantile_normal(p), 2.0)) / sqrt(2.0 * acos(-1.0));
    return sqrt(p * (1.0 - p) / n) / density;
}

/* The estimate rests on the spacing of 2 sqrt(n p (1 - p)) order statistics, so its own relative
 * error is the inverse root of that; five of them are allowed. */
static double noise_of_error(double p, double n)
{
    return 1.0 / sqrt(2.0 * sqrt(n * p * (1.0 - p)));
}

static void percentile_errors_follow_theory(void **state)
{
    (void)state;
    double n = 200000.0;
    struct column c = column_drawn((size_t)n, quantile_normal, 9);
    for (int i = 0; i < REPORTED; i++) {
        double p = reported[i];
        assert_close(distribution_percentile_error(&c.d, p), normal_percentile_error(p, n),
                     5.0 * noise_of_error(p, n), 0.0);
    }
    column_free(&c);
}

/* In 400 runs the mean error must be the theory's, and a percentile with 1.96 of its errors must
 * hold the true value 95 times of 100. The errors wander by 12 to 18 %, which leaves about 94.5;
 * the binomial standard deviation is 1.2 %, and four of them are allowed. */
static void percentile_errors_cover_the_truth(void **state)
{
    (void)state;
    enum { RUNS = 400 };
    const double chosen[] = {0.05, 0.5, 0.95}, n = 5000.0;
    int held[3] = {0};
    double sum[3] = {0.0};
    for (uint64_t run = 0; run < RUNS; run++) {
        struct column c = column_drawn((size_t)n, quantile_normal, run << 32);
        for (int i = 0; i < 3; i++) {
            double off = distribution_percentile(&c.d, chosen[i]) - quantile_normal(chosen[i]);
            double error = distribution_percentile_error(&c.d, chosen[i]);
            held[i] += fabs(off) <= 1.96 * error;
            sum[i] += error;
        }
        column_free(&c);
    }
    for (int i = 0; i < 3; i++) {
        assert_close((double)held[i] / RUNS, 0.945, 0.0, 0.048);
        assert_close(sum[i] / RUNS, normal_percentile_error(chosen[i], n),
                     5.0 * noise_of_error(chosen[i], n) / sqrt(RUNS), 0.0);
    }
}

/* JCGM 101:2008 7.7 on sorted values: the shortest of all [y_r, y_r+q], q = 95 % of n. */
static void shortest_of_sorted(const struct column *c, double *low, double *high)
{
    size_t q = (size_t)(0.95 * (double)c->n + 0.5);
    *low = c->sorted[0];
    *high = c->sorted[c->n - 1];
    for (size_t r = 0; r + q < c->n; r++)
        if (c->sorted[r + q] - c->sorted[r] < *high - *low) {
            *low = c->sorted[r];
            *high = c->sorted[r + q];
        }
}

static void shortest_interval_of_a_short_run_is_exact(void **state)
{
    (void)state;
    const size_t sizes[] = {1, 2, 19, 20, 21, 100, 10000};
    for (int i = 0; i < SHAPES; i++)
        for (size_t j = 0; j < sizeof sizes / sizeof sizes[0]; j++) {
            struct column c = column_drawn(sizes[j], shapes[i].quantile, 13 * j + (size_t)i);
            double low, high, want_low, want_high;
            distribution_shortest95(&c.d, &low, &high);
            shortest_of_sorted(&c, &want_low, &want_high);
            assert_true(low == want_low && high == want_high);
            column_free(&c);
        }
}

/* Of an exponential variable the shortest interval starts at 0 and ends at -ln 0.05 (as in JCGM
 * 101:2008 9.4, where the sum of two squares is one); of a normal it is the symmetric one. */
static void shortest_interval_of_a_long_run(void **state)
{
    (void)state;
    double low, high;
    struct column c = column_even(quantile_exponential);
    distribution_shortest95(&c.d, &low, &high);
    assert_close(low, 0.0, 0.0, 1e-5);
    assert_close(high, -log(0.05), 0.0, 5e-4);
    column_free(&c);

    /* Near the optimum the length hardly depends on where the interval starts. */
    c = column_even(quantile_normal);
    distribution_shortest95(&c.d, &low, &high);
    double end = gsl_cdf_ugaussian_Pinv(0.975);
    assert_close(high - low, 2.0 * end, 0.0, 1e-3);
    assert_close(low, -end, 0.0, 0.03);
    assert_close(high, end, 0.0, 0.03);
    column_free(&c);

    c = column_drawn(300000, quantile_lognormal, 3);
    distribution_shortest95(&c.d, &low, &high);
    double want_low, want_high;
    shortest_of_sorted(&c, &want_low, &want_high);
    assert_close(high - low, want_high - want_low, 1e-3, 0.0);
    column_free(&c);
}

static void assert_histogram_adds_up(const struct column *c, const char *name)
{
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    size_t n = distribution_histogram(&c->d, bins);
    assert_in_range(n, 1, 121);
    uint64_t sum = 0;
    size_t below = 0;
    for (size_t i = 0; i < n; i++) {
        sum += bins[i].count;
        size_t through = below;
        while (through < c->n && (c->sorted[through] < bins[i].high || i == n - 1))
            through++;
        if (bins[i].count != through - below)
            fail_msg("%s, n = %zu: %llu values in bin %zu, sorted %zu", name, c->n,
                     (unsigned long long)bins[i].count, i, through - below);
        below = through;
        if (i > 0)
            assert_true(bins[i].low == bins[i - 1].high);
    }
    assert_int_equal(sum, c->n);
    assert_int_equal(sum, c->d.moments.count);
    assert_true(bins[0].low <= c->sorted[0]);
    assert_true(bins[n - 1].high >= c->sorted[c->n - 1]);
    for (size_t i = 2; i + 1 < n; i++)
        assert_close(bins[i].high - bins[i].low, bins[1].high - bins[1].low, 1e-9, 0.0);
}

static void histogram_counts_add_up(void **state)
{
    (void)state;
    const size_t sizes[] = {1, 2, 100, PILOT, 100000};
    for (int i = 0; i < SHAPES; i++)
        for (size_t j = 0; j < sizeof sizes / sizeof sizes[0]; j++) {
            struct column c = column_drawn(sizes[j], shapes[i].quantile, 7 * j + (size_t)i);
            assert_histogram_adds_up(&c, shapes[i].name);
            column_free(&c);
        }
}

static void histogram_is_fine_enough_to_show_the_shape(void **state)
{
    (void)state;
    for (int i = 0; i < 4; i++) {
        struct column c = column_drawn(100000, shapes[i].quantile, 21 + (size_t)i);
        struct histogram_bin bins[HISTOGRAM_BINS_MAX];
        assert_in_range(distribution_histogram(&c.d, bins), 60, 121);
        column_free(&c);
    }
}

static void histogram_of_a_constant_is_one_bin(void **state)
{
    (void)state;
    struct column c = column_drawn(5000, quantile_constant, 1);
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    assert_int_equal(distribution_histogram(&c.d, bins), 1);
    assert_true(bins[0].low == 53.7 && bins[0].high == 53.7);
    assert_int_equal(bins[0].count, 5000);
    column_free(&c);
}

/* The open ends belong to the outer bins, which stretch. */
static void histogram_reaches_values_far_outside_the_pilot(void **state)
{
    (void)state;
    struct column c = {.n = 40000, .x = allocate(40000, sizeof *c.x)};
    uint64_t seed = 4;
    for (size_t i = 0; i < c.n; i++)
        c.x[i] = quantile_normal(uniform(&seed));
    c.x[30000] = 1e9;
    c.x[30001] = -1e8;
    tally_column(&c);
    assert_histogram_adds_up(&c, "outliers");
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    size_t n = distribution_histogram(&c.d, bins);
    assert_true(bins[0].low == -1e8);
    assert_true(bins[n - 1].high == 1e9);
    assert_percentiles_keep(&shapes[1], &c);
    column_free(&c);
}

static size_t bin_taken(const struct bin_layout *l, double x)
{
    size_t size = bin_layout_size(l), taken = size;
    uint64_t *counts = allocate(size, sizeof *counts);
    count_into(l, 1, &x, counts);
    for (size_t i = 0; i < size; i++)
        if (counts[i] == 1)
            taken = i;
    free(counts);
    if (taken == size)
        fail_msg("%.17g was not counted in any of %zu bins", x, size);
    return taken;
}

static void every_finite_value_has_a_bin_and_bins_keep_order(void **state)
{
    (void)state;
    const double pilots[][6] = {
        {1, 1, 1, 1, 1, 1},
        {0, 1, 2, 3, 4, 5},
        {-5, -1, 0, 0, 0, 1e9},
        {0, 0, 0, 5e-324, 1e-323, 2e-323},
        {1e15, 1e15, 1e15 + 0.125, 1e15 + 0.25, 1e15 + 0.25, 1e15 + 1},
        {-DBL_MAX, -1, 0, 1, 2, DBL_MAX},
        {1e300, 2e300, 3e300, 4e300, 5e300, 6e300},
        {-1e-310, 0, 1e-310, 2e-310, 3e-310, 4e-310},
        {1, 1, 1, 1, 1, 1 + DBL_EPSILON},
    };
    for (size_t i = 0; i < sizeof pilots / sizeof pilots[0]; i++) {
        struct bin_layout *l = NULL;
        assert_int_equal(bin_layout_make(pilots[i], 6, &l), PACKSPAN_OK);
        assert_in_range(bin_layout_size(l), 1, 65536);
        double x[64] = {-DBL_MAX, -1e300, -1e15,  -1e9, -1,  -1e-310, -5e-324, -0.0,
                        0.0,      5e-324, 1e-310, 1e-9, 0.5, 1e15,    1e300,   DBL_MAX};
        size_t n = 16;
        for (size_t j = 0; j < 6; j++) {
            x[n++] = pilots[i][j];
            x[n++] = fmax(nextafter(pilots[i][j], -INFINITY), -DBL_MAX);
            x[n++] = fmin(nextafter(pilots[i][j], INFINITY), DBL_MAX);
            x[n++] = 2.0 * (pilots[i][j] / 3.0);
        }
        qsort(x, n, sizeof x[0], by_value);
        size_t before = 0;
        for (size_t j = 0; j < n; j++) {
            size_t bin = bin_taken(l, x[j]);
            assert_true(bin >= before);
            before = bin;
        }
        bin_layout_free(l);

        struct column c = column_of(6, pilots[i]);
        for (int j = 0; j < REPORTED; j++) {
            double p = distribution_percentile(&c.d, reported[j]);
            assert_true(p >= c.sorted[0] && p <= c.sorted[5]);
        }
        struct histogram_bin bins[HISTOGRAM_BINS_MAX];
        size_t groups = distribution_histogram(&c.d, bins);
        uint64_t sum = 0;
        for (size_t j = 0; j < groups; j++)
            sum += bins[j].count;
        assert_int_equal(sum, 6);
        column_free(&c);
    }
}

static void edges_of_cells_stay_inside_the_layout(void **state)
{
    (void)state;
    uint64_t seed = 8;
    double pilot[200];
    for (size_t i = 0; i < 200; i++)
        pilot[i] = quantile_lognormal(uniform(&seed));
    qsort(pilot, 200, sizeof pilot[0], by_value);
    struct bin_layout *l = NULL;
    assert_int_equal(bin_layout_make(pilot, 200, &l), PACKSPAN_OK);
    /* 1.5 times the span above the low end of the pilot passes the end of the bulk. */
    double span = pilot[199] - pilot[0];
    uint64_t *counts = allocate(bin_layout_size(l), sizeof *counts);
    double x[3000];
    for (int i = 0; i < 3000; i++)
        x[i] = pilot[0] - span + 3.0 * span * i / 3000.0;
    count_into(l, 3000, x, counts);
    uint64_t sum = 0;
    for (size_t i = 0; i < bin_layout_size(l); i++)
        sum += counts[i];
    assert_int_equal(sum, 3000);
    assert_true(counts[0] > 0 && counts[bin_layout_size(l) - 1] > 0);
    free(counts);
    bin_layout_free(l);
}

static void counts_do_not_depend_on_the_order_of_blocks(void **state)
{
    (void)state;
    struct column c = column_drawn(50000, quantile_normal, 2);
    size_t size = bin_layout_size(c.layout);
    uint64_t *backwards = allocate(size, sizeof *backwards);
    for (size_t end = c.n; end > 0;) {
        size_t m = end % 777 + 1;
        m = m < end ? m : end;
        end -= m;
        count_into(c.layout, m, c.x + end, backwards);
    }
    assert_memory_equal(backwards, c.counts, size * sizeof *backwards);
    free(backwards);
    column_free(&c);
}

/* More in one bin than 16 bits hold. */
static void a_bin_may_hold_many(void **state)
{
    (void)state;
    double pilot[] = {0.0, 1.0, 2.0, 3.0}, x[1000];
    struct bin_layout *l = NULL;
    assert_int_equal(bin_layout_make(pilot, 4, &l), PACKSPAN_OK);
    for (size_t i = 0; i < 1000; i++)
        x[i] = i == 0 ? 2.0 : 1.0;
    struct bin_counter counter = {0};
    assert_int_equal(bin_counter_open(l, &counter), PACKSPAN_OK);
    for (int i = 0; i < 200; i++)
        bin_count(l, 1000, x, &counter);
    uint64_t *counts = allocate(bin_layout_size(l), sizeof *counts);
    drain(l, &counter, counts);
    assert_int_equal(counts[bin_taken(l, 1.0)], 200 * 999);
    assert_int_equal(counts[bin_taken(l, 2.0)], 200);
    bin_counter_close(&counter);
    free(counts);
    bin_layout_free(l);
}

/* Long enough for bins to join. */
static void percentiles_of_a_long_run_keep_the_promise(void **state)
{
    (void)state;
    double (*const quantiles[])(double) = {quantile_normal, quantile_mixed};
    assert_int_equal(bin_counter_shift((1 << 22) - 1), 0);
    assert_int_equal(bin_counter_shift(1 << 23), 2);
    for (size_t i = 0; i < 2; i++) {
        struct column c = column_drawn(4500000, quantiles[i], 11 + i);
        uint64_t sum = 0;
        for (size_t b = 0; b < bin_layout_size(c.layout); b++)
            sum += c.counts[b];
        assert_int_equal(sum, c.n);
        for (int j = 0; j < REPORTED; j++)
            assert_close(distribution_percentile(&c.d, reported[j]),
                         type7(c.n, c.sorted, reported[j]), 0.0, promise * iqr_of(&c));
        column_free(&c);
    }
}

static void the_same_pilot_gives_the_same_layout(void **state)
{
    (void)state;
    struct column a = column_drawn(30000, quantile_lognormal, 6);
    struct column b = column_drawn(30000, quantile_lognormal, 6);
    size_t size = bin_layout_size(a.layout);
    assert_int_equal(size, bin_layout_size(b.layout));
    assert_memory_equal(a.counts, b.counts, size * sizeof *a.counts);
    column_free(&a);
    column_free(&b);
}

static void moments_of_a_few_values(void **state)
{
    (void)state;
    /* By hand: mean 5, squares 9 + 1 + 1 + 1 + 0 + 0 + 4 + 16. */
    const double x[] = {2, 4, 4, 4, 5, 5, 7, 9};
    struct moments m;
    moments_of(8, x, &m);
    assert_int_equal(m.count, 8);
    assert_true(m.mean == 5.0 && m.squares == 32.0 && m.min == 2.0 && m.max == 9.0);
    assert_close(moments_sd(&m), sqrt(32.0 / 7.0), 1e-15, 0.0);

    moments_of(1, x + 7, &m);
    assert_true(m.count == 1 && m.mean == 9.0 && m.min == 9.0 && m.max == 9.0);
    assert_true(moments_sd(&m) == 0.0);

    moments_of(0, x, &m);
    assert_true(m.count == 0 && moments_sd(&m) == 0.0);
}

static void merged_moments_equal_those_of_the_whole(void **state)
{
    (void)state;
    enum { N = 10007 };
    double x[N];
    uint64_t seed = 10;
    for (size_t i = 0; i < N; i++)
        x[i] = 1e6 + quantile_normal(uniform(&seed));
    struct moments whole, merged, part;
    moments_of(N, x, &whole);
    moments_init(&merged);
    for (size_t done = 0, m = 1; done < N; done += m, m = 2 * m % 509) {
        m = m < N - done ? m : N - done;
        moments_of(m, x + done, &part);
        moments_merge(&merged, &part);
    }
    assert_int_equal(merged.count, N);
    assert_close(merged.mean, whole.mean, 1e-15, 0.0);
    assert_close(merged.squares, whole.squares, 1e-10, 0.0);
    assert_true(merged.min == whole.min && merged.max == whole.max);

    struct moments empty, copy = whole;
    moments_init(&empty);
    moments_merge(&copy, &empty);
    assert_memory_equal(&copy, &whole, sizeof copy);
    moments_merge(&empty, &whole);
    assert_memory_equal(&empty, &whole, sizeof empty);
}

static void nothing_counted_gives_no_number(void **state)
{
    (void)state;
    double pilot = 1.0;
    struct bin_layout *l = NULL;
    assert_int_equal(bin_layout_make(&pilot, 0, &l), PACKSPAN_USAGE);
    assert_null(l);
    assert_int_equal(bin_layout_make(&pilot, 1, &l), PACKSPAN_OK);
    uint64_t below[2] = {0};
    uint32_t pilot_below[2] = {0, 1};
    assert_int_equal(bin_layout_size(l), 1);
    struct distribution d = {.layout = l, .below = below, .pilot_below = pilot_below};
    moments_init(&d.moments);
    double low, high;
    distribution_shortest95(&d, &low, &high);
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    assert_true(isnan(distribution_percentile(&d, 0.5)) && isnan(low) && isnan(high));
    assert_int_equal(distribution_histogram(&d, bins), 0);
    bin_layout_free(l);
    bin_layout_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(percentiles_agree_with_a_full_sort),
        cmocka_unit_test(percentiles_of_a_million_agree_with_a_full_sort),
        cmocka_unit_test(percentiles_lean_to_no_side),
        cmocka_unit_test(percentiles_of_clumps_agree_with_a_full_sort),
        cmocka_unit_test(a_run_no_longer_than_the_pilot_is_exact),
        cmocka_unit_test(percentiles_are_of_type_7),
        cmocka_unit_test(percentiles_never_go_down),
        cmocka_unit_test(a_rare_outlier_leaves_a_constant_alone),
        cmocka_unit_test(percentile_errors_follow_theory),
        cmocka_unit_test(percentile_errors_cover_the_truth),
        cmocka_unit_test(shortest_interval_of_a_short_run_is_exact),
        cmocka_unit_test(shortest_interval_of_a_long_run),
        cmocka_unit_test(histogram_counts_add_up),
        cmocka_unit_test(histogram_is_fine_enough_to_show_the_shape),
        cmocka_unit_test(histogram_of_a_constant_is_one_bin),
        cmocka_unit_test(histogram_reaches_values_far_outside_the_pilot),
        cmocka_unit_test(every_finite_value_has_a_bin_and_bins_keep_order),
        cmocka_unit_test(edges_of_cells_stay_inside_the_layout),
        cmocka_unit_test(counts_do_not_depend_on_the_order_of_blocks),
        cmocka_unit_test(a_bin_may_hold_many),
        cmocka_unit_test(percentiles_of_a_long_run_keep_the_promise),
        cmocka_unit_test(the_same_pilot_gives_the_same_layout),
        cmocka_unit_test(moments_of_a_few_values),
        cmocka_unit_test(merged_moments_equal_those_of_the_whole),
        cmocka_unit_test(nothing_counted_gives_no_number),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
