/* What the evidence says of candidates and what each observation does. */
#ifndef PACKSPAN_RESULTS_BELIEF_H
#define PACKSPAN_RESULTS_BELIEF_H

#include "results/results.h"

/* Fills [set->count] rows. */
void belief_of_candidates(const struct run_outcome *outcome, struct candidate_row *rows);
/* Fills [observation_count] rows; false when out of memory. */
bool belief_of_observations(const struct run_outcome *outcome, struct observation_row *rows);

#endif
