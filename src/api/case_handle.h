/* What is behind a packspan_case. */
#ifndef PACKSPAN_API_CASE_HANDLE_H
#define PACKSPAN_API_CASE_HANDLE_H

#include "case/case.h"
#include "model/plan_set.h"

struct case_value {
    packspan_origin origin;
    const char *vehicle;
    char *quantity, *text;
};

struct packspan_case {
    struct case_data data;
    struct plan_set set;
    bool is_wrong;        /* its tables are, or no plan can be made of them */
    char **problem_texts; /* errors and warnings of case and plans, in order */
    bool *problem_is_error;
    size_t problem_count;
    struct case_value **values;
    size_t value_count, value_capacity;
    void *told; /* tree of the values, by what they say (tsearch) */
    char setting_space[4096];
};

/* Adds a problem found while running. False when out of memory. */
bool case_add_problem(packspan_case *c, enum severity severity, char *text);

/* Takes the problems over that a reader or a part has found. False when out of memory. */
bool case_take_problems(packspan_case *c, const struct problems *list);

struct run_outcome;
/* Says why a run is refused: PACKSPAN_BAD_CASE, or PACKSPAN_NO_MEMORY. */
packspan_status refuse_run(packspan_case *c, const struct run_outcome *outcome);

#endif
