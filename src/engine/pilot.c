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
    DRAWN_MAX = 1 << 24, /* as every part draws it */
    WORTH_MIN = 128,     /* what is worth less goes on, up to there */
    CHUNK = 1024         /* entries that find room at a time */
};
/* With weights the pilot is no part of what is counted, so of a candidate there are only as many
 * entries as the bins need, and few where the run is short. */
enum { ENTRIES_FEW = 1024, ENTRIES_ENOUGH = 8192, ENTRIES_SHARE = 64 };
/* Of each of many candidates there are so many in the pilot of all, as far as there is room. */
enum { SHARE_FEW = 32 };
/* So many times as many where they are worth less than one in so many. */
enum { ENTRIES_TIMES = 4 };
/* Of more entries than this times what they are worth, light ones need not be sorted. */
#define SORTED_TIMES 1.5
/* By its best likelihood a candidate's reference is not further than this below that of all, so
 * that weights relative to it can be trusted to be finite. */
#define REFERENCE_LOG_MIN (-300.0)

_Static_assert(PILOT_SAMPLES - 1 <= UINT16_MAX, "entries are numbered in 16 bits");

struct pilot {
    double *chunks[PILOT_SAMPLES / CHUNK]; /* [row][CHUNK] each; NaN where a row is not known */
    double log_weights[PILOT_SAMPLES];     /* prior included */
    size_t entries, enough, room;
    double best;
    /* Those that are sorted, and by how much less they are worth than their weights say. */
    uint16_t kept[PILOT_SAMPLES];
    size_t kept_count;
    double thinned;
};

/* ---- entries ---- */

static void pilot_open(struct pilot *p, size_t enough, size_t room)
{
    p->enough = enough;
    p->room = room < PILOT_SAMPLES ? room : PILOT_SAMPLES;
    p->best = (double)-INFINITY;
}

static void pilot_close(struct pilot *p)
{
    for (size_t k = 0; k < PILOT_SAMPLES / CHUNK; k++) {
        free(p->chunks[k]);
        p->chunks[k] = NULL;
    }
    p->entries = 0;
}

static bool make_room(struct pilot *p, const struct plan_set *set, size_t entries)
{
    for (size_t k = p->entries / CHUNK; k * CHUNK < p->entries + entries; k++) {
        if (!p->chunks[k])
            p->chunks[k] = malloc(CHUNK * (set->row_count + 1) * sizeof *p->chunks[k]);
        if (!p->chunks[k])
            return false;
    }
    return true;
}

static inline double *value_at(const struct pilot *p, size_t row, size_t entry)
{
    return &p->chunks[entry / CHUNK][row * CHUNK + entry % CHUNK];
}

/* Leaves out what a heavier sample has made too light. */
static void drop_light(struct pilot *p, const struct plan_set *set)
{
    size_t kept = 0;
    for (size_t i = 0; i < p->entries; i++) {
        if (p->log_weights[i] < p->best + LIGHTEST_LOG)
            continue;
        for (size_t r = 0; r < set->row_count && kept < i; r++)
            *value_at(p, r, kept) = *value_at(p, r, i);
        p->log_weights[kept++] = p->log_weights[i];
    }
    p->entries = kept;
}

/* Valid samples of a block under one candidate. */
struct drawn {
    size_t candidate, count;
    const double *const *columns;
    double log_weights[BLOCK_SAMPLES]; /* prior included */
    double best;
};

static void draw_block(const struct plan_set *set, size_t candidate, struct sampler *s,
                       uint64_t first, size_t n, struct drawn *d)
{
    uint64_t drop[BLOCK_SAMPLES];
    sampler_fill(s, true, first, n, drop, NULL);
    d->candidate = candidate;
    d->count = sampler_keep(s, true, n, drop);
    d->columns = sampler_columns(s);
    d->best = (double)-INFINITY;
    if (set->weighted)
        evidence_log_weights(&set->plans[candidate], d->columns, d->count, d->log_weights);
    double log_prior = log(set->priors[candidate]);
    for (size_t i = 0; i < d->count; i++) {
        d->log_weights[i] = (set->weighted ? d->log_weights[i] : 0.0) + log_prior;
        d->best = fmax(d->best, d->log_weights[i]);
    }
}

/* What finds no room only tells how heavy samples can be. False when out of memory. */
static bool take_block(struct pilot *p, const struct plan_set *set, const struct drawn *d)
{
    size_t picked[BLOCK_SAMPLES], n = 0;
    if (d->best > p->best) {
        p->best = d->best;
        drop_light(p, set);
    }
    for (size_t i = 0; i < d->count && p->entries + n < p->room; i++)
        if (d->log_weights[i] >= p->best + LIGHTEST_LOG && isfinite(d->log_weights[i]))
            picked[n++] = i;
    if (!make_room(p, set, n))
        return false;
    for (size_t r = 0; r < set->row_count; r++) {
        size_t node = plan_set_node(set, d->candidate, r);
        for (size_t i = 0; i < n; i++)
            *value_at(p, r, p->entries + i) =
                node == NODE_NONE ? (double)NAN : d->columns[node][picked[i]];
    }
    for (size_t i = 0; i < n; i++)
        p->log_weights[p->entries++] = d->log_weights[picked[i]];
    return true;
}

/* ---- drawing ---- */

/* Of all candidates together, and with several of each one. */
struct pilots {
    const struct plan_set *set;
    struct pilot joint, *own;
    uint64_t drawn; /* the same samples under every candidate */
    uint64_t least, requested;
    struct pilot_watch *watch;
};

static bool has_own(const struct plan_set *set)
{
    return set->count > 1;
}

static size_t entries_enough(uint64_t requested)
{
    uint64_t entries = requested / ENTRIES_SHARE;
    entries = entries > ENTRIES_FEW ? entries : ENTRIES_FEW;
    return entries < ENTRIES_ENOUGH ? (size_t)entries : ENTRIES_ENOUGH;
}

static bool open_pilots(struct pilots *all)
{
    const struct plan_set *set = all->set;
    size_t enough = entries_enough(all->requested);
    size_t joint = has_own(set) ? 2 * enough : enough;
    if (joint < SHARE_FEW * set->count)
        joint = SHARE_FEW * set->count < PILOT_SAMPLES ? SHARE_FEW * set->count : PILOT_SAMPLES;
    if (set->weighted)
        pilot_open(&all->joint, joint, ENTRIES_TIMES * joint);
    else
        pilot_open(&all->joint, PILOT_SAMPLES, PILOT_SAMPLES);
    all->own = has_own(set) ? calloc(set->count, sizeof *all->own) : NULL;
    for (size_t c = 0; all->own && c < set->count; c++)
        pilot_open(&all->own[c], enough, ENTRIES_TIMES * enough);
    return all->own || !has_own(set);
}

static void close_pilots(struct pilots *all)
{
    pilot_close(&all->joint);
    for (size_t c = 0; all->own && c < all->set->count; c++)
        pilot_close(&all->own[c]);
    free(all->own);
}

/* How many equally weighted entries tell as much. */
static double worth(const struct pilot *p)
{
    struct weight_sums sums = {0};
    for (size_t i = 0; i < p->entries; i++) {
        double weight = exp(p->log_weights[i] - p->best);
        sums.sum += weight;
        sums.squares += weight * weight;
    }
    return effective_samples(&sums);
}

/* The entries that are enough if they are worth it. */
static size_t many_entries(const struct pilot *p)
{
    return p->enough - p->enough / 16;
}

/* Of so many candidates. */
static bool has_enough(const struct pilot *p, size_t candidates)
{
    size_t least = p->room / 16 > candidates ? p->room / 16 : candidates;
    bool is_full = p->entries > 0 && p->entries + least > p->room;
    return is_full ||
           (p->entries >= many_entries(p) && worth(p) * ENTRIES_TIMES >= (double)p->enough);
}

/* A candidate alone may be ruled out, so it is not waited for. */
static bool is_enough(const struct pilots *all, const struct pilot *p, size_t candidates,
                      uint64_t drawn)
{
    uint64_t limit = all->requested / 8 > PILOT_SAMPLES ? all->requested / 8 : PILOT_SAMPLES;
    if (limit > DRAWN_MAX)
        limit = DRAWN_MAX;
    bool is_alone = p != &all->joint;
    return has_enough(p, candidates) ||
           (drawn >= limit &&
            (is_alone || drawn >= DRAWN_MAX || (p->entries >= WORTH_MIN && worth(p) >= WORTH_MIN)));
}

/* How many samples of the same block come next: so few that all of them find room under every one
 * of `candidates`, or would if heavier ones drove out what is there. */
static size_t next_samples(const struct pilots *all, const struct pilot *p, size_t candidates,
                           uint64_t drawn)
{
    size_t limit = p->entries < many_entries(p) ? p->enough : p->room;
    uint64_t room = (limit - p->entries) / candidates;
    uint64_t block = BLOCK_SAMPLES - drawn % BLOCK_SAMPLES;
    if (room == 0)
        room = (p->room - p->entries) / candidates;
    if (room == 0)
        room = p->room / candidates + 1;
    uint64_t n = room < block ? room : block;
    return (size_t)(all->requested - drawn < n ? all->requested - drawn : n);
}

/* Thread 0 asks, once the pilot takes long, and tells the others. */
static bool goes_on(const struct pilots *all, uint64_t drawn)
{
    enum { PATIENCE = 4 * PILOT_SAMPLES };
    struct pilot_watch *watch = all->watch;
    bool stop, asks = omp_get_thread_num() == 0 && drawn > 0 && drawn % PATIENCE == 0;
    if (asks && watch->progress && !watch->progress(watch->user, 0, all->requested)) {
#pragma omp atomic write
        watch->stop = true;
    }
#pragma omp atomic read
    stop = watch->stop;
    return !stop;
}

/* Whether `p` takes more samples, of which so many are drawn. */
static bool wants_more(const struct pilots *all, const struct pilot *p, size_t candidates,
                       uint64_t drawn)
{
    const struct plan_set *set = all->set;
    if (drawn >= all->requested || !goes_on(all, drawn))
        return false;
    if (!set->weighted)
        return drawn < PILOT_SAMPLES; /* a run that is no longer is then exact */
    return drawn < all->least || !is_enough(all, p, candidates, drawn);
}

/* The same samples under every candidate, until there is enough of them together. */
static packspan_status draw_joint(struct pilots *all, struct sampler *const *samplers)
{
    const struct plan_set *set = all->set;
    bool made = true;
    while (made && wants_more(all, &all->joint, set->count, all->drawn)) {
        size_t n = next_samples(all, &all->joint, set->count, all->drawn);
        for (size_t c = 0; c < set->count && made; c++) {
            struct drawn d;
            draw_block(set, c, samplers[c], all->drawn, n, &d);
            made = take_block(&all->joint, set, &d) &&
                   (!has_own(set) || take_block(&all->own[c], set, &d));
        }
        all->drawn += n;
    }
    return made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

/* What comes after those until there is enough of one candidate. */
static packspan_status draw_own(const struct pilots *all, size_t c, struct sampler *s)
{
    struct pilot *p = &all->own[c];
    uint64_t drawn = all->drawn;
    bool made = true;
    while (made && wants_more(all, p, 1, drawn)) {
        struct drawn d;
        size_t n = next_samples(all, p, 1, drawn);
        draw_block(all->set, c, s, drawn, n, &d);
        made = take_block(p, all->set, &d);
        drawn += n;
    }
    return made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

/* ---- laying out ---- */

/* As many equally weighted values as the weighted ones are worth, `thinned` times what their
 * weights say, in order. Returns how many. */
static size_t even_out(struct weighted_value *list, size_t n, double thinned, double *sorted)
{
    double sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += list[i].weight;
        squares += list[i].weight * list[i].weight;
    }
    size_t count = (size_t)fmin(fmax(thinned * sum * sum / squares, 2.0), (double)PILOT_SAMPLES);
    double before = 0.0, step = sum / (double)count;
    size_t k = 0;
    for (size_t i = 0; i < n && k < count; i++) {
        before += list[i].weight;
        while (k < count && ((double)k + 0.5) * step <= before)
            sorted[k++] = list[i].value;
    }
    while (k < count)
        sorted[k++] = list[n - 1].value;
    return count;
}

/* Working space of one thread. */
struct layer {
    struct weighted_value *list, *spare; /* [PILOT_SAMPLES] */
    double *sorted;                      /* [PILOT_SAMPLES] */
};

static bool layer_open(struct layer *l)
{
    l->list = malloc(PILOT_SAMPLES * sizeof *l->list);
    l->spare = malloc(PILOT_SAMPLES * sizeof *l->spare);
    l->sorted = malloc(PILOT_SAMPLES * sizeof *l->sorted);
    return l->list && l->spare && l->sorted;
}

static void layer_close(struct layer *l)
{
    free(l->list);
    free(l->spare);
    free(l->sorted);
}

static packspan_status lay_row_out(const struct layer *l, const struct pilot *p, size_t row,
                                   bool weighted, struct bin_layout **out)
{
    size_t n = 0;
    for (size_t k = 0; k < p->kept_count; k++) {
        double value = *value_at(p, row, p->kept[k]);
        l->list[n] = (struct weighted_value){value, p->log_weights[p->kept[k]]};
        n += isnan(value) ? 0 : 1;
    }
    if (n == 0) { /* known only under candidates that carry no weight */
        double zero = 0.0;
        return bin_layout_sketch(&zero, 1, out);
    }
    sort_weighted(n, l->list, l->spare);
    if (weighted)
        return bin_layout_sketch(l->sorted, even_out(l->list, n, p->thinned, l->sorted), out);
    for (size_t i = 0; i < n; i++)
        l->sorted[i] = l->list[i].value;
    return bin_layout_make(l->sorted, n, out);
}

/* The weight up to which lighter entries are thinned out, so that about `wanted` are left. */
static double thinning_weight(const struct pilot *p, size_t wanted)
{
    double weight, next = 0.0;
    for (size_t i = 0; i < p->entries; i++)
        next += p->log_weights[i] / (double)wanted;
    do {
        double light = 0.0;
        size_t heavy = 0;
        weight = next;
        for (size_t i = 0; i < p->entries; i++) {
            bool is_heavy = p->log_weights[i] >= weight;
            heavy += is_heavy;
            light += is_heavy ? 0.0 : p->log_weights[i];
        }
        next = heavy < wanted ? light / (double)(wanted - heavy) : weight;
    } while (next < weight);
    return weight;
}

/* Of the lighter entries those are kept, at equal steps of their sum, that then stand for all:
 * sorting is what takes time. Weights are no longer logarithms. */
static void thin_out(struct pilot *p, double weight)
{
    double due = 0.5 * weight;
    for (size_t i = 0; i < p->entries; i++) {
        bool is_light = p->log_weights[i] < weight;
        due -= is_light ? p->log_weights[i] : 0.0;
        if (is_light && due > 0.0)
            continue;
        due += is_light ? weight : 0.0;
        p->log_weights[i] = is_light ? weight : p->log_weights[i];
        p->kept[p->kept_count++] = (uint16_t)i;
    }
}

static void keep_some(struct pilot *p)
{
    double all = worth(p), sum = 0.0, squares = 0.0;
    size_t wanted = (size_t)(SORTED_TIMES * all) + 1;
    for (size_t i = 0; i < p->entries; i++)
        p->log_weights[i] = exp(p->log_weights[i] - p->best);
    thin_out(p, p->entries > wanted ? thinning_weight(p, wanted) : 0.0);
    for (size_t k = 0; k < p->kept_count; k++) {
        double weight = p->log_weights[p->kept[k]];
        sum += weight;
        squares += weight * weight;
    }
    p->thinned = all * squares / (sum * sum);
}

/* Lays out what the pilot has drawn; nothing when it has no entries. */
static packspan_status lay_rows_out(struct pilot *p, const struct plan_set *set,
                                    struct bin_layout **layouts)
{
    struct layer l = {0};
    packspan_status status = layer_open(&l) ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (p->entries > 0)
        keep_some(p);
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK && p->entries > 0; r++)
        if (!set->rows[r].fixed)
            status = lay_row_out(&l, p, r, set->weighted, &layouts[r]);
    layer_close(&l);
    return status;
}

static void set_reference(const struct pilot *p, struct candidate_outcome *o)
{
    o->has_pilot = p->entries > 0;
    o->log_reference = p->best;
}

static packspan_status lay_joint_out(struct pilots *all, struct run_outcome *out)
{
    out->piloted = all->drawn;
    out->log_reference = all->joint.best;
    if (!has_own(all->set))
        set_reference(&all->joint, &out->candidates[0]);
    packspan_status status = lay_rows_out(&all->joint, all->set, out->layouts);
    pilot_close(&all->joint);
    return status;
}

static packspan_status lay_own_out(const struct pilots *all, size_t c, struct sampler *s,
                                   struct candidate_outcome *o)
{
    packspan_status status = draw_own(all, c, s);
    set_reference(&all->own[c], o);
    if (status == PACKSPAN_OK)
        status = lay_rows_out(&all->own[c], all->set, o->layouts);
    pilot_close(&all->own[c]);
    return status;
}

/* The same bins for all where they are good, and else bins of their own. */
static packspan_status share_row(const struct plan_set *set, size_t row, struct run_outcome *out,
                                 struct bin_layout **parts)
{
    struct bin_layout *joint = NULL;
    size_t n = 0;
    parts[n++] = out->layouts[row];
    for (size_t c = 0; c < set->count; c++)
        if (out->candidates[c].layouts[row])
            parts[n++] = out->candidates[c].layouts[row];
    packspan_status status = bin_layout_join(n, (const struct bin_layout *const *)parts, &joint);
    for (size_t k = 0; k < n && !joint; k++)
        bin_layout_lay(parts[k]);
    if (!joint)
        return status;
    for (size_t k = 0; k < n; k++)
        bin_layout_free(parts[k]);
    for (size_t c = 0; c < set->count; c++)
        out->candidates[c].layouts[row] = NULL;
    out->layouts[row] = joint;
    out->shared[row] = true;
    return status;
}

static packspan_status share_layouts(const struct plan_set *set, struct run_outcome *out)
{
    struct bin_layout **parts = calloc(set->count + 1, sizeof(struct bin_layout *));
    packspan_status status = parts ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK; r++)
        if (out->layouts[r])
            status = share_row(set, r, out, parts);
    free(parts);
    return status;
}

/* Candidates that draw no further wait for none that does. */
static packspan_status lay_all_out(struct pilots *all, sampler_lookup *samplers_of, const void *of,
                                   struct run_outcome *out)
{
    size_t tasks = has_own(all->set) ? 1 + all->set->count : 1;
    packspan_status status = PACKSPAN_OK;
#pragma omp parallel for schedule(dynamic) num_threads(out->threads)
    for (size_t t = 0; t < tasks; t++) {
        struct sampler *const *samplers = samplers_of(of, (unsigned)omp_get_thread_num());
        packspan_status result =
            t == 0 ? lay_joint_out(all, out)
                   : lay_own_out(all, t - 1, samplers[t - 1], &out->candidates[t - 1]);
        if (result != PACKSPAN_OK) {
#pragma omp atomic write
            status = result;
        }
    }
    return status;
}

packspan_status pilot_run(const struct plan_set *set, sampler_lookup *samplers_of, const void *of,
                          uint64_t least, struct pilot_watch *watch, struct run_outcome *out)
{
    struct pilots all = {.set = set, .least = least, .requested = out->requested, .watch = watch};
    packspan_status status = open_pilots(&all) ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = draw_joint(&all, samplers_of(of, 0));
    if (status == PACKSPAN_OK)
        status = lay_all_out(&all, samplers_of, of, out);
    close_pilots(&all);
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
