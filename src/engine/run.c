#include "engine/run.h"

#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "model/block.h"

enum {
    PILOT_SAMPLES = 16384, /* lay the bins out; a whole number of blocks */
    ROUND_BLOCKS = 64      /* blocks between two merges */
};

/* What one thread needs. */
struct worker {
    struct sampler *sampler;
    uint64_t **counts;         /* [results] */
    uint64_t *outside;         /* [results] */
    uint64_t *invalid_by_node; /* [nodes] */
    struct claim_count *claims;
};

struct runner {
    const struct plan *plan;
    struct run_outcome *out;
    struct worker *workers;
    unsigned worker_count;
    struct moments *parts; /* [ROUND_BLOCKS][results] */
};

static const struct plan_node *result_node(const struct plan *p, size_t r)
{
    return &p->nodes[p->results[r]];
}

static void free_worker(const struct plan *p, struct worker *w)
{
    for (size_t r = 0; w->counts && r < p->result_count; r++)
        free(w->counts[r]);
    free(w->counts);
    free(w->outside);
    free(w->invalid_by_node);
    free(w->claims);
    sampler_free(w->sampler);
}

static packspan_status open_worker(const struct runner *run, struct worker *w)
{
    const struct plan *p = run->plan;
    w->counts = calloc(p->result_count + 1, sizeof *w->counts);
    w->outside = calloc(p->result_count + 1, sizeof *w->outside);
    w->invalid_by_node = calloc(p->node_count + 1, sizeof *w->invalid_by_node);
    w->claims = calloc(p->source->claim_count + 1, sizeof *w->claims);
    if (!w->counts || !w->outside || !w->invalid_by_node || !w->claims)
        return PACKSPAN_NO_MEMORY;
    return sampler_open(p, &w->sampler);
}

/* Values of one result in the pilot, sorted. */
static int compare_doubles(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* The run's first samples decide the bins; they are drawn again and tallied with the others. */
static packspan_status lay_bins_out(struct runner *run)
{
    const struct plan *p = run->plan;
    struct run_outcome *out = run->out;
    size_t wanted = out->requested < PILOT_SAMPLES ? (size_t)out->requested : PILOT_SAMPLES;
    double *pilot = malloc(PILOT_SAMPLES * (p->result_count + 1) * sizeof *pilot);
    if (!pilot)
        return PACKSPAN_NO_MEMORY;
    size_t have = 0;
    struct sampler *s = run->workers[0].sampler;
    for (size_t first = 0; first < wanted; first += BLOCK_SAMPLES) {
        size_t n = wanted - first < BLOCK_SAMPLES ? wanted - first : BLOCK_SAMPLES;
        size_t valid = sampler_block(s, first, n, run->workers[0].invalid_by_node);
        for (size_t r = 0; r < p->result_count; r++)
            memcpy(pilot + r * PILOT_SAMPLES + have, sampler_column(s, p->results[r]),
                   valid * sizeof *pilot);
        have += valid;
    }
    packspan_status status = PACKSPAN_OK;
    if (have == 0) { /* the counts of what spoiled them stay, to tell why */
        out->invalid = wanted;
        status = PACKSPAN_BAD_CASE;
    } else {
        memset(run->workers[0].invalid_by_node, 0, p->node_count * sizeof(uint64_t));
    }
    for (size_t r = 0; r < p->result_count && status == PACKSPAN_OK; r++) {
        if (result_node(p, r)->fixed)
            continue;
        qsort(pilot + r * PILOT_SAMPLES, have, sizeof *pilot, compare_doubles);
        status = bin_layout_make(pilot + r * PILOT_SAMPLES, have, &out->layouts[r]);
        for (unsigned w = 0; w < run->worker_count && status == PACKSPAN_OK; w++) {
            uint64_t *counts = calloc(bin_layout_size(out->layouts[r]), sizeof *counts);
            run->workers[w].counts[r] = counts;
            if (!counts)
                status = PACKSPAN_NO_MEMORY;
        }
    }
    free(pilot);
    return status;
}

HOT_LOOP static uint64_t count_outside(size_t n, const double *restrict x, double low, double high,
                                       bool low_open, bool high_open)
{
    uint64_t outside = 0;
    for (size_t i = 0; i < n; i++)
        outside += (x[i] < low) | (x[i] > high) | (low_open & (x[i] == low)) |
                   (high_open & (x[i] == high));
    return outside;
}

static void count_claim(const struct claim *claim, size_t n, const double *x,
                        struct claim_count *count)
{
    double value = claim->to_si.scale * claim->value + claim->to_si.offset;
    double tolerance = claim->to_si.scale * claim->tolerance;
    for (size_t i = 0; i < n; i++) {
        count->above += x[i] > value + tolerance;
        count->below += x[i] < value - tolerance;
        count->under += x[i] < value;
        count->at += x[i] == value;
    }
}

static void tally_block(const struct runner *run, struct worker *w, uint64_t first, size_t n,
                        struct moments *parts)
{
    const struct plan *p = run->plan;
    size_t valid = sampler_block(w->sampler, first, n, w->invalid_by_node);
    for (size_t r = 0; r < p->result_count; r++) {
        const struct plan_node *node = result_node(p, r);
        const struct quantity *q = &quantities[node->quantity];
        const double *x = sampler_column(w->sampler, p->results[r]);
        moments_init(&parts[r]);
        if (valid == 0)
            continue;
        if (node->fixed) {
            parts[r] = (struct moments){valid, x[0], 0.0, x[0], x[0]};
        } else {
            moments_of(valid, x, &parts[r]);
            bin_count(run->out->layouts[r], valid, x, w->counts[r]);
        }
        if (node->kind != NODE_INPUT)
            w->outside[r] += count_outside(valid, x, q->low, q->high, q->low_open, q->high_open);
    }
    for (size_t k = 0; k < p->source->claim_count; k++)
        count_claim(&p->source->claims[k], valid, sampler_column(w->sampler, p->claim_nodes[k]),
                    &w->claims[k]);
}

static uint64_t count_invalid(const struct runner *run)
{
    uint64_t invalid = 0;
    for (unsigned w = 0; w < run->worker_count; w++)
        for (size_t k = 0; k < run->plan->node_count; k++)
            invalid += run->workers[w].invalid_by_node[k];
    return invalid;
}

/* One round: blocks in parallel, their moments merged in the order of the samples. */
static void tally_round(struct runner *run, uint64_t first, uint64_t samples)
{
    const struct plan *p = run->plan;
    long blocks = (long)((samples + BLOCK_SAMPLES - 1) / BLOCK_SAMPLES);
#pragma omp parallel for schedule(dynamic) num_threads(run->worker_count)
    for (long b = 0; b < blocks; b++) {
        uint64_t start = (uint64_t)b * BLOCK_SAMPLES;
        size_t n = samples - start < BLOCK_SAMPLES ? (size_t)(samples - start) : BLOCK_SAMPLES;
        tally_block(run, &run->workers[omp_get_thread_num()], first + start, n,
                    run->parts + (size_t)b * p->result_count);
    }
    for (long b = 0; b < blocks; b++)
        for (size_t r = 0; r < p->result_count; r++)
            moments_merge(&run->out->moments[r], &run->parts[(size_t)b * p->result_count + r]);
}

static packspan_status tally_all(struct runner *run, run_progress *progress, void *user)
{
    struct run_outcome *out = run->out;
    uint64_t drawn = 0, total = out->requested;
    packspan_status status = PACKSPAN_OK;
    while (drawn < total && status == PACKSPAN_OK && !out->interrupted) {
        uint64_t n = total - drawn < ROUND_BLOCKS * BLOCK_SAMPLES ? total - drawn
                                                                  : ROUND_BLOCKS * BLOCK_SAMPLES;
        tally_round(run, drawn, n);
        drawn += n;
        out->invalid = count_invalid(run);
        out->samples = drawn - out->invalid;
        if ((double)out->invalid > INVALID_SHARE_MAX * (double)total)
            status = PACKSPAN_BAD_CASE;
        if (progress && !progress(user, drawn, total) && drawn < total)
            out->interrupted = true;
    }
    return status;
}

/* All workers' counts into the outcome; whole numbers, so their order does not matter. */
static void gather(struct runner *run)
{
    const struct plan *p = run->plan;
    struct run_outcome *out = run->out;
    for (size_t r = 0; r < p->result_count; r++) {
        if (!out->layouts[r])
            continue;
        out->counts[r] = run->workers[0].counts[r];
        run->workers[0].counts[r] = NULL;
        for (unsigned w = 1; w < run->worker_count; w++)
            for (size_t b = 0; b < bin_layout_size(out->layouts[r]); b++)
                out->counts[r][b] += run->workers[w].counts[r][b];
    }
    for (unsigned w = 0; w < run->worker_count; w++) {
        for (size_t r = 0; r < p->result_count; r++)
            out->outside[r] += run->workers[w].outside[r];
        for (size_t k = 0; k < p->node_count; k++)
            out->invalid_by_node[k] += run->workers[w].invalid_by_node[k];
        for (size_t k = 0; k < p->source->claim_count; k++) {
            out->claims[k].above += run->workers[w].claims[k].above;
            out->claims[k].below += run->workers[w].claims[k].below;
            out->claims[k].under += run->workers[w].claims[k].under;
            out->claims[k].at += run->workers[w].claims[k].at;
        }
    }
}

static bool open_outcome(const struct plan *p, struct run_outcome *out)
{
    out->layouts = calloc(p->result_count + 1, sizeof(struct bin_layout *));
    out->counts = calloc(p->result_count + 1, sizeof *out->counts);
    out->moments = calloc(p->result_count + 1, sizeof *out->moments);
    out->outside = calloc(p->result_count + 1, sizeof *out->outside);
    out->invalid_by_node = calloc(p->node_count + 1, sizeof *out->invalid_by_node);
    out->claims = calloc(p->source->claim_count + 1, sizeof *out->claims);
    for (size_t r = 0; out->moments && r < p->result_count; r++)
        moments_init(&out->moments[r]);
    return out->layouts && out->counts && out->moments && out->outside && out->invalid_by_node &&
           out->claims;
}

static double now(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

packspan_status run_plan(const struct plan *p, run_progress *progress, void *user,
                         struct run_outcome *out)
{
    double started = now();
    const struct settings *settings = &p->source->settings;
    *out = (struct run_outcome){.plan = p, .requested = settings->samples};
    out->threads = settings->threads ? settings->threads : (unsigned)omp_get_num_procs();
    struct runner run = {.plan = p, .out = out, .worker_count = out->threads};
    run.workers = calloc(run.worker_count, sizeof *run.workers);
    run.parts = calloc(ROUND_BLOCKS * (p->result_count + 1), sizeof *run.parts);
    packspan_status status = PACKSPAN_OK;
    if (!run.workers || !run.parts || !open_outcome(p, out))
        status = PACKSPAN_NO_MEMORY;
    for (unsigned w = 0; w < run.worker_count && status == PACKSPAN_OK; w++)
        status = open_worker(&run, &run.workers[w]);
    if (status == PACKSPAN_OK)
        status = lay_bins_out(&run);
    if (status == PACKSPAN_OK)
        status = tally_all(&run, progress, user);
    if (status == PACKSPAN_OK || status == PACKSPAN_BAD_CASE)
        gather(&run);
    for (unsigned w = 0; run.workers && w < run.worker_count; w++)
        free_worker(p, &run.workers[w]);
    free(run.workers);
    free(run.parts);
    out->seconds = now() - started;
    return status;
}

void run_free(struct run_outcome *r)
{
    for (size_t k = 0; r->layouts && k < r->plan->result_count; k++)
        bin_layout_free(r->layouts[k]);
    for (size_t k = 0; r->counts && k < r->plan->result_count; k++)
        free(r->counts[k]);
    free(r->layouts);
    free(r->counts);
    free(r->moments);
    free(r->outside);
    free(r->invalid_by_node);
    free(r->claims);
    *r = (struct run_outcome){0};
}

struct distribution run_distribution(const struct run_outcome *r, size_t result)
{
    return (struct distribution){r->layouts[result], r->counts[result], r->moments[result]};
}
