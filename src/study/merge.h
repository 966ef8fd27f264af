/* The shares of one run put together again. */
#ifndef PACKSPAN_STUDY_MERGE_H
#define PACKSPAN_STUDY_MERGE_H

#include "study/part_set.h"
#include "study/run_part.h"

/* Adds the parts up; the settings of the case must be those of their header. As run_plans(); what
 * is wrong with a part is reported, and nothing of a run that is refused. */
packspan_status merge_run(const struct part_set *parts, const struct plan_set *set,
                          run_progress *progress, void *user, struct problems *problems,
                          struct run_outcome *out);

#endif
