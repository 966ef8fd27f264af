/* The bench case as plain C with GSL and OpenMP: one sample after the other, every step of both
 * cycles, GSL's own samplers and histograms.
 *
 *     with_gsl CYCLES OUT SAMPLES SEED THREADS simd|plain
 *
 * CYCLES is the folder of udds.csv and hwfet.csv. Writes OUT/summary.csv and OUT/histogram.csv, in
 * SI. "simd" lets the sum over steps be reordered, and so use vectors; "plain" does not. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_histogram.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <omp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define KWH 3.6e6
#define MPH (1609.344 / 3600.0)
#define TEST_MASS_MARGIN (300.0 * 0.45359237)

enum { BINS = 2000, BINS_SHOWN = 100, PILOT = 10000, POINTS_MAX = 4096 };

enum quantity {
    NOMINAL_ENERGY,
    USABLE_FRACTION,
    PACK_MASS,
    GLIDER_MASS,
    ROAD_LOAD_A,
    ROAD_LOAD_B,
    ROAD_LOAD_C,
    ROTATING_MASS_FACTOR,
    DRIVE_EFFICIENCY,
    REGEN_EFFICIENCY,
    ACCESSORY_POWER,
    CHARGE_EFFICIENCY,
    LABEL_FACTOR_CITY,
    LABEL_FACTOR_HIGHWAY,
    USABLE_ENERGY_BY_COUNT,
    USABLE_ENERGY,
    PACK_SPECIFIC_ENERGY,
    RECHARGE_ENERGY,
    CURB_MASS,
    TEST_MASS,
    CITY_TRACTION,
    CITY_BRAKING,
    CITY_CONSUMPTION,
    CITY_WALL_CONSUMPTION,
    CITY_RANGE,
    HIGHWAY_TRACTION,
    HIGHWAY_BRAKING,
    HIGHWAY_CONSUMPTION,
    HIGHWAY_WALL_CONSUMPTION,
    HIGHWAY_RANGE,
    LABEL_RANGE_CITY,
    LABEL_RANGE_HIGHWAY,
    LABEL_RANGE,
    LABEL_CONSUMPTION,
    QUANTITIES
};

static const char *const names[QUANTITIES] = {
    "nominal_energy",
    "usable_fraction",
    "pack_mass",
    "glider_mass",
    "road_load_a",
    "road_load_b",
    "road_load_c",
    "rotating_mass_factor",
    "drive_efficiency",
    "regen_efficiency",
    "accessory_power",
    "charge_efficiency",
    "label_factor_city",
    "label_factor_highway",
    "usable_energy_by_count",
    "usable_energy",
    "pack_specific_energy",
    "recharge_energy",
    "curb_mass",
    "test_mass",
    "city_traction",
    "city_braking",
    "city_consumption",
    "city_wall_consumption",
    "city_range",
    "highway_traction",
    "highway_braking",
    "highway_consumption",
    "highway_wall_consumption",
    "highway_range",
    "label_range_city",
    "label_range_highway",
    "label_range",
    "label_consumption",
};

static void fail(const char *what)
{
    perror(what);
    exit(EXIT_FAILURE);
}

/* ---- cycles ---- */

struct trace {
    size_t steps; /* those on which the vehicle moves */
    double v[POINTS_MAX], a[POINTS_MAX], d[POINTS_MAX];
    double duration, distance;
    double per_a, per_b, per_c, per_mass; /* work of all steps per unit of A, B, C and mass */
};

static void read_trace(const char *folder, const char *file, struct trace *t)
{
    char path[4096], line[256];
    double time, mph, time_before = 0.0, mph_before = 0.0;
    int points = 0;
    snprintf(path, sizeof path, "%s/%s", folder, file);
    FILE *f = fopen(path, "r");
    if (!f)
        fail(path);
    *t = (struct trace){0};
    while (fgets(line, sizeof line, f)) {
        if (sscanf(line, "%lf,%lf", &time, &mph) != 2)
            continue; /* comments and the header */
        double dt = time - time_before, v = 0.5 * (mph + mph_before) * MPH;
        if (points++ > 0 && v > 0.0 && t->steps < POINTS_MAX) {
            double a = (mph - mph_before) * MPH / dt, d = v * dt;
            t->v[t->steps] = v;
            t->a[t->steps] = a;
            t->d[t->steps++] = d;
            t->distance += d;
            t->per_a += d;
            t->per_b += d * v;
            t->per_c += d * v * v;
            t->per_mass += d * a;
        }
        t->duration = time; /* both begin at 0 */
        time_before = time;
        mph_before = mph;
    }
    fclose(f);
}

struct load {
    double a, b, c, mass;
};

typedef double traction_of(const struct trace *t, struct load l);

static double traction_plain(const struct trace *t, struct load l)
{
    double sum = 0.0;
    for (size_t j = 0; j < t->steps; j++) {
        double v = t->v[j];
        double work = (l.a + v * (l.b + v * l.c) + l.mass * t->a[j]) * t->d[j];
        sum += work > 0.0 ? work : 0.0;
    }
    return sum;
}

static double traction_simd(const struct trace *t, struct load l)
{
    double sum = 0.0;
#pragma omp simd reduction(+ : sum)
    for (size_t j = 0; j < t->steps; j++) {
        double v = t->v[j];
        double work = (l.a + v * (l.b + v * l.c) + l.mass * t->a[j]) * t->d[j];
        sum += work > 0.0 ? work : 0.0;
    }
    return sum;
}

/* ---- shapes ---- */

static double lognormal(const gsl_rng *r, double median, double log_sd)
{
    return median * exp(gsl_ran_gaussian_ziggurat(r, log_sd));
}

static double pert(const gsl_rng *r, double low, double best, double high)
{
    double width = high - low;
    return low + width * gsl_ran_beta(r, 1.0 + 4.0 * (best - low) / width,
                                      1.0 + 4.0 * (high - best) / width);
}

static double triangular(const gsl_rng *r, double low, double best, double high)
{
    double u = gsl_rng_uniform(r), rise = (best - low) / (high - low);
    return u < rise ? low + sqrt(u * (high - low) * (best - low))
                    : high - sqrt((1.0 - u) * (high - low) * (high - best));
}

/* JCGM 101:2008 6.4.4: the sum of two uniforms. */
static double trapezoid(const gsl_rng *r, double low, double high, double top)
{
    return low + 0.5 * (high - low) *
                     ((1.0 + top) * gsl_rng_uniform(r) + (1.0 - top) * gsl_rng_uniform(r));
}

/* JCGM 101:2008 6.4.3. */
static double vague_uniform(const gsl_rng *r, double low, double high, double sd)
{
    double start = gsl_ran_flat(r, low - sd, low + sd);
    return start + (low + high - 2.0 * start) * gsl_rng_uniform(r);
}

struct split_normal {
    double mode, sd_low, sd_high;
};

/* Two half normals that meet at the mode, with equal tails beyond low and high. */
static struct split_normal fit_split_normal(double mode, double low, double high, double cover)
{
    double tail = 0.5 * (1.0 - cover), z = gsl_cdf_ugaussian_Qinv(tail);
    struct split_normal s = {mode, (mode - low) / z, (high - mode) / z};
    for (int i = 0; i < 100; i++) {
        double half = 0.5 * tail * (s.sd_low + s.sd_high);
        double sd_low = (mode - low) / gsl_cdf_ugaussian_Qinv(half / s.sd_low);
        s.sd_high = (high - mode) / gsl_cdf_ugaussian_Qinv(half / s.sd_high);
        s.sd_low = sd_low;
    }
    return s;
}

static double draw_split_normal(const gsl_rng *r, struct split_normal s)
{
    double z = fabs(gsl_ran_gaussian_ziggurat(r, 1.0));
    return gsl_rng_uniform(r) * (s.sd_low + s.sd_high) < s.sd_low ? s.mode - s.sd_low * z
                                                                  : s.mode + s.sd_high * z;
}

/* ---- model ---- */

struct model {
    struct trace city, highway;
    struct split_normal pack_mass;
    traction_of *traction;
};

/* The inputs of case/inputs.csv, in SI. */
static void draw(const gsl_rng *r, const struct model *m, double x[QUANTITIES])
{
    x[NOMINAL_ENERGY] = 82.0 * KWH + gsl_ran_gaussian_ziggurat(r, 1.5 * KWH);
    x[USABLE_FRACTION] = pert(r, 0.88, 0.93, 0.97);
    x[PACK_MASS] = draw_split_normal(r, m->pack_mass);
    x[GLIDER_MASS] = 1420.0 + 12.0 * gsl_ran_tdist(r, 6.0);
    x[ROAD_LOAD_A] = 145.0 + gsl_ran_gaussian_ziggurat(r, 6.0);
    x[ROAD_LOAD_B] = triangular(r, 1.2, 1.6, 2.1);
    x[ROAD_LOAD_C] = lognormal(r, 0.375, 0.03);
    x[ROTATING_MASS_FACTOR] = gsl_ran_flat(r, 1.01, 1.03);
    x[DRIVE_EFFICIENCY] = pert(r, 0.86, 0.91, 0.95);
    x[REGEN_EFFICIENCY] = trapezoid(r, 0.6, 0.8, 0.4);
    x[ACCESSORY_POWER] = lognormal(r, 240.0, 0.25);
    x[CHARGE_EFFICIENCY] = vague_uniform(r, 0.86, 0.9, 0.01);
    x[LABEL_FACTOR_CITY] = triangular(r, 0.68, 0.72, 0.76);
    x[LABEL_FACTOR_HIGHWAY] = 0.71 + gsl_ran_gaussian_ziggurat(r, 0.012);
}

/* The results of one cycle, from its first one on. */
enum { TRACTION, BRAKING, CONSUMPTION, WALL_CONSUMPTION, RANGE };

static void drive(const struct model *m, const struct trace *t, const double x[QUANTITIES],
                  double *cycle)
{
    struct load l = {x[ROAD_LOAD_A], x[ROAD_LOAD_B], x[ROAD_LOAD_C],
                     x[TEST_MASS] * x[ROTATING_MASS_FACTOR]};
    double net = t->per_a * l.a + t->per_b * l.b + t->per_c * l.c + t->per_mass * l.mass;
    cycle[TRACTION] = m->traction(t, l);
    cycle[BRAKING] = cycle[TRACTION] - net;
    cycle[CONSUMPTION] = (cycle[TRACTION] / x[DRIVE_EFFICIENCY] -
                          x[REGEN_EFFICIENCY] * cycle[BRAKING] + x[ACCESSORY_POWER] * t->duration) /
                         t->distance;
    cycle[WALL_CONSUMPTION] = cycle[CONSUMPTION] / x[CHARGE_EFFICIENCY];
    cycle[RANGE] = x[USABLE_ENERGY] / cycle[CONSUMPTION];
}

static void work_out(const struct model *m, double x[QUANTITIES])
{
    x[USABLE_ENERGY] = x[USABLE_ENERGY_BY_COUNT] = x[NOMINAL_ENERGY] * x[USABLE_FRACTION];
    x[PACK_SPECIFIC_ENERGY] = x[NOMINAL_ENERGY] / x[PACK_MASS];
    x[RECHARGE_ENERGY] = x[USABLE_ENERGY] / x[CHARGE_EFFICIENCY];
    x[CURB_MASS] = x[GLIDER_MASS] + x[PACK_MASS];
    x[TEST_MASS] = x[CURB_MASS] + TEST_MASS_MARGIN;
    drive(m, &m->city, x, x + CITY_TRACTION);
    drive(m, &m->highway, x, x + HIGHWAY_TRACTION);
    x[LABEL_RANGE_CITY] = x[LABEL_FACTOR_CITY] * x[CITY_RANGE];
    x[LABEL_RANGE_HIGHWAY] = x[LABEL_FACTOR_HIGHWAY] * x[HIGHWAY_RANGE];
    x[LABEL_RANGE] = 0.55 * x[LABEL_RANGE_CITY] + 0.45 * x[LABEL_RANGE_HIGHWAY];
    x[LABEL_CONSUMPTION] = (0.55 * x[CITY_CONSUMPTION] / x[LABEL_FACTOR_CITY] +
                            0.45 * x[HIGHWAY_CONSUMPTION] / x[LABEL_FACTOR_HIGHWAY]) /
                           x[CHARGE_EFFICIENCY];
}

/* ---- tallies ---- */

struct tally {
    double origin; /* sums are of the distance from here */
    double sum, squares;
    gsl_histogram *bins; /* what lies outside is in the first or the last */
};

static double sd_of(const struct tally *t, double n)
{
    return sqrt((t->squares - t->sum * t->sum / n) / (n - 1.0));
}

static void add(struct tally *t, double x)
{
    double off = x - t->origin;
    t->sum += off;
    t->squares += off * off;
    double low = t->bins->range[0], last = t->bins->range[BINS - 1];
    gsl_histogram_increment(t->bins, x < low ? low : x > last ? last : x);
}

static gsl_histogram *make_bins(double low, double high)
{
    gsl_histogram *bins = gsl_histogram_alloc(BINS);
    if (!bins || gsl_histogram_set_ranges_uniform(bins, low, high))
        fail("bins");
    return bins;
}

static gsl_rng *make_rng(unsigned long seed)
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_taus2);
    if (!r)
        fail("random numbers");
    gsl_rng_set(r, seed);
    return r;
}

/* Ten standard deviations either way, as a few thousand samples give them. */
static void lay_out(const struct model *m, unsigned long seed, struct tally tallies[QUANTITIES])
{
    double x[QUANTITIES];
    gsl_rng *r = make_rng(seed);
    memset(tallies, 0, QUANTITIES * sizeof *tallies);
    for (int i = 0; i < PILOT; i++) {
        draw(r, m, x);
        work_out(m, x);
        for (int q = 0; q < QUANTITIES; q++) {
            double off = x[q] - tallies[q].origin;
            if (i == 0) {
                tallies[q].origin = x[q];
                continue;
            }
            tallies[q].sum += off;
            tallies[q].squares += off * off;
        }
    }
    for (int q = 0; q < QUANTITIES; q++) {
        struct tally *t = &tallies[q];
        double mean = t->origin + t->sum / PILOT, reach = 10.0 * sd_of(t, PILOT);
        *t = (struct tally){.origin = mean, .bins = make_bins(mean - reach, mean + reach)};
    }
    gsl_rng_free(r);
}

static void merge(struct tally *into, const struct tally *from)
{
    into->sum += from->sum;
    into->squares += from->squares;
    gsl_histogram_add(into->bins, from->bins);
}

static void run(const struct model *m, long samples, unsigned long seed, int threads,
                struct tally tallies[QUANTITIES])
{
    lay_out(m, seed, tallies);
#pragma omp parallel num_threads(threads)
    {
        struct tally own[QUANTITIES];
        double x[QUANTITIES];
        gsl_rng *r = make_rng(seed * 1000 + 1 + (unsigned long)omp_get_thread_num());
        for (int q = 0; q < QUANTITIES; q++)
            own[q] = (struct tally){.origin = tallies[q].origin,
                                    .bins = gsl_histogram_clone(tallies[q].bins)};
#pragma omp for schedule(static)
        for (long i = 0; i < samples; i++) {
            draw(r, m, x);
            work_out(m, x);
            for (int q = 0; q < QUANTITIES; q++)
                add(&own[q], x[q]);
        }
#pragma omp critical
        for (int q = 0; q < QUANTITIES; q++) {
            merge(&tallies[q], &own[q]);
            gsl_histogram_free(own[q].bins);
        }
        gsl_rng_free(r);
    }
}

/* ---- tables ---- */

static double percentile(const gsl_histogram *h, double p)
{
    double rank = p * gsl_histogram_sum(h), below = 0.0;
    size_t k = 0;
    while (k + 1 < BINS && below + h->bin[k] < rank)
        below += h->bin[k++];
    double share = h->bin[k] > 0.0 ? (rank - below) / h->bin[k] : 0.0;
    return h->range[k] + share * (h->range[k + 1] - h->range[k]);
}

static FILE *create(const char *folder, const char *file, const char *header)
{
    char path[4096];
    snprintf(path, sizeof path, "%s/%s", folder, file);
    FILE *f = fopen(path, "w");
    if (!f)
        fail(path);
    fputs(header, f);
    return f;
}

static void close_table(FILE *f)
{
    if (ferror(f) || fclose(f))
        fail("table");
}

static void write_tables(const char *folder, const struct tally tallies[QUANTITIES])
{
    static const double percentiles[] = {0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99};
    FILE *summary = create(folder, "summary.csv",
                           "quantity,samples,mean,sd,p01,p05,p10,p25,p50,p75,p90,p95,p99\n");
    FILE *histogram = create(folder, "histogram.csv", "quantity,low,high,count\n");
    for (int q = 0; q < QUANTITIES; q++) {
        const struct tally *t = &tallies[q];
        double n = gsl_histogram_sum(t->bins);
        fprintf(summary, "%s,%.0f,%.17g,%.17g", names[q], n, t->origin + t->sum / n, sd_of(t, n));
        for (size_t k = 0; k < sizeof percentiles / sizeof percentiles[0]; k++)
            fprintf(summary, ",%.17g", percentile(t->bins, percentiles[k]));
        fputc('\n', summary);
        for (size_t k = 0; k < BINS; k += BINS / BINS_SHOWN) {
            double count = 0.0;
            for (size_t i = 0; i < BINS / BINS_SHOWN; i++)
                count += t->bins->bin[k + i];
            fprintf(histogram, "%s,%.17g,%.17g,%.0f\n", names[q], t->bins->range[k],
                    t->bins->range[k + BINS / BINS_SHOWN], count);
        }
    }
    close_table(summary);
    close_table(histogram);
}

int main(int count, char **words)
{
    static struct model m;
    static struct tally tallies[QUANTITIES];
    if (count != 7) {
        fprintf(stderr, "with_gsl CYCLES OUT SAMPLES SEED THREADS simd|plain\n");
        return EXIT_FAILURE;
    }
    read_trace(words[1], "udds.csv", &m.city);
    read_trace(words[1], "hwfet.csv", &m.highway);
    m.pack_mass = fit_split_normal(480.0, 455.0, 520.0, 0.95);
    m.traction = strcmp(words[6], "simd") == 0 ? traction_simd : traction_plain;
    run(&m, atol(words[3]), strtoul(words[4], NULL, 10), atoi(words[5]), tallies);
    write_tables(words[2], tallies);
    for (int q = 0; q < QUANTITIES; q++)
        gsl_histogram_free(tallies[q].bins);
    return EXIT_SUCCESS;
}
