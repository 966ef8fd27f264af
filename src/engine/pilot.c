#include "engine/pilot.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "model/block.h"

/* Samples lighter than exp(-16), about 1e-7, of the heaviest say nothing about where bins go. */
#define LIGHTEST_LOG (-16.0)
enum { ENTRIES_MIN = 64 }; /* fewer entries that carry weight: go on drawing */

struct pilot {
    double *values; /* [row][PILOT_SAMPLES]; NaN where a candidate does not know the row */
    double log_weights[PILOT_SAMPLES]; /* prior included */
    size_t entries;
    double best;
};

static void store(struct pilot *p, const struct plan_set *set, size_t candidate,
                  const double *const *columns, size_t i, double log_weight)
{
    for (size_t r = 0; r < set->row_count; r++) {
        size_t node = plan_set_node(set, candidate, r);
        p->values[r * PILOT_SAMPLES + p->entries] =
            node == NODE_NONE ? (double)NAN : columns[node][i];
    }
    p->log_weights[p->entries++] = log_weight;
}

/* Leaves out what a heavier sample has made too light. */
static void drop_light(struct pilot *p, const struct plan_set *set)
{
    size_t kept = 0;
    for (size_t i = 0; i < p->entries; i++) {
        if (p->log_weights[i] < p->best + LIGHTEST_LOG)
            continue;
        for (size_t r = 0; r < set->row_count && kept < i; r++)
            p->values[r * PILOT_SAMPLES + kept] = p->values[r * PILOT_SAMPLES + i];
        p->log_weights[kept++] = p->log_weights[i];
    }
    p->entries = kept;
}

static void take_block(struct pilot *p, const struct plan_set *set, size_t candidate,
                       struct sampler *s, uint64_t first, size_t n)
{
    uint64_t drop[BLOCK_SAMPLES];
    double log_weights[BLOCK_SAMPLES] = {0};
    sampler_fill(s, NULL, first, n, drop, NULL);
    size_t valid = sampler_keep(s, n, drop);
    const double *const *columns = sampler_columns(s);
    if (set->weighted)
        evidence_log_weights(&set->plans[candidate], columns, valid, log_weights);
    double best = p->best;
    for (size_t i = 0; i < valid; i++) {
        log_weights[i] += log(set->priors[candidate]);
        p->best = fmax(p->best, log_weights[i]);
    }
    if (p->best > best)
        drop_light(p, set);
    for (size_t i = 0; i < valid && p->entries < PILOT_SAMPLES; i++)
        if (log_weights[i] >= p->best + LIGHTEST_LOG && isfinite(log_weights[i]))
            store(p, set, candidate, columns, i, log_weights[i]);
}

/* Candidates from .. to - 1 are drawn together. */
struct span {
    size_t from, to;
};

/* A candidate alone may be ruled out, so it is not waited for. */
static bool is_enough(const struct pilot *p, bool alone, uint64_t drawn, uint64_t requested)
{
    uint64_t limit = requested / 8 > PILOT_SAMPLES ? requested / 8 : PILOT_SAMPLES;
    return p->entries == PILOT_SAMPLES || (drawn >= limit && (alone || p->entries >= ENTRIES_MIN));
}

/* Returns how many samples were drawn. */
static uint64_t draw(struct pilot *p, const struct plan_set *set, struct sampler *const *samplers,
                     struct span span, uint64_t least, uint64_t requested)
{
    uint64_t drawn = 0;
    bool alone = span.to - span.from < set->count;
    p->entries = 0;
    p->best = (double)-INFINITY;
    while (drawn < requested && (drawn < least || !is_enough(p, alone, drawn, requested))) {
        size_t n = requested - drawn < BLOCK_SAMPLES ? (size_t)(requested - drawn) : BLOCK_SAMPLES;
        for (size_t c = span.from; c < span.to; c++)
            take_block(p, set, c, samplers[c], drawn, n);
        drawn += n;
        if (!set->weighted && drawn >= PILOT_SAMPLES)
            break; /* a run that is no longer is then exact */
    }
    return drawn;
}

struct weighted_value {
    double value, weight;
};

static int compare_values(const void *a, const void *b)
{
    double x = ((const struct weighted_value *)a)->value;
    double y = ((const struct weighted_value *)b)->value;
    return (x > y) - (x < y);
}

/* As many equally weighted values as the weighted ones are worth, in order. Returns how many. */
static size_t even_out(struct weighted_value *list, size_t n, double *sorted)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += list[i].weight;
        squares += list[i].weight * list[i].weight;
    }
    size_t count = (size_t)fmin(fmax(sum * sum / squares, 2.0), (double)PILOT_SAMPLES);
    double before = 0.0;
    for (size_t i = 0, k = 0; i < n && k < count; i++) {
        before += list[i].weight;
        while (k < count && ((double)k + 0.5) / (double)count * sum <= before)
            sorted[k++] = list[i].value;
        if (i + 1 == n)
            while (k < count)
                sorted[k++] = list[i].value;
    }
    return count;
}

/* What lays rows out, and its working space. */
struct layer {
    struct pilot *pilot;
    struct weighted_value *list; /* [PILOT_SAMPLES] */
    double *sorted;              /* [PILOT_SAMPLES] */
};

static packspan_status lay_row_out(const struct layer *l, size_t row, bool weighted,
                                   struct bin_layout **out)
{
    const struct pilot *p = l->pilot;
    size_t n = 0;
    for (size_t i = 0; i < p->entries; i++) {
        double value = p->values[row * PILOT_SAMPLES + i];
        if (!isnan(value))
            l->list[n++] = (struct weighted_value){value, exp(p->log_weights[i] - p->best)};
    }
    if (n == 0) { /* known only under candidates that carry no weight */
        double zero = 0.0;
        return bin_layout_make_alike(&zero, 1, out);
    }
    qsort(l->list, n, sizeof *l->list, compare_values);
    if (weighted)
        return bin_layout_make_alike(l->sorted, even_out(l->list, n, l->sorted), out);
    for (size_t i = 0; i < n; i++)
        l->sorted[i] = l->list[i].value;
    return bin_layout_make(l->sorted, n, out);
}

/* Lays out what the pilot has drawn; nothing when it has no entries. */
static packspan_status lay_rows_out(const struct layer *l, const struct plan_set *set,
                                    struct bin_layout **layouts)
{
    packspan_status status = PACKSPAN_OK;
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK && l->pilot->entries > 0; r++)
        if (!set->rows[r].fixed)
            status = lay_row_out(l, r, set->weighted, &layouts[r]);
    return status;
}

static void set_reference(const struct pilot *p, struct run_outcome *out, size_t candidate)
{
    out->candidates[candidate].has_pilot = p->entries > 0;
    out->candidates[candidate].log_reference = p->entries > 0 ? p->best : out->log_reference;
}

static packspan_status lay_all_out(const struct layer *l, const struct plan_set *set,
                                   struct sampler *const *samplers, uint64_t least,
                                   struct run_outcome *out)
{
    out->piloted =
        draw(l->pilot, set, samplers, (struct span){0, set->count}, least, out->requested);
    out->log_reference = l->pilot->best;
    set_reference(l->pilot, out, 0);
    packspan_status status = lay_rows_out(l, set, out->layouts);
    for (size_t c = 0; c < set->count && set->count > 1 && status == PACKSPAN_OK; c++) {
        draw(l->pilot, set, samplers, (struct span){c, c + 1}, 0, out->requested);
        set_reference(l->pilot, out, c);
        status = lay_rows_out(l, set, out->candidates[c].layouts);
    }
    return status;
}

packspan_status pilot_run(const struct plan_set *set, struct sampler *const *samplers,
                          uint64_t least, struct run_outcome *out)
{
    struct layer l = {.pilot = malloc(sizeof *l.pilot),
                      .list = malloc(PILOT_SAMPLES * sizeof *l.list),
                      .sorted = malloc(PILOT_SAMPLES * sizeof *l.sorted)};
    double *values = malloc(PILOT_SAMPLES * (set->row_count + 1) * sizeof *values);
    packspan_status status = PACKSPAN_NO_MEMORY;
    if (l.pilot && l.list && l.sorted && values) {
        l.pilot->values = values;
        status = lay_all_out(&l, set, samplers, least, out);
    }
    free(values);
    free(l.sorted);
    free(l.list);
    free(l.pilot);
    return status;
}
