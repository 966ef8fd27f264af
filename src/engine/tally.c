#include "engine/tally.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"
#include "base/range.h"
#include "base/sums.h"
#include "model/block.h"

/* The bulk is cut into CELLS cells of equal width; cell 0 and cell OVER are the open ends below
 * and above. A cell where a reported percentile may lie is cut further into equal bins. */
enum { CELLS = 1024, OVER = CELLS + 1, BINS_MAX = 65536, BLOCK = 2048, SHORTEST_TRIES = 2000 };
/* Values that wait to be counted; and how many samples, as a power of two, make bins join. */
enum { PENDING = 16384, SHIFT_BITS = 22 };
_Static_assert(BINS_MAX - 1 <= UINT16_MAX, "bins are numbered in 16 bits");

/* Percentiles agree with a full sort to so many interquartile ranges. */
#define PROMISE 1e-4
/* Bins of the finest width hold it whatever lies in them, even if the pilot's
 * interquartile range is a few per cent too wide; of the coarsest, for values that are alone. */
static const double finest = 0.9e-4, coarsest = 2e-4;
/* Outside of the windows, where the shortest interval may end. */
static const double elsewhere = 50.0;

static const double reported[] = {0.01, 0.025, 0.05, 0.10,  0.25, 0.50,
                                  0.75, 0.90,  0.95, 0.975, 0.99};
enum { REPORTED = sizeof reported / sizeof reported[0] };

/* Cells from .. to - 1 with as many bins each, and fewer in each of the others: then the bin of a
 * value needs no look into a table. */
struct even_cells {
    double from, to, bins_inside, bins_outside; /* bins_inside 0: the layout is not like this */
};

struct bin_layout {
    double low, width, inverse; /* of the cells; width 0: everything in one bin */
    struct even_cells even;
    int32_t first[OVER + 2]; /* first bin of each cell; the last entry is the number of bins */
    bool alike;              /* the pilot is no part of what is counted */
    /* 1, or where bins are wider than the promise how far from a bin's middle one of its few values
     * may be taken to lie, so that the promise is kept wherever it does; from 0. */
    double steadiness;
    size_t pilot_count;
    double pilot[]; /* sorted */
};

/* Where x lies, in cells. */
static inline double place_of(double low, double inverse, double x)
{
    double t = (x - low) * inverse + 1.0;
    t = t > 0.0 ? t : 0.0;
    return t < OVER ? t : OVER;
}

HOT_LOOP static void place_evenly(const struct bin_layout *restrict l, size_t n,
                                  const double *restrict x, uint16_t *restrict bin)
{
    struct even_cells e = l->even;
    double low = l->low, inverse = l->inverse, more = e.bins_inside - e.bins_outside;
    for (size_t i = 0; i < n; i++) {
        double t = place_of(low, inverse, x[i]);
        double inside = t > e.from ? t : e.from;
        inside = inside < e.to ? inside : e.to;
        double b = (inside - e.from) * more + t * e.bins_outside;
        bin[i] = (uint16_t)(int32_t)b;
    }
}

static void place_by_cell(const struct bin_layout *l, size_t n, const double *x, uint16_t *bin)
{
    for (size_t i = 0; i < n; i++) {
        double t = place_of(l->low, l->inverse, x[i]);
        int32_t cell = (int32_t)t, first = l->first[cell];
        bin[i] = (uint16_t)(first + (int32_t)((t - cell) * (l->first[cell + 1] - first)));
    }
}

void bin_places(const struct bin_layout *l, size_t n, const double *x, uint16_t *bin)
{
    if (l->even.bins_inside > 0.0)
        place_evenly(l, n, x, bin);
    else
        place_by_cell(l, n, x, bin);
}

/* The cell of the bulk that x is in or, from the open ends, next to. */
static int bulk_cell(const struct bin_layout *l, double x)
{
    double t = (x - l->low) * l->inverse + 1.0;
    t = t > 1.0 ? t : 1.0;
    t = t < CELLS ? t : CELLS;
    return (int)t;
}

static double cell_edge(const struct bin_layout *l, int cell)
{
    return l->low + (cell - 1) * l->width;
}

/* Type 7, p in [0, 1). */
static double sorted_percentile(size_t n, const double *x, double p)
{
    double h = (double)(n - 1) * p;
    size_t j = (size_t)h;
    return j + 1 < n ? x[j] + (h - (double)j) * (x[j + 1] - x[j]) : x[n - 1];
}

/* All but the outermost 0.2 % of a pilot. */
static void most_of(size_t n, const double *pilot, double *from, double *to)
{
    *from = sorted_percentile(n, pilot, 0.001);
    *to = sorted_percentile(n, pilot, 0.999);
}

/* Twice as wide as from .. to. */
static void lay_cells(struct bin_layout *l, double from, double to)
{
    double span = 2.0 * (to - from);
    double width = span / CELLS;
    double low = from - 0.25 * span;
    bool usable = isfinite(span) && isfinite(low) && isfinite(low + span) && width > 0.0 &&
                  isfinite(1.0 / width);
    l->low = usable ? low : l->pilot[0];
    l->width = usable ? width : 0.0;
    l->inverse = usable ? 1.0 / width : 0.0;
}

/* By how much of what lies between its end and its outermost twentieth a window goes on beyond a
 * pilot of which so many values are expected there: none lies there once in ten thousand times with
 * 9, and every other time with less than one. */
static double beyond(double expected)
{
    return fmax(9.0 - expected, 0.0) / 5.0;
}

/* window[cell] becomes the number of cells in the narrowest window over it and stays 0 outside of
 * all. A window reaches five standard deviations of the rank to either side, whatever the
 * distribution; past the end of the pilot nobody knows. */
static void mark_windows(const struct bin_layout *l, size_t count, const double *pilot,
                         int window[OVER + 1])
{
    double n = (double)count, first = pilot[0], last = pilot[count - 1];
    double low_end = sorted_percentile(count, pilot, 0.05) - first;
    double high_end = last - sorted_percentile(count, pilot, 0.95);
    for (int i = 0; i < REPORTED; i++) {
        double before = n * reported[i], after = n - before;
        double reach = 5.0 * sqrt(before * (1.0 - reported[i]));
        double below = floor(before - reach), above = ceil(before + reach);
        int from =
            bulk_cell(l, below < 1.0 ? first - beyond(before) * low_end : pilot[(size_t)below - 1]);
        int to =
            bulk_cell(l, above > n ? last + beyond(after) * high_end : pilot[(size_t)above - 1]);
        int cells = to - from + 1;
        for (int c = from; c <= to; c++)
            if (window[c] == 0 || cells < window[c])
                window[c] = cells;
    }
}

/* Bins no narrower than `unit` cells or `share` of their window; returns how many. */
static int32_t cut_cells(struct bin_layout *l, const int window[OVER + 1], double unit,
                         double share)
{
    int32_t bins = 0;
    for (int c = 0; c <= OVER; c++) {
        bool open_end = c == 0 || c == OVER;
        double width =
            window[c] == 0 ? fmax(elsewhere * unit, share * CELLS) : fmax(unit, share * window[c]);
        l->first[c] = bins;
        bins += open_end ? 1 : (int32_t)fmin(ceil(1.0 / width), BINS_MAX);
    }
    l->first[OVER + 1] = bins;
    return bins;
}

/* All cells from the first window to the last alike, if there are not too many bins then. */
static bool lay_evenly(struct bin_layout *l, const int window[OVER + 1], double unit)
{
    int from = 0, to = OVER;
    while (window[from] == 0)
        from++;
    while (window[to - 1] == 0)
        to--;
    double inside = ceil(1.0 / unit), outside = ceil(1.0 / (elsewhere * unit));
    double bins = (to - from) * inside + (OVER - (to - from)) * outside + 1.0;
    if (bins > BINS_MAX)
        return false;
    l->even = (struct even_cells){from, to, inside, outside};
    l->first[0] = 0;
    for (int c = 0; c < OVER; c++)
        l->first[c + 1] = l->first[c] + (int32_t)(c >= from && c < to ? inside : outside);
    l->first[OVER + 1] = l->first[OVER] + 1;
    return true;
}

/* The interquartile range, or if half of the pilot is one value, about what it would be of a bell
 * over the same cells. */
static double pilot_iqr(const struct bin_layout *l)
{
    double iqr = sorted_percentile(l->pilot_count, l->pilot, 0.75) -
                 sorted_percentile(l->pilot_count, l->pilot, 0.25);
    return iqr > 0.0 ? iqr : l->width * CELLS / 9.0;
}

/* With some room for a pilot's interquartile range that is too wide. */
static double steadiness_of(double width)
{
    return fmin(fmax(2.0 * 0.95 * PROMISE / width - 1.0, 0.0), 1.0);
}

/* Where even cells would have too many bins, there are fine ones in the windows only. When that is
 * still too many, they widen everywhere to the coarsest that is good for the promise, and then in
 * the widest windows, where the tail is so heavy that it cannot be kept. */
static void lay_bins(struct bin_layout *l)
{
    int window[OVER + 1] = {0};
    mark_windows(l, l->pilot_count, l->pilot, window);
    double cells = pilot_iqr(l) / l->width;
    double unit = finest * cells, share = 1.0 / BINS_MAX;
    if (lay_evenly(l, window, unit))
        return;
    while (cut_cells(l, window, unit, share) > BINS_MAX) {
        if (unit < coarsest * cells)
            unit *= 1.03;
        else
            share *= 1.03;
    }
    l->steadiness = steadiness_of(unit / cells);
}

static void lay_one_bin(struct bin_layout *l)
{
    memset(l->first, 0, sizeof l->first);
    l->first[OVER + 1] = 1;
}

/* With the pilot, but without bins. */
static packspan_status layout_open(const double *pilot, size_t n, struct bin_layout **out)
{
    struct bin_layout *l = calloc(1, sizeof *l + n * sizeof l->pilot[0]);
    if (l == NULL)
        return PACKSPAN_NO_MEMORY;
    l->pilot_count = n;
    l->steadiness = 1.0;
    memcpy(l->pilot, pilot, n * sizeof l->pilot[0]);
    *out = l;
    return PACKSPAN_OK;
}

/* All of a layout but its bins. */
static packspan_status make_cells(const double *pilot, size_t n, struct bin_layout **out)
{
    if (n == 0)
        return PACKSPAN_USAGE;
    struct bin_layout *l;
    packspan_status status = layout_open(pilot, n, &l);
    if (status != PACKSPAN_OK)
        return status;
    double from, to;
    most_of(n, pilot, &from, &to);
    lay_cells(l, from, to);
    *out = l;
    return PACKSPAN_OK;
}

packspan_status bin_layout_sketch(const double *pilot, size_t n, struct bin_layout **out)
{
    packspan_status status = make_cells(pilot, n, out);
    if (status == PACKSPAN_OK)
        (*out)->alike = true;
    return status;
}

void bin_layout_lay(struct bin_layout *l)
{
    if (l->width > 0.0)
        lay_bins(l);
    else
        lay_one_bin(l);
}

packspan_status bin_layout_make(const double *pilot, size_t n, struct bin_layout **out)
{
    packspan_status status = make_cells(pilot, n, out);
    if (status == PACKSPAN_OK)
        bin_layout_lay(*out);
    return status;
}

packspan_status bin_layout_join(size_t n, const struct bin_layout *const *parts,
                                struct bin_layout **out)
{
    double from = INFINITY, to = -INFINITY, narrowest = INFINITY;
    for (size_t k = 0; k < n; k++) {
        double low, high;
        most_of(parts[k]->pilot_count, parts[k]->pilot, &low, &high);
        from = fmin(from, low);
        to = fmax(to, high);
        if (parts[k]->width > 0.0)
            narrowest = fmin(narrowest, pilot_iqr(parts[k]));
    }
    if (isinf(narrowest))
        return PACKSPAN_OK;
    struct bin_layout *l;
    packspan_status status = layout_open(parts[0]->pilot, parts[0]->pilot_count, &l);
    if (status != PACKSPAN_OK)
        return status;
    l->alike = true;
    lay_cells(l, from, to);
    int window[OVER + 1] = {0};
    for (size_t k = 0; k < n && l->width > 0.0; k++)
        mark_windows(l, parts[k]->pilot_count, parts[k]->pilot, window);
    bool fits = false;
    for (double width = finest; width <= coarsest && !fits && l->width > 0.0; width *= 1.1) {
        double unit = width * narrowest / l->width;
        fits = lay_evenly(l, window, unit) || cut_cells(l, window, unit, 0.0) <= BINS_MAX;
        l->steadiness = steadiness_of(width);
    }
    if (fits)
        *out = l;
    else
        free(l);
    return PACKSPAN_OK;
}

void bin_layout_free(struct bin_layout *l)
{
    free(l);
}

size_t bin_layout_size(const struct bin_layout *l)
{
    return (size_t)l->first[OVER + 1];
}

double bin_layout_percentile(const struct bin_layout *l, double p)
{
    return sorted_percentile(l->pilot_count, l->pilot, p);
}

packspan_status bin_counter_open(const struct bin_layout *l, struct bin_counter *out)
{
    struct bin_counter c = {.counts = calloc(bin_layout_size(l), sizeof *c.counts),
                            .pending = malloc(PENDING * sizeof *c.pending)};
    if (!c.counts || !c.pending) {
        bin_counter_close(&c);
        return PACKSPAN_NO_MEMORY;
    }
    *out = c;
    return PACKSPAN_OK;
}

void bin_counter_close(struct bin_counter *c)
{
    free(c->counts);
    free(c->pending);
    *c = (struct bin_counter){0};
}

static void count_pending(struct bin_counter *c)
{
    uint32_t *counts = c->counts;
    const uint16_t *pending = c->pending;
    int shift = c->shift;
    for (size_t i = 0; i < c->pending_count; i++)
        counts[pending[i] >> shift]++;
    c->pending_count = 0;
}

void bin_count(const struct bin_layout *l, size_t n, const double *x, struct bin_counter *c)
{
    for (size_t done = 0; done < n;) {
        size_t room = PENDING - c->pending_count, m = n - done < room ? n - done : room;
        bin_places(l, m, x + done, c->pending + c->pending_count);
        c->pending_count += m;
        done += m;
        if (c->pending_count == PENDING)
            count_pending(c);
    }
}

/* Adds `count` to n bins in proportion to what they hold, evenly where that is nothing. */
static void share_out(uint64_t count, size_t n, uint64_t *bins)
{
    double held = 0.0, before = 0.0;
    for (size_t b = 0; b < n; b++)
        held += (double)bins[b];
    uint64_t given = 0;
    for (size_t b = 0; b < n; b++) {
        before += held > 0.0 ? (double)bins[b] : 1.0;
        double share = before / (held > 0.0 ? held : (double)n);
        uint64_t up_to = b + 1 < n ? (uint64_t)((double)count * share) : count;
        bins[b] += up_to - given;
        given = up_to;
    }
}

size_t bin_joined_size(const struct bin_layout *l, int shift)
{
    return (bin_layout_size(l) + ((size_t)1 << shift) - 1) >> shift;
}

void bin_counters_drain(const struct bin_layout *l, size_t n, struct bin_counter *const *counters,
                        uint64_t *joined)
{
    for (size_t k = 0; k < n; k++) {
        struct bin_counter *c = counters[k];
        size_t size = bin_joined_size(l, c->shift);
        count_pending(c);
        for (size_t i = 0; i < size; i++)
            if (c->counts[i] > 0) { /* else no page is touched for nothing */
                joined[i] += c->counts[i];
                c->counts[i] = 0;
            }
    }
}

void bin_share_out(const struct bin_layout *l, int shift, const uint64_t *joined, uint64_t *counts)
{
    size_t size = bin_layout_size(l);
    for (size_t b = 0; b < size && shift == 0; b++)
        counts[b] += joined[b];
    for (size_t i = 0; i < bin_joined_size(l, shift) && shift > 0; i++) {
        size_t first = i << shift, most = (size_t)1 << shift;
        if (joined[i] > 0) /* else no page is touched for nothing */
            share_out(joined[i], size - first < most ? size - first : most, counts + first);
    }
}

int bin_counter_shift(uint64_t samples)
{
    int shift = 0;
    while (shift < BIN_SHIFTS - 1 && samples >> (SHIFT_BITS + shift) > 0)
        shift++;
    return shift;
}

bool bin_counts_make(const struct bin_layout *l, uint64_t **counts)
{
    if (l)
        *counts = calloc(bin_layout_size(l), sizeof **counts);
    return !l || *counts;
}

void bin_counts_cumulate(size_t size, const uint64_t *counts, uint64_t *below)
{
    uint64_t sum = 0;
    for (size_t b = 0; b < size; b++) {
        uint64_t count = counts[b];
        below[b] = sum;
        sum += count;
    }
    below[size] = sum;
}

void bin_layout_cumulate(const struct bin_layout *l, uint32_t *below)
{
    uint16_t bin[BLOCK];
    size_t b = 0, size = bin_layout_size(l);
    for (size_t done = 0; done < l->pilot_count; done += BLOCK) {
        size_t n = l->pilot_count - done < BLOCK ? l->pilot_count - done : BLOCK;
        bin_places(l, n, l->pilot + done, bin);
        for (size_t i = 0; i < n; i++)
            while (b <= bin[i])
                below[b++] = (uint32_t)(done + i);
    }
    while (b <= size)
        below[b++] = (uint32_t)l->pilot_count;
}

void bin_counts_free(size_t rows, uint64_t **counts)
{
    for (size_t r = 0; counts && r < rows; r++)
        free(counts[r]);
    free(counts);
}

void bin_count_weighted(const struct bin_layout *l, size_t n, const double *x,
                        const uint64_t *weights, uint64_t *counts)
{
    uint16_t bin[BLOCK];
    for (size_t done = 0; done < n; done += BLOCK) {
        size_t m = n - done < BLOCK ? n - done : BLOCK;
        bin_places(l, m, x + done, bin);
        for (size_t i = 0; i < m; i++)
            counts[bin[i]] += weights[done + i];
    }
}

void moments_init(struct moments *m)
{
    *m = (struct moments){.min = INFINITY, .max = -INFINITY};
}

/* Spoils the lanes. */
static void finish_moments(double sum[SUM_LANES], double square[SUM_LANES], double low[SUM_LANES],
                           double high[SUM_LANES], double centre, double total, struct moments *m)
{
    double rest = sum_of_lanes(sum);
    m->mean = centre + rest / total;
    m->squares = fmax(sum_of_lanes(square) - rest * rest / total, 0.0);
    struct range range = range_of_lanes(low, high);
    m->min = range.low;
    m->max = range.high;
}

/* Deviations are taken from the first value, which is as good as the mean against cancellation. */
HOT_LOOP void moments_of(size_t n, const double *restrict x, struct moments *restrict m)
{
    moments_init(m);
    if (n == 0)
        return;
    double sum[SUM_LANES], square[SUM_LANES], low[SUM_LANES], high[SUM_LANES], centre = x[0];
    for (int j = 0; j < SUM_LANES; j++) {
        sum[j] = square[j] = 0.0;
        low[j] = high[j] = centre;
    }
    size_t whole = n - n % SUM_LANES;
    for (size_t i = 0; i < whole; i += SUM_LANES) {
        for (size_t j = 0; j < SUM_LANES; j++) {
            double v = x[i + j], e = v - centre;
            sum[j] += e;
            square[j] += e * e;
            low[j] = v < low[j] ? v : low[j];
            high[j] = v > high[j] ? v : high[j];
        }
    }
    for (size_t i = whole; i < n; i++) {
        size_t j = i - whole;
        double v = x[i], e = v - centre;
        sum[j] += e;
        square[j] += e * e;
        low[j] = v < low[j] ? v : low[j];
        high[j] = v > high[j] ? v : high[j];
    }
    m->count = n;
    finish_moments(sum, square, low, high, centre, (double)n, m);
}

static inline void add_weighted(double v, double w, double centre, double *sum, double *square,
                                double *low, double *high)
{
    double x = w > 0.0 ? v : centre; /* what has no weight may be no number at all */
    double e = x - centre;
    *sum += w * e;
    *square += w * e * e;
    *low = x < *low ? x : *low;
    *high = x > *high ? x : *high;
}

HOT_LOOP void moments_of_weighted(size_t n, const double *restrict x,
                                  const double *restrict weights, uint64_t total,
                                  struct moments *restrict m)
{
    moments_init(m);
    if (total == 0)
        return;
    double sum[SUM_LANES], square[SUM_LANES], low[SUM_LANES], high[SUM_LANES];
    size_t first = 0, whole = n - n % SUM_LANES;
    while (weights[first] == 0.0)
        first++;
    double centre = x[first];
    for (int j = 0; j < SUM_LANES; j++) {
        sum[j] = square[j] = 0.0;
        low[j] = high[j] = centre;
    }
    for (size_t i = 0; i < whole; i += SUM_LANES)
        for (size_t j = 0; j < SUM_LANES; j++)
            add_weighted(x[i + j], weights[i + j], centre, &sum[j], &square[j], &low[j], &high[j]);
    for (size_t i = whole; i < n; i++)
        add_weighted(x[i], weights[i], centre, &sum[i - whole], &square[i - whole], &low[i - whole],
                     &high[i - whole]);
    m->count = total;
    finish_moments(sum, square, low, high, centre, (double)total, m);
}

void moments_merge(struct moments *into, const struct moments *part)
{
    if (part->count == 0)
        return;
    if (into->count == 0) {
        *into = *part;
        return;
    }
    double a = (double)into->count, b = (double)part->count;
    double share = b / (a + b);
    double gap = part->mean - into->mean;
    into->count += part->count;
    into->mean += gap * share;
    into->squares += part->squares + gap * gap * a * share;
    into->min = fmin(into->min, part->min);
    into->max = fmax(into->max, part->max);
}

double moments_sd(const struct moments *m)
{
    return m->count < 2 ? 0.0 : sqrt(m->squares / (double)(m->count - 1));
}

static int even_cell_of_bin(const struct bin_layout *l, int32_t bin)
{
    int from = (int)l->even.from, to = (int)l->even.to;
    int32_t inside = (int32_t)l->even.bins_inside, outside = (int32_t)l->even.bins_outside;
    if (bin < l->first[from])
        return bin / outside;
    if (bin < l->first[to])
        return from + (bin - l->first[from]) / inside;
    return to + (bin - l->first[to]) / outside;
}

static int cell_of_bin(const struct bin_layout *l, int32_t bin)
{
    int from = 0, to = OVER;
    if (l->even.bins_inside > 0.0)
        return even_cell_of_bin(l, bin);
    while (from < to) {
        int middle = from + (to - from) / 2;
        if (l->first[middle + 1] <= bin)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

static double clamp(double x, double low, double high)
{
    x = x > low ? x : low;
    return x < high ? x : high;
}

/* The ends of a bin, which go no farther than the extremes of what was counted. */
static void bin_ends(const struct distribution *d, int32_t bin, double *low, double *high)
{
    const struct bin_layout *l = d->layout;
    int cell = cell_of_bin(l, bin);
    double min = d->moments.min, max = d->moments.max;
    double fine = l->width / (l->first[cell + 1] - l->first[cell]);
    double start = cell_edge(l, cell) + (bin - l->first[cell]) * fine;
    bool one_bin = l->width == 0.0;
    *low = one_bin || cell == 0 ? min : clamp(start, min, max);
    *high = one_bin || cell == OVER ? max : clamp(start + fine, min, max);
}

/* Values of the pilot in a bin, all the same, from which on that value is taken for the bin's only
 * one. A pilot that only resembles what is counted repeats a heavy value, so there it takes more.
 */
static size_t enough_of_one(const struct bin_layout *l)
{
    return l->alike ? l->pilot_count / 100 + 2 : 2;
}

/* The last bin from `bin` on that at least `rank` - below[bin] values do not lie before, by steps
 * that double: ranks that rise little are found at once. */
static int32_t bin_of_rank(const struct distribution *d, uint64_t rank, int32_t bin)
{
    int32_t last = d->layout->first[OVER + 1] - 1, step = 1;
    while (bin + step <= last && d->below[bin + step] < rank) {
        bin += step;
        step *= 2;
    }
    int32_t to = last - bin < step ? last : bin + step - 1;
    while (bin < to) {
        int32_t middle = to - (to - bin) / 2;
        if (d->below[middle] < rank)
            bin = middle;
        else
            to = middle - 1;
    }
    return bin;
}

/* So many effective values lie evenly enough within a bin. */
#define ENOUGH_HELD 25.0

/* The value of a given rank, from 1, within a bin. Exact while the bin holds nothing but the
 * pilot's values (so a run no longer than the pilot is as good as sorted) and where the pilot saw
 * one value again and again; between the ends of the bin otherwise. */
static double value_in_bin(const struct distribution *d, int32_t bin, uint64_t rank)
{
    const struct bin_layout *l = d->layout;
    size_t from = d->pilot_below[bin], to = d->pilot_below[bin + 1];
    uint64_t count = d->below[bin + 1] - d->below[bin];
    double value;
    if (!l->alike && to - from == count) {
        value = l->pilot[from + rank - 1];
    } else if (to - from >= enough_of_one(l) && l->pilot[from] == l->pilot[to - 1]) {
        value = l->pilot[from];
    } else {
        double low, high, share = ((double)rank - 0.5) / (double)count;
        bin_ends(d, bin, &low, &high);
        if (d->effective * (double)count < ENOUGH_HELD * (double)d->moments.count)
            share = 0.5 + l->steadiness * (share - 0.5);
        value = low * (1.0 - share) + high * share;
    }
    return clamp(value, d->moments.min, d->moments.max);
}

/* *bin is one that the rank does not lie before, and becomes the rank's. */
static double order_statistic(const struct distribution *d, uint64_t rank, int32_t *bin)
{
    if (rank <= 1)
        return d->moments.min;
    if (rank >= d->moments.count)
        return d->moments.max;
    *bin = bin_of_rank(d, rank, *bin);
    return value_in_bin(d, *bin, rank - d->below[*bin]);
}

double distribution_percentile(const struct distribution *d, double p)
{
    if (d->moments.count == 0)
        return NAN;
    double h = (double)(d->moments.count - 1) * clamp(p, 0.0, 1.0);
    uint64_t j = (uint64_t)h;
    double part = h - (double)j;
    int32_t bin = 0;
    double below = order_statistic(d, j + 1, &bin);
    if (part == 0.0)
        return below;
    double above = order_statistic(d, j + 2, &bin);
    return below + part * (above - below);
}

double distribution_sd(const struct distribution *d)
{
    if (d->effective == (double)d->moments.count)
        return moments_sd(&d->moments);
    if (d->effective < 2.0)
        return 0.0;
    double bias = d->effective / (d->effective - 1.0);
    return sqrt(d->moments.squares / (double)d->moments.count * bias);
}

double distribution_percentile_error(const struct distribution *d, double p)
{
    double reach = sqrt(p * (1.0 - p) / d->effective);
    return 0.5 * (distribution_percentile(d, p + reach) - distribution_percentile(d, p - reach));
}

/* i * range / parts without overflow. */
static uint64_t spread(uint64_t i, uint64_t range, uint64_t parts)
{
    return i * (range / parts) + i * (range % parts) / parts;
}

/* Intervals that hold 95 %, of which the i-th starts at a rank that rises with i. */
struct windows {
    const struct distribution *d;
    uint64_t inside, starts, tries;
    int32_t from, to; /* bins of the last one looked at, which i never goes back from */
};

struct window {
    double low, high;
};

static struct window window_at(struct windows *all, uint64_t i)
{
    uint64_t rank =
        1 + (all->tries == all->starts ? i : spread(i, all->starts - 1, all->tries - 1));
    return (struct window){order_statistic(all->d, rank, &all->from),
                           order_statistic(all->d, rank + all->inside, &all->to)};
}

/* More than order statistics may fail by rounding to rise with their rank. */
static double rank_margin(const struct moments *m)
{
    return 1e-9 * (m->max - m->min) + 1e-14 * (fabs(m->min) + fabs(m->max));
}

/* Windows of a group are no narrower than from the start of the last to the end of the first, so
 * that most groups need no closer look. */
void distribution_shortest95(const struct distribution *d, double *low, double *high)
{
    enum { GROUP = 16, GROUPS = (SHORTEST_TRIES + GROUP - 1) / GROUP };
    uint64_t n = d->moments.count;
    if (n == 0) {
        *low = *high = NAN;
        return;
    }
    uint64_t inside = (uint64_t)(0.95 * (double)n + 0.5);
    if (inside >= n)
        inside = n - 1;
    uint64_t starts = n - inside;
    uint64_t tries = starts < SHORTEST_TRIES ? starts : SHORTEST_TRIES;
    struct windows all = {d, inside, starts, tries, 0, 0}, rough = all;
    struct window best = {d->moments.min, d->moments.max}, edges[GROUPS + 1];
    double width = best.high - best.low, margin = rank_margin(&d->moments);
    size_t groups = (size_t)((tries + GROUP - 1) / GROUP);
    for (size_t g = 0; g <= groups; g++) {
        edges[g] = window_at(&rough, g < groups ? g * GROUP : tries - 1);
        width = fmin(width, edges[g].high - edges[g].low);
    }
    for (uint64_t i = 0; i < tries; i++) {
        const struct window *edge = &edges[i / GROUP];
        if (edge[0].high - edge[1].low > width + margin)
            continue;
        struct window w = window_at(&all, i);
        if (w.high - w.low < best.high - best.low)
            best = w;
    }
    *low = best.low;
    *high = best.high;
}

static uint64_t count_between(const struct distribution *d, int32_t from, int32_t to)
{
    return d->below[to] - d->below[from];
}

/* Cells join in groups of a power of two, so that equal groups fill the bulk and the bins of two
 * runs over the same layout match. */
size_t distribution_histogram(const struct distribution *d,
                              struct histogram_bin bins[HISTOGRAM_BINS_MAX])
{
    const struct bin_layout *l = d->layout;
    const struct moments *m = &d->moments;
    if (m->count == 0)
        return 0;
    if (m->min == m->max || l->width == 0.0) {
        bins[0] = (struct histogram_bin){m->min, m->max, m->count};
        return 1;
    }
    int from = bulk_cell(l, m->min) - 1, to = bulk_cell(l, m->max) - 1;
    int group = 1;
    while (to / group - from / group + 1 > 120)
        group *= 2;
    int start = from / group * group + 1, n = to / group - from / group + 1;
    for (int i = 0; i < n; i++) {
        int cell = start + i * group;
        bins[i] =
            (struct histogram_bin){cell_edge(l, cell), cell_edge(l, cell + group),
                                   count_between(d, i == 0 ? 0 : l->first[cell],
                                                 l->first[i == n - 1 ? OVER + 1 : cell + group])};
    }
    bins[0].low = fmin(bins[0].low, m->min);
    bins[n - 1].high = fmax(bins[n - 1].high, m->max);
    return (size_t)n;
}
