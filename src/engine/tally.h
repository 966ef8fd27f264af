/* A tally takes the values of one column, block after block, in memory that does not grow, and
 * gives count, mean, sd, extremes, percentiles and a histogram.
 *
 * Values land in bins laid out from a pilot (the run's first samples): a coarse uniform grid over
 * the bulk, and bins of less than 1e-4 interquartile ranges wherever a reported percentile may lie,
 * so that percentiles agree with a full sort to 1e-4 interquartile ranges; where bins join in a
 * long run, with about four standard deviations (bin_counter_shift()). A run no longer than the
 * pilot agrees exactly. The bins run out, and the outer percentiles lose accuracy first, when tails
 * are far heavier than a lognormal's of sd 1: to 4e-4 between 5 % and 95 % and to 3e-3 beyond for
 * Cauchy's. */
#ifndef PACKSPAN_ENGINE_TALLY_H
#define PACKSPAN_ENGINE_TALLY_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Bin edges, immutable once made; threads share it. */
struct bin_layout;
/* `pilot` is sorted ascending, finite, n >= 1 (else PACKSPAN_USAGE); it is copied. What is counted
 * later must include it. */
packspan_status bin_layout_make(const double *pilot, size_t n, struct bin_layout **out);
/* The same where the pilot only resembles what is counted later, but without bins, which it has
 * from bin_layout_lay() on: several may join instead. */
packspan_status bin_layout_sketch(const double *pilot, size_t n, struct bin_layout **out);
void bin_layout_lay(struct bin_layout *l);
/* Bins that are fine enough for each of n sketches; the pilot is the first one's. *out stays as it
 * is when there would be too many bins. */
packspan_status bin_layout_join(size_t n, const struct bin_layout *const *parts,
                                struct bin_layout **out);
void bin_layout_free(struct bin_layout *l);
size_t bin_layout_size(const struct bin_layout *l);
/* Of the pilot, type 7, p in [0, 1). */
double bin_layout_percentile(const struct bin_layout *l, double p);
/* The bin of each value: of any value at all, and never less for a greater one. */
void bin_places(const struct bin_layout *l, size_t n, const double *x, uint16_t *bin);

/* Counts of one thread, up to 2^32 - 1 between two drains. The cache is what limits counting. So
 * the bins of some values wait until there are many; and in a long run 2^shift bins join, because
 * then the samples before tell well enough how the values are spread inside. */
enum { BIN_SHIFTS = 5 }; /* 0 to 4 */
struct bin_counter {
    uint32_t *counts;
    int shift;
    uint16_t *pending;
    size_t pending_count;
};
packspan_status bin_counter_open(const struct bin_layout *l, struct bin_counter *out);
void bin_counter_close(struct bin_counter *c);
/* Counts each finite value. */
void bin_count(const struct bin_layout *l, size_t n, const double *x, struct bin_counter *c);
/* joined[i] += what n counters of the same shift have counted, [bin_joined_size()]; these are the
 * bins themselves with a shift of 0. The counters start again from 0. */
void bin_counters_drain(const struct bin_layout *l, size_t n, struct bin_counter *const *counters,
                        uint64_t *joined);
size_t bin_joined_size(const struct bin_layout *l, int shift);
/* counts[bin] += its share of what was counted with that shift, in proportion to what the joined
 * bins hold by now. */
void bin_share_out(const struct bin_layout *l, int shift, const uint64_t *joined, uint64_t *counts);
/* The shift for what comes after so many samples: with a bin of finest width w, one standard
 * deviation of a percentile where the density is f is sqrt(w/(4 f 2^21)) at most, 2e-5
 * interquartile ranges for the 99th percentile of a normal distribution. */
int bin_counter_shift(uint64_t samples);
/* Counts of a layout's bins, all 0; none where there is no layout. False when out of memory. */
bool bin_counts_make(const struct bin_layout *l, uint64_t **counts);
/* below[b] = what lies in the bins before b, for b = 0 .. size; may be the same array. */
void bin_counts_cumulate(size_t size, const uint64_t *counts, uint64_t *below);
/* The same of the pilot's values. */
void bin_layout_cumulate(const struct bin_layout *l, uint32_t *below);
/* Those of `rows` rows and their list, each of which may be NULL. */
void bin_counts_free(size_t rows, uint64_t **counts);
/* counts[bin] += weights[i]: whole-number weights, so that the order of adding does not matter. */
void bin_count_weighted(const struct bin_layout *l, size_t n, const double *x,
                        const uint64_t *weights, uint64_t *counts);

/* Mean and sum of squared deviations, numerically stable. */
struct moments {
    uint64_t count;
    double mean, squares; /* squares = sum of (x - mean)^2 */
    double min, max;
};
void moments_init(struct moments *m);
/* The moments of one block, in a fixed order of summation. */
void moments_of(size_t n, const double *x, struct moments *m);
/* The same with a whole-number weight, below 2^53, for each value; count becomes `total`, the sum
 * of the weights. What has no weight may be NaN or infinite. */
void moments_of_weighted(size_t n, const double *x, const double *weights, uint64_t total,
                         struct moments *m);
/* into += part (Chan, Golub, LeVeque 1983). The order of merging is part of the result. */
void moments_merge(struct moments *into, const struct moments *part);
double moments_sd(const struct moments *m); /* n - 1 in the denominator; 0 when count < 2 */

/* Everything known of one column at the end of a run. Borrows the layout and the cumulated counts,
 * which must hold moments.count values. Of no values at all, everything is NaN and the histogram
 * empty. With weights a value counts as if it were there `weight` times, and `effective` is the
 * number of equally weighted values that tell as much (Kish: (sum w)^2 / sum w^2); else it is the
 * count. */
struct distribution {
    const struct bin_layout *layout;
    const uint64_t *below;       /* [bins + 1]: values in the bins before; bin_counts_cumulate() */
    const uint32_t *pilot_below; /* [bins + 1]: of the pilot; bin_layout_cumulate() */
    struct moments moments;
    double effective;
};

/* With `effective` - 1 for n - 1 in the denominator; 0 when effective is below 2. */
double distribution_sd(const struct distribution *d);

/* Hyndman and Fan's type 7 (JCGM 101 leaves the choice open), p in [0, 1]. */
double distribution_percentile(const struct distribution *d, double p);
/* One standard error of the percentile by order statistics: half the distance between the
 * percentiles at p -+ sqrt(p (1 - p) / effective). */
double distribution_percentile_error(const struct distribution *d, double p);
/* Shortest interval holding 95 % (JCGM 101 7.7). */
void distribution_shortest95(const struct distribution *d, double *low, double *high);

/* A histogram for people: at most about 120 bins of equal width over the occupied span, the first
 * reaching down to the minimum and the last up to the maximum; counts add up to moments.count. */
struct histogram_bin {
    double low, high;
    uint64_t count;
};
#define HISTOGRAM_BINS_MAX 128
size_t distribution_histogram(const struct distribution *d,
                              struct histogram_bin bins[HISTOGRAM_BINS_MAX]);

#endif
