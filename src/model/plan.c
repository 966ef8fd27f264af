#include "model/plan.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

/* State of one (vehicle, quantity, trip) while the plan is made. */
enum { STATE_UNKNOWN = 0, STATE_BUSY = -1, STATE_MISSING = -2 };

struct planner {
    struct plan *plan;
    const struct case_data *source;
    ptrdiff_t *states;          /* by place: node index + 1, or one of the above */
    const struct input **given; /* by place: the candidate's row, else the case's, else NULL */
    bool loop_met;              /* a need was refused because it is being worked out just now */
    bool no_memory;
};

struct target {
    size_t vehicle;
    enum quantity_id quantity;
    size_t trip;
};

const char *plan_vehicle_name(const struct plan *p, size_t vehicle)
{
    return vehicle == VEHICLE_ALL ? "all" : p->source->vehicles[vehicle].name;
}

char *plan_label(const struct plan *p, enum quantity_id quantity, size_t trip)
{
    if (trip == TRIP_NONE)
        return text_copy(quantities[quantity].name);
    return text_format("%s.%s", quantities[quantity].name, p->source->trips[trip].name);
}

char *plan_origin(const struct plan *p, const struct plan_node *node)
{
    switch (node->kind) {
    case NODE_INPUT:
        return text_format("%s:%ld", node->input->file, node->input->line);
    case NODE_FALLBACK:
        return text_format("default (%s)", quantities[node->quantity].fallback_source);
    case NODE_MEAN:
        return text_format("%s, mean over %zu references", node->relation->formula,
                           node->arg_count);
    case NODE_RELATION:
        break;
    }
    if (node->relation->scope != SCOPE_FROM_REFERENCES)
        return text_copy(node->relation->formula);
    const struct plan_node *last = &p->nodes[node->args[node->arg_count - 1]];
    return text_format("%s, reference '%s'", node->relation->formula,
                       plan_vehicle_name(p, last->vehicle));
}

size_t plan_place_count(const struct case_data *c)
{
    return (c->vehicle_count + 1) * (c->trip_count + 1) * QUANTITY_COUNT;
}

size_t plan_place(const struct case_data *c, size_t vehicle, size_t trip, enum quantity_id quantity)
{
    size_t v = vehicle == VEHICLE_ALL ? c->vehicle_count : vehicle;
    size_t t = trip == TRIP_NONE ? c->trip_count : trip;
    return (v * (c->trip_count + 1) + t) * QUANTITY_COUNT + (size_t)quantity;
}

size_t plan_find(const struct plan *p, size_t vehicle, size_t trip, enum quantity_id quantity)
{
    return p->places[plan_place(p->source, vehicle, trip, quantity)];
}

static ptrdiff_t *state_of(struct planner *pl, struct target t)
{
    return &pl->states[plan_place(pl->source, t.vehicle, t.trip, t.quantity)];
}

/* Room for one more element; NULL, and the array as it was, when out of memory. */
static void *grown(void *array, size_t *capacity, size_t count, size_t size)
{
    if (count < *capacity)
        return array;
    size_t more = *capacity ? 2 * *capacity : 64;
    void *moved = realloc(array, more * size);
    if (moved)
        *capacity = more;
    return moved;
}

static bool is_fixed(const struct plan *p, const struct plan_node *node)
{
    if (node->kind == NODE_INPUT)
        return shape_is_fixed(node->input->shape);
    for (size_t i = 0; i < node->arg_count; i++)
        if (!p->nodes[node->args[i]].fixed)
            return false;
    return true;
}

void plan_refresh(struct plan *p)
{
    for (size_t k = 0; k < p->node_count; k++)
        p->nodes[k].fixed = is_fixed(p, &p->nodes[k]);
}

static size_t add_node(struct planner *pl, struct plan_node node, const size_t *args)
{
    struct plan *p = pl->plan;
    if (node.arg_count) {
        node.args = malloc(node.arg_count * sizeof *node.args);
        if (!node.args) {
            pl->no_memory = true;
            return NODE_NONE;
        }
        memcpy(node.args, args, node.arg_count * sizeof *node.args);
    }
    void *nodes = grown(p->nodes, &p->node_capacity, p->node_count, sizeof *p->nodes);
    if (!nodes) {
        free(node.args);
        pl->no_memory = true;
        return NODE_NONE;
    }
    p->nodes = nodes;
    node.fixed = is_fixed(p, &node);
    p->nodes[p->node_count] = node;
    return p->node_count++;
}

static void give(struct planner *pl, const struct input *inputs, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const struct input *in = &inputs[i];
        pl->given[plan_place(pl->source, in->vehicle, in->trip, in->quantity)] = in;
    }
}

/* A candidate's row wins over the case's. */
static void give_inputs(struct planner *pl)
{
    const struct candidate *candidate = pl->plan->candidate;
    give(pl, pl->source->inputs, pl->source->input_count);
    if (candidate)
        give(pl, candidate->inputs, candidate->input_count);
}

static const struct input *find_input(const struct planner *pl, size_t vehicle, size_t trip,
                                      enum quantity_id quantity)
{
    return pl->given[plan_place(pl->source, vehicle, trip, quantity)];
}

/* A vehicle's own row wins over a row for `all`. */
static const struct input *given_for(const struct planner *pl, struct target t)
{
    const struct input *own = find_input(pl, t.vehicle, t.trip, t.quantity);
    if (own || t.vehicle == VEHICLE_ALL)
        return own;
    return find_input(pl, VEHICLE_ALL, t.trip, t.quantity);
}

static struct target need_target(const struct planner *pl, size_t vehicle, size_t trip,
                                 enum quantity_id need)
{
    enum quantity_role role = quantities[need].role;
    bool of_trip = role == QUANTITY_CONDITION ||
                   (trip != TRIP_NONE && find_input(pl, VEHICLE_ALL, trip, need) != NULL);
    if (of_trip)
        return (struct target){VEHICLE_ALL, need, trip};
    return (struct target){vehicle, need, role == QUANTITY_TRIP_RESULT ? trip : TRIP_NONE};
}

static bool in_scope(const struct case_data *c, const struct relation *r, struct target t)
{
    switch (r->scope) {
    case SCOPE_ANY:
        return true;
    case SCOPE_SUBJECT:
    case SCOPE_FROM_REFERENCES:
        return t.vehicle != VEHICLE_ALL && c->vehicles[t.vehicle].is_subject;
    case SCOPE_REFERENCE:
        return t.vehicle != VEHICLE_ALL && !c->vehicles[t.vehicle].is_subject;
    case SCOPE_CYCLE_TRIP:
        return t.trip != TRIP_NONE && !c->trips[t.trip].steady;
    case SCOPE_STEADY_TRIP:
        return t.trip != TRIP_NONE && c->trips[t.trip].steady;
    case SCOPE_TRIP:
        return t.trip != TRIP_NONE;
    }
    return false;
}

static bool rests_on(const struct plan *p, size_t node, size_t vehicle, enum quantity_id quantity)
{
    const struct plan_node *n = &p->nodes[node];
    if (n->quantity == quantity && n->vehicle == vehicle)
        return true;
    for (size_t i = 0; i < n->arg_count; i++)
        if (rests_on(p, n->args[i], vehicle, quantity))
            return true;
    return false;
}

/* A route's result is the usable energy, so one that rests on the vehicle's usable energy would
 * need its own result; and a curb mass that rests on the stated one leaves no gap to it. */
static bool is_circular(const struct plan *p, struct target t, size_t arg_count, const size_t *args)
{
    bool is_gap = t.quantity == Q_curb_mass_gap;
    if (quantities[t.quantity].role != QUANTITY_ROUTE && !is_gap)
        return false;
    enum quantity_id own = is_gap ? Q_stated_curb_mass : Q_usable_energy;
    for (size_t i = is_gap ? 1 : 0; i < arg_count; i++)
        if (rests_on(p, args[i], t.vehicle, own))
            return true;
    return false;
}

static size_t resolve(struct planner *pl, struct target t);

/* Resolves needs for `vehicle`; false when one is missing. */
static bool resolve_needs(struct planner *pl, size_t vehicle, size_t trip, size_t count,
                          const enum quantity_id *needs, size_t *args)
{
    for (size_t i = 0; i < count; i++) {
        args[i] = resolve(pl, need_target(pl, vehicle, trip, needs[i]));
        if (args[i] == NODE_NONE)
            return false;
    }
    return true;
}

static size_t relate(struct planner *pl, struct target t, const struct relation *r)
{
    size_t args[2 * RELATION_NEEDS_MAX];
    if (!resolve_needs(pl, t.vehicle, t.trip, r->need_count, r->needs, args) ||
        is_circular(pl->plan, t, r->need_count, args))
        return NODE_NONE;
    struct plan_node node = {.kind = NODE_RELATION,
                             .quantity = t.quantity,
                             .vehicle = t.vehicle,
                             .trip = t.trip,
                             .relation = r,
                             .arg_count = r->need_count};
    return add_node(pl, node, args);
}

static size_t relate_references(struct planner *pl, struct target t, const struct relation *r)
{
    size_t args[2 * RELATION_NEEDS_MAX], total = r->need_count + r->reference_need_count;
    size_t vehicles = pl->source->vehicle_count, found = 0;
    if (!resolve_needs(pl, t.vehicle, t.trip, r->need_count, r->needs, args))
        return NODE_NONE;
    size_t *shares = malloc(vehicles * sizeof *shares);
    if (!shares) {
        pl->no_memory = true;
        return NODE_NONE;
    }
    struct plan_node node = {.kind = NODE_RELATION,
                             .quantity = t.quantity,
                             .vehicle = t.vehicle,
                             .trip = t.trip,
                             .relation = r,
                             .arg_count = total};
    for (size_t k = 0; k < vehicles; k++) {
        size_t v = pl->plan->vehicle_order[k];
        if (pl->source->vehicles[v].is_subject ||
            !resolve_needs(pl, v, t.trip, r->reference_need_count, r->reference_needs,
                           args + r->need_count) ||
            is_circular(pl->plan, t, total, args))
            continue;
        size_t share = add_node(pl, node, args);
        if (share != NODE_NONE)
            shares[found++] = share;
    }
    size_t result = found ? shares[0] : NODE_NONE;
    if (found > 1) {
        for (size_t k = 0; k < found; k++)
            pl->plan->nodes[shares[k]].intermediate = true;
        node.kind = NODE_MEAN;
        node.arg_count = found;
        result = add_node(pl, node, shares);
    }
    free(shares);
    return result;
}

static size_t work_out(struct planner *pl, struct target t)
{
    const struct input *given = given_for(pl, t);
    if (given && given->vehicle != t.vehicle) /* the draw shared by all vehicles */
        return resolve(pl, (struct target){given->vehicle, t.quantity, t.trip});
    if (given)
        return add_node(pl,
                        (struct plan_node){.kind = NODE_INPUT,
                                           .quantity = t.quantity,
                                           .vehicle = t.vehicle,
                                           .trip = t.trip,
                                           .input = given},
                        NULL);
    const struct relation *r;
    for (size_t k = 0; (r = relation_find(t.quantity, k)) != NULL; k++) {
        if (!in_scope(pl->source, r, t))
            continue;
        size_t node =
            r->scope == SCOPE_FROM_REFERENCES ? relate_references(pl, t, r) : relate(pl, t, r);
        if (node != NODE_NONE)
            return node;
    }
    if (isnan(quantities[t.quantity].fallback))
        return NODE_NONE;
    return add_node(
        pl,
        (struct plan_node){
            .kind = NODE_FALLBACK, .quantity = t.quantity, .vehicle = t.vehicle, .trip = t.trip},
        NULL);
}

static size_t resolve(struct planner *pl, struct target t)
{
    ptrdiff_t *state = state_of(pl, t);
    if (*state > 0)
        return (size_t)(*state - 1);
    if (*state == STATE_BUSY)
        pl->loop_met = true;
    if (*state != STATE_UNKNOWN || pl->no_memory)
        return NODE_NONE;

    bool loop_before = pl->loop_met;
    pl->loop_met = false;
    *state = STATE_BUSY;
    size_t node = work_out(pl, t);
    if (node != NODE_NONE)
        *state = (ptrdiff_t)node + 1;
    else /* what failed only inside a loop may succeed outside of it */
        *state = pl->loop_met ? STATE_UNKNOWN : STATE_MISSING;
    pl->loop_met = pl->loop_met || loop_before;
    return node;
}

static void add_result(struct planner *pl, size_t node)
{
    struct plan *p = pl->plan;
    void *results = grown(p->results, &p->result_capacity, p->result_count, sizeof *p->results);
    if (!results) {
        pl->no_memory = true;
        return;
    }
    p->results = results;
    p->results[p->result_count++] = node;
    p->nodes[node].shown = true;
}

static char *append(char *text, const char *format, const char *a, const char *b)
{
    char *part = text_format(format, a, b);
    char *joined = part ? text_format("%s%s", text ? text : "", part) : NULL;
    free(part);
    free(text);
    return joined;
}

typedef void missing_visit(const struct planner *pl, struct target need, bool of_reference,
                           void *context);

static void visit_missing(struct planner *pl, size_t vehicle, size_t trip, size_t count,
                          const enum quantity_id *needs, bool of_reference, missing_visit *visit,
                          void *context)
{
    for (size_t i = 0; i < count; i++) {
        struct target need = need_target(pl, vehicle, trip, needs[i]);
        if (resolve(pl, need) == NODE_NONE)
            visit(pl, need, of_reference, context);
    }
}

/* Visits what a relation lacks; false when it also lacks a reference vehicle. */
static bool each_missing(struct planner *pl, struct target t, const struct relation *r,
                         missing_visit *visit, void *context)
{
    bool has_reference = false;
    visit_missing(pl, t.vehicle, t.trip, r->need_count, r->needs, false, visit, context);
    if (r->scope != SCOPE_FROM_REFERENCES)
        return true;
    for (size_t k = 0; k < pl->source->vehicle_count; k++) {
        size_t v = pl->plan->vehicle_order[k];
        if (pl->source->vehicles[v].is_subject)
            continue;
        has_reference = true;
        visit_missing(pl, v, t.trip, r->reference_need_count, r->reference_needs, true, visit,
                      context);
    }
    return has_reference;
}

/* The context is a text that grows; NULL once memory has run out. */
static void name_missing(const struct planner *pl, struct target need, bool of_reference,
                         void *context)
{
    char **text = context;
    if (!*text)
        return;
    const char *name = quantities[need.quantity].name;
    const char *comma = **text ? ", " : "";
    char *longer = of_reference ? text_format("%s%s%s of reference '%s'", *text, comma, name,
                                              plan_vehicle_name(pl->plan, need.vehicle))
                                : text_format("%s%s%s", *text, comma, name);
    free(*text);
    *text = longer;
}

/* What a relation lacks: "cell_mass" or "cell_mass, overhead_fraction of reference 'old'". */
static char *lacking(struct planner *pl, struct target t, const struct relation *r)
{
    char *text = text_copy("");
    bool has_reference = each_missing(pl, t, r, name_missing, &text);
    if (text && !has_reference)
        text =
            append(text, *text ? ", a reference vehicle%s%s" : "a reference vehicle%s%s", "", "");
    return text;
}

static void add_gap(struct planner *pl, struct target t)
{
    struct plan *p = pl->plan;
    char *reason = NULL;
    const struct relation *r;
    for (size_t k = 0; (r = relation_find(t.quantity, k)) != NULL; k++) {
        if (!in_scope(pl->source, r, t))
            continue;
        char *lack = lacking(pl, t, r);
        if (lack && !*lack)
            lack = append(lack, "%s%s",
                          t.quantity == Q_curb_mass_gap
                              ? "a curb_mass that does not rest on stated_curb_mass"
                              : "what does not rest on its own usable_energy",
                          "");
        char *longer = lack ? append(reason, reason ? "; or %s%s" : "needs %s%s", lack, "") : NULL;
        if (!lack)
            free(reason);
        free(lack);
        if (!longer) {
            pl->no_memory = true;
            return;
        }
        reason = longer;
    }
    if (!reason) /* nothing works it out for this vehicle */
        return;
    void *gaps = grown(p->gaps, &p->gap_capacity, p->gap_count, sizeof *p->gaps);
    if (!gaps) {
        free(reason);
        pl->no_memory = true;
        return;
    }
    p->gaps = gaps;
    p->gaps[p->gap_count++] = (struct plan_gap){t.vehicle, t.trip, t.quantity, reason, false};
}

/* Result rows of one owner in the registry's order; what cannot be had becomes a gap. */
static void collect(struct planner *pl, size_t vehicle, size_t trip)
{
    for (int id = 0; id < QUANTITY_COUNT; id++) {
        struct target t = {vehicle, (enum quantity_id)id, trip};
        enum quantity_role role = quantities[id].role;
        bool has_trip = trip != TRIP_NONE;
        bool own_input = find_input(pl, vehicle, trip, t.quantity) != NULL;
        if (vehicle == VEHICLE_ALL) {
            bool shown = own_input || (has_trip && t.quantity == Q_trip_air_density);
            size_t node = shown ? resolve(pl, t) : NODE_NONE;
            if (node != NODE_NONE)
                add_result(pl, node);
            continue;
        }
        if (has_trip != (role == QUANTITY_TRIP_RESULT) || role == QUANTITY_CONDITION)
            continue;
        size_t node = resolve(pl, t);
        if (node == NODE_NONE)
            add_gap(pl, t);
        else if (pl->plan->nodes[node].vehicle == vehicle &&
                 pl->plan->nodes[node].kind != NODE_FALLBACK)
            add_result(pl, node);
    }
}

/* ---- gaps that follow from others ---- */

/* State of a place while gaps are told apart. */
enum { GAP_NONE, GAP_OPEN, GAP_CAUSE, GAP_FOLLOWS };

struct missing_count {
    const unsigned char *gaps; /* by place */
    size_t total;
    bool explained;   /* by another gap, in part at least */
    bool needs_given; /* something that nothing ever works out */
};

static void count_missing(const struct planner *pl, struct target need, bool of_reference,
                          void *context)
{
    struct missing_count *m = context;
    (void)of_reference;
    unsigned char gap = m->gaps[plan_place(pl->source, need.vehicle, need.trip, need.quantity)];
    m->total++;
    m->explained = m->explained || gap == GAP_CAUSE || gap == GAP_FOLLOWS;
    m->needs_given = m->needs_given || (gap == GAP_NONE && !relation_find(need.quantity, 0));
}

/* A cause lacks something that only the case can give, whatever else it lacks; what follows lacks
 * only other gaps, and leads to a cause. */
static unsigned char judge_gap(struct planner *pl, struct target t, const unsigned char *gaps)
{
    const struct relation *r;
    bool explained = false;
    for (size_t k = 0; (r = relation_find(t.quantity, k)) != NULL; k++) {
        if (!in_scope(pl->source, r, t))
            continue;
        struct missing_count m = {.gaps = gaps};
        bool has_reference = each_missing(pl, t, r, count_missing, &m);
        if (!has_reference || m.needs_given || m.total == 0)
            return GAP_CAUSE;
        explained = explained || m.explained;
    }
    return explained ? GAP_FOLLOWS : GAP_OPEN;
}

/* Gaps that lack one another, and nothing else, stay open: they are told like causes. */
static void find_consequences(struct planner *pl)
{
    struct plan *p = pl->plan;
    unsigned char *gaps = calloc(plan_place_count(pl->source), sizeof *gaps);
    pl->no_memory = pl->no_memory || !gaps;
    for (size_t g = 0; gaps && g < p->gap_count; g++)
        gaps[plan_place(pl->source, p->gaps[g].vehicle, p->gaps[g].trip, p->gaps[g].quantity)] =
            GAP_OPEN;
    for (bool changed = gaps != NULL; changed;) {
        changed = false;
        for (size_t g = 0; g < p->gap_count; g++) {
            struct target t = {p->gaps[g].vehicle, p->gaps[g].quantity, p->gaps[g].trip};
            unsigned char *gap = &gaps[plan_place(pl->source, t.vehicle, t.trip, t.quantity)];
            if (*gap != GAP_OPEN)
                continue;
            *gap = judge_gap(pl, t, gaps);
            p->gaps[g].follows = *gap == GAP_FOLLOWS;
            changed = changed || *gap != GAP_OPEN;
        }
    }
    free(gaps);
}

/* Order by name with embedded numbers compared as numbers; the subject comes first. */
static int compare_vehicles(const void *a, const void *b, void *data)
{
    const struct case_data *c = data;
    const struct vehicle *x = &c->vehicles[*(const size_t *)a];
    const struct vehicle *y = &c->vehicles[*(const size_t *)b];
    if (x->is_subject != y->is_subject)
        return x->is_subject ? -1 : 1;
    return strverscmp(x->name, y->name);
}

/* Structs of `size` bytes that begin with a char *name. */
struct named {
    const char *first;
    size_t size;
};

static int compare_names(const void *a, const void *b, void *data)
{
    const struct named *n = data;
    const char *x = *(char *const *)(n->first + *(const size_t *)a * n->size);
    const char *y = *(char *const *)(n->first + *(const size_t *)b * n->size);
    return strverscmp(x, y);
}

static size_t *order_of(size_t count, int (*compare)(const void *, const void *, void *),
                        const void *data)
{
    size_t *order = malloc((count ? count : 1) * sizeof *order);
    if (!order)
        return NULL;
    for (size_t i = 0; i < count; i++)
        order[i] = i;
    qsort_r(order, count, sizeof *order, compare, (void *)(uintptr_t)data);
    return order;
}

static size_t *order_by_name(const void *first, size_t count, size_t size)
{
    return order_of(count, compare_names, &(struct named){first, size});
}

/* A truncation that touches less than one sample in a million is not worth a line. */
#define CUT_SHARE_TOLD 1e-6

static void mark_used(struct plan *p, size_t count, const size_t *nodes)
{
    for (size_t i = 0; i < count; i++)
        if (nodes[i] != NODE_NONE)
            p->nodes[nodes[i]].used = true;
}

static void mark_used_nodes(struct plan *p)
{
    for (size_t k = 0; k < p->node_count; k++)
        mark_used(p, p->nodes[k].arg_count, p->nodes[k].args);
    mark_used(p, p->source->claim_count, p->claim_nodes);
    mark_used(p, p->source->observation_count, p->observation_nodes);
}

/* Every input has a node, whether anything uses it or not. */
static void resolve_inputs(struct planner *pl)
{
    const struct case_data *c = pl->source;
    struct plan *p = pl->plan;
    for (size_t i = 0; i < c->input_count; i++) {
        const struct input *in = &c->inputs[i];
        p->input_nodes[i] = resolve(pl, (struct target){in->vehicle, in->quantity, in->trip});
    }
    for (size_t g = 0; g < c->copula.group_count && !pl->no_memory; g++)
        for (size_t k = 0; k < c->copula.groups[g].size; k++)
            p->nodes[p->input_nodes[c->copula.groups[g].members[k]]].linked = true;
}

bool plan_cuts_studied(const struct plan *p)
{
    for (size_t k = 0; k < p->node_count; k++) {
        const struct input *in = p->nodes[k].input;
        if (in && in->studied && shape_cut(in->shape) > CUT_SHARE_TOLD)
            return true;
    }
    return false;
}

/* Of an input that a study sets, each point tells. */
static void warn_of_cuts(struct plan *p)
{
    for (size_t k = 0; k < p->node_count; k++) {
        const struct input *in = p->nodes[k].input;
        double cut = in && !in->studied ? shape_cut(in->shape) : 0.0;
        if (cut <= CUT_SHARE_TOLD)
            continue;
        char *what = text_format("%.3g %% of the distribution lies outside the physical domain and "
                                 "was cut off",
                                 100.0 * cut);
        problems_add(&p->problems, SEVERITY_WARNING, in->file, in->line, "quantity", what,
                     quantities[in->quantity].name, NULL);
        free(what);
    }
}

/* NULL when out of memory. */
static char *describe_fallback(const struct plan *p, const struct plan_node *n)
{
    char *label = plan_label(p, n->quantity, n->trip);
    char *what =
        label ? text_format("%s of '%s' is not given: %s", label, plan_vehicle_name(p, n->vehicle),
                            quantities[n->quantity].fallback_warning)
              : NULL;
    free(label);
    return what;
}

static char *describe_mean(const struct plan *p, const struct plan_node *n)
{
    char *label = plan_label(p, n->quantity, n->trip);
    char *what = label ? text_format("%s of '%s' is the mean over %zu references", label,
                                     plan_vehicle_name(p, n->vehicle), n->arg_count)
                       : NULL;
    free(label);
    return what;
}

static char *describe_calibration(const struct plan *p, const struct plan_node *n)
{
    return text_format("drive_efficiency of '%s' is calibrated on its stated range, which a maker "
                       "may set below the rule's value (40 CFR 600.210-12): it is a lower bound",
                       plan_vehicle_name(p, n->vehicle));
}

static void warn_of_nodes(struct plan *p)
{
    for (size_t k = 0; k < p->node_count; k++) {
        const struct plan_node *n = &p->nodes[k];
        char *what;
        if (n->kind == NODE_FALLBACK && quantities[n->quantity].fallback_warning && n->used)
            what = describe_fallback(p, n);
        else if (n->kind == NODE_MEAN)
            what = describe_mean(p, n);
        else if (n->kind == NODE_RELATION && n->quantity == Q_drive_efficiency &&
                 n->relation->scope == SCOPE_REFERENCE)
            what = describe_calibration(p, n);
        else
            continue;
        problems_add(&p->problems, SEVERITY_WARNING, p->source->inputs_file, 0, NULL, what, NULL,
                     NULL); /* without a text it notes that memory ran out */
        free(what);
    }
}

/* The node of what a row of claims.csv or evidence.csv is about; NODE_NONE is reported. */
static size_t resolve_row(struct planner *pl, const char *file, long line, struct target row)
{
    struct plan *p = pl->plan;
    size_t node = resolve(pl, need_target(pl, row.vehicle, row.trip, row.quantity));
    if (node != NODE_NONE)
        return node;
    const char *reason = NULL;
    for (size_t g = 0; g < p->gap_count && !reason; g++)
        if (p->gaps[g].vehicle == row.vehicle && p->gaps[g].quantity == row.quantity &&
            p->gaps[g].trip == row.trip)
            reason = p->gaps[g].reason;
    char *label = plan_label(p, row.quantity, row.trip);
    char *what = p->candidate
                     ? text_format("cannot be worked out for this vehicle under candidate '%s'",
                                   p->candidate->name)
                     : text_copy("cannot be worked out for this vehicle");
    problems_add(&p->problems, SEVERITY_ERROR, file, line, "quantity", what, label,
                 reason ? reason : "give it in inputs.csv");
    free(what);
    free(label);
    return NODE_NONE;
}

static void resolve_rows(struct planner *pl)
{
    const struct case_data *c = pl->source;
    for (size_t k = 0; k < c->claim_count; k++) {
        const struct claim *row = &c->claims[k];
        pl->plan->claim_nodes[k] = resolve_row(
            pl, c->claims_file, row->line, (struct target){row->vehicle, row->quantity, row->trip});
    }
    for (size_t k = 0; k < c->observation_count; k++) {
        const struct observation *row = &c->observations[k];
        pl->plan->observation_nodes[k] =
            resolve_row(pl, c->evidence_file, row->line,
                        (struct target){row->vehicle, row->quantity, row->trip});
    }
}

static packspan_status make_traces(struct plan *p)
{
    const struct case_data *c = p->source;
    for (size_t i = 0; i < c->cycle_count; i++) {
        packspan_status status =
            trace_make(c->cycles[i].points, c->cycles[i].time, c->cycles[i].speed, &p->traces[i]);
        if (status != PACKSPAN_OK)
            return status;
    }
    return PACKSPAN_OK;
}

static void planner_clear(struct planner *pl)
{
    free(pl->states);
    free(pl->given);
}

static void keep_places(const struct planner *pl)
{
    for (size_t i = 0; i < plan_place_count(pl->source); i++)
        pl->plan->places[i] = pl->states[i] > 0 ? (size_t)(pl->states[i] - 1) : NODE_NONE;
}

packspan_status plan_make(const struct case_data *source, const struct candidate *candidate,
                          struct plan *out)
{
    *out = (struct plan){.source = source, .candidate = candidate};
    struct planner pl = {.plan = out, .source = source};
    pl.states = calloc(plan_place_count(source), sizeof *pl.states);
    pl.given = calloc(plan_place_count(source), sizeof *pl.given);
    out->places = calloc(plan_place_count(source), sizeof *out->places);
    out->traces = calloc(source->cycle_count + 1, sizeof *out->traces);
    out->claim_nodes = calloc(source->claim_count + 1, sizeof *out->claim_nodes);
    out->observation_nodes = calloc(source->observation_count + 1, sizeof *out->observation_nodes);
    out->input_nodes = calloc(source->input_count + 1, sizeof *out->input_nodes);
    out->vehicle_order = order_of(source->vehicle_count, compare_vehicles, source);
    out->trip_order = order_by_name(source->trips, source->trip_count, sizeof *source->trips);
    out->claim_order = order_by_name(source->claims, source->claim_count, sizeof *source->claims);
    if (!pl.states || !pl.given || !out->places || !out->traces || !out->claim_nodes ||
        !out->observation_nodes || !out->input_nodes || !out->vehicle_order || !out->trip_order ||
        !out->claim_order || make_traces(out) != PACKSPAN_OK) {
        planner_clear(&pl);
        return PACKSPAN_NO_MEMORY;
    }

    give_inputs(&pl);
    collect(&pl, VEHICLE_ALL, TRIP_NONE);
    for (size_t k = 0; k < source->trip_count; k++)
        collect(&pl, VEHICLE_ALL, out->trip_order[k]);
    for (size_t k = 0; k < source->vehicle_count; k++) {
        collect(&pl, out->vehicle_order[k], TRIP_NONE);
        for (size_t j = 0; j < source->trip_count; j++)
            collect(&pl, out->vehicle_order[k], out->trip_order[j]);
    }
    find_consequences(&pl);
    resolve_rows(&pl);
    resolve_inputs(&pl);
    keep_places(&pl);
    mark_used_nodes(out);
    warn_of_cuts(out);
    warn_of_nodes(out);
    problems_sort(&out->problems);
    planner_clear(&pl);
    if (pl.no_memory || out->problems.out_of_memory)
        return PACKSPAN_NO_MEMORY;
    return out->problems.errors ? PACKSPAN_BAD_CASE : PACKSPAN_OK;
}

void plan_free(struct plan *p)
{
    for (size_t i = 0; i < p->node_count; i++)
        free(p->nodes[i].args);
    for (size_t i = 0; i < p->gap_count; i++)
        free(p->gaps[i].reason);
    for (size_t i = 0; p->traces && i < p->source->cycle_count; i++)
        trace_free(&p->traces[i]);
    free(p->nodes);
    free(p->gaps);
    free(p->traces);
    free(p->vehicle_order);
    free(p->trip_order);
    free(p->claim_order);
    free(p->places);
    free(p->results);
    free(p->claim_nodes);
    free(p->observation_nodes);
    free(p->input_nodes);
    problems_clear(&p->problems);
    *p = (struct plan){0};
}
