#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum {
    VEHICLE,
    QUANTITY,
    UNIT,
    SHAPE,
    BEST,
    LOW,
    HIGH,
    COVER,
    SD,
    DOF,
    FILE_NAME,
    SOURCE,
    COLUMN_COUNT
};
static const struct table_column columns[COLUMN_COUNT] = {
    [VEHICLE] = {"vehicle", true}, [QUANTITY] = {"quantity", true}, [UNIT] = {"unit", true},
    [SHAPE] = {"shape", true},     [BEST] = {"best", false},        [LOW] = {"low", false},
    [HIGH] = {"high", false},      [COVER] = {"cover", false},      [SD] = {"sd", false},
    [DOF] = {"dof", false},        [FILE_NAME] = {"file", false},   [SOURCE] = {"source", false}};

static const struct shape_columns shape_columns = {.unit = UNIT,
                                                   .shape = SHAPE,
                                                   .source = SOURCE,
                                                   .field = {[SHAPE_BEST] = BEST,
                                                             [SHAPE_LOW] = LOW,
                                                             [SHAPE_HIGH] = HIGH,
                                                             [SHAPE_COVER] = COVER,
                                                             [SHAPE_SD] = SD,
                                                             [SHAPE_DOF] = DOF,
                                                             [SHAPE_FILE] = FILE_NAME}};

enum quantity_id read_input_quantity(const struct sheet *s, size_t row, size_t column)
{
    const char *name = sheet_needed(s, row, column);
    if (!name)
        return QUANTITY_COUNT;
    enum quantity_id id = quantity_find(name);
    if (id == QUANTITY_COUNT)
        sheet_wrong_composed(s, row, column, "unknown quantity", quantity_advice(name));
    else if (quantities[id].role == QUANTITY_CONDITION)
        sheet_wrong(s, row, column, "is a condition of a trip", "write it in trips.csv");
    else if (quantities[id].role == QUANTITY_TRIP_RESULT)
        sheet_wrong(s, row, column, "is worked out for every trip and cannot be given",
                    "a published figure of it goes into claims.csv");
    else
        return id;
    return QUANTITY_COUNT;
}

bool check_owner(const struct sheet *s, size_t row, size_t column, const struct input *in)
{
    if (in->vehicle != VEHICLE_ALL || in->quantity == QUANTITY_COUNT ||
        quantities[in->quantity].role != QUANTITY_ROUTE)
        return true;
    sheet_wrong(s, row, column, "a route to usable energy belongs to one vehicle",
                "name that vehicle, and write a row for each that has the route");
    return false;
}

void warn_without_source(const struct sheet *s, size_t row, size_t column)
{
    if (*sheet_text(s, row, column) == '\0' && !s->lost[column])
        problems_add(s->problems, SEVERITY_WARNING, s->table.file, s->table.lines[row], NULL,
                     "has no source", NULL,
                     "write in source what document, how it was read and how sure it is");
}

static void read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct input in = {.trip = TRIP_NONE, .file = r->c->inputs_file, .line = s->table.lines[row]};
    bool owned = read_vehicle(r, s, row, VEHICLE, true, &in.vehicle);
    if (strcmp(sheet_text(s, row, QUANTITY), "cycle") == 0) {
        sheet_wrong(s, row, QUANTITY, "is a condition of a trip", "write it in trips.csv");
        r->inputs_unknown = true;
        return; /* no other column of the row means what it does here */
    }
    in.quantity = read_input_quantity(s, row, QUANTITY);
    owned = owned && check_owner(s, row, VEHICLE, &in);
    read_shape_row(r, s, row, &shape_columns, &in);
    warn_without_source(s, row, SOURCE);
    if (owned && in.quantity < QUANTITY_COUNT)
        add_input(r, s, row, QUANTITY, &in);
    else {
        r->inputs_unknown = true;
        free_input(&in);
    }
}

void read_inputs(struct reading *r)
{
    struct sheet s;
    const char *path = r->c->inputs_file;
    packspan_status status = sheet_open(r, path, columns, COLUMN_COUNT, &r->c->problems, &s);
    if (status == PACKSPAN_MISSING)
        report_missing_table(r, path,
                             "a case says here what is known: vehicle,quantity,unit,shape,...");
    r->inputs_unknown = status != PACKSPAN_OK || s.damaged;
    if (status != PACKSPAN_OK)
        return;
    if (s.table.row_count == 0 && !s.damaged)
        problems_add(s.problems, SEVERITY_ERROR, path, 0, NULL, "no inputs", NULL,
                     "write one row for each quantity that is known");
    r->readings = calloc(s.table.row_count + 1, sizeof *r->readings);
    r->no_memory = r->no_memory || !r->readings;
    if (r->readings && reserve_inputs(r, s.table.row_count))
        for (size_t row = 0; row < s.table.row_count; row++)
            read_row(r, &s, row);
    sheet_close(&s);
}

bool reserve_inputs(struct reading *r, size_t more)
{
    struct case_data *c = r->c;
    struct input *inputs = reallocarray(c->inputs, c->input_count + more + 1, sizeof *inputs);
    if (!inputs) {
        r->no_memory = true;
        return false;
    }
    c->inputs = inputs;
    return true;
}

void add_input(struct reading *r, const struct sheet *s, size_t row, size_t quantity_column,
               struct input *in)
{
    struct case_data *c = r->c;
    for (size_t i = 0; i < c->input_count; i++) {
        const struct input *first = &c->inputs[i];
        if (first->vehicle == in->vehicle && first->trip == in->trip &&
            first->quantity == in->quantity) {
            sheet_twice(s, row, quantity_column, first->line);
            free_input(in);
            return;
        }
    }
    c->inputs[c->input_count++] = *in;
}

void free_input(struct input *in)
{
    free(in->unit);
    free(in->source);
    shape_free(in->shape);
}
