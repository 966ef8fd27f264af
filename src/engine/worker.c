#include "engine/worker.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/exponential.h"
#include "base/hot_loop.h"
#include "base/range.h"
#include "base/sums.h"
#include "model/block.h"

/* ---- setting up ---- */

bool block_part_open(const struct plan_set *set, bool replicated, struct block_part *part)
{
    part->moments = calloc(set->row_count + 1, sizeof *part->moments);
    part->observations = calloc(set->source->observation_count + 1, sizeof *part->observations);
    part->routes = calloc(set->route_set_count + 1, sizeof *part->routes);
    return part->moments && part->observations && part->routes &&
           (!replicated || replicate_part_open(set, &part->replicate));
}

void block_part_close(struct block_part *part)
{
    free(part->moments);
    free(part->observations);
    free(part->routes);
    replicate_part_close(&part->replicate);
}

static packspan_status open_candidate(struct worker *w, size_t c)
{
    const struct plan_set *set = w->set;
    struct candidate_tally *t = &w->candidates[c];
    t->drop = calloc(BLOCK_SAMPLES, sizeof *t->drop);
    t->weights = calloc(BLOCK_SAMPLES, sizeof *t->weights);
    t->weights_as_double = calloc(BLOCK_SAMPLES, sizeof *t->weights_as_double);
    t->counts = calloc(set->row_count + 1, sizeof *t->counts);
    t->outside = calloc(set->row_count + 1, sizeof *t->outside);
    t->invalid_by_node = calloc(set->plans[c].node_count + 1, sizeof *t->invalid_by_node);
    t->claims = calloc(set->source->claim_count + 1, sizeof *t->claims);
    if (!t->drop || !t->weights || !t->weights_as_double || !t->counts || !t->outside ||
        !t->invalid_by_node || !t->claims)
        return PACKSPAN_NO_MEMORY;
    for (size_t i = 0; i < BLOCK_SAMPLES; i++) {
        t->weights[i] = 1;
        t->weights_as_double[i] = 1.0;
    }
    packspan_status status =
        sampler_open(&set->plans[c], set->twins[c], w->samplers[0], &t->sampler);
    w->samplers[c] = t->sampler;
    return status;
}

static bool is_alike(const struct plan_set *set, size_t row)
{
    size_t first = plan_set_node(set, 0, row);
    for (size_t c = 0; c < set->count; c++) {
        size_t node = plan_set_node(set, c, row);
        if (node == NODE_NONE || (c > 0 && set->twins[c][node] != first))
            return false;
    }
    return true;
}

packspan_status worker_open(const struct run_outcome *out, const struct curve *below,
                            struct worker *w)
{
    const struct plan_set *set = out->set;
    size_t spare = set->source->observation_count + TARGET_COUNT;
    *w = (struct worker){.set = set, .out = out, .below = below};
    w->candidates = calloc(set->count, sizeof *w->candidates);
    w->samplers = calloc(set->count, sizeof(struct sampler *));
    w->counters = calloc(set->row_count + 1, sizeof *w->counters);
    w->mixture = calloc(set->row_count + 1, sizeof *w->mixture);
    w->alike = calloc(set->row_count + 1, sizeof *w->alike);
    w->spare = calloc(spare * BLOCK_SAMPLES, sizeof *w->spare);
    w->observed = calloc(spare, sizeof(double *));
    w->weights = calloc(set->count, sizeof(uint64_t *));
    w->invalid = calloc(set->count, sizeof *w->invalid);
    if (!w->candidates || !w->samplers || !w->counters || !w->mixture || !w->alike || !w->spare ||
        !w->observed || !w->weights || !w->invalid)
        return PACKSPAN_NO_MEMORY;
    for (size_t r = 0; r < set->row_count; r++)
        w->alike[r] = is_alike(set, r);
    for (int k = 0; k < TARGET_COUNT; k++)
        w->targets[k] = plan_set_find(set, set->source->subject,
                                      evidence_target_quantity((enum evidence_target)k), TRIP_NONE);
    packspan_status status = PACKSPAN_OK;
    for (size_t c = 0; c < set->count && status == PACKSPAN_OK; c++)
        status = open_candidate(w, c);
    return status;
}

static packspan_status open_joint(struct worker *w)
{
    const struct plan_set *set = w->set;
    struct joint_row *rows = calloc(set->row_count + 1, sizeof *rows);
    if (!rows)
        return PACKSPAN_NO_MEMORY;
    for (size_t r = 0; r < set->row_count; r++)
        if (w->out->shared[r])
            rows[r] = (struct joint_row){w->out->layouts[r], w->alike[r]};
    packspan_status status =
        joint_counts_open(set->row_count, rows, set->count, w->out->waiting, &w->joint);
    free(rows);
    return status;
}

packspan_status worker_open_counts(struct worker *w)
{
    const struct plan_set *set = w->set;
    packspan_status status = set->weighted ? open_joint(w) : PACKSPAN_OK;
    for (size_t c = 0; c < set->count; c++)
        w->candidates[c].piloted_steps = sampler_evaluated(w->samplers[c]);
    for (size_t r = 0; r < set->row_count && status == PACKSPAN_OK; r++) {
        const struct bin_layout *layout = w->out->layouts[r];
        bool made = true;
        if (!layout || w->out->shared[r])
            continue;
        if (!set->weighted) {
            status = bin_counter_open(layout, &w->counters[r]);
            continue;
        }
        for (size_t c = 0; c < set->count && made; c++)
            made = bin_counts_make(run_layout(w->out, c, r), &w->candidates[c].counts[r]);
        if (set->count > 1)
            made = made && bin_counts_make(layout, &w->mixture[r]);
        status = made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    }
    return status;
}

static void close_candidate(const struct plan_set *set, struct candidate_tally *t)
{
    bin_counts_free(set->row_count, t->counts);
    free(t->drop);
    free(t->weights);
    free(t->weights_as_double);
    free(t->outside);
    free(t->invalid_by_node);
    free(t->claims);
    sampler_free(t->sampler);
}

void worker_close(struct worker *w)
{
    if (!w->set)
        return;
    for (size_t c = 0; w->candidates && c < w->set->count; c++)
        close_candidate(w->set, &w->candidates[c]);
    for (size_t r = 0; w->counters && r < w->set->row_count; r++)
        bin_counter_close(&w->counters[r]);
    bin_counts_free(w->set->row_count, w->mixture);
    joint_counts_close(w->joint);
    free(w->candidates);
    free(w->samplers);
    free(w->counters);
    free(w->alike);
    free(w->spare);
    free(w->observed);
    free(w->weights);
    free(w->invalid);
}

/* ---- rows ---- */

static inline bool is_outside(double x, const struct quantity *q)
{
    return (x < q->low) | (x > q->high) | (q->low_open & (x == q->low)) |
           (q->high_open & (x == q->high));
}

static uint64_t weight_outside(size_t n, const double *x, const struct quantity *q,
                               const uint64_t *weights)
{
    uint64_t outside = 0;
    for (size_t i = 0; i < n; i++)
        if (is_outside(x[i], q))
            outside += weights[i];
    return outside;
}

HOT_LOOP static struct claim_count count_claim(const struct claim *claim, size_t n,
                                               const double *restrict x,
                                               const uint64_t *restrict weights)
{
    double value = claim->to_si.scale * claim->value + claim->to_si.offset;
    double tolerance = claim->to_si.scale * claim->tolerance;
    double high = value + tolerance, low = value - tolerance;
    struct claim_count count = {0};
    for (size_t i = 0; i < n; i++) {
        uint64_t w = weights[i];
        count.above += x[i] > high ? w : 0;
        count.below += x[i] < low ? w : 0;
        count.under += x[i] < value ? w : 0;
        count.at += x[i] == value ? w : 0;
        count.total += w;
    }
    return count;
}

static void sum_routes(const struct plan_set *set, size_t c, const struct route_set *routes,
                       const double *const *columns, size_t n, const double *weights, double total,
                       struct route_moments *m)
{
    const double *x[ROUTES_MAX];
    *m = (struct route_moments){.weight = total};
    for (size_t a = 0; a < routes->count && total > 0.0; a++) {
        x[a] = columns[plan_set_node(set, c, routes->rows[a])];
        m->mean[a] = sum_of_products(n, weights, x[a]) / total;
    }
    for (size_t a = 0; a < routes->count && total > 0.0; a++)
        for (size_t b = 0; b <= a; b++)
            m->products[a][b] = sum_of_deviations(n, weights, x[a], m->mean[a], x[b], m->mean[b]);
}

static void count_row(struct worker *w, size_t c, size_t r, size_t n, const double *x)
{
    const struct bin_layout *joint = w->out->layouts[r];
    struct candidate_tally *t = &w->candidates[c];
    if (!joint)
        return;
    if (!w->set->weighted) {
        bin_count(joint, n, x, &w->counters[r]);
    } else if (w->out->shared[r]) {
        if (c == 0 || !w->alike[r])
            joint_counts_values(w->joint, r, c, x);
    } else {
        if (t->counts[r])
            bin_count_weighted(run_layout(w->out, c, r), n, x, t->weights, t->counts[r]);
        if (w->mixture[r])
            bin_count_weighted(joint, n, x, t->weights, w->mixture[r]);
    }
}

static void tally_row(struct worker *w, size_t c, size_t r, size_t n, struct block_part *part)
{
    size_t k = plan_set_node(w->set, c, r);
    struct candidate_tally *t = &w->candidates[c];
    struct moments *m = &part->moments[r];
    moments_init(m);
    if (k == NODE_NONE || n == 0)
        return;
    const struct plan_node *node = &w->set->plans[c].nodes[k];
    const double *x = sampler_columns(t->sampler)[k];
    if (node->fixed && part->weight_units > 0)
        *m = (struct moments){part->weight_units, x[0], 0.0, x[0], x[0]};
    else if (!node->fixed && w->set->weighted)
        moments_of_weighted(n, x, t->weights_as_double, part->weight_units, m);
    else if (!node->fixed)
        moments_of(n, x, m);
    count_row(w, c, r, n, x);
    if (node->kind != NODE_INPUT && m->count > 0 &&
        !(quantity_holds(node->quantity, m->min) && quantity_holds(node->quantity, m->max)))
        t->outside[r] += weight_outside(n, x, &quantities[node->quantity], t->weights);
}

/* Tallies the n samples that are left in the columns, part->weight_units being their weight. */
static void tally_samples(struct worker *w, size_t c, size_t n, struct block_part *part)
{
    const struct plan_set *set = w->set;
    struct candidate_tally *t = &w->candidates[c];
    const double *const *columns = sampler_columns(t->sampler);
    for (size_t r = 0; r < set->row_count; r++)
        tally_row(w, c, r, n, part);
    for (size_t k = 0; k < set->source->claim_count; k++) {
        struct claim_count count = count_claim(&set->source->claims[k], n,
                                               columns[set->plans[c].claim_nodes[k]], t->weights);
        claim_count_add(&t->claims[k], &count);
        if (w->out->replicates)
            part->replicate.claims[k] = count;
    }
    if (w->out->replicates)
        replicates_tally(w->out->replicates, c, n, columns, set->weighted ? t->weights : NULL,
                         &part->replicate);
    for (size_t k = 0; k < set->route_set_count; k++)
        sum_routes(set, c, &set->routes[k], columns, n, t->weights_as_double,
                   (double)part->weight_units, &part->routes[k]);
}

/* ---- weights ---- */

static const double *pick(const struct candidate_tally *t, const double *x, size_t n, bool all,
                          double *room)
{
    size_t kept = 0;
    if (all)
        return x;
    for (size_t i = 0; i < n; i++)
        if (!t->drop[i])
            room[kept++] = x[i];
    return room;
}

/* Over valid samples, before anything is known of their weights. */
static void sum_evidence(struct worker *w, size_t c, size_t n, size_t invalid,
                         struct block_part *part)
{
    const struct plan_set *set = w->set;
    const struct case_data *source = set->source;
    struct candidate_tally *t = &w->candidates[c];
    const double *const *columns = sampler_columns(t->sampler);
    const double *targets[TARGET_COUNT], **observed = w->observed;
    double *room = w->spare;
    for (size_t k = 0; k < source->observation_count; k++, room += BLOCK_SAMPLES)
        observed[k] = pick(t, columns[set->plans[c].observation_nodes[k]], n, invalid == 0, room);
    for (int k = 0; k < TARGET_COUNT; k++, room += BLOCK_SAMPLES) {
        size_t row = w->targets[k];
        size_t node = row == SIZE_MAX ? NODE_NONE : plan_set_node(set, c, row);
        targets[k] = node == NODE_NONE ? NULL : pick(t, columns[node], n, invalid == 0, room);
    }
    evidence_sum(source, w->below, observed, targets, n - invalid, part->observations,
                 &part->evidence);
}

/* Sums of squares stay finite. */
#define LOG_WEIGHT_MAX 300.0

/* The candidate's weights: relative to its own heaviest sample for part->weights, and relative to
 * the heaviest of all, priors included, for the whole numbers and joint[]. */
static void weigh(struct worker *w, size_t c, size_t n, size_t invalid, double *joint,
                  struct block_part *part)
{
    struct candidate_tally *t = &w->candidates[c];
    double reference = w->out->candidates[c].log_reference;
    double log_prior = log(w->set->priors[c]);
    double own[BLOCK_SAMPLES], shared[BLOCK_SAMPLES];
    evidence_log_weights(&w->set->plans[c], sampler_columns(t->sampler), n, own);
    for (size_t i = 0; i < n && invalid > 0; i++)
        own[i] = t->drop[i] ? (double)-INFINITY : own[i];
    for (size_t i = 0; i < n; i++) {
        shared[i] = own[i] + log_prior - w->out->log_reference;
        own[i] = fmin(own[i] + log_prior - reference, LOG_WEIGHT_MAX);
    }
    exponentials(n, own, own);
    exponentials(n, shared, shared);
    part->weights =
        (struct weight_sums){sum_of(n, own), sum_of_products(n, own, own), range_of(n, own).high};
    part->heaviest = range_of(n, shared).high;
    for (size_t i = 0; i < n; i++) {
        double weight = shared[i] < OUTWEIGHS_MAX ? shared[i] : OUTWEIGHS_MAX;
        joint[i] += shared[i];
        t->weights[i] = (uint64_t)(int64_t)(weight * w->out->weight_unit + 0.5);
    }
}

/* What carries no weight under any candidate leaves the columns and the weights. Returns how many
 * samples are left. */
static size_t keep_weighty(struct worker *w, size_t n)
{
    uint64_t drop[BLOCK_SAMPLES] = {0};
    size_t kept = 0;
    for (size_t c = 0; c < w->set->count; c++)
        for (size_t i = 0; i < n; i++)
            drop[i] |= w->candidates[c].weights[i];
    for (size_t i = 0; i < n; i++)
        drop[i] = drop[i] == 0;
    for (size_t c = 0; c < w->set->count; c++) {
        uint64_t *weights = w->candidates[c].weights;
        kept = sampler_keep(w->samplers[c], c == 0, n, drop);
        for (size_t i = 0, k = 0; i < n && kept < n; i++)
            if (!drop[i])
                weights[k++] = weights[i];
    }
    return kept;
}

static uint64_t sum_weights(struct candidate_tally *t, size_t n)
{
    uint64_t sum = 0;
    for (size_t i = 0; i < n; i++) {
        sum += t->weights[i];
        t->weights_as_double[i] = (double)t->weights[i];
    }
    return sum;
}

/* ---- blocks ---- */

static void tally_weighted(struct worker *w, size_t n, const size_t *invalid,
                           struct block_part *parts, struct weight_sums *sums)
{
    const struct plan_set *set = w->set;
    double joint[BLOCK_SAMPLES] = {0.0};
    const uint64_t **weights = w->weights;
    for (size_t c = 0; c < set->count; c++) {
        sum_evidence(w, c, n, invalid[c], &parts[c]);
        weigh(w, c, n, invalid[c], joint, &parts[c]);
        parts[c].replicate.samples = (double)(n - invalid[c]);
        weights[c] = w->candidates[c].weights;
    }
    *sums = (struct weight_sums){sum_of(n, joint), sum_of_products(n, joint, joint),
                                 range_of(n, joint).high};
    size_t kept = keep_weighty(w, n);
    for (size_t c = 0; c < set->count; c++)
        if (invalid[c] > 0)
            sampler_blank(w->samplers[c], kept);
    joint_counts_begin(w->joint, kept, weights);
    for (size_t c = 0; c < set->count; c++) {
        parts[c].weight_units = sum_weights(&w->candidates[c], kept);
        tally_samples(w, c, kept, &parts[c]);
    }
}

void worker_tally(struct worker *w, uint64_t first, size_t n, struct block_part *parts,
                  struct weight_sums *joint)
{
    size_t *invalid = w->invalid;
    for (size_t c = 0; c < w->set->count; c++) {
        struct candidate_tally *t = &w->candidates[c];
        invalid[c] = sampler_fill(t->sampler, c == 0, first, n, t->drop, t->invalid_by_node);
    }
    if (w->set->weighted) {
        tally_weighted(w, n, invalid, parts, joint);
        return;
    }
    size_t kept = sampler_keep(w->samplers[0], true, n, w->candidates[0].drop);
    parts->weight_units = kept;
    parts->replicate.samples = (double)kept;
    tally_samples(w, 0, kept, parts);
}

/* ---- the end ---- */

static void add_counts(const struct bin_layout *layout, const uint64_t *part, uint64_t *counts)
{
    for (size_t b = 0; part && b < bin_layout_size(layout); b++)
        counts[b] += part[b];
}

void worker_add_counts(struct worker *w, size_t candidate, size_t row, uint64_t *counts)
{
    if (w->out->shared[row]) {
        joint_counts_settle(w->joint);
        joint_counts_add(w->joint, row, candidate, counts);
    } else {
        add_counts(run_layout(w->out, candidate, row), w->candidates[candidate].counts[row],
                   counts);
    }
}

void worker_add_mixture(struct worker *w, size_t row, uint64_t *counts)
{
    if (w->set->count > 1 && !w->out->shared[row])
        add_counts(w->out->layouts[row], w->mixture[row], counts);
    if (w->out->shared[row])
        joint_counts_settle(w->joint);
    for (size_t c = 0; c < w->set->count && w->out->shared[row]; c++)
        joint_counts_add(w->joint, row, c, counts);
}

static void give(const struct bin_layout *layout, uint64_t **counts, uint64_t **into)
{
    if (*into) {
        add_counts(layout, *counts, *into);
        return;
    }
    *into = *counts;
    *counts = NULL;
}

void worker_give_row(struct worker *w, size_t row, struct run_outcome *out)
{
    if (out->shared[row]) {
        if (w->joint)
            joint_counts_merge(out->shared_counts, w->joint, row);
        return;
    }
    for (size_t c = 0; c < w->set->count; c++)
        give(run_layout(out, c, row), &w->candidates[c].counts[row],
             &out->candidates[c].counts[row]);
    give(out->layouts[row], &w->mixture[row], &out->counts[row]);
}
