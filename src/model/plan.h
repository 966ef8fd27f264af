/* The plan of a case: which value comes from where, in the order in which a block of samples is
 * worked through. */
#ifndef PACKSPAN_MODEL_PLAN_H
#define PACKSPAN_MODEL_PLAN_H

#include <packspan/packspan.h>

#include "base/problems.h"
#include "case/case.h"
#include "model/relation.h"
#include "model/trace.h"

enum node_kind { NODE_INPUT, NODE_FALLBACK, NODE_RELATION, NODE_MEAN };

#define NODE_NONE SIZE_MAX

/* One column of the block. */
struct plan_node {
    enum node_kind kind;
    enum quantity_id quantity;
    size_t vehicle; /* VEHICLE_ALL for shared inputs and trip conditions */
    size_t trip;    /* TRIP_NONE outside trips */
    const struct input *input;
    const struct relation *relation; /* also for NODE_MEAN: the relation that is averaged */
    size_t *args; /* earlier nodes: the relation's needs, or what a NODE_MEAN averages */
    size_t arg_count;
    bool fixed;        /* the same in every sample */
    bool linked;       /* an input that is drawn together with others */
    bool intermediate; /* one reference's share of a mean; no result of its own */
    bool shown;        /* a result */
    bool used;         /* by another node, a claim or an observation */
};

/* Something that could not be worked out: `reason` says what is missing. */
struct plan_gap {
    size_t vehicle, trip;
    enum quantity_id quantity;
    char *reason;
    bool follows; /* it lacks only what other gaps explain */
};

struct plan {
    const struct case_data *source;
    const struct candidate
        *candidate;          /* whose inputs replace the case's; NULL: the case as it is */
    struct plan_node *nodes; /* arguments come before the nodes that use them */
    size_t node_count, node_capacity;
    /* Orders that do not depend on the order of rows: vehicles (subject first), trips and claims
     * by name, numbers inside names compared as numbers. */
    size_t *vehicle_order, *trip_order, *claim_order;
    size_t *places;  /* by vehicle, trip and quantity: see plan_find() */
    size_t *results; /* nodes that the result tables show, in the tables' order */
    size_t result_count, result_capacity;
    size_t *claim_nodes;       /* [claim_count], in the case's order */
    size_t *observation_nodes; /* [observation_count], likewise */
    size_t *input_nodes;       /* [input_count], likewise */
    struct plan_gap *gaps;
    size_t gap_count, gap_capacity;
    struct trace *traces;     /* [cycle_count], as the case's cycles */
    struct problems problems; /* claims that cannot be judged; warnings */
};

/* PACKSPAN_BAD_CASE when there are errors in plan->problems. plan_free() in every case. The case
 * must outlive the plan. */
packspan_status plan_make(const struct case_data *source, const struct candidate *candidate,
                          struct plan *out);
void plan_free(struct plan *p);
/* After shapes of the case's inputs were replaced: which nodes are the same in every sample. */
void plan_refresh(struct plan *p);

/* Whether what a study made of an input leaves its physical domain, and was cut off. */
bool plan_cuts_studied(const struct plan *p);

/* "all" or the vehicle's name. */
const char *plan_vehicle_name(const struct plan *p, size_t vehicle);
/* The quantity's name, with ".TRIP" inside trips; malloc'd, NULL when out of memory. */
char *plan_label(const struct plan *p, enum quantity_id quantity, size_t trip);
/* What stands for a vehicle's quantity, which may be a node of VEHICLE_ALL; NODE_NONE when it was
 * not asked for or cannot be had. */
size_t plan_find(const struct plan *p, size_t vehicle, size_t trip, enum quantity_id quantity);

/* Every vehicle, then VEHICLE_ALL, has a place for each quantity, outside trips and in each. */
size_t plan_place_count(const struct case_data *c);
size_t plan_place(const struct case_data *c, size_t vehicle, size_t trip,
                  enum quantity_id quantity);
/* What the node is worked out from, e.g. "cell_count cell_energy"; malloc'd. */
char *plan_origin(const struct plan *p, const struct plan_node *node);

#endif
