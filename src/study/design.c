#include "study/design.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

enum { MOST_REPORTED = 20 }; /* problems of one input, or of points.csv */

/* ---- setting up ---- */

static uint64_t grid_points(const struct study_design *t)
{
    uint64_t points = 1;
    for (size_t a = 0; a < t->axis_count; a++)
        if (__builtin_mul_overflow(points, (uint64_t)t->axes[a].steps, &points))
            return UINT64_MAX;
    return points;
}

static bool moves(const struct design *d, size_t input)
{
    for (size_t k = 0; k < d->table->knob_count; k++)
        if (d->table->knobs[k].input == input)
            return true;
    return false;
}

static bool open_streams(struct design *d)
{
    d->streams = calloc(d->table->axis_count + 1, sizeof *d->streams);
    for (size_t a = 0; d->streams && a < d->table->axis_count; a++)
        stream_open_sobol(&d->streams[a], d->source->settings.seed, "study", "axis",
                          d->table->axes[a].name, a);
    return d->streams;
}

static const char *contradiction(const struct design *d, const struct settings *s)
{
    if (d->table->axis_count == 0)
        return "the case has no study.csv with axes and no points.csv with points";
    if (d->sobol && d->table->is_table)
        return "design sobol spreads points over the axes of study.csv, but points.csv has points "
               "of its own";
    if (d->sobol && s->points == 0)
        return "design sobol needs points: say how many with --points N";
    if (!d->sobol && s->points > 0)
        return "points is for design sobol only: add --design sobol or leave points out";
    if (d->sobol && d->table->axis_count > SOBOL_DIMENSIONS)
        return "design sobol has 1111 axes at most";
    if (d->points > STUDY_POINTS_MAX)
        return "the grid has more than 1e12 points: take fewer steps, or --design sobol";
    return NULL;
}

packspan_status design_open(const struct case_data *source, struct design *out, const char **reason)
{
    const struct settings *s = &source->settings;
    *out = (struct design){.source = source, .table = &source->study, .sobol = s->sobol_design};
    out->points = out->table->is_table ? out->table->table_points
                  : out->sobol         ? s->points
                                       : grid_points(out->table);
    const char *contradicts = contradiction(out, s);
    if (contradicts) {
        *reason = contradicts;
        return PACKSPAN_USAGE;
    }
    size_t inputs = source->input_count + out->table->added_count;
    out->inputs = calloc(inputs + 1, sizeof *out->inputs);
    if (!out->inputs || (out->sobol && !open_streams(out)))
        return PACKSPAN_NO_MEMORY;
    for (size_t i = 0; i < inputs; i++)
        if (moves(out, i))
            out->inputs[out->input_count++] = i;
    return PACKSPAN_OK;
}

void design_close(struct design *d)
{
    free(d->streams);
    free(d->inputs);
    *d = (struct design){0};
}

/* ---- values ---- */

/* As it is printed, so that a point can be repeated by hand. */
static double as_printed(double value)
{
    char text[40];
    double printed = value;
    snprintf(text, sizeof text, "%.10g", value);
    text_number(text, false, &printed);
    return printed;
}

/* Between the ends of a knob's axis; `share` is 0 at the first and 1 at the last. */
static double between(const struct study_knob *k, double share)
{
    if (share <= 0.0 || share >= 1.0)
        return share <= 0.0 ? k->from : k->to;
    if (k->spacing == STUDY_LOG)
        return as_printed(k->from * pow(k->to / k->from, share));
    return as_printed(k->from + share * (k->to - k->from));
}

static double on_grid(const struct study_knob *k, size_t steps, size_t step)
{
    return k->values ? k->values[step] : between(k, (double)step / (double)(steps - 1));
}

/* Values of a list have equal shares. */
static double at_share(const struct study_knob *k, size_t steps, double share)
{
    return k->values ? k->values[(size_t)(share * (double)steps)] : between(k, share);
}

/* Of one scrambling: a stream's blocks take turns among several. */
static double coordinate(const struct stream *s, uint64_t point)
{
    double u;
    uint64_t block = point / SOBOL_BLOCK * REPLICATES;
    stream_uniforms(s, block * SOBOL_BLOCK + point % SOBOL_BLOCK, 1, &u);
    return u;
}

void design_values(const struct design *d, uint64_t point, double *values)
{
    const struct study_design *t = d->table;
    uint64_t rest = point;
    for (size_t a = t->axis_count; a-- > 0;) { /* the last axis is the fastest */
        size_t steps = t->axes[a].steps, step = 0;
        double share = d->sobol ? coordinate(&d->streams[a], point) : 0.0;
        if (!d->sobol && !t->is_table) {
            step = (size_t)(rest % steps);
            rest /= steps;
        }
        for (size_t k = t->axes[a].knob; k < t->knob_count; k++) {
            if (t->knobs[k].axis != a)
                continue;
            values[k] = t->is_table ? t->table[point * t->axis_count + a]
                        : d->sobol  ? at_share(&t->knobs[k], steps, share)
                                    : on_grid(&t->knobs[k], steps, step);
        }
    }
}

/* ---- inputs ---- */

static const enum shape_field changed_fields[STUDY_FIELD_COUNT] = {[STUDY_BEST] = SHAPE_BEST,
                                                                   [STUDY_LOW] = SHAPE_LOW,
                                                                   [STUDY_HIGH] = SHAPE_HIGH,
                                                                   [STUDY_SD] = SHAPE_SD};

/* The knob's value in the unit of the input's row; a difference has no zero point. */
static double in_unit_of_row(const struct input *in, const struct study_knob *k, double value)
{
    bool of_log = k->field == STUDY_SD && in->given.kind == SHAPE_LOGNORMAL;
    double scale = of_log ? 1.0 : in->to_si.scale;
    double offset = k->adds || k->field == STUDY_SD ? 0.0 : in->to_si.offset;
    if (k->to_si.scale == scale && k->to_si.offset == offset)
        return value;
    return (k->to_si.scale * value + k->to_si.offset - offset) / scale;
}

static void fix(struct input *in, const struct study_knob *k, double value)
{
    in->given = (struct shape_given){.kind = SHAPE_FIXED,
                                     .unit = strcmp(k->unit, "1") == 0 ? NULL : k->unit};
    for (size_t f = 0; f < SHAPE_FIELD_COUNT; f++)
        in->given.field[f] = f == SHAPE_BEST ? value : (double)NAN;
    in->to_si = k->to_si;
}

static void turn(struct input *in, const struct study_knob *k, double value)
{
    double *field = in->given.field;
    if (k->field == STUDY_VALUE && !k->adds) {
        fix(in, k, value);
        return;
    }
    double number = in_unit_of_row(in, k, value);
    if (k->field == STUDY_VALUE) {
        field[SHAPE_BEST] += number;
        field[SHAPE_LOW] += number;
        field[SHAPE_HIGH] += number;
    } else {
        double *changed = &field[changed_fields[k->field]];
        *changed = k->adds ? *changed + number : number;
    }
}

struct input design_input(const struct design *d, size_t input, const double *values)
{
    const struct case_data *c = d->source;
    struct input in =
        input < c->input_count ? c->inputs[input] : d->table->added[input - c->input_count];
    in.shape = NULL;
    for (size_t k = 0; k < d->table->knob_count; k++)
        if (d->table->knobs[k].input == input && !isnan(values[k]))
            turn(&in, &d->table->knobs[k], values[k]);
    return in;
}

struct shape_domain design_domain(const struct input *in)
{
    const struct quantity *q = &quantities[in->quantity];
    return (struct shape_domain){(q->low - in->to_si.offset) / in->to_si.scale,
                                 (q->high - in->to_si.offset) / in->to_si.scale, q->low_open,
                                 q->high_open};
}

/* ---- checks ---- */

/* "road_load_factor = 1.2, wind = 3 km/h", of the knobs that change the input; malloc'd. */
static char *describe_place(const struct design *d, size_t input, const double *values)
{
    char *text = text_copy("");
    for (size_t k = 0; text && k < d->table->knob_count; k++) {
        const struct study_knob *knob = &d->table->knobs[k];
        if (knob->input != input)
            continue;
        bool has_unit = strcmp(knob->unit, "1") != 0;
        char *longer = text_format("%s%s%s = %.10g%s%s", text, *text ? ", " : "",
                                   d->table->axes[knob->axis].name, values[k], has_unit ? " " : "",
                                   has_unit ? knob->unit : "");
        free(text);
        text = longer;
    }
    return text;
}

static const struct study_knob *first_knob(const struct design *d, size_t input)
{
    size_t k = 0;
    while (d->table->knobs[k].input != input)
        k++;
    return &d->table->knobs[k];
}

static void report_point(const struct design *d, size_t input, const double *values,
                         const struct shape_fault *fault, struct problems *problems)
{
    const struct study_knob *k = first_knob(d, input);
    char *place = describe_place(d, input, values);
    char *what =
        place ? text_format("at %s its %s %s", place, shape_field_names[fault->field], fault->what)
              : NULL;
    const struct input in = design_input(d, input, values);
    problems_add(problems, SEVERITY_ERROR, k->file, k->line, "axis", what,
                 quantities[in.quantity].name, fault->remedy);
    free(what);
    free(place);
}

static void report_row(const struct design *d, size_t input, uint64_t point, double value,
                       const struct shape_fault *fault, struct problems *problems)
{
    const struct study_knob *k = first_knob(d, input);
    char text[40];
    snprintf(text, sizeof text, "%.10g", value);
    problems_add(problems, SEVERITY_ERROR, k->file, d->table->lines[point], k->column, fault->what,
                 text, fault->remedy);
}

static packspan_status check_at(const struct design *d, size_t input, const double *values,
                                struct shape_fault *fault)
{
    struct input in = design_input(d, input, values);
    struct shape_domain domain = design_domain(&in);
    bool is_case_own = in.given.kind == SHAPE_OBSERVED; /* nothing is set at this point */
    return is_case_own ? PACKSPAN_OK : shape_check(&in.given, &domain, fault);
}

/* Every combination of the values of those axes that change the input: how many there are. */
static uint64_t combinations(const struct design *d, size_t input, bool *own)
{
    const struct study_design *t = d->table;
    uint64_t count = 1;
    memset(own, 0, t->axis_count * sizeof *own);
    for (size_t k = 0; k < t->knob_count; k++)
        if (t->knobs[k].input == input)
            own[t->knobs[k].axis] = true;
    for (size_t a = 0; a < t->axis_count; a++)
        count *= own[a] ? t->axes[a].steps : 1;
    return count;
}

static void take_combination(const struct design *d, const bool *own, uint64_t index,
                             double *values)
{
    const struct study_design *t = d->table;
    for (size_t a = t->axis_count; a-- > 0;) {
        size_t steps = t->axes[a].steps;
        for (size_t k = 0; own[a] && k < t->knob_count; k++)
            if (t->knobs[k].axis == a)
                values[k] = on_grid(&t->knobs[k], steps, (size_t)(index % steps));
        index /= own[a] ? steps : 1;
    }
}

static packspan_status check_grid_input(const struct design *d, size_t input, bool *own,
                                        double *values, struct problems *problems)
{
    uint64_t count = combinations(d, input, own), wrong = 0;
    for (uint64_t i = 0; i < count; i++) {
        struct shape_fault fault;
        take_combination(d, own, i, values);
        packspan_status status = check_at(d, input, values, &fault);
        if (status == PACKSPAN_NO_MEMORY)
            return status;
        if (status != PACKSPAN_OK && wrong++ < MOST_REPORTED)
            report_point(d, input, values, &fault, problems);
        if (wrong == MOST_REPORTED)
            break;
    }
    return PACKSPAN_OK;
}

static packspan_status check_grid(const struct design *d, double *values, struct problems *problems)
{
    bool *own = calloc(d->table->axis_count + 1, sizeof *own);
    packspan_status status = own ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (size_t i = 0; i < d->input_count && status == PACKSPAN_OK; i++)
        status = check_grid_input(d, d->inputs[i], own, values, problems);
    free(own);
    return status;
}

static packspan_status check_points(const struct design *d, double *values,
                                    struct problems *problems)
{
    size_t wrong = 0;
    for (uint64_t p = 0; p < d->points && wrong < MOST_REPORTED; p++) {
        design_values(d, p, values);
        for (size_t i = 0; i < d->input_count; i++) {
            struct shape_fault fault;
            size_t input = d->inputs[i];
            packspan_status status = check_at(d, input, values, &fault);
            if (status == PACKSPAN_NO_MEMORY)
                return status;
            if (status == PACKSPAN_OK)
                continue;
            wrong++;
            if (d->table->is_table)
                report_row(d, input, p, values[first_knob(d, input) - d->table->knobs], &fault,
                           problems);
            else
                report_point(d, input, values, &fault, problems);
        }
    }
    return PACKSPAN_OK;
}

packspan_status design_check(const struct design *d, struct problems *problems)
{
    double *values = calloc(d->table->knob_count + 1, sizeof *values);
    if (!values)
        return PACKSPAN_NO_MEMORY;
    size_t errors = problems->errors;
    packspan_status status = d->sobol || d->table->is_table ? check_points(d, values, problems)
                                                            : check_grid(d, values, problems);
    free(values);
    if (status == PACKSPAN_OK && problems->out_of_memory)
        status = PACKSPAN_NO_MEMORY;
    return status == PACKSPAN_OK && problems->errors > errors ? PACKSPAN_BAD_CASE : status;
}
