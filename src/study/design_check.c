/* Whether the values of the axes make shapes of the inputs. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "study/design.h"

/* "road_load_factor = 1.2, wind = 3 km/h", of the knobs that change the input; malloc'd. */
static char *describe_place(const struct design *d, size_t input, const double *values)
{
    char *text = text_copy("");
    for (size_t k = 0; text && k < d->table->knob_count; k++) {
        if (d->table->knobs[k].input == input)
            text = design_add_value(text, *text ? ", " : "", d, k, values[k]);
    }
    return text;
}

/* The knob of the input that sets the field at fault, or else its first. */
static size_t knob_at_fault(const struct design *d, size_t input, enum shape_field field)
{
    const struct study_table *t = d->table;
    size_t first = SIZE_MAX;
    for (size_t k = 0; k < t->knob_count; k++) {
        if (t->knobs[k].input != input)
            continue;
        if (study_shape_fields[t->knobs[k].field] == field)
            return k;
        first = first == SIZE_MAX ? k : first;
    }
    return first;
}

/* The column that makes the value what it is; between two ends the one that is nearer. */
static const char *column_of(const struct study_knob *k, double value)
{
    if (k->values)
        return "values";
    return fabs(value - k->from) < fabs(value - k->to) ? "from" : "to";
}

/* Of a share cut off the field at fault is one of several; else a number may be wrong by what
 * another field was set to. */
static void report_place(const struct design *d, size_t input, const double *values,
                         const struct shape_fault *fault, struct problems *problems)
{
    size_t k = knob_at_fault(d, input, fault->field);
    const struct study_knob *knob = &d->table->knobs[k];
    const struct input in = design_input(d, input, values);
    const char *set = study_field_names[knob->field];
    bool of_set = fault->of_all || study_shape_fields[knob->field] == fault->field;
    char *place = describe_place(d, input, values);
    char *what = !place   ? NULL
                 : of_set ? text_format("at %s its %s %s", place, set, fault->what)
                          : text_format("at %s its %s is such that %s %s", place, set,
                                        shape_field_names[fault->field], fault->what);
    problems_add(problems, SEVERITY_ERROR, knob->file, knob->line, column_of(knob, values[k]), what,
                 quantities[in.quantity].name, fault->remedy);
    free(what);
    free(place);
}

static packspan_status check_at(const struct design *d, size_t input, const double *values,
                                struct shape_fault *fault)
{
    struct input in = design_input(d, input, values);
    struct shape_domain domain = input_domain(&in);
    bool is_case_own = in.given.kind == SHAPE_OBSERVED; /* nothing is set at this point */
    return is_case_own ? PACKSPAN_OK : shape_check(&in.given, &domain, fault);
}

/* Why the ends of axes are enough. With all other fields held, the values of one field that make a
 * shape are an interval: the orders of low, best and high are linear in each, an sd has one limit
 * or two, and the share cut off at a domain only grows on the way out of it, or first falls and
 * then grows. So an edge of the box of an input's axes is good where both its ends are, a face
 * where its edges are, and the box where its corners are. The same goes for several fields on one
 * axis as long as they move in a straight line. Elsewhere more is looked at. Of 39,000 random boxes
 * of 6^2 or 6^3 points one was an exception (a pert that is cut by just 5 %); and an arcsine that
 * moves as a whole, cut at both ends, is one. Such a point is refused when its turn comes. */

enum { MOST_AXES = 4, MOST_REPORTED = 20, MOST_POINTS = 1000 };
/* Places looked at on each of so many axes that set the same input. */
static const size_t most_places[MOST_AXES + 1] = {1, 1000, 31, 10, 5};

/* The steps of an axis at which an input is looked at: both ends, or some spread evenly. */
struct places {
    size_t axis, count, ends[2];
};

struct box {
    size_t input, axis_count;
    struct places axes[MOST_AXES];
};

static void take_extremes(const struct study_knob *k, size_t steps, size_t ends[2])
{
    ends[0] = ends[1] = 0;
    for (size_t i = 1; i < steps; i++) {
        ends[0] = k->values[i] < k->values[ends[0]] ? i : ends[0];
        ends[1] = k->values[i] > k->values[ends[1]] ? i : ends[1];
    }
}

static void choose_places(const struct study_table *t, size_t input, size_t most, struct places *p)
{
    size_t steps = t->axes[p->axis].steps, knobs = 0;
    bool is_straight = true;
    const struct study_knob *list = NULL;
    for (size_t k = 0; k < t->knob_count; k++) {
        if (t->knobs[k].input != input || t->knobs[k].axis != p->axis)
            continue;
        knobs++;
        list = t->knobs[k].values ? &t->knobs[k] : list;
        is_straight = is_straight && t->knobs[k].spacing == STUDY_LINEAR;
    }
    p->count = steps < most ? steps : most;
    p->ends[0] = 0;
    p->ends[1] = steps - 1;
    if (knobs == 1 && list && steps > most) {
        take_extremes(list, steps, p->ends);
        p->count = 2;
    } else if (is_straight || (knobs == 1 && !list)) {
        p->count = 2;
    }
}

static size_t step_at(const struct study_table *t, const struct places *p, size_t place)
{
    if (p->count <= 2)
        return p->ends[place];
    return place * (t->axes[p->axis].steps - 1) / (p->count - 1);
}

static bool box_has(const struct box *b, size_t axis)
{
    for (size_t a = 0; a < b->axis_count; a++)
        if (b->axes[a].axis == axis)
            return true;
    return false;
}

static struct box box_of(const struct study_table *t, size_t input)
{
    struct box b = {.input = input};
    for (size_t k = 0; k < t->knob_count; k++)
        if (t->knobs[k].input == input && !box_has(&b, t->knobs[k].axis))
            b.axes[b.axis_count++].axis = t->knobs[k].axis;
    for (size_t a = 0; a < b.axis_count; a++)
        choose_places(t, input, most_places[b.axis_count], &b.axes[a]);
    return b;
}

static size_t box_size(const struct box *b)
{
    size_t size = 1;
    for (size_t a = 0; a < b->axis_count; a++)
        size *= b->axes[a].count;
    return size;
}

/* Values of the input's knobs at one of the box's places, the last axis varying fastest. */
static void take_place(const struct study_table *t, const struct box *b, size_t index,
                       double *values)
{
    for (size_t a = b->axis_count; a-- > 0;) {
        const struct places *p = &b->axes[a];
        size_t step = step_at(t, p, index % p->count);
        for (size_t k = 0; k < t->knob_count; k++)
            if (t->knobs[k].input == b->input && t->knobs[k].axis == p->axis)
                values[k] = design_step(&t->knobs[k], t->axes[p->axis].steps, step);
        index /= p->count;
    }
}

/* Reports, unless `problems` is NULL, up to MOST_REPORTED places; counts them in *wrong. */
static packspan_status check_box(const struct design *d, size_t input, double *values,
                                 struct problems *problems, size_t *wrong)
{
    const struct box b = box_of(d->table, input);
    size_t size = box_size(&b), reported = 0;
    packspan_status status = PACKSPAN_OK;
    for (size_t i = 0; i < size && reported < MOST_REPORTED; i++) {
        struct shape_fault fault;
        take_place(d->table, &b, i, values);
        status = check_at(d, input, values, &fault);
        if (status == PACKSPAN_NO_MEMORY)
            return status;
        if (status == PACKSPAN_OK)
            continue;
        reported++;
        if (problems)
            report_place(d, input, values, &fault, problems);
    }
    *wrong += reported;
    return PACKSPAN_OK;
}

/* Nothing else can move an input that is set as a whole. */
static bool can_judge(const struct study_table *t, size_t input)
{
    for (size_t k = 0; k < t->knob_count; k++)
        if (t->knobs[k].input == input && t->knobs[k].doubtful &&
            (t->knobs[k].field != STUDY_VALUE || t->knobs[k].adds))
            return false;
    return true;
}

static packspan_status check_boxes(const struct design *d, double *values,
                                   struct problems *problems, size_t *wrong)
{
    packspan_status status = PACKSPAN_OK;
    for (size_t i = 0; i < d->input_count && status == PACKSPAN_OK; i++)
        if (can_judge(d->table, d->inputs[i]))
            status = check_box(d, d->inputs[i], values, problems, wrong);
    return status;
}

static packspan_status check_points(const struct design *d, uint64_t points, double *values,
                                    struct problems *problems)
{
    size_t wrong = 0;
    for (uint64_t p = 0; p < points && wrong < MOST_REPORTED; p++) {
        design_values(d, p, values);
        for (size_t i = 0; i < d->input_count; i++) {
            struct shape_fault fault;
            packspan_status status = can_judge(d->table, d->inputs[i])
                                         ? check_at(d, d->inputs[i], values, &fault)
                                         : PACKSPAN_OK;
            if (status == PACKSPAN_NO_MEMORY)
                return status;
            if (status == PACKSPAN_OK)
                continue;
            wrong++;
            report_place(d, d->inputs[i], values, &fault, problems);
        }
    }
    return PACKSPAN_OK;
}

/* A Sobol' design stays inside the box, so that a good box is enough. Of one that is not, the first
 * points tell whether they come near what is wrong. */
static packspan_status check_sobol(const struct design *d, double *values,
                                   struct problems *problems)
{
    size_t wrong = 0;
    packspan_status status = check_boxes(d, values, NULL, &wrong);
    if (status != PACKSPAN_OK || wrong == 0)
        return status;
    return check_points(d, d->points < MOST_POINTS ? d->points : MOST_POINTS, values, problems);
}

packspan_status design_check(const struct design *d, struct problems *problems)
{
    if (d->table->is_points)
        return PACKSPAN_OK;
    double *values = calloc(d->table->knob_count + 1, sizeof *values);
    if (!values)
        return PACKSPAN_NO_MEMORY;
    size_t errors = problems->errors, wrong = 0;
    packspan_status status =
        d->sobol ? check_sobol(d, values, problems) : check_boxes(d, values, problems, &wrong);
    if (status == PACKSPAN_OK && problems->errors == errors) /* all plans are made from it */
        status = check_points(d, 1, values, problems);
    free(values);
    if (status == PACKSPAN_OK && problems->out_of_memory)
        status = PACKSPAN_NO_MEMORY;
    return status == PACKSPAN_OK && problems->errors > errors ? PACKSPAN_BAD_CASE : status;
}
