/* points.csv: one row a point, and a column VEHICLE.QUANTITY (UNIT) for each input that it sets. */
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/text.h"
#include "case/study_reading.h"

static const char form[] = "a column is named VEHICLE.QUANTITY (UNIT), or point";

struct points_reader {
    struct reading *r;
    struct table table;
    size_t *columns; /* [axis_count]: of the table */
    size_t name_column;
    size_t outside; /* values outside their physical domain */
    bool spread_told;
};

enum { MOST_OUTSIDE = 20 }; /* of them that are reported */

static void wrong_column(struct points_reader *p, size_t column, const char *what, char *remedy)
{
    const struct table *t = &p->table;
    problems_add(&p->r->c->problems, SEVERITY_ERROR, t->file, t->header_line,
                 t->columns[column].name, remedy ? what : NULL, NULL, remedy);
    free(remedy);
}

/* ---- the header ---- */

/* Splits VEHICLE.QUANTITY (UNIT) in place; *unit is NULL when it is missing. False when it is not
 * of this form. */
static bool split_name(char *text, char **vehicle, char **quantity, char **unit)
{
    char *point = strchr(text, '.'), *open = strchr(text, '(');
    size_t length = strlen(text);
    *unit = NULL;
    if (open) {
        if (text[length - 1] != ')')
            return false;
        text[length - 1] = '\0';
        *unit = open + 1;
        while (open > text && open[-1] == ' ')
            open--;
        *open = '\0';
    }
    if (!point || (open && point > open))
        return false;
    *point = '\0';
    *vehicle = text;
    *quantity = point + 1;
    return true;
}

static bool take_unit(struct points_reader *p, size_t column, const struct study_address *a,
                      const char *unit, struct study_knob *k)
{
    const struct quantity *q = &quantities[a->quantity];
    k->unit = copy_or_fail(p->r, unit ? unit : "1");
    enum unit_verdict verdict =
        k->unit ? unit_convert(p->r->c->units, k->unit, q->measure->si, &k->to_si) : UNIT_NO_MEMORY;
    if (verdict == UNIT_NO_MEMORY)
        p->r->no_memory = true;
    else if (verdict != UNIT_FITS)
        wrong_column(p, column,
                     !unit                     ? "has no unit in parentheses"
                     : verdict == UNIT_UNKNOWN ? "has an unknown unit in parentheses"
                                               : "has a unit of another kind in parentheses",
                     text_format("units of %s: %s", q->name, q->measure->examples));
    return verdict == UNIT_FITS;
}

static bool take_address(struct points_reader *p, size_t column, const char *vehicle,
                         const char *quantity, struct study_address *a)
{
    struct study_fault f;
    if (study_address_find(p->r, vehicle, quantity, a, &f))
        return true;
    if (study_fault_follows(p->r, &f))
        free(f.remedy);
    else
        wrong_column(p, column, f.what, f.remedy);
    return false;
}

/* That every column leaves out a spread need not be said more than once. */
static void warn_of_column(struct points_reader *p, size_t column, const struct study_address *a,
                           const struct study_knob *k)
{
    const struct study_place place = {.file = p->table.file,
                                      .column = p->table.columns[column].name,
                                      .line = p->table.header_line};
    study_warn_if_replaced(p->r, &place, a);
    if (!study_leaves_out_spread(p->r->c, k) || p->spread_told)
        return;
    study_warn_of_spread(p->r, &place, k,
                         "an axis of study.csv can keep it: set best there, or add with value+");
    p->spread_told = true;
}

static size_t take_input(struct points_reader *p, size_t column, const struct study_address *a)
{
    const struct study_table *d = &p->r->c->study;
    size_t input = study_input_find(p->r->c, a);
    for (size_t i = 0; i < d->knob_count && input != STUDY_INPUT_NONE; i++) {
        if (d->knobs[i].input == input) {
            wrong_column(p, column, "names the same input as an earlier column",
                         text_copy("keep one of the two"));
            return STUDY_INPUT_NONE;
        }
    }
    if (input != STUDY_INPUT_NONE && study_is_linked(p->r->c, input)) {
        wrong_column(p, column, "cannot be set where links.csv links the input",
                     text_copy("a linked input has a spread: remove the link"));
        return STUDY_INPUT_NONE;
    }
    return input != STUDY_INPUT_NONE
               ? input
               : study_input_add(p->r, a, p->r->c->points_file, p->table.header_line);
}

static void take_column(struct points_reader *p, size_t column)
{
    struct study_table *d = &p->r->c->study;
    const char *name = p->table.columns[column].name;
    char *text = copy_or_fail(p->r, name), *vehicle = NULL, *quantity = NULL, *unit = NULL;
    struct study_address a;
    struct study_knob k = {.axis = d->axis_count,
                           .input = STUDY_INPUT_NONE,
                           .file = p->r->c->points_file,
                           .line = p->table.header_line};
    if (!text)
        return;
    if (!split_name(text, &vehicle, &quantity, &unit))
        wrong_column(p, column, "is no column of points.csv", text_copy(form));
    else if (take_address(p, column, vehicle, quantity, &a) && take_unit(p, column, &a, unit, &k))
        k.input = take_input(p, column, &a);
    if (k.input != STUDY_INPUT_NONE) {
        char *axis = text_format("%s.%s", vehicle, quantity);
        p->r->no_memory = p->r->no_memory || !axis;
        k.column = copy_or_fail(p->r, name);
        warn_of_column(p, column, &a, &k);
        p->columns[d->axis_count] = column;
        d->axes[d->axis_count++] = (struct study_axis){.name = axis, .knob = d->knob_count};
        d->knobs[d->knob_count++] = k;
    } else {
        free(k.unit);
    }
    free(text);
}

/* Without a name, or with that of an earlier one: both have been reported. */
static bool is_lost(const struct table *t, size_t column)
{
    bool lost = *t->columns[column].name == '\0';
    for (size_t i = 0; i < column && !lost; i++)
        lost = strcmp(t->columns[i].name, t->columns[column].name) == 0;
    return lost;
}

static bool take_header(struct points_reader *p)
{
    struct study_table *d = &p->r->c->study;
    size_t count = p->table.column_count;
    d->axes = calloc(count + 1, sizeof *d->axes);
    d->knobs = calloc(count + 1, sizeof *d->knobs);
    p->columns = calloc(count + 1, sizeof *p->columns);
    p->name_column = SIZE_MAX;
    if (!d->axes || !d->knobs || !p->columns) {
        p->r->no_memory = true;
        return false;
    }
    for (size_t i = 0; i < count && !p->r->no_memory; i++) {
        if (is_lost(&p->table, i))
            continue;
        if (strcmp(p->table.columns[i].name, "point") == 0)
            p->name_column = i;
        else
            take_column(p, i);
    }
    return !p->r->no_memory;
}

/* ---- rows ---- */

static void wrong_field(struct points_reader *p, size_t row, size_t column, const char *what,
                        const char *remedy)
{
    table_problem(&p->table, row, column, SEVERITY_ERROR, what, remedy, &p->r->c->problems);
}

static void take_name(struct points_reader *p, size_t row)
{
    struct study_table *d = &p->r->c->study;
    const char *name = table_text(&p->table, row, p->name_column);
    if (*name == '\0')
        wrong_field(p, row, p->name_column, "is empty", "every point needs a name, or none does");
    d->names[row] = copy_or_fail(p->r, name);
}

/* What the point makes of the input, which is then exactly known. */
static void check_domain(struct points_reader *p, size_t row, size_t axis, double value)
{
    const struct study_table *d = &p->r->c->study;
    const struct study_knob *k = &d->knobs[d->axes[axis].knob];
    struct input in = *study_input(p->r->c, k->input);
    struct shape_fault fault;
    input_fix(&in, k->unit, k->to_si, value);
    struct shape_domain domain = input_domain(&in);
    packspan_status status = shape_check(&in.given, &domain, &fault);
    p->r->no_memory = p->r->no_memory || status == PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_BAD_CASE && p->outside++ < MOST_OUTSIDE)
        wrong_field(p, row, p->columns[axis], fault.what, fault.remedy);
}

static void take_row(struct points_reader *p, size_t row)
{
    struct study_table *d = &p->r->c->study;
    bool bad = false;
    if (d->names)
        take_name(p, row);
    for (size_t a = 0; a < d->axis_count; a++) {
        double value = table_number(&p->table, row, p->columns[a], &p->r->c->problems, &bad);
        d->values[row * d->axis_count + a] = value;
        if (!isnan(value))
            check_domain(p, row, a, value);
        bool is_empty = *table_text(&p->table, row, p->columns[a]) == '\0';
        if (is_empty && d->knobs[d->axes[a].knob].input >= p->r->c->input_count)
            wrong_field(p, row, p->columns[a], "is empty",
                        "the case does not give this input, so every point needs a value");
    }
}

struct named_point {
    const char *name;
    size_t row;
};

static int compare_names(const void *a, const void *b)
{
    const struct named_point *x = a, *y = b;
    int order = strcmp(x->name, y->name);
    return order ? order : (x->row > y->row) - (x->row < y->row);
}

static void check_names(struct points_reader *p)
{
    const struct study_table *d = &p->r->c->study;
    struct named_point *sorted = calloc(d->point_count + 1, sizeof *sorted);
    if (!sorted) {
        p->r->no_memory = true;
        return;
    }
    for (size_t i = 0; i < d->point_count; i++)
        sorted[i] = (struct named_point){d->names[i], i};
    qsort(sorted, d->point_count, sizeof *sorted, compare_names);
    for (size_t i = 1; i < d->point_count; i++) {
        if (*sorted[i].name == '\0' || strcmp(sorted[i - 1].name, sorted[i].name) != 0)
            continue;
        char *remedy =
            text_format("line %ld has this name already", p->table.lines[sorted[i - 1].row]);
        wrong_field(p, sorted[i].row, p->name_column, remedy ? "is given twice" : NULL, remedy);
        free(remedy);
    }
    free(sorted);
}

static void take_rows(struct points_reader *p)
{
    struct study_table *d = &p->r->c->study;
    size_t rows = p->table.row_count;
    d->is_points = true;
    d->values = calloc(rows * d->axis_count + 1, sizeof *d->values);
    if (p->name_column != SIZE_MAX)
        d->names = calloc(rows + 1, sizeof *d->names);
    if (!d->values || (p->name_column != SIZE_MAX && !d->names)) {
        p->r->no_memory = true;
        return;
    }
    for (size_t row = 0; row < rows && !p->r->no_memory; row++) {
        d->point_count = row + 1;
        take_row(p, row);
    }
    if (d->names && !p->r->no_memory)
        check_names(p);
    if (rows == 0)
        problems_add(&p->r->c->problems, SEVERITY_ERROR, p->table.file, 0, NULL, "no points", NULL,
                     "write one row for each point");
    else if (d->axis_count == 0 && p->r->c->problems.errors == 0)
        problems_add(&p->r->c->problems, SEVERITY_ERROR, p->table.file, p->table.header_line, NULL,
                     "no column sets an input", NULL, form);
}

/* Both tables would each make a study. */
static bool is_alone(struct reading *r)
{
    if (access(r->c->study_file, F_OK) != 0)
        return true;
    problems_add(&r->c->problems, SEVERITY_ERROR, r->c->points_file, 0, NULL,
                 "stands beside study.csv", NULL,
                 "a case has either axes or points: keep one of the two tables");
    return false;
}

/* A file that a row of shape observed names holds readings, whatever it is called. */
static bool is_of_readings(const struct reading *r)
{
    for (size_t i = 0; i < r->reading_count; i++)
        if (strcmp(r->readings[i], "points.csv") == 0)
            return true;
    return false;
}

void read_points(struct reading *r)
{
    struct points_reader p = {.r = r};
    if (access(r->c->points_file, F_OK) != 0 || is_of_readings(r) || !is_alone(r))
        return;
    packspan_status status = table_read(r->c->points_file, NULL, 0, &r->c->problems, &p.table);
    r->unreadable = r->unreadable || status == PACKSPAN_IO;
    r->no_memory = r->no_memory || status == PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        list_file(r, r->c->points_file, p.table.checksum);
        if (p.table.column_count > 0 && take_header(&p))
            take_rows(&p);
    }
    free(p.columns);
    table_free(&p.table);
}
