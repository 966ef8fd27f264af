/* What is behind a packspan_results. */
#ifndef PACKSPAN_RESULTS_RESULTS_H
#define PACKSPAN_RESULTS_RESULTS_H

#include <packspan/packspan.h>

#include "engine/run.h"
#include "results/consensus.h"
#include "results/verdict.h"

/* A value that all samples of a candidate share, and its weight. */
struct spike {
    double value, weight; /* SI */
};

/* What is worked out of each row, the rest being NaN or empty. */
enum row_detail {
    ROW_BRIEF, /* mean, sd, extremes and p05 to p95, as for one of many runs */
    ROW_FULL
};

/* The percentiles of a row that others build on. */
enum row_percentile {
    ROW_P05,
    ROW_P10,
    ROW_P25,
    ROW_P50,
    ROW_P75,
    ROW_P90,
    ROW_P95,
    ROW_PERCENTILES
};

struct result_row {
    const char *candidate; /* "" without candidates; else the candidate's name or "mixture" */
    const char *vehicle, *kind;
    char *quantity;
    size_t set_row, from, to; /* of candidates from .. to - 1 */
    const struct measure *measure;
    const char *screen_unit;
    struct unit_factor table_to_si, screen_to_si;
    struct distribution distribution; /* SI; with counts only while something is worked out */
    struct spike *spikes; /* [spike_count], rising: instead of a layout, where the row is fixed */
    size_t spike_count;
    double percentiles[ROW_PERCENTILES]; /* SI */
    struct histogram_bin *bins;          /* [bin_count], SI */
    size_t bin_count;
    double samples;                          /* that it rests on; weights are relative to it */
    double values[PACKSPAN_STATISTIC_COUNT]; /* table unit */
};

struct claim_row {
    const char *candidate;
    const struct claim *claim;
    char *quantity;
    struct verdict verdict;
    double median_gap, gap_p05, gap_p10, gap_p90, gap_p95; /* the claim's unit */
};

/* How a candidate fared. */
struct candidate_row {
    const char *name;
    double prior, mean_likelihood, mean_likelihood_error, posterior, odds; /* against the best */
    double effective;
    size_t telling;        /* the observation that speaks most for or against it; SIZE_MAX: none */
    double telling_factor; /* above 1: for it */
};

/* Where an observation stood before it was used, and what it would move alone. */
struct observation_row {
    const struct observation *observation;
    char *quantity;
    double prior_mean, prior_sd; /* of the quantity, the observation's unit */
    double percentile;           /* 0 to 100, of the observed value */
    double distance;             /* from the prior mean, in standard deviations */
    double shift[TARGET_COUNT];  /* of the mean, table unit; NaN where there is none */
};

/* What a vehicle's routes agree on. */
struct consensus_row {
    const char *candidate;
    const struct route_set *routes;
    struct consensus consensus; /* J */
    bool known;                 /* false: the covariance is not usable */
};

/* One group of rows: everything together, then each candidate. */
struct result_group {
    const char *candidate;
    size_t index; /* the candidate's, or GROUP_MIXTURE */
    size_t first_row, row_count;
    double effective;
};

/* What a run warns about by what its samples gave, for those who keep no texts. */
enum caution {
    CAUTION_TRUNCATED, /* told by whoever changed an input */
    CAUTION_OUTSIDE,
    CAUTION_FEW,
    CAUTION_HEAVY,
    CAUTION_INVALID,
    CAUTION_DEPENDENT,
    CAUTION_NEGATIVE,
    CAUTION_WEIGHTLESS,
    CAUTIONS
};
/* A short phrase, without semicolons and commas. */
const char *caution_text(enum caution c);

struct packspan_results {
    struct run_outcome outcome;
    struct result_group *groups;
    size_t group_count;
    struct result_row *rows; /* by group */
    size_t row_count;
    struct claim_row *claims; /* by group, then name */
    size_t claim_count;
    struct consensus_row *consensus; /* by group, then vehicle */
    size_t consensus_count;
    struct candidate_row *candidates;
    struct observation_row *observations;
    char **warnings;
    size_t warning_count;
    unsigned cautions; /* a bit each */
    char *failure;
};

/* Builds rows, verdicts and warnings from the outcome, which it takes over (also on failure). */
packspan_status results_make(struct run_outcome *outcome, enum row_detail detail,
                             struct packspan_results **out);

/* What is better about another number of samples; NULL when nothing is. *no_memory is set or left.
 */
char *results_samples_advice(const struct settings *settings, uint64_t samples, bool *no_memory);

/* True when `folder` holds a case: the result claims.csv would replace the case's. */
bool results_would_spoil_case(const char *folder);

#endif
