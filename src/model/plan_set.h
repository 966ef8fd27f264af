/* The plans of a case: one, or one for each candidate, and the rows that the result tables show of
 * them together. */
#ifndef PACKSPAN_MODEL_PLAN_SET_H
#define PACKSPAN_MODEL_PLAN_SET_H

#include "model/plan.h"

enum { ROUTES_MAX = 5 };

/* One row of the result tables. */
struct set_row {
    size_t vehicle, trip;
    enum quantity_id quantity;
    bool fixed;      /* wherever it is known, the same in every sample; candidates may differ */
    bool everywhere; /* known under every candidate */
};

/* The routes to a vehicle's usable energy that every candidate has. */
struct route_set {
    size_t vehicle, count;
    size_t rows[ROUTES_MAX];
};

struct plan_set {
    const struct case_data *source;
    struct plan *plans; /* one a candidate, in the case's order, or a single one */
    double *priors;     /* [count], their sum is 1 */
    /* [plan][node]: the node of the first plan that is worked out in the same way and so has the
     * same values, or NODE_NONE. */
    size_t **twins;
    size_t count;
    bool weighted; /* evidence or candidates: samples do not all count the same */
    struct set_row *rows;
    size_t row_count;
    size_t *row_places; /* by plan_place(): see plan_set_find() */
    size_t *nodes;      /* [count * row_count]: NODE_NONE where a candidate does not know the row */
    struct route_set *routes; /* [route_set_count], vehicles with at least one route */
    size_t route_set_count;
};

/* PACKSPAN_BAD_CASE when a plan has errors. plan_set_free() in every case. The case must outlive
 * the set. */
packspan_status plan_set_make(const struct case_data *source, struct plan_set *out);
void plan_set_free(struct plan_set *s);

/* After shapes of the case's inputs were replaced by others: what is the same in every sample may
 * be another matter now, and nothing else depends on a shape. */
void plan_set_refresh(struct plan_set *s);

/* The node of a row under a candidate, or NODE_NONE. */
size_t plan_set_node(const struct plan_set *s, size_t candidate, size_t row);
/* A plan that knows the row, and its node there. */
const struct plan_node *plan_set_some_node(const struct plan_set *s, size_t row);
/* SIZE_MAX when there is no such row. */
size_t plan_set_find(const struct plan_set *s, size_t vehicle, enum quantity_id quantity,
                     size_t trip);

#endif
