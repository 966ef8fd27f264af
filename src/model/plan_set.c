#include "model/plan_set.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>

static bool node_is(const struct plan_node *n, const struct set_row *row)
{
    return n->vehicle == row->vehicle && n->trip == row->trip && n->quantity == row->quantity;
}

static size_t result_of(const struct plan *p, const struct set_row *row)
{
    size_t node = plan_find(p, row->vehicle, row->trip, row->quantity);
    bool is_result = node != NODE_NONE && node_is(&p->nodes[node], row) && p->nodes[node].shown;
    return is_result ? node : NODE_NONE;
}

/* What a plan takes for the row where another plan has a result: a default, or a value that all
 * vehicles share. */
static size_t stand_in_for(const struct plan *p, const struct set_row *row)
{
    size_t own = plan_find(p, row->vehicle, row->trip, row->quantity);
    return own != NODE_NONE ? own : plan_find(p, VEHICLE_ALL, row->trip, row->quantity);
}

static size_t room_for_rows(const struct plan_set *s)
{
    return plan_place_count(s->source);
}

/* Adds the row unless no plan knows it. */
static void add_row(struct plan_set *s, struct set_row row)
{
    size_t known = 0, shown = 0, *nodes = s->nodes + s->row_count, room = room_for_rows(s);
    for (size_t c = 0; c < s->count; c++) {
        nodes[c * room] = result_of(&s->plans[c], &row);
        shown += nodes[c * room] != NODE_NONE;
    }
    if (shown == 0)
        return;
    row.fixed = true;
    for (size_t c = 0; c < s->count; c++) {
        size_t *node = &nodes[c * room];
        if (*node == NODE_NONE)
            *node = stand_in_for(&s->plans[c], &row);
        if (*node == NODE_NONE)
            continue;
        known++;
        row.fixed = row.fixed && s->plans[c].nodes[*node].fixed;
    }
    row.everywhere = known == s->count;
    s->row_places[plan_place(s->source, row.vehicle, row.trip, row.quantity)] = s->row_count;
    s->rows[s->row_count++] = row;
}

static void add_rows_of(struct plan_set *s, size_t vehicle, size_t trip)
{
    for (int id = 0; id < QUANTITY_COUNT; id++)
        add_row(s, (struct set_row){
                       .vehicle = vehicle, .trip = trip, .quantity = (enum quantity_id)id});
}

static bool collect_rows(struct plan_set *s)
{
    const struct case_data *c = s->source;
    const struct plan *order = &s->plans[0]; /* orders are the same in every plan */
    s->rows = calloc(room_for_rows(s), sizeof *s->rows);
    s->nodes = calloc(room_for_rows(s) * s->count, sizeof *s->nodes);
    s->row_places = calloc(room_for_rows(s), sizeof *s->row_places);
    if (!s->rows || !s->nodes || !s->row_places)
        return false;
    for (size_t i = 0; i < room_for_rows(s); i++)
        s->row_places[i] = SIZE_MAX;
    add_rows_of(s, VEHICLE_ALL, TRIP_NONE);
    for (size_t j = 0; j < c->trip_count; j++)
        add_rows_of(s, VEHICLE_ALL, order->trip_order[j]);
    for (size_t k = 0; k < c->vehicle_count; k++) {
        add_rows_of(s, order->vehicle_order[k], TRIP_NONE);
        for (size_t j = 0; j < c->trip_count; j++)
            add_rows_of(s, order->vehicle_order[k], order->trip_order[j]);
    }
    return true;
}

static bool collect_routes(struct plan_set *s)
{
    s->routes = calloc(s->source->vehicle_count + 1, sizeof *s->routes);
    if (!s->routes)
        return false;
    struct route_set *last = NULL;
    for (size_t r = 0; r < s->row_count; r++) {
        const struct set_row *row = &s->rows[r];
        if (quantities[row->quantity].role != QUANTITY_ROUTE || !row->everywhere)
            continue;
        if (!last || last->vehicle != row->vehicle) {
            last = &s->routes[s->route_set_count++];
            last->vehicle = row->vehicle;
        }
        last->rows[last->count++] = r;
    }
    return true;
}

static bool is_twin(const struct plan_node *a, const struct plan_node *b, const size_t *twins)
{
    if (a->kind != b->kind || a->quantity != b->quantity || a->vehicle != b->vehicle ||
        a->trip != b->trip || a->input != b->input || a->relation != b->relation ||
        a->arg_count != b->arg_count)
        return false;
    for (size_t i = 0; i < a->arg_count; i++)
        if (twins[a->args[i]] != b->args[i])
            return false;
    return true;
}

/* The node of the first plan that is worked out in the same way; what is one reference's share of a
 * mean there may be all that there is here. */
static size_t find_twin(const struct plan *first, const struct plan_node *n, const size_t *twins)
{
    size_t same = plan_find(first, n->vehicle, n->trip, n->quantity);
    if (same == NODE_NONE)
        return NODE_NONE;
    const struct plan_node *found = &first->nodes[same];
    if (is_twin(n, found, twins))
        return same;
    for (size_t i = 0; found->kind == NODE_MEAN && i < found->arg_count; i++)
        if (is_twin(n, &first->nodes[found->args[i]], twins))
            return found->args[i];
    return NODE_NONE;
}

static bool find_twins(struct plan_set *s)
{
    s->twins = calloc(s->count, sizeof *s->twins);
    const struct plan *first = &s->plans[0];
    for (size_t c = 0; s->twins && c < s->count; c++) {
        const struct plan *p = &s->plans[c];
        size_t *twins = s->twins[c] = calloc(p->node_count + 1, sizeof *twins);
        for (size_t k = 0; twins && k < p->node_count; k++)
            twins[k] = find_twin(first, &p->nodes[k], twins);
        if (!twins)
            return false;
    }
    return s->twins != NULL;
}

/* Relative to the largest first, as the sum of huge weights would be infinite. A prior may be tiny,
 * but 0 would rule a candidate out that the case does not. */
static void set_priors(struct plan_set *s)
{
    double largest = 0.0, sum = 0.0;
    for (size_t c = 0; c < s->count; c++) {
        s->priors[c] = s->plans[c].candidate ? s->plans[c].candidate->weight : 1.0;
        largest = fmax(largest, s->priors[c]);
    }
    for (size_t c = 0; c < s->count; c++) {
        s->priors[c] = fmax(s->priors[c] / largest, DBL_MIN);
        sum += s->priors[c];
    }
    for (size_t c = 0; c < s->count; c++)
        s->priors[c] /= sum;
}

/* The node in which a plan draws the input; NULL when the plan's candidate replaces the row. */
static const struct plan_node *node_of(const struct plan *p, const struct input *in)
{
    size_t node = plan_find(p, in->vehicle, in->trip, in->quantity);
    return node != NODE_NONE && p->nodes[node].input == in ? &p->nodes[node] : NULL;
}

/* Warns of a row that no candidate uses. One that every candidate replaces stays what the case says
 * without them. */
static void warn_if_unused(struct plan_set *s, const struct input *in)
{
    bool drawn = false, used = false;
    for (size_t c = 0; c < s->count && !used; c++) {
        const struct plan_node *node = node_of(&s->plans[c], in);
        drawn = drawn || node;
        used = node && node->used;
    }
    if (drawn && !used)
        problems_add(&s->plans[0].problems, SEVERITY_WARNING, in->file, in->line, "quantity",
                     "nothing that can be worked out uses it", quantities[in->quantity].name,
                     "see what is missing in packspan check, or remove the row");
}

static void warn_of_unused(struct plan_set *s, const struct input *inputs, size_t count)
{
    for (size_t i = 0; i < count; i++)
        warn_if_unused(s, &inputs[i]);
}

static void warn_of_inputs(struct plan_set *s)
{
    const struct case_data *c = s->source;
    warn_of_unused(s, c->inputs, c->input_count);
    for (size_t k = 0; k < c->candidate_count; k++)
        warn_of_unused(s, c->candidates[k].inputs, c->candidates[k].input_count);
    problems_sort(&s->plans[0].problems);
}

packspan_status plan_set_make(const struct case_data *source, struct plan_set *out)
{
    *out = (struct plan_set){.source = source};
    size_t count = source->candidate_count ? source->candidate_count : 1;
    out->weighted = source->candidate_count > 0 || source->observation_count > 0;
    out->plans = calloc(count, sizeof *out->plans);
    out->priors = calloc(count, sizeof *out->priors);
    if (!out->plans || !out->priors)
        return PACKSPAN_NO_MEMORY;
    packspan_status status = PACKSPAN_OK;
    for (size_t c = 0; c < count && status != PACKSPAN_NO_MEMORY; c++) {
        const struct candidate *candidate = source->candidate_count ? &source->candidates[c] : NULL;
        packspan_status made = plan_make(source, candidate, &out->plans[c]);
        out->count = c + 1;
        status = made == PACKSPAN_OK ? status : made;
    }
    if (status == PACKSPAN_NO_MEMORY)
        return status;
    warn_of_inputs(out);
    if (status != PACKSPAN_OK)
        return status;
    set_priors(out);
    return collect_rows(out) && collect_routes(out) && find_twins(out) ? PACKSPAN_OK
                                                                       : PACKSPAN_NO_MEMORY;
}

static void refresh_row(struct plan_set *s, size_t row)
{
    s->rows[row].fixed = true;
    for (size_t c = 0; c < s->count; c++) {
        size_t node = plan_set_node(s, c, row);
        if (node != NODE_NONE && !s->plans[c].nodes[node].fixed)
            s->rows[row].fixed = false;
    }
}

void plan_set_refresh(struct plan_set *s)
{
    for (size_t c = 0; c < s->count; c++)
        plan_refresh(&s->plans[c]);
    for (size_t r = 0; r < s->row_count; r++)
        refresh_row(s, r);
}

void plan_set_free(struct plan_set *s)
{
    for (size_t c = 0; c < s->count; c++)
        plan_free(&s->plans[c]);
    for (size_t c = 0; s->twins && c < s->count; c++)
        free(s->twins[c]);
    free(s->twins);
    free(s->plans);
    free(s->priors);
    free(s->rows);
    free(s->nodes);
    free(s->row_places);
    free(s->routes);
    *s = (struct plan_set){0};
}

size_t plan_set_node(const struct plan_set *s, size_t candidate, size_t row)
{
    return s->nodes[candidate * room_for_rows(s) + row];
}

const struct plan_node *plan_set_some_node(const struct plan_set *s, size_t row)
{
    size_t c = 0;
    while (plan_set_node(s, c, row) == NODE_NONE)
        c++;
    return &s->plans[c].nodes[plan_set_node(s, c, row)];
}

size_t plan_set_find(const struct plan_set *s, size_t vehicle, enum quantity_id quantity,
                     size_t trip)
{
    return s->row_places[plan_place(s->source, vehicle, trip, quantity)];
}
