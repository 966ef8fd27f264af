/* study.csv: axes, each of which sets a number of an input, or adds to it. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/study_reading.h"

enum {
    AXIS,
    VEHICLE,
    QUANTITY,
    FIELD,
    UNIT,
    FROM,
    TO,
    STEPS,
    SPACING,
    VALUES,
    SOURCE,
    COLUMN_COUNT
};
static const struct table_column columns[COLUMN_COUNT] = {
    [AXIS] = {"axis", true},      [VEHICLE] = {"vehicle", true}, [QUANTITY] = {"quantity", true},
    [FIELD] = {"field", true},    [UNIT] = {"unit", true},       [FROM] = {"from", false},
    [TO] = {"to", false},         [STEPS] = {"steps", false},    [SPACING] = {"spacing", false},
    [VALUES] = {"values", false}, [SOURCE] = {"source", false}};

enum { MOST_STEPS = 1000000000 };

const char *const study_field_names[STUDY_FIELD_COUNT] = {[STUDY_VALUE] = "value",
                                                          [STUDY_BEST] = "best",
                                                          [STUDY_LOW] = "low",
                                                          [STUDY_HIGH] = "high",
                                                          [STUDY_SD] = "sd"};
const enum shape_field study_shape_fields[STUDY_FIELD_COUNT] = {[STUDY_VALUE] = SHAPE_BEST,
                                                                [STUDY_BEST] = SHAPE_BEST,
                                                                [STUDY_LOW] = SHAPE_LOW,
                                                                [STUDY_HIGH] = SHAPE_HIGH,
                                                                [STUDY_SD] = SHAPE_SD};
static const char *const spacings[STUDY_SPACING_COUNT] = {
    [STUDY_LINEAR] = "linear", [STUDY_LOG] = "log", [STUDY_LIST] = "list"};

/* ---- what the row addresses ---- */

static void report_fault(const struct reading *r, const struct sheet *s, size_t row,
                         struct study_fault *f)
{
    size_t column = f->of_vehicle ? VEHICLE : QUANTITY;
    if (s->lost[column] || study_fault_follows(r, f))
        free(f->remedy);
    else
        sheet_wrong_composed(s, row, column, f->what, f->remedy);
}

static bool read_field(const struct sheet *s, size_t row, struct study_knob *k)
{
    const char *text = sheet_needed(s, row, FIELD);
    if (!text)
        return false;
    size_t length = strlen(text);
    k->adds = text[length - 1] == '+';
    length -= k->adds;
    for (int f = 0; f < STUDY_FIELD_COUNT; f++) {
        if (strlen(study_field_names[f]) == length &&
            strncmp(text, study_field_names[f], length) == 0) {
            k->field = (enum study_field)f;
            return true;
        }
    }
    sheet_wrong_composed(
        s, row, FIELD, "unknown field",
        advice(text, study_field_names, STUDY_FIELD_COUNT,
               "value, best, low, high or sd; with + after it, as in best+, to add to it"));
    return false;
}

/* Only a number that the input's row gives can be replaced or added to. */
static bool check_given(const struct sheet *s, size_t row, const struct study_knob *k,
                        const struct input *in)
{
    bool has_location = !isnan(in->given.field[SHAPE_BEST]) || !isnan(in->given.field[SHAPE_LOW]);
    if (k->field == STUDY_VALUE && !k->adds)
        return true;
    if (!in->shape) /* the input's own row is wrong */
        return false;
    if (k->field == STUDY_VALUE ? has_location
                                : !isnan(in->given.field[study_shape_fields[k->field]]))
        return true;
    char *what = text_format("shape '%s' of %s:%ld has no number there",
                             shape_infos[in->given.kind].name, in->file, in->line);
    sheet_wrong_composed(s, row, FIELD, what,
                         text_format("it uses %s", shape_infos[in->given.kind].columns));
    free(what);
    return false;
}

/* An input that is set has no other numbers; with + its value is best, low and high. */
static bool move_the_same(const struct study_knob *a, const struct study_knob *b)
{
    bool set = (a->field == STUDY_VALUE && !a->adds) || (b->field == STUDY_VALUE && !b->adds);
    bool whole = a->field == STUDY_VALUE || b->field == STUDY_VALUE;
    bool spread = a->field == STUDY_SD || b->field == STUDY_SD;
    return set || a->field == b->field || (whole && !spread);
}

/* Two rows may not move the same number. */
static bool check_twice(const struct reading *r, const struct sheet *s, size_t row,
                        const struct study_knob *k)
{
    const struct study_table *d = &r->c->study;
    for (size_t i = 0; i < d->knob_count; i++) {
        const struct study_knob *other = &d->knobs[i];
        if (other->input != k->input || !move_the_same(k, other))
            continue;
        sheet_wrong_composed(
            s, row, FIELD, "is moved by another row already",
            text_format("line %ld moves the same number: keep one of the two", other->line));
        return false;
    }
    return true;
}

static bool find_input(struct reading *r, const struct sheet *s, size_t row, struct study_knob *k,
                       struct study_address *a)
{
    struct study_fault f;
    if (!study_address_find(r, sheet_text(s, row, VEHICLE), sheet_text(s, row, QUANTITY), a, &f)) {
        report_fault(r, s, row, &f);
        return false;
    }
    k->input = study_input_find(r->c, a);
    if (k->input == STUDY_INPUT_NONE && (k->field != STUDY_VALUE || k->adds)) {
        if (!r->inputs_unknown)
            sheet_wrong_composed(s, row, QUANTITY, "is not given", study_nearest_owner(r->c, a));
        return false;
    }
    return true;
}

static bool check_link(const struct reading *r, const struct sheet *s, size_t row,
                       const struct study_knob *k)
{
    if (k->field != STUDY_VALUE || k->adds || !study_is_linked(r->c, k->input))
        return true;
    sheet_wrong(s, row, FIELD, "cannot be set where links.csv links the input",
                "a linked input has a spread: set best, or remove the link");
    return false;
}

bool study_knob_is_difference(const struct study_knob *k)
{
    return k->adds || k->field == STUDY_SD;
}

static bool read_knob_unit(struct reading *r, const struct sheet *s, size_t row,
                           const struct input *in, const struct study_address *a,
                           struct study_knob *k)
{
    bool of_log = k->field == STUDY_SD && in && in->given.kind == SHAPE_LOGNORMAL;
    const char *unit = sheet_text(s, row, UNIT);
    k->unit = copy_or_fail(r, *unit ? unit : "1");
    if (!of_log) {
        bool good = read_unit(r, s, row, UNIT, a->quantity, &k->to_si);
        k->to_si.offset = study_knob_is_difference(k) ? 0.0 : k->to_si.offset;
        return good;
    }
    if (s->lost[UNIT] || unit_convert(r->c->units, unit, "1", &k->to_si) == UNIT_FITS)
        return !s->lost[UNIT];
    sheet_wrong(s, row, UNIT, "is a unit of another kind",
                "sd of a lognormal is that of the natural logarithm: 1");
    return false;
}

/* ---- its values ---- */

static bool count_values(const char *text, size_t *count)
{
    *count = *text ? 1 : 0;
    for (; *text; text++)
        *count += *text == ';';
    return *count > 0;
}

/* A list within the field: numbers with ';' between them. */
static bool read_list(struct reading *r, const struct sheet *s, size_t row, struct study_knob *k,
                      size_t *steps)
{
    const char *text = sheet_needed(s, row, VALUES);
    if (!text || !count_values(text, steps))
        return false;
    k->values = calloc(*steps, sizeof *k->values);
    r->no_memory = r->no_memory || !k->values;
    for (size_t i = 0; k->values && i < *steps; i++) {
        char *part = strndup(text, strcspn(text, ";"));
        bool good = part && text_number(part, s->table.decimal_comma, &k->values[i]);
        r->no_memory = r->no_memory || !part;
        free(part);
        if (!good) {
            sheet_wrong(s, row, VALUES, "is not a list of numbers",
                        "write numbers with ';' between them, such as 0.5;1;2; where ';' separates "
                        "the columns, put the list between quotes");
            return false;
        }
        text += strcspn(text, ";");
        text += *text == ';';
    }
    if (!k->values)
        return false;
    k->from = k->values[0];
    k->to = k->values[*steps - 1];
    return true;
}

static bool read_steps(const struct sheet *s, size_t row, size_t *steps)
{
    bool bad = false;
    double number = sheet_needed_number(s, row, STEPS, &bad);
    if (bad)
        return false;
    if (!(number >= 2.0 && number <= MOST_STEPS && number == floor(number))) {
        sheet_wrong(s, row, STEPS, "is not possible",
                    "2 to 1e9, a whole number: how many values the axis takes");
        return false;
    }
    *steps = (size_t)number;
    return true;
}

static bool check_unused(const struct sheet *s, size_t row, const size_t *unused, size_t count,
                         const char *remedy)
{
    bool good = true;
    for (size_t i = 0; i < count; i++) {
        if (*sheet_text(s, row, unused[i]) == '\0')
            continue;
        sheet_wrong(s, row, unused[i], "is not used here", remedy);
        good = false;
    }
    return good;
}

/* Rows of a list leave these columns empty, so that neither way is needed as such. */
static bool check_span_given(const struct sheet *s, size_t row)
{
    static const size_t span[] = {FROM, TO, STEPS};
    enum { COUNT = sizeof span / sizeof span[0] };
    bool good = true, all_empty = true;
    for (size_t i = 0; i < COUNT; i++)
        all_empty = all_empty && *sheet_text(s, row, span[i]) == '\0';
    for (size_t i = 0; i < (all_empty ? 1 : COUNT); i++) {
        if (*sheet_text(s, row, span[i]))
            continue;
        good = false;
        if (!s->lost[span[i]])
            sheet_wrong(s, row, span[i], "is empty",
                        "an axis has from, to and steps, or a list in the column values");
    }
    return good;
}

static bool read_span(const struct sheet *s, size_t row, struct study_knob *k, size_t *steps)
{
    static const size_t unused[] = {VALUES};
    bool good = check_unused(s, row, unused, 1, "a list of values has the spacing list");
    if (!check_span_given(s, row))
        return false;
    bool bad = false;
    k->from = sheet_needed_number(s, row, FROM, &bad);
    k->to = sheet_needed_number(s, row, TO, &bad);
    bool stepped = read_steps(s, row, steps);
    if (bad || !stepped || !good)
        return false;
    if (k->from == k->to) {
        sheet_wrong(s, row, TO, "is the same as from", "an axis leads from one value to another");
        return false;
    }
    if (k->spacing == STUDY_LOG && !(k->from > 0.0 && k->to > 0.0)) {
        sheet_wrong(s, row, k->from > 0.0 ? TO : FROM, "is not above 0",
                    "log spacing takes equal ratios: both ends lie above 0");
        return false;
    }
    return true;
}

/* The spacing may be left out where it is plain from the columns that are filled. */
static bool read_spacing(const struct sheet *s, size_t row, struct study_knob *k)
{
    const char *text = sheet_text(s, row, SPACING);
    k->spacing = *sheet_text(s, row, VALUES) ? STUDY_LIST : STUDY_LINEAR;
    if (*text == '\0')
        return true;
    for (int i = 0; i < STUDY_SPACING_COUNT; i++) {
        if (strcmp(spacings[i], text) == 0) {
            k->spacing = (enum study_spacing)i;
            return true;
        }
    }
    sheet_wrong_composed(s, row, SPACING, "unknown spacing",
                         advice(text, spacings, STUDY_SPACING_COUNT, NULL));
    return false;
}

static bool read_values(struct reading *r, const struct sheet *s, size_t row, struct study_knob *k,
                        size_t *steps)
{
    static const size_t unused[] = {FROM, TO, STEPS};
    if (!read_spacing(s, row, k))
        return false;
    if (k->spacing != STUDY_LIST)
        return read_span(s, row, k, steps);
    bool good = check_unused(s, row, unused, 3, "a list has its values in the column values");
    return read_list(r, s, row, k, steps) && good;
}

/* ---- the axis ---- */

/* Index of the row's axis, made when it is new; axis_count when it is wrong, which is reported. */
static size_t find_axis(struct reading *r, const struct sheet *s, size_t row, size_t steps)
{
    struct study_table *d = &r->c->study;
    const char *name = sheet_text(s, row, AXIS);
    for (size_t i = 0; i < d->axis_count; i++) {
        if (strcmp(d->axes[i].name, name) != 0)
            continue;
        if (d->axes[i].steps == steps)
            return i;
        sheet_wrong_composed(s, row, STEPS, "is not that of the axis's other rows",
                             text_format("rows of one axis move together: axis '%s' has %zu values "
                                         "on line %ld and %zu here",
                                         name, d->axes[i].steps, d->knobs[d->axes[i].knob].line,
                                         steps));
        return d->axis_count;
    }
    char *copy = copy_or_fail(r, name);
    if (!copy)
        return d->axis_count;
    d->axes[d->axis_count] = (struct study_axis){.name = copy, .steps = steps, .knob = SIZE_MAX};
    return d->axis_count++;
}

static bool check_axis_name(const struct sheet *s, size_t row)
{
    static const char *const taken[] = {"point",    "candidate", "claim",       "vehicle",
                                        "quantity", "unit",      "probability", "mixture"};
    const char *name = sheet_needed(s, row, AXIS);
    if (!name || !sheet_check_name(s, row, AXIS))
        return false;
    for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++) {
        if (strcmp(name, taken[i]) == 0) {
            sheet_wrong(s, row, AXIS, "is a reserved word",
                        "it is a column of the result tables: choose another name");
            return false;
        }
    }
    return true;
}

static void free_knob(struct study_knob *k)
{
    free(k->unit);
    free(k->values);
    free(k->column);
}

static struct study_place place_of(const struct sheet *s, size_t row, size_t column)
{
    return (struct study_place){s->table.file, columns[column].name, sheet_text(s, row, column),
                                s->table.lines[row]};
}

/* Once an axis. */
static bool is_spread_told(const struct case_data *c, size_t axis)
{
    for (size_t i = 0; i < c->study.knob_count; i++)
        if (c->study.knobs[i].axis == axis && study_leaves_out_spread(c, &c->study.knobs[i]))
            return true;
    return false;
}

static void warn_of_knob(struct reading *r, const struct sheet *s, size_t row,
                         const struct study_address *a, const struct study_knob *k)
{
    const struct study_place quantity = place_of(s, row, QUANTITY), field = place_of(s, row, FIELD);
    study_warn_if_replaced(r, &quantity, a);
    if (study_leaves_out_spread(r->c, k) && !is_spread_told(r->c, k->axis))
        study_warn_of_spread(r, &field, k, "to keep it, set best, or add with value+");
}

/* False when it does not fit in, which is reported. */
static bool add_knob(struct reading *r, const struct sheet *s, size_t row, size_t steps,
                     const struct study_address *a, struct study_knob *k)
{
    struct study_table *d = &r->c->study;
    bool is_new = k->input == STUDY_INPUT_NONE;
    if (!is_new && !(check_link(r, s, row, k) && check_twice(r, s, row, k) &&
                     check_given(s, row, k, study_input(r->c, k->input))))
        return false;
    size_t axis = find_axis(r, s, row, steps);
    if (axis == d->axis_count)
        return false;
    if (is_new)
        k->input = study_input_add(r, a, k->file, k->line);
    if (k->input == STUDY_INPUT_NONE)
        return false;
    k->axis = axis;
    warn_of_knob(r, s, row, a, k);
    if (d->axes[axis].knob == SIZE_MAX)
        d->axes[axis].knob = d->knob_count;
    d->knobs[d->knob_count++] = *k;
    return true;
}

/* What was to move together, or the same input, cannot be judged by what is left of it. */
static void doubt_others(struct study_table *d, const char *axis, size_t input)
{
    for (size_t i = 0; i < d->knob_count; i++) {
        struct study_knob *k = &d->knobs[i];
        k->doubtful = k->doubtful || k->input == input || strcmp(d->axes[k->axis].name, axis) == 0;
    }
}

/* False when the row is wrong; *input is then what it was to move, if that is known. */
static bool read_row(struct reading *r, const struct sheet *s, size_t row, size_t *input)
{
    struct study_knob k = {
        .file = r->c->study_file, .line = s->table.lines[row], .input = STUDY_INPUT_NONE};
    struct study_address a;
    size_t steps = 0;
    bool named = check_axis_name(s, row);
    bool fielded = read_field(s, row, &k);
    bool found = find_input(r, s, row, &k, &a);
    *input = k.input;
    const struct input *in =
        found && k.input != STUDY_INPUT_NONE ? study_input(r->c, k.input) : NULL;
    bool in_unit = found && fielded && read_knob_unit(r, s, row, in, &a, &k);
    bool valued = read_values(r, s, row, &k, &steps);
    bool good = named && fielded && found && in_unit && valued && !r->no_memory &&
                add_knob(r, s, row, steps, &a, &k);
    if (!good)
        free_knob(&k);
    return good;
}

/* ---- values that come twice ---- */

struct axis_steps {
    const struct study_table *design;
    size_t axis;
};

/* Two steps of an axis by what all of its knobs take there, then by their order. */
static int compare_values(const struct axis_steps *s, size_t a, size_t b)
{
    const struct study_table *d = s->design;
    for (size_t k = d->axes[s->axis].knob; k < d->knob_count; k++) {
        if (d->knobs[k].axis != s->axis)
            continue;
        double x = d->knobs[k].values[a], y = d->knobs[k].values[b];
        if (x != y)
            return x < y ? -1 : 1;
    }
    return 0;
}

static int compare_steps(const void *left, const void *right, void *steps)
{
    size_t a = *(const size_t *)left, b = *(const size_t *)right;
    int order = compare_values(steps, a, b);
    return order ? order : (a > b) - (a < b);
}

/* From one value to another no value comes twice. */
static bool is_all_lists(const struct study_table *d, size_t axis)
{
    for (size_t k = 0; k < d->knob_count; k++)
        if (d->knobs[k].axis == axis && !d->knobs[k].values)
            return false;
    return true;
}

/* A point that is worked out twice is a slip; where rows move together only all of them tell. */
static void check_steps(struct reading *r, size_t axis)
{
    const struct study_table *d = &r->c->study;
    const struct study_axis *x = &d->axes[axis];
    const struct study_knob *k = &d->knobs[x->knob];
    struct axis_steps steps = {d, axis};
    size_t *order = calloc(x->steps, sizeof *order);
    if (!order) {
        r->no_memory = true;
        return;
    }
    for (size_t i = 0; i < x->steps; i++)
        order[i] = i;
    qsort_r(order, x->steps, sizeof *order, compare_steps, &steps);
    size_t i = 1;
    while (i < x->steps && compare_values(&steps, order[i - 1], order[i]) != 0)
        i++;
    if (i < x->steps) {
        char *remedy = text_format("axis '%s' is the same at values number %zu and %zu: leave one "
                                   "of them out",
                                   x->name, order[i - 1] + 1, order[i] + 1);
        problems_add(&r->c->problems, SEVERITY_ERROR, k->file, k->line, columns[VALUES].name,
                     remedy ? "holds a value twice" : NULL, NULL, remedy);
        free(remedy);
    }
    free(order);
}

static void read_rows(struct reading *r, const struct sheet *s)
{
    size_t count = s->table.row_count, *moved = calloc(count + 1, sizeof *moved);
    bool *wrong = calloc(count + 1, sizeof *wrong);
    r->no_memory = r->no_memory || !moved || !wrong;
    for (size_t row = 0; row < count && !r->no_memory; row++)
        wrong[row] = !read_row(r, s, row, &moved[row]);
    for (size_t row = 0; row < count && !r->no_memory; row++)
        if (wrong[row])
            doubt_others(&r->c->study, sheet_text(s, row, AXIS), moved[row]);
    free(moved);
    free(wrong);
}

void read_study(struct reading *r)
{
    struct sheet s;
    struct study_table *d = &r->c->study;
    if (sheet_open(r, r->c->study_file, columns, COLUMN_COUNT, &r->c->problems, &s) != PACKSPAN_OK)
        return;
    d->axes = calloc(s.table.row_count + 1, sizeof *d->axes);
    d->knobs = calloc(s.table.row_count + 1, sizeof *d->knobs);
    r->no_memory = r->no_memory || !d->axes || !d->knobs;
    if (s.table.row_count == 0 && !s.damaged)
        problems_add(s.problems, SEVERITY_ERROR, s.table.file, 0, NULL, "no axes", NULL,
                     "write one row for each number that the study moves");
    read_rows(r, &s);
    for (size_t a = 0; a < d->axis_count && !r->no_memory; a++)
        if (is_all_lists(d, a))
            check_steps(r, a);
    sheet_close(&s);
}

void study_table_free(struct study_table *d)
{
    for (size_t i = 0; i < d->axis_count; i++)
        free(d->axes[i].name);
    for (size_t i = 0; i < d->knob_count; i++)
        free_knob(&d->knobs[i]);
    for (size_t i = 0; d->names && i < d->point_count; i++)
        free(d->names[i]);
    free(d->axes);
    free(d->knobs);
    free(d->added);
    free(d->values);
    free(d->names);
    *d = (struct study_table){0};
}
