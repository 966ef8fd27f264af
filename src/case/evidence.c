/* evidence.csv: observations that weight the samples. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

/* Two observations of one quantity that are farther apart are told. */
static const double most_combined_sds = 3.0;

enum { VEHICLE, QUANTITY, UNIT, VALUE, SD, LOW, HIGH, SOURCE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [VEHICLE] = {"vehicle", true}, [QUANTITY] = {"quantity", true},
    [UNIT] = {"unit", true},       [VALUE] = {"value", false},
    [SD] = {"sd", false},          [LOW] = {"low", false},
    [HIGH] = {"high", false},      [SOURCE] = {"source", false}};

static const char forms[] = "give value and sd (a reading), or low and high (a rounded figure)";

static bool any_lost(const struct sheet *s)
{
    return s->lost[VALUE] || s->lost[SD] || s->lost[LOW] || s->lost[HIGH];
}

/* Reports a row that is neither a reading nor an interval. */
static void check_form(const struct sheet *s, size_t row, const struct observation *o)
{
    bool reading = !isnan(o->value) || !isnan(o->sd);
    bool interval = !isnan(o->low) || !isnan(o->high);
    if (reading && interval)
        sheet_wrong(s, row, isnan(o->low) ? HIGH : LOW, "stands beside value or sd", forms);
    else if (!interval && isnan(o->value))
        sheet_wrong(s, row, VALUE, "is empty", forms);
    else if (reading && isnan(o->sd))
        sheet_wrong(s, row, SD, "is empty", forms);
    else if (reading && o->sd <= 0.0)
        sheet_wrong(s, row, SD, "is not above 0", "sd is the standard deviation of the reading");
    else if (interval && isnan(o->low))
        sheet_wrong(s, row, LOW, "is empty", forms);
    else if (interval && isnan(o->high))
        sheet_wrong(s, row, HIGH, "is empty", forms);
    else if (interval && o->low >= o->high)
        sheet_wrong(s, row, LOW, "is not below high",
                    "correct one of the two, or give value and sd");
}

static void read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    struct observation o = {.line = s->table.lines[row]};
    bool bad = false;
    read_vehicle(r, s, row, VEHICLE, false, &o.vehicle);
    if (read_result_quantity(r, s, row, QUANTITY, &o.quantity, &o.trip))
        read_unit(r, s, row, UNIT, o.quantity, &o.to_si);
    o.value = table_number(&s->table, row, VALUE, s->problems, &bad);
    o.sd = table_number(&s->table, row, SD, s->problems, &bad);
    o.low = table_number(&s->table, row, LOW, s->problems, &bad);
    o.high = table_number(&s->table, row, HIGH, s->problems, &bad);
    if (!bad && !any_lost(s))
        check_form(s, row, &o);
    warn_without_source(s, row, SOURCE);
    o.is_interval = !isnan(o.low);
    const char *unit = sheet_text(s, row, UNIT);
    o.unit = copy_or_fail(r, *unit ? unit : "1");
    o.source = copy_or_fail(r, sheet_text(s, row, SOURCE));
    c->observations[c->observation_count++] = o;
}

static int compare_numbers(double x, double y)
{
    if (isnan(x) || isnan(y))
        return isnan(x) - isnan(y);
    return (x > y) - (x < y);
}

/* An order that does not depend on the order of rows, so that sums do not either. */
static int compare_observations(const void *a, const void *b, void *data)
{
    const struct case_data *c = data;
    const struct observation *x = a, *y = b;
    int order = strverscmp(c->vehicles[x->vehicle].name, c->vehicles[y->vehicle].name);
    if (order == 0)
        order = (int)x->quantity - (int)y->quantity;
    if (order == 0 && x->trip != TRIP_NONE && y->trip != TRIP_NONE)
        order = strverscmp(c->trips[x->trip].name, c->trips[y->trip].name);
    if (order == 0)
        order = compare_numbers(x->value, y->value);
    if (order == 0)
        order = compare_numbers(x->sd, y->sd);
    if (order == 0)
        order = compare_numbers(x->low, y->low);
    if (order == 0)
        order = compare_numbers(x->high, y->high);
    if (order == 0)
        order = strcmp(x->unit, y->unit);
    return order ? order : strcmp(x->source, y->source);
}

void observation_reading(const struct observation *o, double *value, double *sd)
{
    double scale = o->to_si.scale, offset = o->to_si.offset;
    if (o->is_interval) {
        double low = scale * o->low + offset, high = scale * o->high + offset;
        *value = 0.5 * (low + high);
        *sd = (high - low) / sqrt(12.0);
    } else {
        *value = scale * o->value + offset;
        *sd = scale * o->sd;
    }
}

/* ---- observations that contradict one another ---- */

static bool is_same_quantity(const struct observation *a, const struct observation *b)
{
    return a->vehicle == b->vehicle && a->quantity == b->quantity && a->trip == b->trip;
}

static double combined_sds(const struct observation *a, const struct observation *b)
{
    double x, y, sd_x, sd_y;
    observation_reading(a, &x, &sd_x);
    observation_reading(b, &y, &sd_y);
    return fabs(x - y) / hypot(sd_x, sd_y);
}

static void warn_of_contradiction(struct case_data *c, const struct observation *a,
                                  const struct observation *b)
{
    const struct observation *first = a->line < b->line ? a : b, *last = first == a ? b : a;
    char *what =
        text_format("is %.3g combined standard deviations away from the observation on line %ld",
                    combined_sds(a, b), first->line);
    problems_add(&c->problems, SEVERITY_WARNING, c->evidence_file, last->line, "quantity", what,
                 quantities[last->quantity].name,
                 "each is taken as right: check which of the two is, and whether its sd is too "
                 "small");
    free(what);
}

/* They stand in the order of their quantities. */
static void warn_of_contradictions(struct case_data *c)
{
    for (size_t i = 0; i < c->observation_count; i++)
        for (size_t k = i + 1;
             k < c->observation_count && is_same_quantity(&c->observations[i], &c->observations[k]);
             k++)
            if (combined_sds(&c->observations[i], &c->observations[k]) > most_combined_sds)
                warn_of_contradiction(c, &c->observations[i], &c->observations[k]);
}

void read_evidence(struct reading *r)
{
    struct sheet s;
    if (sheet_open(r, r->c->evidence_file, columns, COLUMN_COUNT, &r->c->problems, &s) !=
        PACKSPAN_OK)
        return;
    r->c->observations = calloc(s.table.row_count + 1, sizeof *r->c->observations);
    r->no_memory = r->no_memory || !r->c->observations;
    for (size_t row = 0; row < s.table.row_count && !r->no_memory; row++)
        read_row(r, &s, row);
    if (!r->c->problems.errors && !r->no_memory) {
        qsort_r(r->c->observations, r->c->observation_count, sizeof *r->c->observations,
                compare_observations, r->c);
        warn_of_contradictions(r->c);
    }
    sheet_close(&s);
}
