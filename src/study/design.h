/* The points of a study: which numbers of the case each of them sets. */
#ifndef PACKSPAN_STUDY_DESIGN_H
#define PACKSPAN_STUDY_DESIGN_H

#include "case/case.h"
#include "draw/stream.h"

#define STUDY_POINTS_MAX 1000000000000

struct design {
    const struct case_data *source;
    const struct study_table *table;
    bool sobol;
    uint64_t points;
    struct stream *streams; /* [axes]: of a Sobol' design */
    size_t *inputs;         /* [input_count]: those that some point changes */
    size_t input_count;
};

/* Settings and tables of the case decide the design. PACKSPAN_USAGE when they contradict each
 * other, *reason (static) telling how. design_close() in every case; the case must outlive it. */
packspan_status design_open(const struct case_data *source, struct design *out,
                            const char **reason);
void design_close(struct design *d);

/* A knob's value at a step of its axis. */
double design_step(const struct study_knob *k, size_t steps, size_t step);
/* The values of a point, one a knob; NaN leaves the case's input as it is. */
void design_values(const struct design *d, uint64_t point, double *values);

/* The text with `between` and "AXIS = VALUE UNIT" after it, instead of the text, which is freed;
 * NULL when out of memory. */
char *design_add_value(char *text, const char *between, const struct design *d, size_t knob,
                       double value);

/* The case's input, or one that only the study gives, as a point changes it; its shape is NULL. */
struct input design_input(const struct design *d, size_t input, const double *values);

/* Reports values of the axes that make no shape of an input. Points of points.csv were checked as
 * they were read. What it takes does not grow with the points: each input is looked at where the
 * ends of its axes meet, and at more places where these do not tell all. Where they do not tell a
 * point of a Sobol' design either, its own check, when its turn comes, does. */
packspan_status design_check(const struct design *d, struct problems *problems);

#endif
