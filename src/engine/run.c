#include "engine/run.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>

#include "base/clock.h"
#include "draw/stream.h"
#include "engine/pilot.h"
#include "engine/replicates.h"
#include "engine/stability.h"
#include "engine/sum_tree.h"
#include "engine/worker.h"
#include "model/block.h"

/* ROUND_BLOCKS blocks lie between two merges. */
enum { ROUND_BLOCKS = 64, HOPELESS_SAMPLES = 1 << 20 };

/* Weights are tallied as whole numbers, so that the order of adding does not matter. The heaviest
 * sample of the pilot counts 2^26, or less in a long run, so that sums stay below 2^60 or so; what
 * rounds to 0 is left out. */
enum { WEIGHT_BITS = 26, SUM_BITS = 60 };
/* Fewer steps of weight than this, up to a candidate's heaviest sample, are too coarse. */
#define WEIGHT_STEPS_MIN 256.0

struct runner {
    const struct plan_set *set;
    struct run_outcome *out;
    struct worker *workers;   /* [thread] */
    struct block_part *parts; /* [block][candidate] */
    struct weight_sums joint[ROUND_BLOCKS];
    struct curve below;      /* for the evidence */
    uint64_t *scratch;       /* cumulated counts of one row, to judge its stability */
    uint32_t *pilot_scratch; /* of its pilot */
};

/* ---- setting up ---- */

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

static packspan_status open_outcome(const struct plan_set *set, struct run_outcome *out)
{
    out->layouts = calloc(set->row_count + 1, sizeof(struct bin_layout *));
    out->shared = calloc(set->row_count + 1, sizeof *out->shared);
    out->counts = calloc(set->row_count + 1, sizeof *out->counts);
    out->candidates = calloc(set->count, sizeof *out->candidates);
    out->tree_count = set->source->settings.sobol ? REPLICATES : 1;
    out->trees = calloc(out->tree_count, sizeof *out->trees);
    out->row_counts = calloc(set->row_count + 1, sizeof *out->row_counts);
    if (!out->layouts || !out->shared || !out->counts || !out->candidates || !out->trees ||
        !out->row_counts)
        return PACKSPAN_NO_MEMORY;
    for (size_t i = 0; i < out->tree_count; i++)
        out->trees[i].set = set;
    for (size_t c = 0; c < set->count; c++)
        if (!open_candidate(set, c, &out->candidates[c]))
            return PACKSPAN_NO_MEMORY;
    return open_replicates(set, out);
}

static packspan_status open_runner(struct runner *run)
{
    const struct plan_set *set = run->set;
    struct run_outcome *out = run->out;
    packspan_status status = open_outcome(set, out);
    run->workers = calloc(out->threads, sizeof *run->workers);
    run->parts = calloc(ROUND_BLOCKS * set->count, sizeof *run->parts);
    if (!run->workers || !run->parts || (set->weighted && !evidence_curve_open(&run->below)))
        return PACKSPAN_NO_MEMORY;
    for (size_t i = 0; i < ROUND_BLOCKS * set->count && status == PACKSPAN_OK; i++)
        if (!block_part_open(set, out->replicates != NULL, &run->parts[i]))
            return PACKSPAN_NO_MEMORY;
    for (unsigned t = 0; t < out->threads && status == PACKSPAN_OK; t++)
        status = worker_open(out, &run->below, &run->workers[t]);
    return status;
}

static void free_runner(struct runner *run)
{
    for (unsigned t = 0; run->workers && t < run->out->threads; t++)
        worker_close(&run->workers[t]);
    for (size_t i = 0; run->parts && i < ROUND_BLOCKS * run->set->count; i++)
        block_part_close(&run->parts[i]);
    free(run->workers);
    free(run->parts);
    free(run->below.knots);
    free(run->scratch);
    free(run->pilot_scratch);
}

const struct bin_layout *run_layout(const struct run_outcome *r, size_t candidate, size_t row)
{
    bool own = r->set->count > 1 && !r->shared[row];
    return own ? r->candidates[candidate].layouts[row] : r->layouts[row];
}

/* For as many shifts as the whole run has. */
static bool open_row_counts(const struct run_outcome *out, size_t row)
{
    const struct bin_layout *layout = out->layouts[row];
    bool made = true;
    for (int shift = 0; layout && made && shift <= bin_counter_shift(out->requested); shift++) {
        uint64_t **joined = &out->row_counts[row].joined[shift];
        *joined = calloc(bin_joined_size(layout, shift), sizeof **joined);
        made = *joined;
    }
    return made;
}

static packspan_status open_counts(const struct runner *run)
{
    const struct plan_set *set = run->set;
    packspan_status status = PACKSPAN_OK;
    for (size_t r = 0; r < set->row_count && !set->weighted; r++)
        if (!open_row_counts(run->out, r))
            return PACKSPAN_NO_MEMORY;
    for (unsigned t = 0; t < run->out->threads && status == PACKSPAN_OK; t++)
        status = worker_open_counts(&run->workers[t]);
    return status;
}

/* How many bins are joined from that sample on. */
static void set_shift(const struct runner *run, uint64_t sample)
{
    for (unsigned t = 0; t < run->out->threads; t++)
        for (size_t r = 0; r < run->set->row_count; r++)
            run->workers[t].counters[r].shift = bin_counter_shift(sample);
}

/* For the stability, when the bins are laid out. */
static bool open_scratch(struct runner *run)
{
    const struct stability *s = run->out->stability;
    size_t most = 1;
    for (size_t i = 0; s && i < s->count; i++) {
        const struct bin_layout *layout = run->out->layouts[s->rows[i].row];
        if (layout && bin_layout_size(layout) > most)
            most = bin_layout_size(layout);
    }
    run->scratch = s ? calloc(most + 1, sizeof *run->scratch) : NULL;
    run->pilot_scratch = s ? calloc(most + 1, sizeof *run->pilot_scratch) : NULL;
    return !s || (run->scratch && run->pilot_scratch);
}

static struct sampler *const *samplers_of(const void *runner, unsigned thread)
{
    return ((const struct runner *)runner)->workers[thread].samplers;
}

/* Lays the bins out and makes room for the counts. */
static packspan_status lay_out(struct runner *run, uint64_t least, run_progress *progress,
                               void *user)
{
    struct pilot_watch watch = {progress, user, false};
    packspan_status status = pilot_run(run->set, samplers_of, run, least, &watch, run->out);
    if (status == PACKSPAN_OK)
        status = open_counts(run);
    return status == PACKSPAN_OK && !open_scratch(run) ? PACKSPAN_NO_MEMORY : status;
}

/* ---- sums ---- */

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

/* ---- rounds ---- */

uint64_t run_tree_share(const struct run_outcome *r, size_t tree, uint64_t end)
{
    return (end + r->tree_count - 1 - tree) / r->tree_count;
}

/* Sums so far of a candidate, as a part of which its arrays are the outcome's own. */
static struct block_part sums_so_far(const struct plan_set *set, const struct candidate_outcome *o)
{
    struct block_part sums = {
        .moments = o->moments, .observations = o->observations, .routes = o->routes};
    for (size_t r = 0; r < set->row_count; r++)
        moments_init(&o->moments[r]);
    memset(o->routes, 0, set->route_set_count * sizeof *o->routes);
    evidence_sums_init(o->observations, set->source->observation_count, &sums.evidence);
    return sums;
}

static void add_up_candidate(const struct run_outcome *out, size_t c)
{
    struct candidate_outcome *o = &out->candidates[c];
    struct block_part sums = sums_so_far(out->set, o);
    for (size_t i = 0; i < out->tree_count; i++)
        for (size_t k = 0; k < out->trees[i].count; k++)
            block_part_merge(out->set, &sums, &out->trees[i].nodes[k].parts[c]);
    o->weight_units = sums.weight_units;
    o->weights = sums.weights;
    o->heaviest = sums.heaviest;
    o->evidence = sums.evidence;
}

/* What the trees hold so far into the outcome. */
static void add_up(const struct run_outcome *out)
{
    const struct plan_set *set = out->set;
    for (size_t c = 0; c < set->count; c++)
        add_up_candidate(out, c);
    for (size_t i = 0; i < out->tree_count && set->source->settings.sobol; i++) {
        replicates_clear_sums(out->replicates, i);
        for (size_t k = 0; k < out->trees[i].count; k++)
            for (size_t c = 0; c < set->count; c++) {
                const struct block_part *part = &out->trees[i].nodes[k].parts[c];
                replicates_add_sums(out->replicates, i, c, part->moments, part->weights.sum);
            }
    }
}

/* The weights only, which every round needs to know. */
static void add_up_weights(struct run_outcome *out)
{
    out->joint = (struct weight_sums){0};
    for (size_t c = 0; c < out->set->count; c++) {
        out->candidates[c].weights = (struct weight_sums){0};
        out->candidates[c].heaviest = 0.0;
    }
    for (size_t i = 0; i < out->tree_count; i++)
        for (size_t k = 0; k < out->trees[i].count; k++) {
            const struct sum_node *node = &out->trees[i].nodes[k];
            weight_sums_merge(&out->joint, &node->joint);
            for (size_t c = 0; c < out->set->count; c++) {
                struct candidate_outcome *o = &out->candidates[c];
                weight_sums_merge(&o->weights, &node->parts[c].weights);
                o->heaviest = fmax(o->heaviest, node->parts[c].heaviest);
            }
        }
}

/* Into the replicate that the block belongs to, or the sequence that is going on. */
static void add_to_replicates(const struct runner *run, size_t replicate, size_t b)
{
    struct run_outcome *out = run->out;
    const struct plan_set *set = run->set;
    const struct block_part *parts = &run->parts[b * set->count];
    double valid = (double)parts->weight_units;
    struct weight_sums plain = {valid, valid, 1.0};
    for (size_t c = 0; c < set->count; c++) {
        replicates_add(out->replicates, replicate, c, &parts[c].replicate);
        if (!set->source->settings.sobol)
            replicates_add_sums(out->replicates, replicate, c, parts[c].moments,
                                parts[c].weights.sum);
    }
    if (!set->source->settings.sobol)
        stability_step(out->stability, out->replicates, set->weighted ? &run->joint[b] : &plain);
}

/* The b-th block of a round. */
static bool add_block(const struct runner *run, uint64_t block, size_t b)
{
    struct run_outcome *out = run->out;
    size_t tree = (size_t)(block % out->tree_count);
    if (out->replicates)
        add_to_replicates(run, tree, b);
    return sum_tree_add(&out->trees[tree], block / out->tree_count, 0,
                        &run->parts[b * run->set->count], &run->joint[b]);
}

/* Blocks in parallel, merged in the order of the samples. */
static packspan_status tally_round(struct runner *run, uint64_t first, uint64_t samples)
{
    const struct plan_set *set = run->set;
    size_t blocks = (size_t)((samples + BLOCK_SAMPLES - 1) / BLOCK_SAMPLES);
#pragma omp parallel for schedule(dynamic) num_threads(run->out->threads)
    for (size_t b = 0; b < blocks; b++) {
        uint64_t start = (uint64_t)b * BLOCK_SAMPLES;
        size_t n = samples - start < BLOCK_SAMPLES ? (size_t)(samples - start) : BLOCK_SAMPLES;
        worker_tally(&run->workers[omp_get_thread_num()], first + start, n,
                     &run->parts[b * set->count], &run->joint[b]);
    }
    for (size_t b = 0; b < blocks; b++)
        if (!add_block(run, first / BLOCK_SAMPLES + b, b))
            return PACKSPAN_NO_MEMORY;
    if (set->weighted)
        add_up_weights(run->out);
    return PACKSPAN_OK;
}

static uint64_t count_invalid(const struct runner *run, size_t c)
{
    uint64_t invalid = 0;
    for (unsigned t = 0; t < run->out->threads; t++)
        for (size_t k = 0; k < run->set->plans[c].node_count; k++)
            invalid += run->workers[t].candidates[c].invalid_by_node[k];
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

/* Whether its heaviest sample counts enough steps of weight. */
static bool has_fine_weights(const struct run_outcome *r, const struct candidate_outcome *o)
{
    return o->heaviest * r->weight_unit >= WEIGHT_STEPS_MIN;
}

bool run_is_weightless(const struct run_outcome *r, size_t candidate)
{
    const struct candidate_outcome *o = &r->candidates[candidate];
    return r->set->weighted && !(o->has_pilot && has_fine_weights(r, o));
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
        counters[t] = &run->workers[t].counters[r];
    if (out->layouts[r])
        bin_counters_drain(out->layouts[r], out->threads, counters,
                           out->row_counts[r].joined[counters[0]->shift]);
}

static void drain(const struct runner *run)
{
#pragma omp parallel for schedule(dynamic) num_threads(run->out->threads)
    for (size_t r = 0; r < run->set->row_count; r++)
        if (!run->set->weighted)
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

static void share_out(const struct run_outcome *out, size_t row, uint64_t *counts)
{
    for (int shift = 0; shift < BIN_SHIFTS; shift++)
        if (out->row_counts[row].joined[shift])
            bin_share_out(out->layouts[row], shift, out->row_counts[row].joined[shift], counts);
}

/* What all workers have counted so far of a row, of all candidates together, cumulated. */
static const uint64_t *cumulate_so_far(const struct runner *run, size_t row)
{
    const struct bin_layout *layout = run->out->layouts[row];
    memset(run->scratch, 0, bin_layout_size(layout) * sizeof *run->scratch);
    if (!run->set->weighted) {
        drain_row(run, row);
        share_out(run->out, row, run->scratch);
    }
    for (unsigned t = 0; t < run->out->threads && run->set->weighted; t++) {
        if (run->set->count > 1)
            worker_add_mixture(&run->workers[t], row, run->scratch);
        else
            worker_add_counts(&run->workers[t], 0, row, run->scratch);
    }
    bin_counts_cumulate(bin_layout_size(layout), run->scratch, run->scratch);
    return run->scratch;
}

static bool judge_row(const struct runner *run, size_t i)
{
    const struct run_outcome *out = run->out;
    size_t row = out->stability->rows[i].row;
    bin_layout_cumulate(out->layouts[row], run->pilot_scratch);
    struct distribution d = {.layout = out->layouts[row],
                             .below = cumulate_so_far(run, row),
                             .pilot_below = run->pilot_scratch,
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
    add_up(out);
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

/* The weights are relative to a reference that was far too small, of all together or of a candidate
 * whose own pilot has missed what counts. */
static bool is_outgrown(const struct run_outcome *out)
{
    double most = OUTWEIGHS_MAX * (double)out->set->count; /* a sample adds to all candidates */
    bool outgrown = out->set->weighted && !(out->joint.largest <= most);
    for (size_t c = 0; c < out->set->count && out->set->weighted; c++) {
        const struct candidate_outcome *o = &out->candidates[c];
        bool is_missed = !o->has_pilot || o->weights.largest > OUTWEIGHS_MAX;
        outgrown = outgrown || (is_missed && has_fine_weights(out, o));
    }
    return outgrown;
}

/* Whether counters are drained depends on the sample's number only, so that threads and shares play
 * no part. */
static void join_bins(struct runner *run, uint64_t sample)
{
    int shift = bin_counter_shift(sample);
    bool is_full = sample % ((uint64_t)1 << 31) == 0;
    if (run->set->weighted || !(is_full || shift != bin_counter_shift(sample - 1)))
        return;
    drain(run);
    set_shift(run, sample);
}

/* Rounds end at the same samples in every share. */
static uint64_t round_samples(uint64_t sample, uint64_t end)
{
    enum { ROUND = ROUND_BLOCKS * BLOCK_SAMPLES };
    uint64_t n = ROUND - sample % ROUND;
    return end - sample < n ? end - sample : n;
}

static packspan_status tally_all(struct runner *run, run_progress *progress, void *user)
{
    struct run_outcome *out = run->out;
    packspan_status status = PACKSPAN_OK;
    set_shift(run, out->first);
    while (status == PACKSPAN_OK && out->drawn < out->share && !out->interrupted &&
           !has_enough(run)) {
        uint64_t sample = out->first + out->drawn;
        uint64_t n = round_samples(sample, out->first + out->share);
        status = tally_round(run, sample, n);
        out->drawn += n;
        join_bins(run, sample + n);
        count_samples(run);
        if (status == PACKSPAN_OK && is_invalid_beyond(out, out->requested))
            status = PACKSPAN_BAD_CASE;
        if (status == PACKSPAN_OK && is_outgrown(out))
            break;
        if (status == PACKSPAN_OK && out->stability)
            out->stability->reached = is_stable(run);
        if (progress && !progress(user, out->drawn, out->share) && out->drawn < out->share)
            out->interrupted = true;
    }
    add_up(out);
    return status;
}

/* ---- the end ---- */

static void gather_worker(const struct plan_set *set, size_t c, const struct candidate_tally *t,
                          struct candidate_outcome *o)
{
    for (size_t r = 0; r < set->row_count; r++)
        o->outside[r] += t->outside[r];
    for (size_t k = 0; k < set->plans[c].node_count; k++)
        o->invalid_by_node[k] += t->invalid_by_node[k];
    for (size_t k = 0; k < set->source->claim_count; k++)
        claim_count_add(&o->claims[k], &t->claims[k]);
    o->steps += sampler_evaluated(t->sampler) - t->piloted_steps;
}

/* Whole numbers, so the order of adding them does not matter. */
static void gather_counts(const struct runner *run)
{
    struct run_outcome *out = run->out;
#pragma omp parallel for num_threads(out->threads)
    for (unsigned t = 0; t < out->threads; t++)
        joint_counts_finish(run->workers[t].joint);
    out->shared_counts = run->workers[0].joint;
    run->workers[0].joint = NULL;
#pragma omp parallel for schedule(dynamic) num_threads(out->threads)
    for (size_t r = 0; r < run->set->row_count; r++)
        for (unsigned t = 0; t < out->threads; t++)
            worker_give_row(&run->workers[t], r, out);
}

static void gather(const struct runner *run)
{
    const struct plan_set *set = run->set;
    struct run_outcome *out = run->out;
    for (unsigned t = 0; t < out->threads; t++)
        for (size_t c = 0; c < set->count; c++)
            gather_worker(set, c, &run->workers[t].candidates[c], &out->candidates[c]);
    if (set->weighted)
        gather_counts(run);
    else
        drain(run);
}

void run_cumulate(const struct run_outcome *r, size_t row, size_t from, size_t to, uint64_t *below)
{
    bool all = to - from > 1;
    size_t size = bin_layout_size(all ? r->layouts[row] : run_layout(r, from, row));
    const uint64_t *own = all ? r->counts[row] : r->candidates[from].counts[row];
    if (own)
        bin_counts_cumulate(size, own, below);
    else if (r->shared_counts)
        joint_counts_cumulate(r->shared_counts, row, from, to, below);
    else /* nothing was counted */
        memset(below, 0, (size + 1) * sizeof *below);
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

static double weight_unit(uint64_t samples)
{
    int bits = 0;
    frexp((double)samples, &bits);
    return ldexp(1.0, bits > SUM_BITS - WEIGHT_BITS ? SUM_BITS - bits : WEIGHT_BITS);
}

static struct run_outcome outcome_of(const struct plan_set *set)
{
    const struct settings *settings = &set->source->settings;
    struct run_outcome out = {.set = set, .requested = settings_samples(settings)};
    out.threads = settings->threads ? settings->threads : (unsigned)omp_get_num_procs();
    if (out.threads > ROUND_BLOCKS) /* a round has no more to share */
        out.threads = ROUND_BLOCKS;
    out.weight_unit = weight_unit(out.requested);
    return out;
}

static bool is_hopeless(const struct run_outcome *out)
{
    return !isfinite(out->log_reference);
}

/* No sample is any good: a few of them tell why. */
static packspan_status tally_hopeless(struct runner *run, run_progress *progress, void *user)
{
    struct run_outcome *out = run->out;
    out->log_reference = 0.0;
    for (size_t c = 0; c < run->set->count; c++)
        out->candidates[c].log_reference = 0.0;
    if (out->requested > HOPELESS_SAMPLES)
        out->requested = HOPELESS_SAMPLES;
    out->first = 0;
    out->share = out->requested;
    packspan_status status = tally_all(run, progress, user);
    return status == PACKSPAN_OK ? PACKSPAN_BAD_CASE : status;
}

/* Tallies the share with a pilot of at least `least` samples; when is_outgrown() then, nothing else
 * counts. */
static packspan_status tally_share(uint64_t least, run_progress *progress, void *user,
                                   struct run_outcome *out)
{
    struct runner run = {.set = out->set, .out = out};
    packspan_status status = open_runner(&run);
    if (status == PACKSPAN_OK)
        status = lay_out(&run, least, progress, user);
    if (status == PACKSPAN_OK && is_hopeless(out))
        status = tally_hopeless(&run, progress, user);
    else if (status == PACKSPAN_OK)
        status = tally_all(&run, progress, user);
    if (status == PACKSPAN_OK)
        judge_all(&run);
    if (status == PACKSPAN_OK || status == PACKSPAN_BAD_CASE)
        gather(&run);
    free_runner(&run);
    return status;
}

/* The counts without weights: those of single bins, and what falls to each of joined ones. */
static void make_counts(const struct run_outcome *out)
{
    for (size_t r = 0; r < out->set->row_count && !out->set->weighted; r++) {
        uint64_t **single = &out->row_counts[r].joined[0];
        uint64_t *counts = *single;
        *single = NULL;
        share_out(out, r, counts);
        out->candidates[0].counts[r] = counts;
    }
}

packspan_status run_finish(struct run_outcome *out)
{
    if (out->set->weighted)
        add_up_weights(out);
    add_up(out);
    make_counts(out);
    if (out->interrupted)
        return has_weight(out) ? PACKSPAN_OK : PACKSPAN_INTERRUPTED;
    return run_has_too_many_invalid(out) || !evidence_fits(out) ? PACKSPAN_BAD_CASE : PACKSPAN_OK;
}

static packspan_status run_once(const struct plan_set *set, uint64_t least, run_progress *progress,
                                void *user, struct run_outcome *out)
{
    const struct settings *settings = &set->source->settings;
    *out = outcome_of(set);
    out->share = out->requested;
    if (out->threads == 1 && settings->stable == 0 && joint_counts_may_wait(out->requested))
        out->waiting = out->requested;
    packspan_status status = tally_share(least, progress, user, out);
    return status == PACKSPAN_OK ? run_finish(out) : status;
}

packspan_status run_plans(const struct plan_set *set, run_progress *progress, void *user,
                          struct run_outcome *out)
{
    double started = seconds_now();
    uint64_t least = set->source->settings.pilot;
    packspan_status status = run_once(set, least, progress, user, out);
    while (status != PACKSPAN_NO_MEMORY && is_outgrown(out) && out->drawn > least) {
        least = out->drawn;
        run_free(out);
        status = run_once(set, least, progress, user, out);
    }
    out->seconds = seconds_now() - started;
    return status;
}

/* ---- shares ---- */

uint64_t run_block_count(const struct plan_set *set)
{
    return (settings_samples(&set->source->settings) + BLOCK_SAMPLES - 1) / BLOCK_SAMPLES;
}

packspan_status run_share(const struct plan_set *set, uint64_t from, uint64_t to,
                          run_progress *progress, void *user, uint64_t *pilot,
                          struct run_outcome *out)
{
    double started = seconds_now();
    *out = outcome_of(set);
    uint64_t end = to * BLOCK_SAMPLES < out->requested ? to * BLOCK_SAMPLES : out->requested;
    out->first = from * BLOCK_SAMPLES;
    out->share = end - out->first;
    packspan_status status = tally_share(set->source->settings.pilot, progress, user, out);
    out->seconds = seconds_now() - started;
    if (status == PACKSPAN_OK && out->interrupted)
        status = PACKSPAN_INTERRUPTED;
    if (status == PACKSPAN_OK)
        *pilot = is_outgrown(out) ? out->first + out->drawn : 0;
    return status;
}

packspan_status run_open(const struct plan_set *set, run_progress *progress, void *user,
                         struct run_outcome *out)
{
    *out = outcome_of(set);
    return tally_share(set->source->settings.pilot, progress, user, out);
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
    bin_counts_free(set->row_count, o->counts);
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
    bin_counts_free(r->set->row_count, r->counts);
    joint_counts_close(r->shared_counts);
    free(r->shared);
    replicates_free(r->replicates);
    stability_free(r->stability);
    for (size_t i = 0; r->trees && i < r->tree_count; i++)
        sum_tree_free(&r->trees[i]);
    free(r->trees);
    for (size_t row = 0; r->row_counts && row < r->set->row_count; row++)
        for (int shift = 0; shift < BIN_SHIFTS; shift++)
            free(r->row_counts[row].joined[shift]);
    free(r->row_counts);
    free(r->candidates);
    *r = (struct run_outcome){0};
}
