#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum { CLAIM, VEHICLE, QUANTITY, UNIT, SENSE, VALUE, TOLERANCE, SOURCE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [CLAIM] = {"claim", true},          [VEHICLE] = {"vehicle", true},
    [QUANTITY] = {"quantity", true},    [UNIT] = {"unit", true},
    [SENSE] = {"sense", true},          [VALUE] = {"value", true},
    [TOLERANCE] = {"tolerance", false}, [SOURCE] = {"source", false}};

static const char *const senses[] = {
    [CLAIM_IS] = "is", [CLAIM_AT_LEAST] = "at_least", [CLAIM_AT_MOST] = "at_most"};
enum { SENSE_COUNT = sizeof senses / sizeof senses[0] };

/* Reports a name that an earlier claim has. */
static void check_claim_name(struct reading *r, const struct sheet *s, size_t row)
{
    const char *name = sheet_needed(s, row, CLAIM);
    size_t first = name ? name_index_find(&r->claim_names, name) : NAME_NOT_FOUND;
    if (first != NAME_NOT_FOUND)
        sheet_twice(s, row, CLAIM, r->c->claims[first].line);
}

/* ---- quantity ---- */

static char *trip_quantity_advice(const char *word)
{
    const char *names[QUANTITY_COUNT];
    size_t count = 0;
    for (size_t id = 0; id < QUANTITY_COUNT; id++)
        if (quantities[id].role == QUANTITY_TRIP_RESULT)
            names[count++] = quantities[id].name;
    return advice(word, names, count, NULL);
}

size_t find_trip_named(const struct reading *r, const char *name)
{
    size_t i = name_index_find(&r->trip_names, name);
    return i == NAME_NOT_FOUND ? TRIP_NONE : i;
}

bool read_trip_name(const struct reading *r, const struct sheet *s, size_t row, size_t column,
                    const char *name, size_t *trip)
{
    const struct case_data *c = r->c;
    *trip = find_trip_named(r, name);
    if (*trip != TRIP_NONE)
        return true;
    if (c->trip_count)
        sheet_wrong_composed(s, row, column, "unknown trip",
                             advice_of(name, c->trips, c->trip_count, sizeof *c->trips));
    else if (!r->trips_unknown)
        sheet_wrong(s, row, column, "unknown trip", "trips.csv defines no trip");
    return false;
}

/* trip_range.TRIP or trip_consumption.TRIP; `point` is where the trip's name begins, less one. */
static bool read_trip_quantity(struct reading *r, const struct sheet *s, size_t row, size_t column,
                               const char *name, const char *point, enum quantity_id *id,
                               size_t *trip)
{
    char *quantity = strndup(name, (size_t)(point - name));
    if (!quantity) {
        r->no_memory = true;
        return false;
    }
    *id = quantity_find(quantity);
    bool good = *id < QUANTITY_COUNT && quantities[*id].role == QUANTITY_TRIP_RESULT;
    if (!good)
        sheet_wrong_composed(s, row, column, "is not worked out for a trip",
                             trip_quantity_advice(quantity));
    free(quantity);
    return read_trip_name(r, s, row, column, point + 1, trip) && good;
}

bool read_result_quantity(struct reading *r, const struct sheet *s, size_t row, size_t column,
                          enum quantity_id *quantity, size_t *trip)
{
    const char *name = sheet_needed(s, row, column);
    if (!name)
        return false;
    const char *point = strchr(name, '.');
    if (point)
        return read_trip_quantity(r, s, row, column, name, point, quantity, trip);
    *trip = TRIP_NONE;
    *quantity = quantity_find(name);
    if (*quantity == QUANTITY_COUNT)
        sheet_wrong_composed(s, row, column, "unknown quantity", quantity_advice(name));
    else if (quantities[*quantity].role == QUANTITY_CONDITION)
        sheet_wrong(s, row, column, "is a condition of a trip, not a vehicle's quantity",
                    "of a trip there are trip_range.TRIP and trip_consumption.TRIP");
    else if (quantities[*quantity].role == QUANTITY_TRIP_RESULT)
        sheet_wrong_composed(s, row, column, "names no trip",
                             text_format("write %s.TRIP with a trip of trips.csv", name));
    else
        return true;
    return false;
}

/* ---- sense, value, tolerance ---- */

static bool read_sense(const struct sheet *s, size_t row, enum claim_sense *sense)
{
    const char *text = sheet_needed(s, row, SENSE);
    if (!text)
        return false;
    for (size_t i = 0; i < SENSE_COUNT; i++) {
        if (strcmp(senses[i], text) == 0) {
            *sense = (enum claim_sense)i;
            return true;
        }
    }
    sheet_wrong_composed(s, row, SENSE, "unknown sense", advice(text, senses, SENSE_COUNT, NULL));
    return false;
}

static bool read_tolerance(const struct sheet *s, size_t row, double *tolerance)
{
    bool bad = false;
    double given = table_number(&s->table, row, TOLERANCE, s->problems, &bad);
    if (given < 0.0) {
        sheet_wrong(s, row, TOLERANCE, "is below 0", "a tolerance is 0 or more; empty is 0");
        bad = true;
    }
    *tolerance = isnan(given) ? 0.0 : given;
    return !bad;
}

static void warn_if_never_true(const struct sheet *s, size_t row)
{
    table_problem(&s->table, row, TOLERANCE, SEVERITY_WARNING,
                  "an 'is' claim without a tolerance is never exactly true",
                  "write half of the last published digit, e.g. 0.5 for a whole number",
                  s->problems);
}

/* ---- the table ---- */

static void read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    struct claim claim = {.line = s->table.lines[row]};
    bool bad = false;
    check_claim_name(r, s, row);
    read_vehicle(r, s, row, VEHICLE, false, &claim.vehicle);
    if (read_result_quantity(r, s, row, QUANTITY, &claim.quantity, &claim.trip))
        read_unit(r, s, row, UNIT, claim.quantity, &claim.to_si);
    bool sensed = read_sense(s, row, &claim.sense);
    claim.value = sheet_needed_number(s, row, VALUE, &bad);
    if (read_tolerance(s, row, &claim.tolerance) && sensed && claim.sense == CLAIM_IS &&
        claim.tolerance == 0.0 && !s->lost[TOLERANCE])
        warn_if_never_true(s, row);
    const char *unit = sheet_text(s, row, UNIT);
    claim.name = copy_or_fail(r, sheet_text(s, row, CLAIM));
    claim.unit = copy_or_fail(r, *unit ? unit : "1");
    claim.source = copy_or_fail(r, sheet_text(s, row, SOURCE));
    if (claim.name && !name_index_add(&r->claim_names, claim.name, c->claim_count))
        r->no_memory = true;
    c->claims[c->claim_count++] = claim;
}

static void read_rows(struct reading *r, const struct sheet *s)
{
    r->c->claims = calloc(s->table.row_count + 1, sizeof *r->c->claims);
    r->no_memory = r->no_memory || !r->c->claims;
    for (size_t row = 0; row < s->table.row_count && !r->no_memory; row++)
        read_row(r, s, row);
}

void read_claims(struct reading *r)
{
    struct sheet s;
    if (sheet_open(r, r->c->claims_file, columns, COLUMN_COUNT, &r->c->problems, &s) != PACKSPAN_OK)
        return;
    read_rows(r, &s);
    sheet_close(&s);
}
