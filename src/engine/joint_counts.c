#include "engine/joint_counts.h"

#include <stdlib.h>
#include <string.h>

/* Samples that wait to be counted, so that a row's counts are in the cache while many are. */
enum { PENDING = 16384 };

struct row {
    struct joint_row about;
    uint16_t *bins;       /* [PENDING], or [candidate][PENDING] where they are not alike */
    bool *known;          /* [candidate] */
    uint32_t *low, *high; /* [bin][candidate]: halves of the sums */
    bool carried;         /* else no page of `high` was ever touched, and none should be */
};

struct joint_counts {
    size_t candidates, row_count;
    struct row *rows;
    uint32_t *weights; /* [PENDING][candidate] */
    size_t pending, begun;
};

static bool open_row(const struct joint_row *about, size_t candidates, struct row *row)
{
    row->about = *about;
    if (!about->layout)
        return true;
    size_t size = bin_layout_size(about->layout) * candidates;
    row->bins = malloc((about->alike ? 1 : candidates) * PENDING * sizeof *row->bins);
    row->known = calloc(candidates, sizeof *row->known);
    row->low = calloc(size, sizeof *row->low);
    row->high = calloc(size, sizeof *row->high);
    return row->bins && row->known && row->low && row->high;
}

packspan_status joint_counts_open(size_t row_count, const struct joint_row *rows, size_t candidates,
                                  struct joint_counts **out)
{
    struct joint_counts *j = calloc(1, sizeof *j);
    if (!j)
        return PACKSPAN_NO_MEMORY;
    j->candidates = candidates;
    j->row_count = row_count;
    j->rows = calloc(row_count + 1, sizeof *j->rows);
    j->weights = malloc(PENDING * candidates * sizeof *j->weights);
    bool opened = j->rows && j->weights;
    for (size_t r = 0; r < row_count && opened; r++)
        opened = open_row(&rows[r], candidates, &j->rows[r]);
    if (!opened) {
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
        free(j->rows[r].low);
        free(j->rows[r].high);
    }
    free(j->rows);
    free(j->weights);
    free(j);
}

static inline void add_weight(struct row *row, size_t at, uint32_t weight)
{
    uint32_t sum = row->low[at] + weight;
    row->low[at] = sum;
    if (sum < weight) {
        row->high[at]++;
        row->carried = true;
    }
}

static inline void count_alike(const struct joint_counts *j, struct row *row, size_t candidates)
{
    const uint16_t *bins = row->bins;
    for (size_t i = 0; i < j->pending; i++) {
        size_t at = bins[i] * candidates;
        for (size_t c = 0; c < candidates; c++)
            add_weight(row, at + c, j->weights[i * candidates + c]);
    }
}

static void count_one(const struct joint_counts *j, struct row *row, size_t c)
{
    const uint16_t *bins = row->bins + c * PENDING;
    for (size_t i = 0; i < j->pending; i++)
        add_weight(row, bins[i] * j->candidates + c, j->weights[i * j->candidates + c]);
}

static void count_row(const struct joint_counts *j, struct row *row)
{
    if (!row->about.alike) {
        for (size_t c = 0; c < j->candidates; c++)
            if (row->known[c])
                count_one(j, row, c);
        return;
    }
    switch (j->candidates) { /* the usual numbers as constants for the compiler */
    case 1:
        count_alike(j, row, 1);
        break;
    case 2:
        count_alike(j, row, 2);
        break;
    case 3:
        count_alike(j, row, 3);
        break;
    case 4:
        count_alike(j, row, 4);
        break;
    default:
        count_alike(j, row, j->candidates);
    }
}

static void count_pending(struct joint_counts *j)
{
    j->pending += j->begun;
    j->begun = 0;
    for (size_t r = 0; r < j->row_count; r++)
        if (j->rows[r].about.layout && j->pending > 0)
            count_row(j, &j->rows[r]);
    j->pending = 0;
}

void joint_counts_begin(struct joint_counts *j, size_t n, const uint64_t *const *weights)
{
    j->pending += j->begun;
    j->begun = 0;
    if (j->pending + n > PENDING)
        count_pending(j);
    j->begun = n;
    for (size_t c = 0; c < j->candidates; c++)
        for (size_t i = 0; i < n; i++)
            j->weights[(j->pending + i) * j->candidates + c] = (uint32_t)weights[c][i];
}

void joint_counts_values(struct joint_counts *j, size_t row, size_t candidate, const double *x)
{
    struct row *r = &j->rows[row];
    r->known[candidate] = true;
    bin_places(r->about.layout, j->begun, x, r->bins + candidate * PENDING + j->pending);
}

/* ---- what was counted ---- */

void joint_counts_settle(struct joint_counts *j)
{
    count_pending(j);
}

void joint_counts_finish(struct joint_counts *j)
{
    count_pending(j);
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

void joint_counts_merge(struct joint_counts *j, const struct joint_counts *part, size_t row)
{
    struct row *into = &j->rows[row];
    const struct row *from = &part->rows[row];
    size_t size = into->about.layout ? bin_layout_size(into->about.layout) * j->candidates : 0;
    for (size_t at = 0; at < size; at++) {
        uint64_t more = whole(from, at);
        if (more == 0)
            continue;
        uint64_t sum = whole(into, at) + more;
        into->low[at] = (uint32_t)sum;
        if (sum >> 32 > 0) {
            into->high[at] = (uint32_t)(sum >> 32);
            into->carried = true;
        }
    }
}

void joint_counts_add(const struct joint_counts *j, size_t row, size_t candidate, uint64_t *counts)
{
    const struct row *r = &j->rows[row];
    for (size_t b = 0; b < bin_layout_size(r->about.layout); b++)
        counts[b] += whole(r, b * j->candidates + candidate);
}
