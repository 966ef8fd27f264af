#include "engine/joint_counts.h"

#include <stdlib.h>
#include <string.h>

/* Samples that wait to be counted, so that the counts of a row under one candidate are in the cache
 * while many are. */
enum { PENDING = 65536 };

struct row {
    struct joint_row about;
    uint16_t *bins;       /* [PENDING], or [candidate][PENDING] where they are not alike */
    bool *known;          /* [candidate] */
    uint32_t *low, *high; /* [candidate][bin]: halves of the sums */
    bool carried;         /* else no page of `high` was ever touched, and none should be */
};

struct joint_counts {
    size_t candidates, row_count;
    struct row *rows;
    uint32_t *weights; /* [candidate][PENDING] */
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

static void count_row(const struct joint_counts *j, struct row *row, size_t c)
{
    const uint16_t *bins = row->bins + (row->about.alike ? 0 : c * PENDING);
    const uint32_t *weights = j->weights + c * PENDING;
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

static void count_pending(struct joint_counts *j)
{
    j->pending += j->begun;
    j->begun = 0;
    for (size_t r = 0; r < j->row_count && j->pending > 0; r++)
        for (size_t c = 0; c < j->candidates && j->rows[r].about.layout; c++)
            if (j->rows[r].about.alike || j->rows[r].known[c])
                count_row(j, &j->rows[r], c);
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
            j->weights[c * PENDING + j->pending + i] = (uint32_t)weights[c][i];
}

void joint_counts_values(struct joint_counts *j, size_t row, size_t candidate, const double *x)
{
    struct row *r = &j->rows[row];
    r->known[candidate] = true;
    bin_places(r->about.layout, j->begun, x, r->bins + candidate * PENDING + j->pending);
}

void joint_counts_add(struct joint_counts *j, size_t row, size_t candidate, uint64_t *counts)
{
    struct row *r = &j->rows[row];
    size_t size = bin_layout_size(r->about.layout);
    const uint32_t *low = r->low + candidate * size, *high = r->high + candidate * size;
    count_pending(j);
    for (size_t b = 0; b < size; b++)
        counts[b] += r->carried ? (uint64_t)high[b] << 32 | low[b] : low[b];
}
