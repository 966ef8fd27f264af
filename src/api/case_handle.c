#include "api/case_handle.h"

#include <search.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

const char *packspan_status_text(packspan_status status)
{
    switch (status) {
    case PACKSPAN_OK:
        return "done";
    case PACKSPAN_USAGE:
        return "an argument or setting is out of range";
    case PACKSPAN_BAD_CASE:
        return "a table of the case is wrong";
    case PACKSPAN_MISSING:
        return "a file or folder does not exist";
    case PACKSPAN_IO:
        return "reading or writing failed";
    case PACKSPAN_NO_MEMORY:
        return "out of memory";
    case PACKSPAN_INTERRUPTED:
        return "interrupted";
    }
    return "unknown status";
}

bool case_add_problem(packspan_case *c, enum severity severity, char *text)
{
    size_t n = c->problem_count;
    for (size_t i = 0; text && i < n; i++) {
        if (strcmp(c->problem_texts[i], text) == 0) { /* the same under another candidate */
            free(text);
            return true;
        }
    }
    char **texts = realloc(c->problem_texts, (n + 1) * sizeof *texts);
    if (texts)
        c->problem_texts = texts;
    bool *flags = realloc(c->problem_is_error, (n + 1) * sizeof *flags);
    if (flags)
        c->problem_is_error = flags;
    if (!texts || !flags || !text) {
        free(text);
        return false;
    }
    texts[n] = text;
    flags[n] = severity == SEVERITY_ERROR;
    c->problem_count = n + 1;
    return true;
}

bool case_take_problems(packspan_case *c, const struct problems *list)
{
    for (size_t i = 0; i < list->count; i++)
        if (!case_add_problem(c, list->items[i].severity, problem_text(&list->items[i])))
            return false;
    return !list->out_of_memory;
}

static int compare_values(const void *a, const void *b)
{
    const struct case_value *x = a, *y = b;
    int order = (int)x->origin - (int)y->origin;
    if (order == 0)
        order = strcmp(x->vehicle, y->vehicle);
    if (order == 0)
        order = strcmp(x->quantity, y->quantity);
    return order ? order : strcmp(x->text, y->text);
}

static void free_value(struct case_value *v)
{
    if (!v)
        return;
    free(v->quantity);
    free(v->text);
    free(v);
}

static struct case_value *make_value(packspan_origin origin, const char *vehicle, char *quantity,
                                     char *text)
{
    struct case_value *v = quantity && text ? malloc(sizeof *v) : NULL;
    if (!v) {
        free(quantity);
        free(text);
        return NULL;
    }
    *v = (struct case_value){origin, vehicle, quantity, text};
    return v;
}

static bool reserve_value(packspan_case *c)
{
    if (c->value_count < c->value_capacity)
        return true;
    size_t capacity = c->value_capacity ? 2 * c->value_capacity : 64;
    struct case_value **values = reallocarray(c->values, capacity, sizeof *values);
    if (!values)
        return false;
    c->values = values;
    c->value_capacity = capacity;
    return true;
}

/* What an earlier candidate has in common with this one is not said again. */
static bool add_value(packspan_case *c, packspan_origin origin, const char *vehicle, char *quantity,
                      char *text)
{
    struct case_value *v = make_value(origin, vehicle, quantity, text);
    struct case_value **told = v && reserve_value(c) ? tsearch(v, &c->told, compare_values) : NULL;
    bool is_new = told && *told == v;
    if (is_new)
        c->values[c->value_count++] = v;
    else
        free_value(v);
    return told != NULL;
}

static packspan_origin origin_of(const struct plan_node *node)
{
    switch (node->kind) {
    case NODE_INPUT:
        return PACKSPAN_GIVEN;
    case NODE_FALLBACK:
        return PACKSPAN_DEFAULT;
    case NODE_RELATION:
    case NODE_MEAN:
        break;
    }
    return PACKSPAN_WORKED_OUT;
}

/* In the unit of the result tables; NULL when out of memory. */
static char *default_text(const packspan_case *c, enum quantity_id quantity)
{
    const struct quantity *q = &quantities[quantity];
    const char *unit = strcmp(q->measure->table, "1") == 0 ? "" : q->measure->table;
    struct unit_factor to_si;
    if (!unit_of_tables(c->data.units, quantity, &to_si))
        return NULL;
    return text_format("%.6g%s%s (%s)", from_si(q->fallback, to_si), *unit ? " " : "", unit,
                       q->fallback_source);
}

static bool take_defaults(packspan_case *c, const struct plan *p, size_t vehicle)
{
    for (size_t k = 0; k < p->node_count; k++) {
        const struct plan_node *n = &p->nodes[k];
        if (n->kind == NODE_FALLBACK && n->vehicle == vehicle && n->used &&
            !add_value(c, PACKSPAN_DEFAULT, plan_vehicle_name(p, n->vehicle),
                       plan_label(p, n->quantity, n->trip), default_text(c, n->quantity)))
            return false;
    }
    return true;
}

static bool take_link(packspan_case *c, const struct link *link)
{
    const struct plan *p = &c->set.plans[0];
    const struct input *a = &c->data.inputs[link->a], *b = &c->data.inputs[link->b];
    char *partner = plan_label(p, b->quantity, b->trip);
    char *text = partner ? text_format("%s.%s, rank correlation %g, %s:%ld",
                                       plan_vehicle_name(p, b->vehicle), partner,
                                       link->rank_correlation, c->data.links_file, link->line)
                         : NULL;
    free(partner);
    return add_value(c, PACKSPAN_LINKED, plan_vehicle_name(p, a->vehicle),
                     plan_label(p, a->quantity, a->trip), text);
}

/* Results in the tables' order, then defaults, then what is not known, then links. */
static bool take_values(packspan_case *c, const struct plan *p)
{
    for (size_t r = 0; r < p->result_count; r++) {
        const struct plan_node *n = &p->nodes[p->results[r]];
        if (!add_value(c, origin_of(n), plan_vehicle_name(p, n->vehicle),
                       plan_label(p, n->quantity, n->trip), plan_origin(p, n)))
            return false;
    }
    if (!take_defaults(c, p, VEHICLE_ALL))
        return false;
    for (size_t v = 0; v < p->source->vehicle_count; v++)
        if (!take_defaults(c, p, p->vehicle_order[v]))
            return false;
    for (size_t g = 0; g < p->gap_count; g++) {
        const struct plan_gap *gap = &p->gaps[g];
        packspan_origin origin = gap->follows ? PACKSPAN_CONSEQUENCE : PACKSPAN_NOT_KNOWN;
        if (!add_value(c, origin, plan_vehicle_name(p, gap->vehicle),
                       plan_label(p, gap->quantity, gap->trip), text_copy(gap->reason)))
            return false;
    }
    for (size_t i = 0; i < c->data.link_count; i++)
        if (!take_link(c, &c->data.links[i]))
            return false;
    return true;
}

packspan_status packspan_case_open(const char *folder, packspan_case **out)
{
    packspan_case *c = calloc(1, sizeof *c);
    if (!c)
        return PACKSPAN_NO_MEMORY;
    packspan_status status = case_data_read(folder, &c->data);
    if (!case_take_problems(c, &c->data.problems))
        status = PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        status = plan_set_make(&c->data, &c->set);
        bool told = true;
        for (size_t i = 0; told && i < c->set.count; i++) {
            told = case_take_problems(c, &c->set.plans[i].problems);
            told = told && (status == PACKSPAN_NO_MEMORY || take_values(c, &c->set.plans[i]));
        }
        if (!told)
            status = PACKSPAN_NO_MEMORY;
    }
    if (status == PACKSPAN_NO_MEMORY) {
        packspan_case_free(c);
        return status;
    }
    c->is_wrong = status != PACKSPAN_OK;
    *out = c;
    return status;
}

/* The tree holds the values, but they are freed with the list. */
static void keep_value(void *value)
{
    (void)value;
}

void packspan_case_free(packspan_case *c)
{
    if (!c)
        return;
    for (size_t i = 0; i < c->problem_count; i++)
        free(c->problem_texts[i]);
    tdestroy(c->told, keep_value);
    for (size_t i = 0; i < c->value_count; i++)
        free_value(c->values[i]);
    free(c->problem_texts);
    free(c->problem_is_error);
    free(c->values);
    plan_set_free(&c->set);
    case_data_free(&c->data);
    free(c);
}

const char *packspan_case_name(const packspan_case *c)
{
    return c->data.name ? c->data.name : "";
}

const char *packspan_case_subject(const packspan_case *c)
{
    return c->data.vehicles[c->data.subject].name;
}

const char *packspan_case_subject_title(const packspan_case *c)
{
    const char *title = c->data.vehicles[c->data.subject].title;
    return title ? title : "";
}

size_t packspan_case_problem_count(const packspan_case *c)
{
    return c->problem_count;
}

const char *packspan_case_problem(const packspan_case *c, size_t i)
{
    return c->problem_texts[i];
}

bool packspan_case_problem_is_error(const packspan_case *c, size_t i)
{
    return c->problem_is_error[i];
}

packspan_status packspan_case_set(packspan_case *c, const char *setting, const char *value)
{
    enum setting_id id = setting_find(setting);
    if (id == SETTING_COUNT || !setting_set(&c->data.settings, id, value))
        return PACKSPAN_USAGE;
    return PACKSPAN_OK;
}

const char *packspan_case_setting(packspan_case *c, const char *setting)
{
    enum setting_id id = setting_find(setting);
    if (id == SETTING_COUNT)
        return "";
    setting_text(&c->data.settings, id, c->setting_space, sizeof c->setting_space);
    return c->setting_space;
}

size_t packspan_case_value_count(const packspan_case *c)
{
    return c->value_count;
}

packspan_origin packspan_case_value(const packspan_case *c, size_t i, const char **vehicle,
                                    const char **quantity, const char **text)
{
    const struct case_value *v = c->values[i];
    *vehicle = v->vehicle;
    *quantity = v->quantity;
    *text = v->text;
    return v->origin;
}
