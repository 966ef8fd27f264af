/* One row of the result tables: a quantity under one candidate, or under all of them together. */
#ifndef PACKSPAN_RESULTS_ROW_H
#define PACKSPAN_RESULTS_ROW_H

#include "results/results.h"

/* All candidates together. */
#define GROUP_MIXTURE SIZE_MAX

/* Says what a row that the group knows is about; false when out of memory. `group` is a candidate's
 * index or GROUP_MIXTURE, `effective` the group's effective samples. */
bool row_describe(const struct run_outcome *outcome, size_t set_row, size_t group, double effective,
                  struct result_row *row);
void row_clear(struct result_row *row);

/* Where the counts of one row are cumulated, by one thread; large enough for any of the run. */
struct row_room {
    uint64_t *below;
    uint32_t *pilot_below;
    const struct bin_layout *layout; /* whose pilot that is */
};
bool row_room_open(const struct run_outcome *outcome, struct row_room *room);
void row_room_close(struct row_room *room);

/* Works out a row that is described and has its units; false when out of memory. */
bool row_work_out(const struct run_outcome *outcome, enum row_detail detail, struct row_room *room,
                  struct result_row *row);

/* SI, any p in [0, 1]; NaN when out of memory. */
double row_percentile(const struct run_outcome *outcome, const struct result_row *row, double p);

#endif
