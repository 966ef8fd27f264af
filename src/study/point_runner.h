/* Runs one point after the other with one thread. The case, its plan and its cycles are made ready
 * once; from point to point only the inputs change that the points set apart. */
#ifndef PACKSPAN_STUDY_POINT_RUNNER_H
#define PACKSPAN_STUDY_POINT_RUNNER_H

#include "engine/run.h"
#include "study/design.h"
#include "study/record.h"

struct point_runner {
    const struct design *design;
    struct case_data data; /* the case with inputs of its own */
    struct plan_set set;   /* of data */
    struct shape **made;   /* [data.input_count]: for the present point; NULL: the case's */
    struct input *present; /* [data.input_count]: what they were made from */
    double *values;        /* [knobs] */
    struct unit_system *units;
};

/* PACKSPAN_BAD_CASE when no plan can be made: the problems are in set.plans. point_runner_close()
 * in every case. */
packspan_status point_runner_open(const struct design *d, struct point_runner *out);
void point_runner_close(struct point_runner *r);

/* A point with `samples` samples into out->fate, invalid and numbers. PACKSPAN_INTERRUPTED when
 * `progress` has stopped it; the record is then of no use. */
packspan_status point_runner_run(struct point_runner *r, const struct record_layout *l,
                                 uint64_t point, uint64_t samples, run_progress *progress,
                                 void *user, struct record *out);

#endif
