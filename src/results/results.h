/* What is behind a packspan_results. */
#ifndef PACKSPAN_RESULTS_RESULTS_H
#define PACKSPAN_RESULTS_RESULTS_H

#include <packspan/packspan.h>

#include "engine/run.h"
#include "results/verdict.h"

struct result_row {
    const char *vehicle, *kind;
    char *quantity;
    const struct measure *measure;
    const char *screen_unit;
    struct unit_factor table_to_si, screen_to_si;
    struct distribution distribution; /* SI */
    bool fixed;
    double values[PACKSPAN_STATISTIC_COUNT]; /* table unit */
};

struct claim_row {
    const struct claim *claim;
    char *quantity;
    struct verdict verdict;
    double median_gap, gap_p05, gap_p95; /* the claim's unit */
};

struct packspan_results {
    struct run_outcome outcome;
    struct result_row *rows;
    size_t row_count;
    struct claim_row *claims; /* by name */
    size_t claim_count;
    char **warnings;
    size_t warning_count;
    char *failure;
};

/* Builds rows, verdicts and warnings from the outcome, which it takes over (also on failure). */
packspan_status results_make(struct run_outcome *outcome, struct packspan_results **out);

/* The row of a node, or NULL when the node has none (a default). */
const struct result_row *results_row_of(const struct packspan_results *r, size_t node);

/* True when `folder` holds a case: the result claims.csv would replace the case's. */
bool results_would_spoil_case(const char *folder);

#endif
