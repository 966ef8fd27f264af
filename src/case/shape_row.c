/* The columns that inputs.csv and trips.csv have in common: unit, shape and numbers. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

bool read_unit(struct reading *r, const struct sheet *s, size_t row, size_t column,
               enum quantity_id quantity, struct unit_factor *factor)
{
    if (s->lost[column])
        return false;
    const struct quantity *q = &quantities[quantity];
    const char *text = sheet_text(s, row, column);
    enum unit_verdict verdict = unit_convert(r->c->units, text, q->measure->si, factor);
    if (verdict == UNIT_FITS)
        return true;
    if (verdict == UNIT_NO_MEMORY) {
        r->no_memory = true;
        return false;
    }
    const char *what = *text == '\0'             ? "is empty"
                       : verdict == UNIT_UNKNOWN ? "unknown unit"
                                                 : "is a unit of another kind";
    sheet_wrong_composed(s, row, column, what,
                         text_format("units of %s: %s", q->name, q->measure->examples));
    return false;
}

/* A shape can be used when the table has all columns that only this shape needs. */
static const char *missing_column(enum shape_kind kind, const struct shape_columns *columns)
{
    for (size_t f = 0; f < SHAPE_FIELD_COUNT; f++)
        if ((shape_infos[kind].uses & (1u << f)) && columns->field[f] == COLUMN_NONE)
            return shape_field_names[f];
    return NULL;
}

static char *shape_advice(const char *word, const struct shape_columns *columns)
{
    const char *names[SHAPE_COUNT];
    size_t count = 0;
    for (enum shape_kind kind = 0; kind < SHAPE_COUNT; kind++)
        if (!missing_column(kind, columns))
            names[count++] = shape_infos[kind].name;
    return advice(word, names, count, NULL);
}

/* SHAPE_COUNT when it is wrong, which is reported. */
static enum shape_kind read_shape_kind(const struct sheet *s, size_t row,
                                       const struct shape_columns *columns)
{
    if (s->lost[columns->shape])
        return SHAPE_COUNT;
    const char *name = sheet_text(s, row, columns->shape);
    enum shape_kind kind = shape_find(name);
    if (kind == SHAPE_COUNT) {
        sheet_wrong_composed(s, row, columns->shape, *name ? "unknown shape" : "is empty",
                             shape_advice(name, columns));
        return SHAPE_COUNT;
    }
    const char *missing = missing_column(kind, columns);
    if (missing) {
        sheet_wrong_composed(
            s, row, columns->shape, "cannot be used here",
            text_format("it needs the column %s, which this table does not have", missing));
        return SHAPE_COUNT;
    }
    return kind;
}

/* False when a field is no number, which is reported. */
static bool read_numbers(const struct sheet *s, size_t row, const struct shape_columns *columns,
                         struct shape_given *given)
{
    bool bad = false;
    for (size_t f = 0; f < SHAPE_FIELD_COUNT; f++) {
        given->field[f] = (double)NAN;
        if (f != SHAPE_FILE && columns->field[f] != COLUMN_NONE)
            given->field[f] = table_number(&s->table, row, columns->field[f], s->problems, &bad);
    }
    return !bad;
}

/* ---- readings ---- */

enum { VALUE, WEIGHT, READING_COLUMNS };
static const struct table_column reading_columns[READING_COLUMNS] = {
    [VALUE] = {"value", true}, [WEIGHT] = {"weight", false}};

struct readings {
    double *values, *weights; /* weights is NULL when none is given */
    size_t count;
};

static void free_readings(struct readings *list)
{
    free(list->values);
    free(list->weights);
}

static const char *without_dot(const char *path)
{
    while (path[0] == '.' && path[1] == '/')
        for (path += 2; *path == '/'; path++)
            continue;
    return path;
}

static bool leaves_folder(const char *path)
{
    if (*path == '/')
        return true;
    for (const char *part = path; *part; part += strspn(part, "/")) {
        size_t length = strcspn(part, "/");
        if (length == 2 && strncmp(part, "..", 2) == 0)
            return true;
        part += length;
    }
    return false;
}

static bool was_read(const struct reading *r, const char *name)
{
    for (size_t i = 0; i < r->reading_count; i++)
        if (strcmp(r->readings[i], name) == 0)
            return true;
    return false;
}

static void remember_readings(struct reading *r, const char *name)
{
    char *copy = copy_or_fail(r, name);
    if (copy)
        r->readings[r->reading_count++] = copy;
}

static double read_weight(const struct sheet *s, size_t row, bool *bad)
{
    double weight = sheet_needed_number(s, row, WEIGHT, bad);
    if (weight < 0.0) {
        sheet_wrong(s, row, WEIGHT, "is below 0", "a weight is 0 or more");
        *bad = true;
    }
    return weight;
}

static bool has_weights(const struct sheet *s)
{
    for (size_t row = 0; row < s->table.row_count; row++)
        if (*sheet_text(s, row, WEIGHT))
            return true;
    return false;
}

static bool take_readings(struct reading *r, const struct sheet *s, struct readings *list)
{
    list->count = s->table.row_count;
    list->values = calloc(list->count + 1, sizeof *list->values);
    if (has_weights(s))
        list->weights = calloc(list->count + 1, sizeof *list->weights);
    if (!list->values || (has_weights(s) && !list->weights)) {
        r->no_memory = true;
        return false;
    }
    bool bad = false;
    for (size_t row = 0; row < list->count; row++) {
        list->values[row] = sheet_needed_number(s, row, VALUE, &bad);
        if (list->weights)
            list->weights[row] = read_weight(s, row, &bad);
    }
    return !bad;
}

/* False when the file is wrong. Its problems are reported only the first time it is named. */
static bool read_readings_file(struct reading *r, const struct sheet *s, size_t row, size_t column,
                               const char *name, struct readings *list)
{
    struct problems again = {0};
    bool first = !was_read(r, name);
    if (first)
        remember_readings(r, name);
    char *path = path_in_case(r, name);
    struct sheet file;
    packspan_status status = path ? sheet_open(r, path, reading_columns, READING_COLUMNS,
                                               first ? s->problems : &again, &file)
                                  : PACKSPAN_NO_MEMORY;
    bool good = false;
    if (status == PACKSPAN_OK) {
        good = take_readings(r, &file, list) && !file.damaged;
        sheet_close(&file);
    } else if (status == PACKSPAN_MISSING) {
        sheet_wrong(s, row, column, "no such file", "its path starts in the case's folder");
    }
    problems_clear(&again);
    free(path);
    return good;
}

/* The column `file`, which only shape observed may fill. */
static bool read_readings(struct reading *r, const struct sheet *s, size_t row,
                          enum shape_kind kind, size_t column, struct readings *list)
{
    if (column == COLUMN_NONE)
        return true;
    const char *path = sheet_text(s, row, column);
    bool wanted = shape_infos[kind].uses & (1u << SHAPE_FILE);
    if (!wanted && *path) {
        char *what = text_format("is not used by shape '%s'", shape_infos[kind].name);
        sheet_wrong_composed(s, row, column, what,
                             text_format("it uses %s", shape_infos[kind].columns));
        free(what);
        return false;
    }
    if (!wanted)
        return true;
    if (*path == '\0')
        sheet_wrong(s, row, column, "is empty", "name the CSV table of the readings");
    else if (leaves_folder(path))
        sheet_wrong(s, row, column, "is outside the case's folder",
                    "put the file into the folder and give its path from there");
    else
        return read_readings_file(r, s, row, column, without_dot(path), list);
    return false;
}

/* ---- the row ---- */

struct shape_domain input_domain(const struct input *in)
{
    const struct quantity *q = &quantities[in->quantity];
    return (struct shape_domain){(q->low - in->to_si.offset) / in->to_si.scale,
                                 (q->high - in->to_si.offset) / in->to_si.scale, q->low_open,
                                 q->high_open};
}

/* As messages show it. */
static const char *shown_unit(const char *unit)
{
    return strcmp(unit, "1") == 0 ? NULL : unit;
}

void input_fix(struct input *in, const char *unit, struct unit_factor to_si, double value)
{
    in->given = (struct shape_given){.kind = SHAPE_FIXED, .unit = shown_unit(unit)};
    for (size_t f = 0; f < SHAPE_FIELD_COUNT; f++)
        in->given.field[f] = f == SHAPE_BEST ? value : (double)NAN;
    in->to_si = to_si;
}

static void make_shape(struct reading *r, const struct sheet *s, size_t row,
                       const struct shape_columns *columns, struct input *in)
{
    struct shape_domain domain = input_domain(in);
    struct shape_fault fault;
    in->given.unit = shown_unit(in->unit);
    packspan_status status = shape_make(&in->given, &domain, &in->shape, &fault);
    if (status == PACKSPAN_BAD_CASE)
        sheet_wrong(s, row, columns->field[fault.field], fault.what, fault.remedy);
    else if (status != PACKSPAN_OK)
        r->no_memory = true;
}

void read_shape_row(struct reading *r, const struct sheet *s, size_t row,
                    const struct shape_columns *columns, struct input *in)
{
    const char *unit = sheet_text(s, row, columns->unit);
    in->unit = copy_or_fail(r, *unit ? unit : "1");
    in->source = copy_or_fail(r, sheet_text(s, row, columns->source));
    bool good = in->quantity < QUANTITY_COUNT &&
                read_unit(r, s, row, columns->unit, in->quantity, &in->to_si);
    in->given.kind = read_shape_kind(s, row, columns);
    good = read_numbers(s, row, columns, &in->given) && good;
    if (in->given.kind == SHAPE_COUNT)
        return;
    struct readings list = {0};
    good = read_readings(r, s, row, in->given.kind, columns->field[SHAPE_FILE], &list) && good;
    if (good) {
        in->given.values = list.values;
        in->given.weights = list.weights;
        in->given.readings = list.count;
        make_shape(r, s, row, columns, in);
        in->given.values = in->given.weights = NULL;
        in->given.readings = 0;
    }
    free_readings(&list);
}
