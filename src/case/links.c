#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum { VEHICLE_A, QUANTITY_A, VEHICLE_B, QUANTITY_B, CORRELATION, SOURCE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [VEHICLE_A] = {"vehicle_a", true},          [QUANTITY_A] = {"quantity_a", true},
    [VEHICLE_B] = {"vehicle_b", true},          [QUANTITY_B] = {"quantity_b", true},
    [CORRELATION] = {"rank_correlation", true}, [SOURCE] = {"source", false}};

#define INPUT_NONE SIZE_MAX

/* ---- one end of a link ---- */

/* What an end names. */
struct end {
    size_t row, column; /* of the quantity */
    size_t vehicle, trip;
    enum quantity_id quantity;
};

static void wrong_worked_out(const struct sheet *s, const struct end *end)
{
    sheet_wrong(s, end->row, end->column, "is worked out for every trip and cannot be linked",
                "link inputs that it is worked out from");
}

/* A vehicle's quantity. */
static bool read_quantity(const struct sheet *s, const char *name, struct end *end)
{
    end->trip = TRIP_NONE;
    end->quantity = quantity_find(name);
    if (end->quantity == QUANTITY_COUNT)
        sheet_wrong_composed(s, end->row, end->column, "unknown quantity", quantity_advice(name));
    else if (quantities[end->quantity].role == QUANTITY_CONDITION)
        sheet_wrong_composed(s, end->row, end->column, "names no trip",
                             text_format("write %s.TRIP with a trip of trips.csv", name));
    else if (quantities[end->quantity].role == QUANTITY_TRIP_RESULT)
        wrong_worked_out(s, end);
    else
        return true;
    return false;
}

static bool check_condition(const struct sheet *s, const char *name, struct end *end)
{
    end->quantity = quantity_find(name);
    if (end->quantity == QUANTITY_COUNT)
        sheet_wrong_composed(s, end->row, end->column, "unknown quantity", condition_advice(name));
    else if (quantities[end->quantity].role == QUANTITY_TRIP_RESULT)
        wrong_worked_out(s, end);
    else if (!is_condition(end->quantity))
        sheet_wrong(s, end->row, end->column, "is a vehicle's quantity, not a trip's",
                    "write it without a trip");
    else
        return true;
    return false;
}

/* quantity.TRIP; `point` is where the trip's name begins, less one. */
static bool read_condition(struct reading *r, const struct sheet *s, const char *name,
                           const char *point, struct end *end)
{
    char *quantity = strndup(name, (size_t)(point - name));
    if (!quantity) {
        r->no_memory = true;
        return false;
    }
    bool known = check_condition(s, quantity, end);
    bool of_trip = read_trip_name(r, s, end->row, end->column, point + 1, &end->trip);
    free(quantity);
    return known && of_trip;
}

static size_t find_input(const struct case_data *c, size_t vehicle, size_t trip,
                         enum quantity_id quantity)
{
    for (size_t i = 0; i < c->input_count; i++)
        if (c->inputs[i].vehicle == vehicle && c->inputs[i].trip == trip &&
            c->inputs[i].quantity == quantity)
            return i;
    return INPUT_NONE;
}

/* Another vehicle's row, or that for all, may be what was meant. */
static char *owner_advice(const struct case_data *c, const struct end *end)
{
    for (size_t i = 0; i < c->input_count; i++) {
        const struct input *in = &c->inputs[i];
        bool shared = in->vehicle == VEHICLE_ALL;
        if (in->quantity == end->quantity && in->trip == TRIP_NONE &&
            (shared || end->vehicle == VEHICLE_ALL))
            return text_format("inputs.csv gives it for '%s' on line %ld: name that vehicle",
                               shared ? "all" : c->vehicles[in->vehicle].name, in->line);
    }
    return text_copy("a link joins two inputs: give it in inputs.csv, or remove this row");
}

static void report_no_input(const struct reading *r, const struct sheet *s, const struct end *end)
{
    if (r->inputs_unknown)
        return;
    if (end->trip != TRIP_NONE)
        sheet_wrong(s, end->row, end->column, "is not given for this trip",
                    "a link joins two inputs: give it in trips.csv, or remove this row");
    else
        sheet_wrong_composed(s, end->row, end->column, "is no input of this vehicle",
                             owner_advice(r->c, end));
}

static bool check_spread(const struct sheet *s, const struct end *end, const struct input *in)
{
    if (!in->shape || !shape_is_fixed(in->shape))
        return true;
    sheet_wrong_composed(s, end->row, end->column, "is the same in every sample",
                         text_format("give it a shape with a spread (%s:%ld), or remove this row",
                                     in->file, in->line));
    return false;
}

/* Index of the input; INPUT_NONE when there is none that can be linked, which is reported. */
static size_t read_end(struct reading *r, const struct sheet *s, size_t row, size_t vehicle_column,
                       size_t quantity_column)
{
    struct end end = {.row = row, .column = quantity_column};
    bool owned = read_vehicle(r, s, row, vehicle_column, true, &end.vehicle);
    const char *name = sheet_needed(s, row, quantity_column);
    if (!name)
        return INPUT_NONE;
    const char *point = strchr(name, '.');
    bool known = point ? read_condition(r, s, name, point, &end) : read_quantity(s, name, &end);
    if (!owned || !known)
        return INPUT_NONE;
    if (point && end.vehicle != VEHICLE_ALL) {
        sheet_wrong(s, row, vehicle_column, "a trip's condition is no vehicle's own",
                    "write all: every vehicle meets it");
        return INPUT_NONE;
    }
    size_t input = find_input(r->c, end.vehicle, end.trip, end.quantity);
    if (input == INPUT_NONE)
        report_no_input(r, s, &end);
    else if (!check_spread(s, &end, &r->c->inputs[input]))
        return INPUT_NONE;
    return input;
}

/* ---- the rest of a row ---- */

static bool read_correlation(const struct sheet *s, size_t row, double *value)
{
    bool bad = false;
    *value = sheet_needed_number(s, row, CORRELATION, &bad);
    if (bad)
        return false;
    if (*value > -1.0 && *value < 1.0)
        return true;
    sheet_wrong(s, row, CORRELATION, "is outside (-1, 1)",
                "a rank correlation (Spearman) lies between -1 and 1, both excluded");
    return false;
}

static bool check_pair(const struct reading *r, const struct sheet *s, size_t row,
                       const struct link *link)
{
    const struct case_data *c = r->c;
    if (link->a == link->b) {
        sheet_wrong(s, row, QUANTITY_B, "is linked to itself", "a link joins two inputs");
        return false;
    }
    for (size_t i = 0; i < c->link_count; i++) {
        const struct link *first = &c->links[i];
        if ((first->a == link->a && first->b == link->b) ||
            (first->a == link->b && first->b == link->a)) {
            sheet_wrong_composed(
                s, row, QUANTITY_B, "the pair is linked twice",
                text_format("line %ld links it already: keep one of the two", first->line));
            return false;
        }
    }
    return true;
}

/* False when the link is not known. */
static bool read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    struct link link = {.line = s->table.lines[row]};
    link.a = read_end(r, s, row, VEHICLE_A, QUANTITY_A);
    link.b = read_end(r, s, row, VEHICLE_B, QUANTITY_B);
    bool known = link.a != INPUT_NONE && link.b != INPUT_NONE && check_pair(r, s, row, &link);
    known = read_correlation(s, row, &link.rank_correlation) && known;
    warn_without_source(s, row, SOURCE);
    if (!known)
        return false;
    link.source = copy_or_fail(r, sheet_text(s, row, SOURCE));
    c->links[c->link_count++] = link;
    return true;
}

/* ---- all links together ---- */

/* Inputs by the names that their draws depend on, so that the order of rows plays no part. */
static int compare_inputs(const void *left, const void *right, void *data)
{
    const struct case_data *c = data;
    const struct input *a = &c->inputs[*(const size_t *)left];
    const struct input *b = &c->inputs[*(const size_t *)right];
    if ((a->trip == TRIP_NONE) != (b->trip == TRIP_NONE))
        return a->trip == TRIP_NONE ? 1 : -1;
    int by_owner;
    if (a->trip != TRIP_NONE)
        by_owner = strcmp(c->trips[a->trip].name, c->trips[b->trip].name);
    else
        by_owner = strcmp(a->vehicle == VEHICLE_ALL ? "all" : c->vehicles[a->vehicle].name,
                          b->vehicle == VEHICLE_ALL ? "all" : c->vehicles[b->vehicle].name);
    return by_owner ? by_owner : strcmp(quantities[a->quantity].name, quantities[b->quantity].name);
}

static packspan_status group_links(struct case_data *c)
{
    size_t *order = calloc(c->input_count + 1, sizeof *order);
    struct copula_link *links = calloc(c->link_count + 1, sizeof *links);
    packspan_status status = PACKSPAN_NO_MEMORY;
    if (order && links) {
        for (size_t i = 0; i < c->input_count; i++)
            order[i] = i;
        for (size_t i = 0; i < c->link_count; i++)
            links[i] =
                (struct copula_link){c->links[i].a, c->links[i].b, c->links[i].rank_correlation};
        qsort_r(order, c->input_count, sizeof *order, compare_inputs, c);
        status = copula_open(c->input_count, order, c->link_count, links, &c->copula);
    }
    free(order);
    free(links);
    return status;
}

/* "line 3", "lines 3, 4 and 5"; a long list is cut. */
static char *other_lines(const struct case_data *c, const struct copula_group *g, size_t self)
{
    enum { SHOWN = 8 };
    size_t others = g->entry_count - 1, shown = others > SHOWN ? SHOWN : others, done = 0;
    char *list = text_copy(others == 1 ? "line" : "lines");
    for (size_t e = 0; list && e < g->entry_count && done < shown; e++) {
        if (e == self)
            continue;
        bool last = ++done == others;
        const char *joint = done == 1 ? " " : last ? " and " : ", ";
        char *longer = text_format("%s%s%ld", list, joint, c->links[g->entries[e].link].line);
        free(list);
        list = longer;
    }
    if (!list || shown == others)
        return list;
    char *cut = text_format("%s and %zu more", list, others - shown);
    free(list);
    return cut;
}

static void report_entry(struct reading *r, const struct sheet *s, const struct copula_group *g,
                         size_t e, double nearest)
{
    const struct case_data *c = r->c;
    const struct link *link = &c->links[g->entries[e].link];
    bool complete = 2 * g->entry_count == g->size * (g->size - 1);
    char *others = other_lines(c, g, e);
    char *what = others ? text_format("is not possible together with %s", others) : NULL;
    char *text = text_format("%.15g", link->rank_correlation);
    char *remedy = text_format("the nearest possible set has %g here%s", nearest,
                               complete ? "" : ", and 0 for each pair without a row");
    problems_add(s->problems, SEVERITY_ERROR, s->table.file, link->line, columns[CORRELATION].name,
                 remedy ? what : NULL, text, remedy);
    free(others);
    free(what);
    free(text);
    free(remedy);
}

static void report_impossible(struct reading *r, const struct sheet *s,
                              const struct copula_group *g)
{
    double *nearest = calloc(g->entry_count, sizeof *nearest);
    if (nearest && copula_nearest(g, nearest) == PACKSPAN_OK)
        for (size_t e = 0; e < g->entry_count; e++)
            report_entry(r, s, g, e, nearest[e]);
    else
        r->no_memory = true;
    free(nearest);
}

static void read_rows(struct reading *r, const struct sheet *s)
{
    struct case_data *c = r->c;
    bool all_known = !s->damaged;
    c->links = calloc(s->table.row_count + 1, sizeof *c->links);
    r->no_memory = r->no_memory || !c->links;
    for (size_t row = 0; row < s->table.row_count && !r->no_memory; row++)
        all_known = read_row(r, s, row) && all_known;
    if (!all_known || r->no_memory) /* a set with gaps says nothing of what is possible */
        return;
    r->no_memory = group_links(c) != PACKSPAN_OK;
    for (size_t i = 0; i < c->copula.group_count && !r->no_memory; i++)
        if (!c->copula.groups[i].possible)
            report_impossible(r, s, &c->copula.groups[i]);
}

void read_links(struct reading *r)
{
    struct sheet s;
    if (sheet_open(r, r->c->links_file, columns, COLUMN_COUNT, &r->c->problems, &s) != PACKSPAN_OK)
        return;
    read_rows(r, &s);
    sheet_close(&s);
}
