/* What one thread makes of blocks of samples: whole-number tallies that it keeps, so that their
 * order does not matter, and sums of each block, to be merged in the order of the samples. */
#ifndef PACKSPAN_ENGINE_WORKER_H
#define PACKSPAN_ENGINE_WORKER_H

#include "engine/joint_counts.h"
#include "engine/replicates.h"
#include "engine/run.h"

/* A sample may outweigh the pilot's heaviest by this factor; else the run starts again. */
#define OUTWEIGHS_MAX 32.0

/* What a block gives under one candidate. */
struct block_part {
    struct moments *moments; /* [rows] */
    uint64_t weight_units;
    struct weight_sums weights;
    double heaviest; /* as in a candidate's outcome */
    struct observation_sums *observations;
    struct evidence_sums evidence;
    struct route_moments *routes;
    struct replicate_part replicate; /* where there are replicates */
};
bool block_part_open(const struct plan_set *set, bool replicated, struct block_part *part);
void block_part_close(struct block_part *part);

/* Under one candidate. */
struct candidate_tally {
    struct sampler *sampler;
    uint64_t *drop; /* [BLOCK_SAMPLES]: which samples of the block are invalid */
    /* [BLOCK_SAMPLES]: whole numbers, also as doubles; 1 in a run without weights. */
    uint64_t *weights;
    double *weights_as_double;
    uint64_t **counts; /* [rows]: weights in bins of its own */
    uint64_t *outside; /* [rows] */
    uint64_t *invalid_by_node;
    struct claim_count *claims;
};

struct worker {
    const struct plan_set *set;
    const struct run_outcome *out; /* its layouts, references and weight unit */
    struct candidate_tally *candidates;
    struct sampler **samplers;    /* [candidate], the same as in the tallies */
    struct bin_counter *counters; /* [rows]: in a run without weights */
    struct joint_counts *joint;   /* of rows whose bins are shared, in a run with weights */
    uint64_t **mixture;           /* [rows]: in bins of all together, where they are not shared */
    bool *alike;                  /* [rows]: the same node under every candidate */
    size_t targets[TARGET_COUNT]; /* rows; SIZE_MAX where there is none */
    double *spare;                /* [observations + TARGET_COUNT][BLOCK_SAMPLES] */
    const double **observed;      /* [observations]: columns of one block */
    const uint64_t **weights;     /* [candidate]: of one block */
    size_t *invalid;              /* [candidate]: samples of one block */
    const struct curve *below;    /* for evidence_sum() */
};

packspan_status worker_open(const struct run_outcome *out, const struct curve *below,
                            struct worker *w);
/* When the bins are laid out. */
packspan_status worker_open_counts(struct worker *w);
void worker_close(struct worker *w);

/* Tallies samples first .. first + n - 1; parts are [candidate], `joint` is about the sums of a
 * sample's weights under all candidates. */
void worker_tally(struct worker *w, uint64_t first, size_t n, struct block_part *parts,
                  struct weight_sums *joint);

/* counts[bin] += what the worker has counted of a row under a candidate, or of all together in
 * out->layouts; for runs with weights. */
void worker_add_counts(struct worker *w, size_t candidate, size_t row, uint64_t *counts);
void worker_add_mixture(struct worker *w, size_t row, uint64_t *counts);
/* Adds to the outcome what the worker has counted of a row, its joint counts being finished; they
 * are the outcome's own where it has none. Threads may take different rows at the same time. */
void worker_give_row(struct worker *w, size_t row, struct run_outcome *out);

#endif
