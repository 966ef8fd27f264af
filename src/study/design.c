#include "study/design.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/decimal.h"
#include "base/text.h"

/* ---- setting up ---- */

static uint64_t grid_points(const struct study_table *t)
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
    if (d->sobol && d->table->is_points)
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
    out->points = out->table->is_points ? out->table->point_count
                  : out->sobol          ? s->points
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
    char text[DECIMAL_SIZE];
    double printed = value;
    decimal_write(value, text);
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

double design_step(const struct study_knob *k, size_t steps, size_t step)
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
    const struct study_table *t = d->table;
    uint64_t rest = point;
    if (t->is_points) {
        memcpy(values, t->values + point * t->axis_count, t->axis_count * sizeof *values);
        return;
    }
    for (size_t a = t->axis_count; a-- > 0;) { /* the last axis is the fastest */
        size_t steps = t->axes[a].steps, step = 0;
        double share = d->sobol ? coordinate(&d->streams[a], point) : 0.0;
        if (!d->sobol) {
            step = (size_t)(rest % steps);
            rest /= steps;
        }
        for (size_t k = t->axes[a].knob; k < t->knob_count; k++) {
            if (t->knobs[k].axis != a)
                continue;
            values[k] = d->sobol ? at_share(&t->knobs[k], steps, share)
                                 : design_step(&t->knobs[k], steps, step);
        }
    }
}

char *design_add_value(char *text, const char *between, const struct design *d, size_t knob,
                       double value)
{
    const struct study_knob *k = &d->table->knobs[knob];
    bool has_unit = strcmp(k->unit, "1") != 0;
    char *longer = text_format("%s%s%s = %.10g%s%s", text, between, d->table->axes[k->axis].name,
                               value, has_unit ? " " : "", has_unit ? k->unit : "");
    free(text);
    return longer;
}

/* ---- inputs ---- */

/* The knob's value in the unit of the input's row; a difference has no zero point. */
static double in_unit_of_row(const struct input *in, const struct study_knob *k, double value)
{
    bool of_log = k->field == STUDY_SD && in->given.kind == SHAPE_LOGNORMAL;
    double scale = of_log ? 1.0 : in->to_si.scale;
    double offset = study_knob_is_difference(k) ? 0.0 : in->to_si.offset;
    if (k->to_si.scale == scale && k->to_si.offset == offset)
        return value;
    return (k->to_si.scale * value + k->to_si.offset - offset) / scale;
}

/* In ten digits too, unless nothing is added or there is no number. */
static void add(double *number, double more)
{
    if (more != 0.0 && !isnan(*number))
        *number = as_printed(*number + more);
}

static void turn(struct input *in, const struct study_knob *k, double value)
{
    double *field = in->given.field;
    if (k->field == STUDY_VALUE && !k->adds) {
        input_fix(in, k->unit, k->to_si, value);
        return;
    }
    double number = in_unit_of_row(in, k, value);
    if (k->field == STUDY_VALUE) {
        add(&field[SHAPE_BEST], number);
        add(&field[SHAPE_LOW], number);
        add(&field[SHAPE_HIGH], number);
    } else if (k->adds) {
        add(&field[study_shape_fields[k->field]], number);
    } else {
        field[study_shape_fields[k->field]] = number;
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
