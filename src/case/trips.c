#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum { TRIP, QUANTITY, UNIT, SHAPE, BEST, LOW, HIGH, COVER, SD, SOURCE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [TRIP] = {"trip", true},     [QUANTITY] = {"quantity", true}, [UNIT] = {"unit", false},
    [SHAPE] = {"shape", false},  [BEST] = {"best", false},        [LOW] = {"low", false},
    [HIGH] = {"high", false},    [COVER] = {"cover", false},      [SD] = {"sd", false},
    [SOURCE] = {"source", false}};

static const struct shape_columns shape_columns = {.unit = UNIT,
                                                   .shape = SHAPE,
                                                   .source = SOURCE,
                                                   .field = {[SHAPE_BEST] = BEST,
                                                             [SHAPE_LOW] = LOW,
                                                             [SHAPE_HIGH] = HIGH,
                                                             [SHAPE_COVER] = COVER,
                                                             [SHAPE_SD] = SD,
                                                             [SHAPE_DOF] = COLUMN_NONE,
                                                             [SHAPE_FILE] = COLUMN_NONE}};

#define ROW_NONE SIZE_MAX

/* Where a trip says how it is driven. */
struct trip_rows {
    size_t first, cycle, speed; /* rows of the table, or ROW_NONE */
    bool driven;                /* the cycle's row is right */
};

/* Index of the trip that the row belongs to, a new one if need be; TRIP_NONE when it has no name,
 * which is reported. */
static size_t find_trip(struct reading *r, const struct sheet *s, size_t row,
                        struct trip_rows *rows)
{
    struct case_data *c = r->c;
    const char *name = sheet_needed(s, row, TRIP);
    if (!name)
        return TRIP_NONE;
    size_t known = find_trip_named(r, name);
    if (known != TRIP_NONE)
        return known;
    sheet_check_name(s, row, TRIP);
    char *copy = copy_or_fail(r, name);
    if (!copy || !name_index_add(&r->trip_names, copy, c->trip_count)) {
        r->no_memory = true;
        free(copy);
        return TRIP_NONE;
    }
    rows[c->trip_count] = (struct trip_rows){row, ROW_NONE, ROW_NONE, false};
    c->trips[c->trip_count] =
        (struct trip){.name = copy, .cycle = SIZE_MAX, .line = s->table.lines[row]};
    return c->trip_count++;
}

/* ---- a cycle's row ---- */

/* False when a column is filled that has no meaning here, which is reported. */
static bool check_unused_columns(const struct sheet *s, size_t row)
{
    static const struct {
        size_t column;
        const char *allowed;
    } unused[] = {{UNIT, "1"}, {SHAPE, "fixed"}, {LOW, ""}, {HIGH, ""}, {COVER, ""}, {SD, ""}};
    bool good = true;
    for (size_t i = 0; i < sizeof unused / sizeof unused[0]; i++) {
        const char *text = sheet_text(s, row, unused[i].column);
        if (*text == '\0' || strcmp(text, unused[i].allowed) == 0)
            continue;
        sheet_wrong(s, row, unused[i].column, "is not used by a cycle",
                    "leave it empty: the cycle's name stands in best");
        good = false;
    }
    return good;
}

/* The name in `best`; false when there is no such cycle, which is reported. */
static bool read_cycle_name(struct reading *r, const struct sheet *s, size_t row, struct trip *trip)
{
    const char *name = sheet_text(s, row, BEST);
    trip->steady = strcmp(name, "steady") == 0;
    if (trip->steady)
        return true;
    if (*name == '\0') {
        sheet_wrong_composed(s, row, BEST, "is empty", cycle_advice(r, name));
        return false;
    }
    trip->cycle = take_cycle(r, name);
    if (trip->cycle != SIZE_MAX)
        return true;
    sheet_wrong_composed(s, row, BEST, "unknown cycle", cycle_advice(r, name));
    return false;
}

static void read_cycle_row(struct reading *r, const struct sheet *s, size_t row, size_t trip,
                           struct trip_rows *rows)
{
    struct trip unnamed = {0};
    struct trip *t = trip == TRIP_NONE ? &unnamed : &r->c->trips[trip];
    if (trip != TRIP_NONE && rows[trip].cycle != ROW_NONE) {
        sheet_twice(s, row, QUANTITY, s->table.lines[rows[trip].cycle]);
        t = &unnamed;
    }
    check_unused_columns(s, row);
    bool driven = read_cycle_name(r, s, row, t);
    if (t == &unnamed)
        return;
    rows[trip].cycle = row;
    rows[trip].driven = driven;
    t->source = copy_or_fail(r, sheet_text(s, row, SOURCE));
}

/* ---- a condition's row ---- */

bool is_condition(enum quantity_id id)
{
    return quantities[id].role == QUANTITY_CONDITION || id == Q_accessory_power;
}

/* Among the conditions, and one more name unless that is NULL. */
static char *nearest_condition(const char *word, const char *one_more)
{
    const char *names[QUANTITY_COUNT + 1];
    size_t count = 0;
    if (one_more)
        names[count++] = one_more;
    for (enum quantity_id id = 0; id < QUANTITY_COUNT; id++)
        if (is_condition(id))
            names[count++] = quantities[id].name;
    return advice(word, names, count, NULL);
}

char *condition_advice(const char *word)
{
    return nearest_condition(word, NULL);
}

/* QUANTITY_COUNT when it is wrong, which is reported. */
static enum quantity_id read_condition(const struct sheet *s, size_t row, const char *name)
{
    enum quantity_id id = quantity_find(name);
    if (id == QUANTITY_COUNT)
        sheet_wrong_composed(s, row, QUANTITY, "unknown quantity",
                             nearest_condition(name, "cycle"));
    else if (quantities[id].role == QUANTITY_TRIP_RESULT)
        sheet_wrong(s, row, QUANTITY, "is worked out for every trip and cannot be given",
                    "a published figure of it goes into claims.csv");
    else if (!is_condition(id))
        sheet_wrong(s, row, QUANTITY, "is a vehicle's quantity, not a trip's",
                    "write it in inputs.csv");
    else
        return id;
    return QUANTITY_COUNT;
}

static void read_condition_row(struct reading *r, const struct sheet *s, size_t row, size_t trip,
                               const char *name, struct trip_rows *rows)
{
    struct input in = {.vehicle = VEHICLE_ALL,
                       .trip = trip,
                       .quantity = read_condition(s, row, name),
                       .file = r->c->trips_file,
                       .line = s->table.lines[row]};
    read_shape_row(r, s, row, &shape_columns, &in);
    if (trip == TRIP_NONE || in.quantity == QUANTITY_COUNT) {
        r->inputs_unknown = true;
        free_input(&in);
        return;
    }
    if (in.quantity == Q_speed && rows[trip].speed == ROW_NONE)
        rows[trip].speed = row;
    add_input(r, s, row, QUANTITY, &in);
}

/* ---- the table ---- */

static void read_row(struct reading *r, const struct sheet *s, size_t row, struct trip_rows *rows)
{
    size_t trip = find_trip(r, s, row, rows);
    const char *quantity = sheet_needed(s, row, QUANTITY);
    if (!quantity)
        return;
    if (strcmp(quantity, "cycle") == 0)
        read_cycle_row(r, s, row, trip, rows);
    else
        read_condition_row(r, s, row, trip, quantity, rows);
}

/* What a trip's rows say together. */
static void check_trip(const struct sheet *s, const struct trip *trip, const struct trip_rows *rows)
{
    if (rows->cycle == ROW_NONE)
        sheet_wrong(s, rows->first, TRIP, "the trip has no cycle",
                    "add a row with the quantity cycle and the cycle's name, or steady, in best");
    else if (rows->driven && trip->steady && rows->speed == ROW_NONE)
        sheet_wrong(s, rows->cycle, BEST, "the trip has no speed",
                    "add a row with the quantity speed");
    else if (rows->driven && !trip->steady && rows->speed != ROW_NONE)
        sheet_wrong_composed(s, rows->speed, QUANTITY, "is set by the trip's cycle",
                             text_format("remove this row, or write steady in best of line %ld",
                                         s->table.lines[rows->cycle]));
}

static void read_rows(struct reading *r, const struct sheet *s)
{
    struct case_data *c = r->c;
    size_t count = s->table.row_count;
    struct trip_rows *rows = calloc(count + 1, sizeof *rows);
    c->trips = calloc(count + 1, sizeof *c->trips);
    if (!rows || !c->trips || !reserve_inputs(r, count)) {
        r->no_memory = true;
        free(rows);
        return;
    }
    for (size_t row = 0; row < count; row++)
        read_row(r, s, row, rows);
    bool rows_known = !s->lost[QUANTITY];
    for (size_t i = 0; i < c->trip_count && rows_known; i++)
        check_trip(s, &c->trips[i], &rows[i]);
    free(rows);
}

void read_trips(struct reading *r)
{
    struct sheet s;
    packspan_status status =
        sheet_open(r, r->c->trips_file, columns, COLUMN_COUNT, &r->c->problems, &s);
    r->trips_unknown = status != PACKSPAN_OK && status != PACKSPAN_MISSING;
    if (status != PACKSPAN_OK)
        return;
    r->trips_unknown = s.damaged;
    r->inputs_unknown = r->inputs_unknown || s.damaged;
    read_rows(r, &s);
    sheet_close(&s);
}
