/* What study.csv or points.csv asks for: numbers of the case that change from point to point. */
#ifndef PACKSPAN_CASE_STUDY_TABLE_H
#define PACKSPAN_CASE_STUDY_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "draw/shape.h"
#include "registry/units.h"

struct input;

/* The number of an input that an axis sets, or adds to. STUDY_VALUE is the whole input: set, it is
 * exactly known; added to, its best, low and high move together. */
enum study_field { STUDY_VALUE, STUDY_BEST, STUDY_LOW, STUDY_HIGH, STUDY_SD, STUDY_FIELD_COUNT };

enum study_spacing { STUDY_LINEAR, STUDY_LOG, STUDY_LIST, STUDY_SPACING_COUNT };

/* One row of study.csv, or one column of points.csv. */
struct study_knob {
    size_t axis;  /* index into the design's axes */
    size_t input; /* index into case_data.inputs, and beyond their end into the design's added */
    enum study_field field;
    bool adds;
    bool doubtful; /* what else was to move the input may be missing: a row of study.csv is wrong */
    char *unit;    /* as written; "1" when it was empty */
    struct unit_factor to_si;
    enum study_spacing spacing;
    double from, to;  /* in `unit`; of a list its first and last value */
    double *values;   /* [steps of the axis]: of a list; NULL otherwise */
    const char *file; /* owned by the case */
    char *column;     /* the column of points.csv; NULL for a row of study.csv */
    long line;
};

/* Knobs of the same axis move together. */
struct study_axis {
    char *name;
    size_t steps;
    size_t knob; /* the first of its knobs, whose values and unit are shown */
};

struct study_table {
    struct study_axis *axes; /* in the order of the table; the last one varies fastest */
    size_t axis_count;
    struct study_knob *knobs;
    size_t knob_count;
    struct input *added; /* [added_count]: inputs that only the study gives */
    size_t added_count;
    /* points.csv: NaN leaves the case's input. */
    bool is_points;
    double *values; /* [point_count * axis_count], each axis having one knob */
    char **names;   /* [point_count], NULL when points have no names */
    size_t point_count;
};

extern const char *const study_field_names[STUDY_FIELD_COUNT];
/* The number of the input's row that it stands for; best for the whole. */
extern const enum shape_field study_shape_fields[STUDY_FIELD_COUNT];

/* What it moves has no zero point: a spread, or what is added. */
bool study_knob_is_difference(const struct study_knob *k);

void study_table_free(struct study_table *d);

#endif
