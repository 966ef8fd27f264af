/* One row of the result tables: a quantity under one candidate, or under all of them together. */
#ifndef PACKSPAN_RESULTS_ROW_H
#define PACKSPAN_RESULTS_ROW_H

#include "results/results.h"

/* All candidates together. */
#define GROUP_MIXTURE SIZE_MAX

/* Fills a row that the group knows; false when out of memory. `group` is a candidate's index or
 * GROUP_MIXTURE, `effective` the group's effective samples. */
bool row_fill(const struct run_outcome *outcome, size_t set_row, size_t group, double effective,
              struct result_row *row);
void row_clear(struct result_row *row);

/* SI. */
double row_percentile(const struct result_row *row, double p);
/* At most PACKSPAN_BINS_MAX bins, SI. */
size_t row_histogram(const struct result_row *row, struct histogram_bin *bins);

#endif
