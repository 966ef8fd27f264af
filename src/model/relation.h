/* Relations: how one quantity is worked out from others. A relation is one row and one short
 * function over a block of samples. */
#ifndef PACKSPAN_MODEL_RELATION_H
#define PACKSPAN_MODEL_RELATION_H

#include <stddef.h>
#include <stdint.h>

#include "model/trace.h"
#include "registry/quantity.h"

enum { RELATION_NEEDS_MAX = 16 };

/* One evaluation: n <= BLOCK_SAMPLES samples of every need, in the row's order (the vehicle's own
 * needs, then the reference's), all SI. */
struct relation_call {
    size_t n;
    const double *const *in;
    double *out; /* overlaps no input */
    const struct trace *city, *highway;
    const struct trace *trip; /* NULL for a steady trip and outside trips */
    uint64_t *evaluated;      /* how often a step of a trace was evaluated for a sample is added */
};

typedef void relation_work(const struct relation_call *call);

enum relation_scope {
    SCOPE_ANY,
    SCOPE_SUBJECT,
    SCOPE_REFERENCE,
    SCOPE_FROM_REFERENCES, /* the subject's, worked out with each reference and averaged */
    SCOPE_CYCLE_TRIP,
    SCOPE_STEADY_TRIP,
    SCOPE_TRIP /* a trip's condition, the same for every vehicle */
};

struct relation {
    enum quantity_id result;
    enum relation_scope scope;
    const char *formula;
    relation_work *work;
    size_t need_count, reference_need_count;
    enum quantity_id needs[RELATION_NEEDS_MAX];           /* the vehicle's own */
    enum quantity_id reference_needs[RELATION_NEEDS_MAX]; /* with SCOPE_FROM_REFERENCES */
};

/* Relations of one result are tried in the order in which they stand in the groups. */
struct relation_group {
    const struct relation *rows;
    size_t count;
};
extern const struct relation_group pack_relations, charge_relations, mass_relations,
    road_load_relations, cycle_relations, label_relations, trip_relations;

/* For the rows: lists of needs with their count. */
#define OWN(...)                                                                                   \
    .needs = {__VA_ARGS__},                                                                        \
    .need_count = sizeof((enum quantity_id[]){__VA_ARGS__}) / sizeof(enum quantity_id)
#define REFERENCE(...)                                                                             \
    .reference_needs = {__VA_ARGS__},                                                              \
    .reference_need_count = sizeof((enum quantity_id[]){__VA_ARGS__}) / sizeof(enum quantity_id)

/* The k-th relation (from 0) that works `id` out, or NULL. */
const struct relation *relation_find(enum quantity_id id, size_t k);

/* Shared by the rows. */
void relate_copy(const struct relation_call *call);       /* x0 */
void relate_sum(const struct relation_call *call);        /* x0 + x1 */
void relate_difference(const struct relation_call *call); /* x0 - x1 */
void relate_product(const struct relation_call *call);    /* x0 x1 */
void relate_product3(const struct relation_call *call);   /* x0 x1 x2 */
void relate_quotient(const struct relation_call *call);   /* x0 / x1 */

#endif
