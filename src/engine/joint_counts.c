#include "engine/joint_counts.h"

#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"
#include "base/pages.h"

/* Samples that wait to be counted, so that the counts of a row under one candidate are in the cache
 * while many are. */
enum { PENDING = 65536 };
/* A run that is no longer waits as a whole: then a row is counted when it is asked for, in the
 * cache, and the counts of all rows never have to be cleared, filled and read. */
enum { WAITING_MAX = 131072 };
enum { SOME_BINS = 512 }; /* that stay in the first-level cache */

struct row {
    struct joint_row about;
    uint16_t *bins;       /* [room], or [candidate][room] where they are not alike */
    bool *known;          /* [candidate] */
    uint32_t *low, *high; /* [candidate][bin]: halves of the sums; NULL while it waits */
    bool carried;         /* else no page of `high` was ever touched, and none should be */
};

struct joint_counts {
    size_t candidates, row_count;
    struct row *rows;
    uint32_t *weights;    /* [candidate][room] */
    uint32_t *low, *high; /* [cells], of all rows, or of one at a time */
    size_t cells;
    size_t room, pending, begun;
    bool waits;
    struct row *present; /* that has the cells while all wait; NULL: none */
};

static bool open_row(const struct joint_counts *j, const struct joint_row *about, struct row *row)
{
    row->about = *about;
    if (!about->layout)
        return true;
    row->bins = malloc((about->alike ? 1 : j->candidates) * j->room * sizeof *row->bins);
    row->known = calloc(j->candidates, sizeof *row->known);
    return row->bins && row->known;
}

static size_t cells_of(const struct row *row, size_t candidates)
{
    return row->about.layout ? bin_layout_size(row->about.layout) * candidates : 0;
}

static bool open_cells(struct joint_counts *j)
{
    for (size_t r = 0; r < j->row_count; r++) {
        size_t cells = cells_of(&j->rows[r], j->candidates);
        if (!j->waits)
            j->cells += cells;
        else if (cells > j->cells)
            j->cells = cells;
    }
    j->low = pages_open(j->cells * sizeof *j->low);
    j->high = pages_open(j->cells * sizeof *j->high);
    size_t from = 0;
    for (size_t r = 0; j->low && j->high && !j->waits && r < j->row_count; r++) {
        j->rows[r].low = j->low + from;
        j->rows[r].high = j->high + from;
        from += cells_of(&j->rows[r], j->candidates);
    }
    return j->low && j->high;
}

bool joint_counts_may_wait(uint64_t samples)
{
    return samples <= WAITING_MAX;
}

packspan_status joint_counts_open(size_t row_count, const struct joint_row *rows, size_t candidates,
                                  uint64_t waiting, struct joint_counts **out)
{
    struct joint_counts *j = calloc(1, sizeof *j);
    if (!j)
        return PACKSPAN_NO_MEMORY;
    j->candidates = candidates;
    j->row_count = row_count;
    j->waits = waiting > 0;
    j->room = j->waits ? (size_t)waiting : PENDING;
    j->rows = calloc(row_count + 1, sizeof *j->rows);
    j->weights = malloc(j->room * candidates * sizeof *j->weights);
    bool opened = j->rows && j->weights;
    for (size_t r = 0; r < row_count && opened; r++)
        opened = open_row(j, &rows[r], &j->rows[r]);
    if (!opened || !open_cells(j)) {
        joint_counts_close(j);
        return PACKSPAN_NO_MEMORY;
    }
    *out = j;
    return PACKSPAN_OK;
}

void joint_counts_close(struct joint_counts *j)
{
    if (!j)
        return;
    for (size_t r = 0; j->rows && r < j->row_count; r++) {
        free(j->rows[r].bins);
        free(j->rows[r].known);
    }
    pages_close(j->low, j->cells * sizeof *j->low);
    pages_close(j->high, j->cells * sizeof *j->high);
    free(j->rows);
    free(j->weights);
    free(j);
}

static void count_row(const struct joint_counts *j, struct row *row, size_t c)
{
    const uint16_t *bins = row->bins + (row->about.alike ? 0 : c * j->room);
    const uint32_t *weights = j->weights + c * j->room;
    size_t from = c * bin_layout_size(row->about.layout);
    uint32_t *low = row->low + from, *high = row->high + from;
    bool carried = false;
    for (size_t i = 0; i < j->pending; i++) {
        uint32_t sum = low[bins[i]] + weights[i];
        low[bins[i]] = sum;
        if (sum < weights[i]) {
            high[bins[i]]++;
            carried = true;
        }
    }
    row->carried |= carried;
}

static void count_candidates(const struct joint_counts *j, struct row *row)
{
    for (size_t c = 0; c < j->candidates && row->about.layout; c++)
        if (row->about.alike || row->known[c])
            count_row(j, row, c);
}

static void count_pending(struct joint_counts *j)
{
    j->pending += j->begun;
    j->begun = 0;
    if (j->waits)
        return;
    for (size_t r = 0; r < j->row_count && j->pending > 0; r++)
        count_candidates(j, &j->rows[r]);
    j->pending = 0;
}

/* Gives the cells to a row whose samples wait, and counts them. */
static void make_present(struct joint_counts *j, struct row *row)
{
    struct row *last = j->present;
    if (last == row)
        return;
    if (last) {
        size_t cells = cells_of(last, j->candidates);
        memset(j->low, 0, cells * sizeof *j->low);
        if (last->carried)
            memset(j->high, 0, cells * sizeof *j->high);
        last->low = last->high = NULL;
        last->carried = false;
    }
    row->low = j->low;
    row->high = j->high;
    j->present = row;
    count_candidates(j, row);
}

void joint_counts_begin(struct joint_counts *j, size_t n, const uint64_t *const *weights)
{
    j->pending += j->begun;
    j->begun = 0;
    if (j->pending + n > j->room)
        count_pending(j);
    j->begun = n;
    for (size_t c = 0; c < j->candidates; c++)
        for (size_t i = 0; i < n; i++)
            j->weights[c * j->room + j->pending + i] = (uint32_t)weights[c][i];
}

void joint_counts_values(struct joint_counts *j, size_t row, size_t candidate, const double *x)
{
    struct row *r = &j->rows[row];
    r->known[candidate] = true;
    bin_places(r->about.layout, j->begun, x, r->bins + candidate * j->room + j->pending);
}

/* ---- what was counted ---- */

void joint_counts_settle(struct joint_counts *j)
{
    count_pending(j);
}

void joint_counts_finish(struct joint_counts *j)
{
    count_pending(j);
    if (j->waits)
        return;
    for (size_t r = 0; r < j->row_count; r++) {
        free(j->rows[r].bins);
        j->rows[r].bins = NULL;
    }
    free(j->weights);
    j->weights = NULL;
}

static inline uint64_t whole(const struct row *row, size_t at)
{
    return row->carried ? (uint64_t)row->high[at] << 32 | row->low[at] : row->low[at];
}

static inline void add_to_cell(struct row *row, size_t at, uint64_t more)
{
    if (more == 0)
        return; /* and no page is touched for nothing */
    uint64_t sum = whole(row, at) + more;
    row->low[at] = (uint32_t)sum;
    if (sum >> 32 > 0) {
        row->high[at] = (uint32_t)(sum >> 32);
        row->carried = true;
    }
}

uint64_t joint_counts_at(const struct joint_counts *j, size_t row, size_t candidate, size_t bin)
{
    const struct row *r = &j->rows[row];
    return whole(r, candidate * bin_layout_size(r->about.layout) + bin);
}

void joint_counts_raise(struct joint_counts *j, size_t row, size_t candidate, size_t bin,
                        uint64_t more)
{
    struct row *r = &j->rows[row];
    add_to_cell(r, candidate * bin_layout_size(r->about.layout) + bin, more);
}

void joint_counts_merge(struct joint_counts *j, const struct joint_counts *part, size_t row)
{
    struct row *into = &j->rows[row];
    const struct row *from = &part->rows[row];
    size_t cells = cells_of(into, j->candidates);
    for (size_t at = 0; at < cells; at++)
        add_to_cell(into, at, whole(from, at));
}

HOT_LOOP static void add_low(size_t n, const uint32_t *restrict low, uint64_t *restrict counts)
{
    for (size_t b = 0; b < n; b++)
        counts[b] += low[b];
}

HOT_LOOP static void take_low(size_t n, const uint32_t *restrict low, uint64_t *restrict counts)
{
    for (size_t b = 0; b < n; b++)
        counts[b] = low[b];
}

HOT_LOOP static void add_high(size_t n, const uint32_t *restrict high, uint64_t *restrict counts)
{
    for (size_t b = 0; b < n; b++)
        counts[b] += (uint64_t)high[b] << 32;
}

/* Bins first .. first + n - 1; `afresh` instead of adding. */
static void add_bins(const struct joint_counts *j, size_t row, size_t candidate, size_t first,
                     size_t n, bool afresh, uint64_t *counts)
{
    const struct row *r = &j->rows[row];
    size_t at = candidate * bin_layout_size(r->about.layout) + first;
    if (afresh)
        take_low(n, r->low + at, counts);
    else
        add_low(n, r->low + at, counts);
    if (r->carried)
        add_high(n, r->high + at, counts);
}

void joint_counts_add(const struct joint_counts *j, size_t row, size_t candidate, uint64_t *counts)
{
    add_bins(j, row, candidate, 0, bin_layout_size(j->rows[row].about.layout), false, counts);
}

/* below[b + 1] = *sum + counts[0] + .. + counts[b]; *sum goes on. Four sums side by side, as one
 * alone would wait for itself. */
static void sum_up(const uint64_t counts[SOME_BINS], uint64_t *sum, uint64_t *below)
{
    enum { QUARTER = SOME_BINS / 4 };
    uint64_t sums[4] = {*sum};
    for (int q = 0; q < 3; q++) {
        sums[q + 1] = sums[q];
        for (int b = 0; b < QUARTER; b++)
            sums[q + 1] += counts[q * QUARTER + b];
    }
    for (int b = 0; b < QUARTER; b++)
        for (int q = 0; q < 4; q++)
            below[q * QUARTER + b + 1] = sums[q] += counts[q * QUARTER + b];
    *sum = sums[3];
}

void joint_counts_cumulate(struct joint_counts *j, size_t row, size_t from, size_t to,
                           uint64_t *below)
{
    if (j->waits)
        make_present(j, &j->rows[row]);
    size_t size = bin_layout_size(j->rows[row].about.layout);
    uint64_t sum = 0, last[SOME_BINS + 1];
    below[0] = 0;
    for (size_t first = 0; first < size; first += SOME_BINS) {
        uint64_t counts[SOME_BINS];
        size_t n = size - first < SOME_BINS ? size - first : SOME_BINS;
        if (n < SOME_BINS)
            memset(counts, 0, sizeof counts);
        for (size_t c = from; c < to; c++)
            add_bins(j, row, c, first, n, c == from, counts);
        sum_up(counts, &sum, n == SOME_BINS ? below + first : last);
        if (n < SOME_BINS)
            memcpy(below + first + 1, last + 1, n * sizeof *below);
    }
}
