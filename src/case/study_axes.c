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
static const enum shape_field shape_fields[STUDY_FIELD_COUNT] = {[STUDY_VALUE] = SHAPE_BEST,
                                                                 [STUDY_BEST] = SHAPE_BEST,
                                                                 [STUDY_LOW] = SHAPE_LOW,
                                                                 [STUDY_HIGH] = SHAPE_HIGH,
                                                                 [STUDY_SD] = SHAPE_SD};
static const char *const spacings[STUDY_SPACING_COUNT] = {
    [STUDY_LINEAR] = "linear", [STUDY_LOG] = "log", [STUDY_LIST] = "list"};

/* ---- what the row addresses ---- */

/* Problems of tables that are too wrong to know what they define are reported there only. */
static void report_fault(const struct reading *r, const struct sheet *s, size_t row,
                         struct study_fault *f)
{
    size_t column = f->of_vehicle ? VEHICLE : QUANTITY;
    bool hidden = s->lost[column] || (f->of_vehicle && r->c->vehicle_count == 0) ||
                  (strcmp(f->what, "unknown trip") == 0 && r->trips_unknown);
    if (hidden)
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
    if (k->field == STUDY_VALUE ? has_location : !isnan(in->given.field[shape_fields[k->field]]))
        return true;
    char *what = text_format("shape '%s' of %s:%ld has no number there",
                             shape_infos[in->given.kind].name, in->file, in->line);
    sheet_wrong_composed(s, row, FIELD, what,
                         text_format("it uses %s", shape_infos[in->given.kind].columns));
    free(what);
    return false;
}

static void warn_if_replaced(const struct reading *r, const struct sheet *s, size_t row,
                             const struct study_address *a)
{
    char *what = study_replaced(r->c, a);
    if (what)
        table_problem(&s->table, row, QUANTITY, SEVERITY_WARNING, what, NULL, s->problems);
    free(what);
}

/* Two rows may not move the same number. */
static bool check_twice(const struct reading *r, const struct sheet *s, size_t row,
                        const struct study_knob *k)
{
    const struct study_design *d = &r->c->study;
    for (size_t i = 0; i < d->knob_count; i++) {
        const struct study_knob *other = &d->knobs[i];
        bool whole = k->field == STUDY_VALUE || other->field == STUDY_VALUE;
        if (other->input != k->input || (!whole && other->field != k->field))
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

/* A spread and a difference have no zero point. */
static bool is_difference(const struct study_knob *k)
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
        k->to_si.offset = is_difference(k) ? 0.0 : k->to_si.offset;
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

static bool read_span(const struct sheet *s, size_t row, struct study_knob *k, size_t *steps)
{
    static const size_t unused[] = {VALUES};
    bool bad = false;
    k->from = sheet_needed_number(s, row, FROM, &bad);
    k->to = sheet_needed_number(s, row, TO, &bad);
    bool stepped = read_steps(s, row, steps);
    bool good = check_unused(s, row, unused, 1, "a list of values has the spacing list");
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
    struct study_design *d = &r->c->study;
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

static void add_knob(struct reading *r, const struct sheet *s, size_t row, size_t steps,
                     const struct study_address *a, struct study_knob *k)
{
    struct study_design *d = &r->c->study;
    bool good =
        k->input == STUDY_INPUT_NONE || (check_link(r, s, row, k) && check_twice(r, s, row, k) &&
                                         check_given(s, row, k, study_input(r->c, k->input)));
    size_t axis = good ? find_axis(r, s, row, steps) : d->axis_count;
    if (!good || axis == d->axis_count) {
        free_knob(k);
        return;
    }
    if (k->input == STUDY_INPUT_NONE)
        k->input = study_input_add(r, a, k->file, k->line);
    warn_if_replaced(r, s, row, a);
    k->axis = axis;
    if (d->axes[axis].knob == SIZE_MAX)
        d->axes[axis].knob = d->knob_count;
    d->knobs[d->knob_count++] = *k;
}

static void read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct study_knob k = {.file = r->c->study_file, .line = s->table.lines[row]};
    struct study_address a;
    size_t steps = 0;
    bool named = check_axis_name(s, row);
    bool fielded = read_field(s, row, &k);
    bool found = find_input(r, s, row, &k, &a);
    const struct input *in =
        found && k.input != STUDY_INPUT_NONE ? study_input(r->c, k.input) : NULL;
    bool in_unit = found && fielded && read_knob_unit(r, s, row, in, &a, &k);
    bool valued = read_values(r, s, row, &k, &steps);
    if (named && fielded && found && in_unit && valued && !r->no_memory)
        add_knob(r, s, row, steps, &a, &k);
    else
        free_knob(&k);
}

void read_study(struct reading *r)
{
    struct sheet s;
    struct study_design *d = &r->c->study;
    if (sheet_open(r, r->c->study_file, columns, COLUMN_COUNT, &r->c->problems, &s) != PACKSPAN_OK)
        return;
    d->axes = calloc(s.table.row_count + 1, sizeof *d->axes);
    d->knobs = calloc(s.table.row_count + 1, sizeof *d->knobs);
    r->no_memory = r->no_memory || !d->axes || !d->knobs;
    if (s.table.row_count == 0 && !s.damaged)
        problems_add(s.problems, SEVERITY_ERROR, s.table.file, 0, NULL, "no axes", NULL,
                     "write one row for each number that the study moves");
    for (size_t row = 0; row < s.table.row_count && !r->no_memory; row++)
        read_row(r, &s, row);
    sheet_close(&s);
}

void study_design_free(struct study_design *d)
{
    for (size_t i = 0; i < d->axis_count; i++)
        free(d->axes[i].name);
    for (size_t i = 0; i < d->knob_count; i++)
        free_knob(&d->knobs[i]);
    for (size_t i = 0; d->names && i < d->table_points; i++)
        free(d->names[i]);
    free(d->axes);
    free(d->knobs);
    free(d->added);
    free(d->table);
    free(d->names);
    free(d->lines);
    *d = (struct study_design){0};
}
