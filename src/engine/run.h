/* Runs a plan: blocks of samples in parallel, tallied in a fixed order, in memory that does not
 * grow with the number of samples. */
#ifndef PACKSPAN_ENGINE_RUN_H
#define PACKSPAN_ENGINE_RUN_H

#include <packspan/packspan.h>

#include "engine/tally.h"
#include "model/plan.h"

/* A run with more than this share of invalid samples is refused. */
#define INVALID_SHARE_MAX 1e-3

/* Counts for one claim; the claim is about value -+ tolerance. */
struct claim_count {
    uint64_t above; /* quantity > value + tolerance */
    uint64_t below; /* quantity < value - tolerance */
    uint64_t under; /* quantity < value */
    uint64_t at;    /* quantity == value */
};

struct run_outcome {
    const struct plan *plan;
    uint64_t requested, samples, invalid; /* samples: valid ones; samples + invalid were drawn */
    bool interrupted;
    unsigned threads;
    double seconds;
    /* One entry a result of the plan, SI. A fixed result has no layout: every percentile is its
     * mean. */
    struct bin_layout **layouts;
    uint64_t **counts;
    struct moments *moments;
    uint64_t *outside; /* samples whose worked-out value leaves its physical domain */
    uint64_t
        *invalid_by_node; /* one entry a node: invalid samples that it was the first to spoil */
    struct claim_count *claims;
};

typedef bool run_progress(void *user, uint64_t done, uint64_t total);

/* Stops early, keeping what is finished, when `progress` (called between rounds, may be NULL)
 * returns false. PACKSPAN_BAD_CASE when too many samples are invalid: the outcome then holds the
 * counts that tell why. PACKSPAN_INTERRUPTED when stopped before any sample was tallied.
 * run_free() in every case. */
packspan_status run_plan(const struct plan *p, run_progress *progress, void *user,
                         struct run_outcome *out);
void run_free(struct run_outcome *r);

struct distribution run_distribution(const struct run_outcome *r, size_t result);

/* The first joint samples one block at a time, as run_plan() draws them. */
struct sampler;
packspan_status sampler_open(const struct plan *p, struct sampler **out);
void sampler_free(struct sampler *s);
/* Works out samples first .. first + n - 1 (n <= BLOCK_SAMPLES) and returns how many are valid;
 * these come first in each column, in their order. invalid_by_node may be NULL. */
size_t sampler_block(struct sampler *s, uint64_t first, size_t n, uint64_t *invalid_by_node);
/* The column of a node, SI. */
const double *sampler_column(const struct sampler *s, size_t node);

#endif
