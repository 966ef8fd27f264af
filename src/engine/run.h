/* Runs the plans of a case: blocks of samples in parallel, tallied in a fixed order, in memory that
 * does not grow with the number of samples. */
#ifndef PACKSPAN_ENGINE_RUN_H
#define PACKSPAN_ENGINE_RUN_H

#include <packspan/packspan.h>

#include "engine/evidence.h"
#include "engine/sampler.h"
#include "engine/tally.h"
#include "model/plan_set.h"

/* A run with more than this share of invalid samples is refused. */
#define INVALID_SHARE_MAX 1e-3
/* An observation that no sample comes nearer to than this many standard deviations is refused. */
#define NEAREST_MAX 6.0

/* Counts for one claim, which is about value -+ tolerance; sums of weights in a weighted run. */
struct claim_count {
    uint64_t above; /* quantity > value + tolerance */
    uint64_t below; /* quantity < value - tolerance */
    uint64_t under; /* quantity < value */
    uint64_t at;    /* quantity == value */
    uint64_t total;
};

void claim_count_add(struct claim_count *into, const struct claim_count *part);
/* What counts against a claim of that sense. */
uint64_t claim_count_against(const struct claim_count *count, enum claim_sense sense);

/* Sums of weights, relative to the heaviest sample of the pilot. */
struct weight_sums {
    double sum, squares, largest;
};

/* Weighted means and sums of products of deviations of a vehicle's routes. */
struct route_moments {
    double weight, mean[ROUTES_MAX], products[ROUTES_MAX][ROUTES_MAX];
};

/* What was found under one candidate. */
struct candidate_outcome {
    uint64_t samples, invalid;
    uint64_t steps;              /* how often a step of a speed trace was evaluated for a sample */
    struct bin_layout **layouts; /* [rows]: its own, NULL where it has none; see run_layout() */
    uint64_t **counts;           /* [rows]: in the bins of run_layout(); see run_cumulate() */
    struct moments *moments;     /* [rows]: SI */
    uint64_t *outside;           /* [rows]: weights of worked-out values outside their domain */
    uint64_t *invalid_by_node;
    struct claim_count *claims;
    bool has_pilot;             /* a sample of the pilot carries weight: there are layouts */
    uint64_t weight_units;      /* sum of the whole-number weights; 0: no sample counts */
    double log_reference;       /* as that of the outcome, of its own samples */
    struct weight_sums weights; /* relative to it */
    double heaviest;            /* weight of a sample, relative to the outcome's reference */
    struct observation_sums *observations;
    struct evidence_sums evidence;
    struct route_moments *routes; /* [route sets], SI */
};

struct joint_counts;
struct replicates;
struct stability;
struct sum_tree;

/* Unweighted counts of a row, by how many bins were joined; NULL where that did not happen. */
struct row_counts {
    uint64_t *joined[BIN_SHIFTS];
};

struct run_outcome {
    const struct plan_set *set;
    uint64_t requested;    /* by the whole run */
    uint64_t first, share; /* of this share of it, samples from first .. first + share - 1 */
    uint64_t drawn;        /* of these */
    uint64_t waiting;      /* so many may wait to be counted; see joint_counts_open() */
    bool interrupted;
    uint64_t parts; /* shares that were merged; 0: a whole run */
    unsigned threads;
    double seconds;
    struct bin_layout **layouts; /* [rows]: of all together; NULL for a fixed row */
    bool *shared;                /* [rows]: every candidate uses these bins too */
    uint64_t **counts;           /* [rows]: in their bins, of all together; see run_cumulate() */
    struct joint_counts *shared_counts; /* of the shared rows, in a run with weights */
    struct candidate_outcome *candidates;
    struct weight_sums joint; /* of each sample's weights under all candidates, priors included */
    double log_reference;     /* log of the weight that all are relative to */
    double weight_unit;       /* the whole number that stands for that weight */
    uint64_t piloted;         /* samples that the layouts and the reference come from */
    struct replicates *replicates; /* of Sobol' points, for errors; else NULL */
    struct stability *stability;   /* with the setting stable; else NULL */
    /* What the sums and unweighted counts above come from, when the run is finished. */
    struct sum_tree *trees; /* [tree_count]: of each replicate of Sobol' points, or one */
    size_t tree_count;
    struct row_counts *row_counts; /* [rows] */
};

/* Means and products of `count` routes, the order of merging being part of the result. */
void route_moments_merge(struct route_moments *into, const struct route_moments *part,
                         size_t count);

typedef bool run_progress(void *user, uint64_t done, uint64_t total);

/* Stops early, keeping what is finished, when `progress` (called between rounds, may be NULL)
 * returns false; PACKSPAN_INTERRUPTED when none of that carries weight. PACKSPAN_BAD_CASE when too
 * many samples are invalid or when an observation fits no sample: the outcome then holds the counts
 * that tell why. run_free() in every case. */
packspan_status run_plans(const struct plan_set *set, run_progress *progress, void *user,
                          struct run_outcome *out);
void run_free(struct run_outcome *r);

/* ---- shares of a run, computed apart ---- */

uint64_t run_block_count(const struct plan_set *set);
/* How many of the blocks before `end` a tree is about. */
uint64_t run_tree_share(const struct run_outcome *r, size_t tree, uint64_t end);

/* Tallies blocks from .. to - 1. All that is not a sum over the whole run is the whole run's: the
 * pilot, the number of samples. The outcome then holds what is to be added to another share's, as
 * it is: trees, counts by shift, whole numbers. PACKSPAN_INTERRUPTED when `progress` stops it;
 * PACKSPAN_BAD_CASE when the whole run is bound to be refused. When a sample outweighs the pilot,
 * *pilot becomes the length of the one that the whole run needs, and nothing else counts; else it
 * becomes 0. run_free() in every case. */
packspan_status run_share(const struct plan_set *set, uint64_t from, uint64_t to,
                          run_progress *progress, void *user, uint64_t *pilot,
                          struct run_outcome *out);
/* The same of no blocks at all: what shares are added to. */
packspan_status run_open(const struct plan_set *set, run_progress *progress, void *user,
                         struct run_outcome *out);
/* Works out what a whole run knows when all blocks are added. As run_plans(). */
packspan_status run_finish(struct run_outcome *out);

/* ---- what they tell ---- */

/* True when a candidate has more invalid samples than the samples that were drawn may have. */
bool run_has_too_many_invalid(const struct run_outcome *r);
/* The bins of a row's counts under a candidate: its own where there are several, as what is
 * unlikely in the mixture may be all that one of them has. NULL where the row is fixed or not
 * known. */
const struct bin_layout *run_layout(const struct run_outcome *r, size_t candidate, size_t row);
/* Of a row that is not fixed, under candidates from .. to - 1: one of them in the bins of
 * run_layout(), or all together in those of layouts[row]. below[b] = the weight in the bins before
 * b, for b = 0 .. the number of bins. */
void run_cumulate(const struct run_outcome *r, size_t row, size_t from, size_t to, uint64_t *below);
/* True when a candidate's samples weigh so little that their whole-number weights are too coarse
 * for distributions of its own. */
bool run_is_weightless(const struct run_outcome *r, size_t candidate);
/* The best log likelihood, relative to a perfect fit, that any sample has for an observation. */
double run_nearest(const struct run_outcome *r, size_t observation);

/* (sum w)^2 / sum w^2; 0 when there is no weight. */
double effective_samples(const struct weight_sums *w);

#endif
