#include "engine/run.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "base/hot_loop.h"
#include "draw/stream.h"
#include "engine/pilot.h"
#include "engine/replicates.h"
#include "engine/stability.h"
#include "model/block.h"

/* ROUND_BLOCKS blocks lie between two merges. */
enum { ROUND_BLOCKS = 64, HOPELESS_SAMPLES = 1 << 20 };

/* Weights are tallied as whole numbers, so that the order of adding does not matter. The heaviest
 * sample of the pilot counts 2^36, or less in a long run, so that sums stay below 2^60 or so; what
 * rounds to 0 is left out. */
enum { WEIGHT_BITS = 36, SUM_BITS = 60 };
/* A sample may outweigh the pilot's heaviest by this factor; else the run starts again. */
#define OUTWEIGHS_MAX 1024.0
/* Fewer steps of weight than this, up to a candidate's heaviest sample, are too coarse. */
#define WEIGHT_STEPS_MIN 256.0

/* Whole-number tallies of one thread under one candidate. */
struct worker_tally {
    struct sampler *sampler;
    uint64_t *drop;               /* [BLOCK_SAMPLES]: which samples of the block are invalid */
    struct bin_counter *counters; /* [rows]: unless weighted */
    uint64_t **counts;            /* [rows]: weights in the candidate's bins */
    uint64_t **mixture;           /* [rows]: in the bins of all together; NULL with one candidate */
    uint64_t *outside;            /* [rows] */
    uint64_t *invalid_by_node;
    struct claim_count *claims;
};

/* What one block gives under one candidate; merged in the order of the samples. */
struct block_part {
    struct moments *moments; /* [rows] */
    uint64_t weight_units;
    struct weight_sums weights;
    struct observation_sums *observations;
    struct evidence_sums evidence;
    struct route_moments *routes;
    struct replicate_part replicate; /* where there are replicates */
};

struct runner {
    const struct plan_set *set;
    struct run_outcome *out;
    struct worker_tally *workers; /* [thread][candidate] */
    struct block_part *parts;     /* [block][candidate] */
    struct weight_sums joint[ROUND_BLOCKS];
    uint64_t *scratch; /* counts of one row, to judge its stability */
};

static struct worker_tally *worker_of(const struct runner *run, unsigned thread, size_t candidate)
{
    return &run->workers[thread * run->set->count + candidate];
}

/* ---- setting up ---- */

static packspan_status open_worker(const struct plan_set *set, size_t c, struct worker_tally *w)
{
    const struct plan *p = &set->plans[c];
    w->counters = calloc(set->row_count + 1, sizeof *w->counters);
    w->counts = calloc(set->row_count + 1, sizeof *w->counts);
    w->outside = calloc(set->row_count + 1, sizeof *w->outside);
    w->invalid_by_node = calloc(p->node_count + 1, sizeof *w->invalid_by_node);
    w->claims = calloc(set->source->claim_count + 1, sizeof *w->claims);
    if (!w->counters || !w->counts || !w->outside || !w->invalid_by_node || !w->claims)
        return PACKSPAN_NO_MEMORY;
    w->drop = calloc(BLOCK_SAMPLES, sizeof *w->drop);
    if (!w->drop)
        return PACKSPAN_NO_MEMORY;
    return sampler_open(p, set->twins[c], &w->sampler);
}

static void free_counts(const struct plan_set *set, uint64_t **counts)
{
    for (size_t r = 0; counts && r < set->row_count; r++)
        free(counts[r]);
    free(counts);
}

static void free_worker(const struct plan_set *set, struct worker_tally *w)
{
    for (size_t r = 0; w->counters && r < set->row_count; r++)
        bin_counter_close(&w->counters[r]);
    free(w->counters);
    free_counts(set, w->counts);
    free(w->outside);
    free(w->invalid_by_node);
    free(w->claims);
    free(w->drop);
    sampler_free(w->sampler);
}

static bool open_part(const struct plan_set *set, bool replicated, struct block_part *part)
{
    part->moments = calloc(set->row_count + 1, sizeof *part->moments);
    part->observations = calloc(set->source->observation_count + 1, sizeof *part->observations);
    part->routes = calloc(set->route_set_count + 1, sizeof *part->routes);
    return part->moments && part->observations && part->routes &&
           (!replicated || replicate_part_open(set, &part->replicate));
}

static void free_part(struct block_part *part)
{
    free(part->moments);
    free(part->observations);
    free(part->routes);
    replicate_part_close(&part->replicate);
}

static packspan_status open_replicates(const struct plan_set *set, struct run_outcome *out)
{
    const struct settings *settings = &set->source->settings;
    if (!settings->sobol && settings->stable == 0)
        return PACKSPAN_OK;
    packspan_status status =
        replicates_open(set, settings->sobol ? REPLICATES : 1, &out->replicates);
    if (status == PACKSPAN_OK && settings->stable > 0)
        status = stability_open(set, &out->stability);
    if (status == PACKSPAN_OK && !settings->sobol)
        stability_watch(out->stability, out->replicates);
    return status;
}

static bool open_candidate(const struct plan_set *set, size_t c, struct candidate_outcome *o)
{
    const struct case_data *source = set->source;
    o->layouts = calloc(set->row_count + 1, sizeof(struct bin_layout *));
    o->counts = calloc(set->row_count + 1, sizeof *o->counts);
    o->moments = calloc(set->row_count + 1, sizeof *o->moments);
    o->outside = calloc(set->row_count + 1, sizeof *o->outside);
    o->invalid_by_node = calloc(set->plans[c].node_count + 1, sizeof *o->invalid_by_node);
    o->claims = calloc(source->claim_count + 1, sizeof *o->claims);
    o->observations = calloc(source->observation_count + 1, sizeof *o->observations);
    o->routes = calloc(set->route_set_count + 1, sizeof *o->routes);
    if (!o->layouts || !o->counts || !o->moments || !o->outside || !o->invalid_by_node ||
        !o->claims || !o->observations || !o->routes)
        return false;
    for (size_t r = 0; r < set->row_count; r++)
        moments_init(&o->moments[r]);
    evidence_sums_init(o->observations, source->observation_count, &o->evidence);
    return true;
}

static packspan_status open_runner(struct runner *run)
{
    const struct plan_set *set = run->set;
    struct run_outcome *out = run->out;
    run->workers = calloc(out->threads * set->count, sizeof *run->workers);
    run->parts = calloc(ROUND_BLOCKS * set->count, sizeof *run->parts);
    out->layouts = calloc(set->row_count + 1, sizeof(struct bin_layout *));
    out->candidates = calloc(set->count, sizeof *out->candidates);
    if (set->count > 1)
        out->counts = calloc(set->row_count + 1, sizeof *out->counts);
    if (!run->workers || !run->parts || !out->layouts || !out->candidates ||
        (set->count > 1 && !out->counts))
        return PACKSPAN_NO_MEMORY;
    packspan_status status = open_replicates(set, out);
    for (size_t i = 0; i < ROUND_BLOCKS * set->count && status == PACKSPAN_OK; i++)
        if (!open_part(set, out->replicates != NULL, &run->parts[i]))
            return PACKSPAN_NO_MEMORY;
    for (size_t c = 0; c < set->count && status == PACKSPAN_OK; c++) {
        if (!open_candidate(set, c, &out->candidates[c]))
            return PACKSPAN_NO_MEMORY;
        for (unsigned t = 0; t < out->threads && status == PACKSPAN_OK; t++)
            status = open_worker(set, c, worker_of(run, t, c));
    }
    return status;
}

static void free_runner(struct runner *run)
{
    const struct plan_set *set = run->set;
    for (size_t i = 0; run->workers && i < run->out->threads * set->count; i++) {
        if (i % set->count == 0) /* a thread's candidates share it */
            free_counts(set, run->workers[i].mixture);
        free_worker(set, &run->workers[i]);
    }
    for (size_t i = 0; run->parts && i < ROUND_BLOCKS * set->count; i++)
        free_part(&run->parts[i]);
    free(run->workers);
    free(run->parts);
    free(run->scratch);
}

const struct bin_layout *run_layout(const struct run_outcome *r, size_t candidate, size_t row)
{
    return r->set->count > 1 ? r->candidates[candidate].layouts[row] : r->layouts[row];
}

static bool make_counts(const struct bin_layout *layout, uint64_t **counts)
{
    if (layout)
        *counts = calloc(bin_layout_size(layout), sizeof **counts);
    return !layout || *counts;
}

/* Room for a row's counts under a candidate. */
static bool open_row(const struct runner *run, struct worker_tally *w, size_t c, size_t r)
{
    const struct bin_layout *layout = run_layout(run->out, c, r);
    if (run->set->weighted || !layout)
        return make_counts(layout, &w->counts[r]);
    return bin_counter_open(layout, &w->counters[r]) == PACKSPAN_OK;
}

static bool open_mixture(const struct runner *run, unsigned thread)
{
    const struct plan_set *set = run->set;
    uint64_t **mixture = calloc(set->row_count + 1, sizeof *mixture);
    bool made = mixture != NULL;
    for (size_t c = 0; c < set->count; c++)
        worker_of(run, thread, c)->mixture = mixture;
    for (size_t r = 0; r < set->row_count && made; r++)
        made = make_counts(run->out->layouts[r], &mixture[r]);
    return made;
}

static bool open_counts(const struct runner *run)
{
    const struct plan_set *set = run->set;
    bool made = true;
    for (size_t r = 0; r < set->row_count && made && !set->weighted; r++)
        made = make_counts(run->out->layouts[r], &run->out->candidates[0].counts[r]);
    for (unsigned t = 0; t < run->out->threads && made; t++) {
        for (size_t c = 0; c < set->count; c++)
            for (size_t r = 0; r < set->row_count && made; r++)
                made = open_row(run, worker_of(run, t, c), c, r);
        made = made && (set->count == 1 || open_mixture(run, t));
    }
    return made;
}

/* For the replicates and their stability, when the bins are laid out. */
static bool open_marks(struct runner *run)
{
    const struct stability *s = run->out->stability;
    size_t most = 1;
    if (run->out->replicates)
        replicates_mark(run->out->replicates, run->out);
    for (size_t i = 0; s && i < s->count; i++) {
        const struct bin_layout *layout = run->out->layouts[s->rows[i].row];
        if (layout && bin_layout_size(layout) > most)
            most = bin_layout_size(layout);
    }
    run->scratch = s ? calloc(most, sizeof *run->scratch) : NULL;
    return !s || run->scratch;
}

/* Lays the bins out and makes room for the counts. */
static packspan_status lay_out(struct runner *run, uint64_t least)
{
    const struct plan_set *set = run->set;
    struct sampler **samplers = calloc(set->count, sizeof(struct sampler *));
    if (!samplers)
        return PACKSPAN_NO_MEMORY;
    for (size_t c = 0; c < set->count; c++)
        samplers[c] = run->workers[c].sampler;
    packspan_status status = pilot_run(set, samplers, least, run->out);
    free(samplers);
    if (status == PACKSPAN_OK && !(open_counts(run) && open_marks(run)))
        status = PACKSPAN_NO_MEMORY;
    return status;
}

/* ---- one block ---- */

void claim_count_add(struct claim_count *into, const struct claim_count *part)
{
    into->above += part->above;
    into->below += part->below;
    into->under += part->under;
    into->at += part->at;
    into->total += part->total;
}

uint64_t claim_count_against(const struct claim_count *count, enum claim_sense sense)
{
    return (sense != CLAIM_AT_LEAST ? count->above : 0) +
           (sense != CLAIM_AT_MOST ? count->below : 0);
}

/* `weights` is NULL where every sample counts 1. */
static uint64_t weight_at(const uint64_t *weights, size_t i)
{
    return weights ? weights[i] : 1;
}

static inline bool is_outside(double x, double low, double high, bool low_open, bool high_open)
{
    return (x < low) | (x > high) | (low_open & (x == low)) | (high_open & (x == high));
}

static uint64_t count_outside(size_t n, const double *restrict x, double low, double high,
                              bool low_open, bool high_open)
{
    uint64_t outside = 0;
    for (size_t i = 0; i < n; i++)
        outside += is_outside(x[i], low, high, low_open, high_open);
    return outside;
}

static uint64_t weight_outside(size_t n, const double *x, const struct quantity *q,
                               const uint64_t *weights)
{
    uint64_t outside = 0;
    if (!weights)
        return count_outside(n, x, q->low, q->high, q->low_open, q->high_open);
    for (size_t i = 0; i < n; i++)
        if (is_outside(x[i], q->low, q->high, q->low_open, q->high_open))
            outside += weights[i];
    return outside;
}

static void count_claim(const struct claim *claim, size_t n, const double *x,
                        const uint64_t *weights, struct claim_count *count)
{
    double value = claim->to_si.scale * claim->value + claim->to_si.offset;
    double tolerance = claim->to_si.scale * claim->tolerance;
    for (size_t i = 0; i < n; i++) {
        uint64_t w = weight_at(weights, i);
        count->above += x[i] > value + tolerance ? w : 0;
        count->below += x[i] < value - tolerance ? w : 0;
        count->under += x[i] < value ? w : 0;
        count->at += x[i] == value ? w : 0;
        count->total += w;
    }
}

static void sum_routes(const struct plan_set *set, size_t c, const struct route_set *routes,
                       const double *const *columns, size_t n, const uint64_t *weights,
                       struct route_moments *m)
{
    *m = (struct route_moments){0};
    const double *x[ROUTES_MAX];
    for (size_t i = 0; i < n; i++)
        m->weight += (double)weight_at(weights, i);
    if (m->weight == 0.0)
        return;
    for (size_t a = 0; a < routes->count; a++) {
        x[a] = columns[plan_set_node(set, c, routes->rows[a])];
        double sum = 0.0;
        for (size_t i = 0; i < n; i++)
            sum += (double)weight_at(weights, i) * x[a][i];
        m->mean[a] = sum / m->weight;
    }
    for (size_t a = 0; a < routes->count; a++)
        for (size_t b = 0; b <= a; b++)
            for (size_t i = 0; i < n; i++)
                m->products[a][b] +=
                    (double)weight_at(weights, i) * (x[a][i] - m->mean[a]) * (x[b][i] - m->mean[b]);
}

void route_moments_merge(struct route_moments *into, const struct route_moments *part, size_t count)
{
    if (part->weight == 0.0)
        return;
    double total = into->weight + part->weight, share = part->weight / total;
    double gap[ROUTES_MAX];
    for (size_t a = 0; a < count; a++)
        gap[a] = part->mean[a] - into->mean[a];
    for (size_t a = 0; a < count; a++)
        for (size_t b = 0; b <= a; b++)
            into->products[a][b] += part->products[a][b] + gap[a] * gap[b] * into->weight * share;
    for (size_t a = 0; a < count; a++)
        into->mean[a] += gap[a] * share;
    into->weight = total;
}

static struct moments fixed_moments(double value, size_t n, const uint64_t *weights)
{
    struct moments m = {0, value, 0.0, value, value};
    for (size_t i = 0; i < n; i++)
        m.count += weight_at(weights, i);
    return m;
}

static void tally_plain(const struct runner *run, const struct worker_tally *w, size_t r, size_t n,
                        const double *x, struct moments *m)
{
    moments_of(n, x, m);
    if (run->out->layouts[r])
        bin_count(run->out->layouts[r], n, x, &w->counters[r]);
}

static void tally_weighted(const struct runner *run, size_t c, const struct worker_tally *w,
                           size_t r, size_t n, const double *x, const uint64_t *weights,
                           struct moments *m)
{
    moments_of_weighted(n, x, weights, m);
    if (w->counts[r])
        bin_count_weighted(run_layout(run->out, c, r), n, x, weights, w->counts[r]);
    if (w->mixture && w->mixture[r])
        bin_count_weighted(run->out->layouts[r], n, x, weights, w->mixture[r]);
}

/* Tallies n samples that are left in the columns. */
static void tally_samples(const struct runner *run, size_t c, struct worker_tally *w, size_t n,
                          const uint64_t *weights, struct block_part *part)
{
    const struct plan_set *set = run->set;
    const struct plan *p = &set->plans[c];
    const double *const *columns = sampler_columns(w->sampler);
    for (size_t r = 0; r < set->row_count; r++) {
        size_t k = plan_set_node(set, c, r);
        moments_init(&part->moments[r]);
        if (k == NODE_NONE || n == 0)
            continue;
        const struct plan_node *node = &p->nodes[k];
        const struct quantity *q = &quantities[node->quantity];
        const double *x = columns[k];
        if (node->fixed)
            part->moments[r] = fixed_moments(x[0], n, weights);
        else if (weights)
            tally_weighted(run, c, w, r, n, x, weights, &part->moments[r]);
        else
            tally_plain(run, w, r, n, x, &part->moments[r]);
        const struct moments *m = &part->moments[r];
        if (node->kind != NODE_INPUT &&
            !(quantity_holds(node->quantity, m->min) && quantity_holds(node->quantity, m->max)))
            w->outside[r] += weight_outside(n, x, q, weights);
    }
    for (size_t k = 0; k < set->source->claim_count; k++) {
        struct claim_count count = {0};
        count_claim(&set->source->claims[k], n, columns[p->claim_nodes[k]], weights, &count);
        claim_count_add(&w->claims[k], &count);
        if (run->out->replicates)
            part->replicate.claims[k] = count;
    }
    if (run->out->replicates)
        replicates_tally(run->out->replicates, c, n, columns, weights, &part->replicate);
    for (size_t k = 0; k < set->route_set_count; k++)
        sum_routes(set, c, &set->routes[k], columns, n, weights, &part->routes[k]);
}

static void sum_evidence(const struct runner *run, size_t c, const struct worker_tally *w, size_t n,
                         struct block_part *part)
{
    const struct plan_set *set = run->set;
    const double *const *columns = sampler_columns(w->sampler);
    const double *targets[TARGET_COUNT];
    for (int t = 0; t < TARGET_COUNT; t++) {
        size_t row = plan_set_find(set, set->source->subject,
                                   evidence_target_quantity((enum evidence_target)t), TRIP_NONE);
        size_t node = row == SIZE_MAX ? NODE_NONE : plan_set_node(set, c, row);
        targets[t] = node == NODE_NONE ? NULL : columns[node];
    }
    evidence_sum(&set->plans[c], columns, targets, n, part->observations, &part->evidence);
}

static void add_weight(struct weight_sums *sums, double weight)
{
    sums->sum += weight;
    sums->squares += weight * weight;
    sums->largest = fmax(sums->largest, weight);
}

/* Whole-number weights of n samples, whose relative weights, priors included, are also added to
 * joint[origin[i]]. What rounds to nothing gets drop[i] = 1; the others' weights close ranks. */
static void weigh(const struct runner *run, size_t c, const struct worker_tally *w, size_t n,
                  const size_t *origin, double *joint, uint64_t *drop, uint64_t *weights,
                  struct block_part *part)
{
    const struct plan_set *set = run->set;
    double log_weights[BLOCK_SAMPLES], log_prior = log(set->priors[c]);
    size_t kept = 0;
    evidence_log_weights(&set->plans[c], sampler_columns(w->sampler), n, log_weights);
    for (size_t i = 0; i < n; i++) {
        double log_weight = log_weights[i] + log_prior;
        double weight = exp(log_weight - run->out->log_reference);
        add_weight(&part->weights, exp(log_weight - run->out->candidates[c].log_reference));
        joint[origin[i]] += weight;
        uint64_t whole = (uint64_t)llrint(fmin(weight, OUTWEIGHS_MAX) * run->out->weight_unit);
        drop[i] = whole == 0;
        if (whole)
            weights[kept++] = whole;
    }
}

/* Tallies the n samples that w->sampler is filled with. */
static void tally_candidate(const struct runner *run, size_t c, struct worker_tally *w, size_t n,
                            double *joint, struct block_part *part)
{
    uint64_t drop[BLOCK_SAMPLES], weights[BLOCK_SAMPLES];
    size_t origin[BLOCK_SAMPLES], valid = 0;
    part->weights = (struct weight_sums){0};
    if (!run->set->weighted) {
        part->weight_units = sampler_keep(w->sampler, n, w->drop);
        tally_samples(run, c, w, part->weight_units, NULL, part);
        return;
    }
    for (size_t i = 0; i < n; i++)
        if (!w->drop[i])
            origin[valid++] = i;
    sampler_keep(w->sampler, n, w->drop);
    part->replicate.samples = (double)valid;
    sum_evidence(run, c, w, valid, part);
    weigh(run, c, w, valid, origin, joint, drop, weights, part);
    part->replicate.likelihood = part->weights.sum;
    size_t kept = sampler_keep(w->sampler, valid, drop);
    part->weight_units = 0;
    for (size_t i = 0; i < kept; i++)
        part->weight_units += weights[i];
    tally_samples(run, c, w, kept, weights, part);
}

static void tally_block(struct runner *run, unsigned thread, uint64_t first, size_t n, size_t block)
{
    double joint[BLOCK_SAMPLES] = {0.0};
    size_t candidates = run->set->count;
    for (size_t c = 0; c < candidates; c++) {
        struct worker_tally *w = worker_of(run, thread, c);
        const struct sampler *base = c > 0 ? worker_of(run, thread, 0)->sampler : NULL;
        sampler_fill(w->sampler, base, first, n, w->drop, w->invalid_by_node);
    }
    for (size_t c = 0; c < candidates; c++)
        tally_candidate(run, c, worker_of(run, thread, c), n, joint,
                        &run->parts[block * candidates + c]);
    run->joint[block] = (struct weight_sums){0};
    for (size_t i = 0; i < n && run->set->weighted; i++)
        add_weight(&run->joint[block], joint[i]);
}

/* ---- rounds ---- */

static void merge_weights(struct weight_sums *into, const struct weight_sums *part)
{
    into->sum += part->sum;
    into->squares += part->squares;
    into->largest = fmax(into->largest, part->largest);
}

static void merge_part(const struct plan_set *set, struct candidate_outcome *o,
                       const struct block_part *part)
{
    for (size_t r = 0; r < set->row_count; r++)
        moments_merge(&o->moments[r], &part->moments[r]);
    for (size_t k = 0; k < set->route_set_count; k++)
        route_moments_merge(&o->routes[k], &part->routes[k], set->routes[k].count);
    o->weight_units += part->weight_units;
    if (!set->weighted)
        return;
    merge_weights(&o->weights, &part->weights);
    evidence_sums_merge(o->observations, part->observations, set->source->observation_count,
                        &o->evidence, &part->evidence);
}

/* Into the replicate that the block belongs to, or the sequence that is going on. */
static void merge_replicates(const struct runner *run, uint64_t first, size_t block)
{
    struct run_outcome *out = run->out;
    const struct plan_set *set = run->set;
    const struct block_part *parts = &run->parts[block * set->count];
    bool is_sobol = set->source->settings.sobol;
    size_t replicate = is_sobol ? stream_replicate(first + block * BLOCK_SAMPLES) : 0;
    double valid = (double)parts->weight_units;
    struct weight_sums plain = {valid, valid, 1.0};
    if (!out->replicates)
        return;
    for (size_t c = 0; c < set->count; c++)
        replicates_add(out->replicates, replicate, c, &parts[c].replicate, parts[c].moments);
    if (!is_sobol)
        stability_step(out->stability, out->replicates,
                       set->weighted ? &run->joint[block] : &plain);
}

/* Blocks in parallel, merged in the order of the samples. */
static void tally_round(struct runner *run, uint64_t first, uint64_t samples)
{
    const struct plan_set *set = run->set;
    size_t blocks = (size_t)((samples + BLOCK_SAMPLES - 1) / BLOCK_SAMPLES);
#pragma omp parallel for schedule(dynamic) num_threads(run->out->threads)
    for (size_t b = 0; b < blocks; b++) {
        uint64_t start = (uint64_t)b * BLOCK_SAMPLES;
        size_t n = samples - start < BLOCK_SAMPLES ? (size_t)(samples - start) : BLOCK_SAMPLES;
        tally_block(run, (unsigned)omp_get_thread_num(), first + start, n, b);
    }
    for (size_t b = 0; b < blocks; b++) {
        for (size_t c = 0; c < set->count; c++)
            merge_part(set, &run->out->candidates[c], &run->parts[b * set->count + c]);
        merge_weights(&run->out->joint, &run->joint[b]);
        merge_replicates(run, first, b);
    }
}

static uint64_t count_invalid(const struct runner *run, size_t c)
{
    uint64_t invalid = 0;
    for (unsigned t = 0; t < run->out->threads; t++)
        for (size_t k = 0; k < run->set->plans[c].node_count; k++)
            invalid += worker_of(run, t, c)->invalid_by_node[k];
    return invalid;
}

double effective_samples(const struct weight_sums *w)
{
    return w->squares > 0.0 ? w->sum * w->sum / w->squares : 0.0;
}

static void count_samples(struct runner *run)
{
    for (size_t c = 0; c < run->set->count; c++) {
        struct candidate_outcome *o = &run->out->candidates[c];
        o->invalid = count_invalid(run, c);
        o->samples = run->out->drawn - o->invalid;
    }
}

static bool is_invalid_beyond(const struct run_outcome *r, uint64_t samples)
{
    for (size_t c = 0; c < r->set->count; c++)
        if ((double)r->candidates[c].invalid > INVALID_SHARE_MAX * (double)samples)
            return true;
    return false;
}

bool run_has_too_many_invalid(const struct run_outcome *r)
{
    return is_invalid_beyond(r, r->drawn);
}

bool run_is_weightless(const struct run_outcome *r, size_t candidate)
{
    const struct candidate_outcome *o = &r->candidates[candidate];
    double heaviest = o->weights.largest * exp(o->log_reference - r->log_reference);
    return r->set->weighted && !(o->has_pilot && heaviest * r->weight_unit >= WEIGHT_STEPS_MIN);
}

static double effective_drawn(const struct run_outcome *out)
{
    return out->set->weighted ? effective_samples(&out->joint) : (double)out->drawn;
}

/* The unweighted counts of all threads into the outcome. */
static void drain_row(const struct runner *run, size_t r)
{
    struct run_outcome *out = run->out;
    struct bin_counter *counters[ROUND_BLOCKS];
    for (unsigned t = 0; t < out->threads; t++)
        counters[t] = &worker_of(run, t, 0)->counters[r];
    if (out->layouts[r])
        bin_counters_drain(out->layouts[r], out->threads, counters, out->candidates[0].counts[r]);
}

static void drain(const struct runner *run)
{
#pragma omp parallel for schedule(dynamic) num_threads(run->out->threads)
    for (size_t r = 0; r < run->set->row_count; r++)
        drain_row(run, r);
}

/* ---- stability ---- */

static struct moments joint_moments(const struct run_outcome *out, size_t row)
{
    struct moments sum;
    moments_init(&sum);
    for (size_t c = 0; c < out->set->count; c++)
        moments_merge(&sum, &out->candidates[c].moments[row]);
    return sum;
}

/* What has been counted so far of a row, of all candidates together. */
static const uint64_t *counts_so_far(const struct runner *run, size_t row)
{
    const struct run_outcome *out = run->out;
    size_t size = bin_layout_size(out->layouts[row]);
    if (!run->set->weighted) {
        drain_row(run, row);
        return out->candidates[0].counts[row];
    }
    memset(run->scratch, 0, size * sizeof *run->scratch);
    for (unsigned t = 0; t < out->threads; t++) {
        const struct worker_tally *w = worker_of(run, t, 0);
        const uint64_t *counts = w->mixture ? w->mixture[row] : w->counts[row];
        for (size_t b = 0; b < size; b++)
            run->scratch[b] += counts[b];
    }
    return run->scratch;
}

static bool judge_row(const struct runner *run, size_t i)
{
    const struct run_outcome *out = run->out;
    size_t row = out->stability->rows[i].row;
    struct distribution d = {.layout = out->layouts[row],
                             .counts = counts_so_far(run, row),
                             .moments = joint_moments(out, row),
                             .effective = effective_drawn(out)};
    return stability_judge(out->stability, out->replicates, i, &d);
}

static bool is_stable(const struct runner *run)
{
    const struct run_outcome *out = run->out;
    struct stability *s = out->stability;
    if (!stability_is_due(s, out->drawn) || !stability_can_judge(s, effective_drawn(out)))
        return false;
    for (size_t i = 0; i < s->count; i++) {
        struct moments all = joint_moments(out, s->rows[i].row);
        if (!stability_judge_moments(s, out->replicates, i, &all))
            return false;
    }
    for (size_t i = 0; i < s->count; i++)
        if (!judge_row(run, i))
            return false;
    return true;
}

/* At the end, so that what is not stable can be named. */
static void judge_all(const struct runner *run)
{
    struct stability *s = run->out->stability;
    if (!s || s->reached || !stability_can_judge(s, effective_drawn(run->out)))
        return;
    bool stable = true;
    s->judged = true;
    for (size_t i = 0; i < s->count; i++)
        stable = judge_row(run, i) && stable;
    s->reached = stable;
}

/* True when nothing that was asked for needs more samples. */
static bool has_enough(const struct runner *run)
{
    const struct run_outcome *out = run->out;
    double wanted = (double)run->set->source->settings.effective;
    if ((wanted == 0.0 && !out->stability) || out->drawn < out->piloted)
        return false;
    return effective_drawn(out) >= wanted && (double)out->drawn >= wanted &&
           (!out->stability || out->stability->reached);
}

/* The weights are relative to a reference that was far too small. */
static bool is_outgrown(const struct run_outcome *out)
{
    double most = OUTWEIGHS_MAX * (double)out->set->count; /* a sample adds to all candidates */
    return out->set->weighted && !(out->joint.largest <= most);
}

/* Whether counters are drained depends on the number of samples only, so that threads play no
 * part. */
static void join_bins(struct runner *run)
{
    uint64_t drawn = run->out->drawn;
    int shift = bin_counter_shift(drawn);
    bool is_full = drawn % ((uint64_t)1 << 31) == 0;
    if (run->set->weighted || !(is_full || shift != bin_counter_shift(drawn - 1)))
        return;
    drain(run);
    for (unsigned t = 0; t < run->out->threads; t++)
        for (size_t r = 0; r < run->set->row_count; r++)
            worker_of(run, t, 0)->counters[r].shift = shift;
}

static packspan_status tally_all(struct runner *run, run_progress *progress, void *user)
{
    struct run_outcome *out = run->out;
    uint64_t total = out->requested;
    while (out->drawn < total && !out->interrupted && !has_enough(run)) {
        uint64_t n = total - out->drawn < ROUND_BLOCKS * BLOCK_SAMPLES
                         ? total - out->drawn
                         : ROUND_BLOCKS * BLOCK_SAMPLES;
        tally_round(run, out->drawn, n);
        out->drawn += n;
        join_bins(run);
        count_samples(run);
        if (is_invalid_beyond(out, total))
            return PACKSPAN_BAD_CASE;
        if (is_outgrown(out))
            return PACKSPAN_OK;
        if (out->stability)
            out->stability->reached = is_stable(run);
        if (progress && !progress(user, out->drawn, total) && out->drawn < total)
            out->interrupted = true;
    }
    return !out->interrupted && run_has_too_many_invalid(out) ? PACKSPAN_BAD_CASE : PACKSPAN_OK;
}

/* ---- the end ---- */

/* Whole numbers, so their order does not matter. `part` may be taken over. */
static void add_counts(const struct bin_layout *layout, uint64_t **into, uint64_t **part)
{
    if (!*into) {
        *into = *part;
        *part = NULL;
        return;
    }
    for (size_t b = 0; *part && b < bin_layout_size(layout); b++)
        (*into)[b] += (*part)[b];
}

/* All workers' counts into the outcome. */
static void gather_worker(const struct plan_set *set, size_t c, struct worker_tally *w,
                          struct run_outcome *out)
{
    struct candidate_outcome *o = &out->candidates[c];
    for (size_t r = 0; r < set->row_count; r++) {
        const struct bin_layout *layout = run_layout(out, c, r);
        o->outside[r] += w->outside[r];
        if (set->weighted)
            add_counts(layout, &o->counts[r], &w->counts[r]);
    }
    for (size_t k = 0; k < set->plans[c].node_count; k++)
        o->invalid_by_node[k] += w->invalid_by_node[k];
    for (size_t k = 0; k < set->source->claim_count; k++)
        claim_count_add(&o->claims[k], &w->claims[k]);
}

static void gather(struct runner *run)
{
    struct run_outcome *out = run->out;
    for (unsigned t = 0; t < out->threads; t++) {
        uint64_t **mixture = worker_of(run, t, 0)->mixture;
        for (size_t c = 0; c < run->set->count; c++)
            gather_worker(run->set, c, worker_of(run, t, c), out);
        for (size_t r = 0; mixture && r < run->set->row_count; r++)
            add_counts(out->layouts[r], &out->counts[r], &mixture[r]);
    }
    if (!run->set->weighted)
        drain(run);
}

double run_nearest(const struct run_outcome *r, size_t observation)
{
    double best = (double)-INFINITY;
    for (size_t c = 0; c < r->set->count; c++)
        best = fmax(best, r->candidates[c].observations[observation].best);
    return best;
}

static bool evidence_fits(const struct run_outcome *out)
{
    if (!out->set->weighted)
        return true;
    for (size_t k = 0; k < out->set->source->observation_count; k++)
        if (run_nearest(out, k) < -0.5 * NEAREST_MAX * NEAREST_MAX)
            return false;
    return out->joint.sum > 0.0;
}

/* What an interrupted run has drawn may be too little to say anything. */
static bool has_weight(const struct run_outcome *out)
{
    uint64_t units = 0;
    for (size_t c = 0; c < out->set->count; c++)
        units += out->candidates[c].weight_units;
    return units > 0 && evidence_fits(out);
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static double weight_unit(uint64_t samples)
{
    int bits = 0;
    frexp((double)samples, &bits);
    return ldexp(1.0, bits > SUM_BITS - WEIGHT_BITS ? SUM_BITS - bits : WEIGHT_BITS);
}

/* Runs with a pilot of at least `least` samples; when is_outgrown() then, nothing else counts. */
static packspan_status run_once(const struct plan_set *set, uint64_t least, run_progress *progress,
                                void *user, struct run_outcome *out)
{
    const struct settings *settings = &set->source->settings;
    *out = (struct run_outcome){.set = set, .requested = settings_samples(settings)};
    out->threads = settings->threads ? settings->threads : (unsigned)omp_get_num_procs();
    if (out->threads > ROUND_BLOCKS) /* a round has no more to share */
        out->threads = ROUND_BLOCKS;
    out->weight_unit = weight_unit(out->requested);
    struct runner run = {.set = set, .out = out};
    packspan_status status = open_runner(&run);
    if (status == PACKSPAN_OK)
        status = lay_out(&run, least);
    bool hopeless = status == PACKSPAN_OK && !isfinite(out->log_reference);
    if (hopeless) { /* no sample is any good: a few of them tell why */
        out->log_reference = 0.0;
        for (size_t c = 0; c < set->count; c++)
            out->candidates[c].log_reference = 0.0;
        if (out->requested > HOPELESS_SAMPLES)
            out->requested = HOPELESS_SAMPLES;
    }
    if (status == PACKSPAN_OK)
        status = tally_all(&run, progress, user);
    if (status == PACKSPAN_OK && !hopeless)
        judge_all(&run);
    if (status == PACKSPAN_OK && !hopeless && out->interrupted && !has_weight(out))
        status = PACKSPAN_INTERRUPTED;
    else if (status == PACKSPAN_OK && (hopeless || !evidence_fits(out)))
        status = PACKSPAN_BAD_CASE;
    if (status == PACKSPAN_OK || status == PACKSPAN_BAD_CASE)
        gather(&run);
    free_runner(&run);
    return status;
}

packspan_status run_plans(const struct plan_set *set, run_progress *progress, void *user,
                          struct run_outcome *out)
{
    double started = now();
    packspan_status status = run_once(set, 0, progress, user, out);
    while (status != PACKSPAN_NO_MEMORY && is_outgrown(out)) {
        uint64_t seen = out->drawn;
        run_free(out);
        status = run_once(set, seen, progress, user, out);
    }
    out->seconds = now() - started;
    return status;
}

static void free_layouts(const struct plan_set *set, struct bin_layout **layouts)
{
    for (size_t r = 0; layouts && r < set->row_count; r++)
        bin_layout_free(layouts[r]);
    free(layouts);
}

static void free_candidate(const struct plan_set *set, struct candidate_outcome *o)
{
    free_layouts(set, o->layouts);
    free_counts(set, o->counts);
    free(o->moments);
    free(o->outside);
    free(o->invalid_by_node);
    free(o->claims);
    free(o->observations);
    free(o->routes);
}

void run_free(struct run_outcome *r)
{
    for (size_t c = 0; r->candidates && c < r->set->count; c++)
        free_candidate(r->set, &r->candidates[c]);
    if (r->layouts)
        free_layouts(r->set, r->layouts);
    if (r->counts)
        free_counts(r->set, r->counts);
    replicates_free(r->replicates);
    stability_free(r->stability);
    free(r->candidates);
    *r = (struct run_outcome){0};
}
