#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/case.h"
#include "case/table.h"
#include "registry/constants.h"

#define SECONDS_PER_HOUR 3600.0

/* Of two that are as near, the first is offered: for speed_kph the one in km/h. */
enum { TIME, SPEED_KMH, SPEED_MPH, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {[TIME] = {"time_s", true},
                                                          [SPEED_MPH] = {"speed_mph", false},
                                                          [SPEED_KMH] = {"speed_kmh", false}};

const char *cycle_folder(void)
{
    const char *chosen = getenv("PACKSPAN_CYCLES");
    return chosen ? chosen : PACKSPAN_CYCLE_FOLDER;
}

static void report(const struct table *t, const char *what, const char *remedy,
                   struct problems *problems)
{
    problems_add(problems, SEVERITY_ERROR, t->file, 0, NULL, what, NULL, remedy);
}

static bool is_filled(const struct table *t, size_t column)
{
    for (size_t row = 0; row < t->row_count; row++)
        if (*table_text(t, row, column))
            return true;
    return false;
}

/* The column that holds the speeds; COLUMN_COUNT when it is none or both, which is reported unless
 * the table is `damaged`: then its header may be to blame. */
static size_t find_speeds(const struct table *t, bool damaged, struct problems *problems)
{
    bool mph = is_filled(t, SPEED_MPH), kmh = is_filled(t, SPEED_KMH);
    if (mph && kmh)
        report(t, "speed_mph and speed_kmh are both given", "keep one of the two", problems);
    else if (!mph && !kmh && !damaged)
        report(t, "no speeds", "the table needs the column speed_mph or speed_kmh", problems);
    return mph == kmh ? COLUMN_COUNT : mph ? SPEED_MPH : SPEED_KMH;
}

/* NaN when it is empty or no number, which is reported. */
static double read_number(const struct table *t, size_t row, size_t column,
                          struct problems *problems)
{
    bool bad = false;
    if (*table_text(t, row, column) == '\0')
        table_problem(t, row, column, SEVERITY_ERROR, "is empty", "every row needs it", problems);
    return table_number(t, row, column, problems, &bad);
}

static void report_time(const struct table *t, size_t row, double before, struct problems *problems)
{
    char *what = text_format("is not after the row before (%g s)", before);
    table_problem(t, row, TIME, SEVERITY_ERROR, what, "times rise from row to row", problems);
    free(what);
}

static void read_times(const struct table *t, struct problems *problems, double *time)
{
    for (size_t row = 0; row < t->row_count; row++) {
        time[row] = read_number(t, row, TIME, problems);
        if (row > 0 && time[row] <= time[row - 1])
            report_time(t, row, time[row - 1], problems);
    }
}

static void read_speeds(const struct table *t, size_t column, struct problems *problems,
                        double *speed)
{
    double unit = (column == SPEED_MPH ? MILE : 1000.0) / SECONDS_PER_HOUR;
    for (size_t row = 0; row < t->row_count; row++) {
        speed[row] = read_number(t, row, column, problems) * unit;
        if (speed[row] < 0.0)
            table_problem(t, row, column, SEVERITY_ERROR, "is below 0", "a speed is 0 or more",
                          problems);
    }
}

static bool moves(const struct cycle *cycle)
{
    for (size_t i = 0; i < cycle->points; i++)
        if (cycle->speed[i] > 0.0)
            return true;
    return false;
}

/* Fills times and speeds; problems tell whether they are right. A table that is `damaged` has some
 * already. */
static packspan_status read_points(const struct table *t, bool damaged, struct problems *problems,
                                   struct cycle *cycle)
{
    if (t->row_count < 2) {
        if (!damaged)
            report(t, "fewer than two points", "a speed trace has two rows or more", problems);
        return PACKSPAN_OK;
    }
    cycle->points = t->row_count;
    cycle->time = calloc(t->row_count, sizeof *cycle->time);
    cycle->speed = calloc(t->row_count, sizeof *cycle->speed);
    if (!cycle->time || !cycle->speed)
        return PACKSPAN_NO_MEMORY;
    size_t errors = problems->errors, column = find_speeds(t, damaged, problems);
    if (!damaged || is_filled(t, TIME))
        read_times(t, problems, cycle->time);
    if (column != COLUMN_COUNT)
        read_speeds(t, column, problems, cycle->speed);
    if (!damaged && problems->errors == errors && !moves(cycle))
        report(t, "the vehicle never moves", "a cycle needs a speed above 0", problems);
    return PACKSPAN_OK;
}

packspan_status cycle_read(const char *path, const char *name, struct problems *problems,
                           struct cycle *out)
{
    struct cycle cycle = {.name = text_copy(name), .file = text_copy(path)};
    size_t errors = problems->errors;
    struct table t;
    packspan_status status = table_read(path, columns, COLUMN_COUNT, problems, &t);
    if (status == PACKSPAN_OK)
        status = read_points(&t, problems->errors > errors, problems, &cycle);
    if (status == PACKSPAN_OK && (!cycle.name || !cycle.file || problems->out_of_memory))
        status = PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK && problems->errors > errors)
        status = PACKSPAN_BAD_CASE;
    memcpy(cycle.checksum, t.checksum, sizeof cycle.checksum);
    table_free(&t);
    if (status == PACKSPAN_OK)
        *out = cycle;
    else
        cycle_free(&cycle);
    return status;
}

void cycle_free(struct cycle *c)
{
    free(c->name);
    free(c->file);
    free(c->time);
    free(c->speed);
    *c = (struct cycle){0};
}
