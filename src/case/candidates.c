/* candidates.csv: rival explanations, each a set of inputs with a prior weight. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum {
    CANDIDATE,
    WEIGHT,
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
    SOURCE,
    COLUMN_COUNT
};
static const struct table_column columns[COLUMN_COUNT] = {
    [CANDIDATE] = {"candidate", true}, [WEIGHT] = {"weight", true}, [VEHICLE] = {"vehicle", true},
    [QUANTITY] = {"quantity", true},   [UNIT] = {"unit", false},    [SHAPE] = {"shape", false},
    [BEST] = {"best", false},          [LOW] = {"low", false},      [HIGH] = {"high", false},
    [COVER] = {"cover", false},        [SD] = {"sd", false},        [DOF] = {"dof", false},
    [SOURCE] = {"source", false}};

static const struct shape_columns shape_columns = {.unit = UNIT,
                                                   .shape = SHAPE,
                                                   .source = SOURCE,
                                                   .field = {[SHAPE_BEST] = BEST,
                                                             [SHAPE_LOW] = LOW,
                                                             [SHAPE_HIGH] = HIGH,
                                                             [SHAPE_COVER] = COVER,
                                                             [SHAPE_SD] = SD,
                                                             [SHAPE_DOF] = DOF,
                                                             [SHAPE_FILE] = COLUMN_NONE}};

/* The candidate that the row belongs to, made when it is new. NULL when its name is wrong. */
static struct candidate *find_or_add(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    if (!sheet_needed(s, row, CANDIDATE) || !sheet_check_name(s, row, CANDIDATE))
        return NULL;
    const char *name = sheet_text(s, row, CANDIDATE);
    if (strcmp(name, "mixture") == 0) {
        sheet_wrong(s, row, CANDIDATE, "is a reserved word",
                    "it stands for all candidates together: choose another name");
        return NULL;
    }
    for (size_t i = 0; i < c->candidate_count; i++)
        if (strcmp(c->candidates[i].name, name) == 0)
            return &c->candidates[i];
    struct candidate *added = &c->candidates[c->candidate_count];
    *added = (struct candidate){.weight = (double)NAN, .line = s->table.lines[row]};
    added->name = copy_or_fail(r, name);
    added->inputs = calloc(s->table.row_count, sizeof *added->inputs);
    r->no_memory = r->no_memory || !added->inputs;
    c->candidate_count++;
    return added;
}

/* The weight may stand on any of a candidate's rows, and has to be the same on all that have it.
 * One that is wrong is not missing as well: it becomes infinite. */
static void read_weight(const struct sheet *s, size_t row, struct candidate *candidate)
{
    bool bad = false;
    double weight = table_number(&s->table, row, WEIGHT, s->problems, &bad);
    if (isnan(weight) && !bad)
        return;
    if (weight <= 0.0) {
        sheet_wrong(s, row, WEIGHT, "is not above 0", "a prior weight is above 0; any sum will do");
        bad = true;
    }
    if (isnan(candidate->weight))
        candidate->weight = bad ? (double)INFINITY : weight;
    else if (!bad && isfinite(candidate->weight) && weight != candidate->weight)
        sheet_wrong_composed(
            s, row, WEIGHT, "is another weight than before",
            text_format("candidate '%s' has weight %.10g", candidate->name, candidate->weight));
}

static void add_candidate_input(struct reading *r, const struct sheet *s, size_t row,
                                struct candidate *candidate, struct input *in)
{
    for (size_t i = 0; i < candidate->input_count; i++) {
        const struct input *other = &candidate->inputs[i];
        if (other->vehicle == in->vehicle && other->quantity == in->quantity) {
            sheet_twice(s, row, QUANTITY, other->line);
            free_input(in);
            return;
        }
    }
    if (r->no_memory)
        free_input(in);
    else
        candidate->inputs[candidate->input_count++] = *in;
}

static bool is_empty_row(const struct sheet *s, size_t row)
{
    for (size_t column = VEHICLE; column < SOURCE; column++)
        if (*sheet_text(s, row, column))
            return false;
    return true;
}

static void read_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct candidate *candidate = find_or_add(r, s, row);
    if (candidate)
        read_weight(s, row, candidate);
    if (is_empty_row(s, row)) /* the case as it is */
        return;
    struct input in = {
        .trip = TRIP_NONE, .file = r->c->candidates_file, .line = s->table.lines[row]};
    bool owned = read_vehicle(r, s, row, VEHICLE, true, &in.vehicle);
    in.quantity = read_input_quantity(s, row, QUANTITY);
    owned = owned && check_owner(s, row, VEHICLE, &in);
    read_shape_row(r, s, row, &shape_columns, &in);
    warn_without_source(s, row, SOURCE);
    if (candidate && owned && in.quantity < QUANTITY_COUNT)
        add_candidate_input(r, s, row, candidate, &in);
    else
        free_input(&in);
}

static int compare_candidates(const void *a, const void *b)
{
    const struct candidate *x = a, *y = b;
    return strverscmp(x->name, y->name);
}

static void check_weights(struct reading *r, const struct sheet *s)
{
    for (size_t i = 0; i < r->c->candidate_count; i++) {
        const struct candidate *candidate = &r->c->candidates[i];
        if (isnan(candidate->weight) && !s->lost[WEIGHT])
            problems_add(s->problems, SEVERITY_ERROR, s->table.file, candidate->line, "weight",
                         "candidate has no weight", candidate->name,
                         "write its prior weight on one of its rows");
    }
}

void read_candidates(struct reading *r)
{
    struct sheet s;
    if (sheet_open(r, r->c->candidates_file, columns, COLUMN_COUNT, &r->c->problems, &s) !=
        PACKSPAN_OK)
        return;
    struct case_data *c = r->c;
    c->candidates = calloc(s.table.row_count + 1, sizeof *c->candidates);
    r->no_memory = r->no_memory || !c->candidates;
    for (size_t row = 0; row < s.table.row_count && !r->no_memory; row++)
        read_row(r, &s, row);
    check_weights(r, &s);
    if (c->candidates)
        qsort(c->candidates, c->candidate_count, sizeof *c->candidates, compare_candidates);
    sheet_close(&s);
}
