#include "engine/pilot.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "base/sort.h"
#include "engine/replicates.h"
#include "model/block.h"

/* Samples lighter than exp(-16), about 1e-7, of the heaviest say nothing about where bins go. */
#define LIGHTEST_LOG (-16.0)
enum {
    DRAWN_MAX = 1 << 24,  /* as every part draws it; more only while few entries carry weight */
    ENTRIES_MIN = 64,     /* fewer entries that carry weight: go on drawing */
    ENTRIES_ENOUGH = 8192 /* of a candidate: with weights the pilot is no part of what is counted */
};
/* By its best likelihood a candidate's reference is not further than this below that of all, so
 * that weights relative to it can be trusted to be finite. */
#define REFERENCE_LOG_MIN (-300.0)

struct pilot {
    double *values; /* [row][PILOT_SAMPLES]; NaN where a candidate does not know the row */
    double log_weights[PILOT_SAMPLES]; /* prior included */
    size_t entries, room;
    double best;
};

/* Samples `picked` of a block whose log weights are given. */
static void store(struct pilot *p, const struct plan_set *set, size_t candidate,
                  const double *const *columns, size_t n, const size_t *picked,
                  const double *log_weights)
{
    for (size_t r = 0; r < set->row_count; r++) {
        size_t node = plan_set_node(set, candidate, r);
        double *values = p->values + r * PILOT_SAMPLES + p->entries;
        for (size_t i = 0; i < n; i++)
            values[i] = node == NODE_NONE ? (double)NAN : columns[node][picked[i]];
    }
    for (size_t i = 0; i < n; i++)
        p->log_weights[p->entries++] = log_weights[picked[i]];
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
    sampler_fill(s, true, first, n, drop, NULL);
    size_t valid = sampler_keep(s, true, n, drop);
    const double *const *columns = sampler_columns(s);
    if (set->weighted)
        evidence_log_weights(&set->plans[candidate], columns, valid, log_weights);
    double best = p->best, log_prior = log(set->priors[candidate]);
    for (size_t i = 0; i < valid; i++) {
        log_weights[i] += log_prior;
        p->best = fmax(p->best, log_weights[i]);
    }
    if (p->best > best)
        drop_light(p, set);
    size_t picked[BLOCK_SAMPLES], count = 0;
    for (size_t i = 0; i < valid && p->entries + count < p->room; i++)
        if (log_weights[i] >= p->best + LIGHTEST_LOG && isfinite(log_weights[i]))
            picked[count++] = i;
    store(p, set, candidate, columns, count, picked, log_weights);
}

/* Candidates from .. to - 1 are drawn together. */
struct span {
    size_t from, to;
};

/* A candidate alone may be ruled out, so it is not waited for. */
static bool is_enough(const struct pilot *p, bool alone, uint64_t drawn, uint64_t requested)
{
    uint64_t limit = requested / 8 > PILOT_SAMPLES ? requested / 8 : PILOT_SAMPLES;
    if (limit > DRAWN_MAX)
        limit = DRAWN_MAX;
    return p->entries >= p->room - p->room / 16 ||
           (drawn >= limit && (alone || p->entries >= ENTRIES_MIN));
}

/* How many samples of the same block come next: so few that all of them find room under every
 * candidate, or would if heavier ones drove out what is there. */
static size_t next_samples(const struct pilot *p, size_t candidates, uint64_t drawn,
                           uint64_t requested)
{
    uint64_t room = (p->room - p->entries) / candidates;
    uint64_t block = BLOCK_SAMPLES - drawn % BLOCK_SAMPLES;
    if (room == 0)
        room = p->room / candidates + 1;
    uint64_t n = room < block ? room : block;
    return (size_t)(requested - drawn < n ? requested - drawn : n);
}

/* Thread 0 asks, once the pilot takes long, and tells the others. */
static bool goes_on(struct pilot_watch *watch, uint64_t drawn, uint64_t requested)
{
    enum { PATIENCE = 4 * PILOT_SAMPLES };
    bool stop, asks = omp_get_thread_num() == 0 && drawn > 0 && drawn % PATIENCE == 0;
    if (asks && watch->progress && !watch->progress(watch->user, 0, requested)) {
#pragma omp atomic write
        watch->stop = true;
    }
#pragma omp atomic read
    stop = watch->stop;
    return !stop;
}

/* Returns how many samples were drawn, the same ones under every candidate. What finds no room only
 * tells how heavy samples can be. */
static uint64_t draw(struct pilot *p, const struct plan_set *set, struct sampler *const *samplers,
                     struct span span, uint64_t least, uint64_t requested,
                     struct pilot_watch *watch)
{
    uint64_t drawn = 0;
    size_t candidates = span.to - span.from;
    bool alone = candidates < set->count;
    p->room = PILOT_SAMPLES;
    if (set->weighted && ENTRIES_ENOUGH * candidates < PILOT_SAMPLES)
        p->room = ENTRIES_ENOUGH * candidates;
    p->entries = 0;
    p->best = (double)-INFINITY;
    while (drawn < requested && goes_on(watch, drawn, requested)) {
        if (set->weighted && drawn >= least && is_enough(p, alone, drawn, requested))
            break;
        size_t n = next_samples(p, candidates, drawn, requested);
        for (size_t c = span.from; c < span.to; c++)
            take_block(p, set, c, samplers[c], drawn, n);
        drawn += n;
        if (!set->weighted && drawn >= PILOT_SAMPLES)
            break; /* a run that is no longer is then exact */
    }
    return drawn;
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
    struct pilot pilot;
    struct weighted_value *list, *spare; /* [PILOT_SAMPLES] */
    double *sorted;                      /* [PILOT_SAMPLES] */
};

static bool layer_open(const struct plan_set *set, struct layer *l)
{
    l->pilot.values = malloc(PILOT_SAMPLES * (set->row_count + 1) * sizeof *l->pilot.values);
    l->list = malloc(PILOT_SAMPLES * sizeof *l->list);
    l->spare = malloc(PILOT_SAMPLES * sizeof *l->spare);
    l->sorted = malloc(PILOT_SAMPLES * sizeof *l->sorted);
    return l->pilot.values && l->list && l->spare && l->sorted;
}

static void layer_close(struct layer *l)
{
    free(l->pilot.values);
    free(l->list);
    free(l->spare);
    free(l->sorted);
}

static packspan_status lay_row_out(const struct layer *l, size_t row, bool weighted,
                                   struct bin_layout **out)
{
    const struct pilot *p = &l->pilot;
    size_t n = 0;
    for (size_t i = 0; i < p->entries; i++) {
        double value = p->values[row * PILOT_SAMPLES + i];
        if (!isnan(value))
            l->list[n++] = (struct weighted_value){value, p->log_weights[i]};
    }
    if (n == 0) { /* known only under candidates that carry no weight */
        double zero = 0.0;
        return bin_layout_make_alike(&zero, 1, out);
    }
    sort_weighted(n, l->list, l->spare);
    if (weighted)
        return bin_layout_make_alike(l->sorted, even_out(l->list, n, l->sorted), out);
    for (size_t i = 0; i < n; i++)
        l->sorted[i] = l->list[i].value;
    return bin_layout_make(l->sorted, n, out);
}

/* Lays out what the pilot has drawn; nothing when it has no entries. */
static packspan_status lay_rows_out(struct layer *l, const struct plan_set *set,
                                    struct bin_layout **layouts)
{
    packspan_status status = PACKSPAN_OK;
    struct pilot *p = &l->pilot;
    for (size_t i = 0; i < p->entries; i++) /* no longer logarithms */
        p->log_weights[i] = exp(p->log_weights[i] - p->best);
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK && p->entries > 0; r++)
        if (!set->rows[r].fixed)
            status = lay_row_out(l, r, set->weighted, &layouts[r]);
    return status;
}

static void set_reference(const struct pilot *p, struct run_outcome *out, size_t candidate)
{
    out->candidates[candidate].has_pilot = p->entries > 0;
    out->candidates[candidate].log_reference = p->best;
}

/* One task of the pilot: candidates from .. to - 1, whose layouts go to `layouts`. */
struct pilot_task {
    struct span span;
    uint64_t least;
    struct bin_layout **layouts;
};

static packspan_status run_task(const struct pilot_task *task, const struct plan_set *set,
                                struct sampler *const *samplers, struct pilot_watch *watch,
                                struct run_outcome *out)
{
    struct layer l = {0};
    packspan_status status = PACKSPAN_NO_MEMORY;
    if (layer_open(set, &l)) {
        uint64_t drawn =
            draw(&l.pilot, set, samplers, task->span, task->least, out->requested, watch);
        if (task->layouts == out->layouts) {
            out->piloted = drawn;
            out->log_reference = l.pilot.best;
        }
        if (task->span.to - task->span.from == 1)
            set_reference(&l.pilot, out, task->span.from);
        status = lay_rows_out(&l, set, task->layouts);
    }
    layer_close(&l);
    return status;
}

/* Where the same bins are good for all. */
static packspan_status share_layouts(const struct plan_set *set, struct run_outcome *out)
{
    const struct bin_layout **parts = calloc(set->count + 1, sizeof(struct bin_layout *));
    packspan_status status = parts ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK; r++) {
        struct bin_layout *joint = NULL;
        size_t n = 0;
        if (!out->layouts[r])
            continue;
        parts[n++] = out->layouts[r];
        for (size_t c = 0; c < set->count; c++)
            if (out->candidates[c].layouts[r])
                parts[n++] = out->candidates[c].layouts[r];
        status = bin_layout_join(n, parts, &joint);
        if (!joint)
            continue;
        out->shared[r] = true;
        bin_layout_free(out->layouts[r]);
        out->layouts[r] = joint;
        for (size_t c = 0; c < set->count; c++) {
            bin_layout_free(out->candidates[c].layouts[r]);
            out->candidates[c].layouts[r] = NULL;
        }
    }
    free(parts);
    return status;
}

/* All candidates together are the first task, and each of several is one more. */
packspan_status pilot_run(const struct plan_set *set, sampler_lookup *samplers_of, const void *of,
                          uint64_t least, struct pilot_watch *watch, struct run_outcome *out)
{
    size_t tasks = set->count > 1 ? 1 + set->count : 1;
    packspan_status status = PACKSPAN_OK;
#pragma omp parallel for schedule(static, 1) num_threads(out->threads)
    for (size_t t = 0; t < tasks; t++) {
        struct pilot_task task = {{0, set->count}, least, out->layouts};
        if (t > 0)
            task = (struct pilot_task){{t - 1, t}, least, out->candidates[t - 1].layouts};
        packspan_status result =
            run_task(&task, set, samplers_of(of, (unsigned)omp_get_thread_num()), watch, out);
        if (result != PACKSPAN_OK) {
#pragma omp atomic write
            status = result;
        }
    }
    for (size_t c = 0; c < set->count; c++) {
        struct candidate_outcome *o = &out->candidates[c];
        double lowest = out->log_reference + log(set->priors[c]) + REFERENCE_LOG_MIN;
        o->log_reference = o->has_pilot ? fmax(o->log_reference, lowest) : out->log_reference;
    }
    if (status == PACKSPAN_OK && watch->stop)
        status = PACKSPAN_INTERRUPTED;
    if (status == PACKSPAN_OK && out->replicates)
        replicates_mark(out->replicates, out);
    if (status == PACKSPAN_OK && set->weighted)
        status = share_layouts(set, out);
    return status;
}
