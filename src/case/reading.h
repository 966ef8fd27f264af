/* What the readers of a case's tables share. Private to src/case. */
#ifndef PACKSPAN_CASE_READING_H
#define PACKSPAN_CASE_READING_H

#include "base/name_index.h"
#include "case/case.h"
#include "case/table.h"

/* The case being read and what is known of its folder. */
struct reading {
    struct case_data *c;
    char **files; /* names of all .csv files in the folder, sorted */
    size_t file_count;
    struct cycle *own_cycles; /* from cycle_NAME.csv; no points when the trace is wrong */
    size_t own_cycle_count;
    char **readings; /* [reading_count]: files that rows of shape observed name */
    size_t reading_count;
    struct name_index trip_names, claim_names; /* positions in c->trips and c->claims */
    bool trips_unknown;                        /* trips.csv is so wrong that no trip is known */
    bool inputs_unknown; /* a row of inputs.csv or trips.csv is so wrong that its input is not
                            known */
    bool missing, unreadable, no_memory;
};

/* ---- A table of the case ---- */

#define MOST_CASE_COLUMNS 13

struct sheet {
    struct table table;
    struct problems *problems;
    /* [column]: nothing is in it, and its name may be missing from the header or misspelled, which
     * has been reported. */
    bool lost[MOST_CASE_COLUMNS];
    bool damaged; /* the file, its header or a row's number of fields is wrong: reported */
};

/* `path` in the case's folder; malloc'd. */
char *path_in_case(struct reading *r, const char *name);
/* Lists a file that was read; `path` is from path_in_case(). */
void list_file(struct reading *r, const char *path, const char checksum[CHECKSUM_SIZE]);

/* As table_read(), but needs sheet_close() only after PACKSPAN_OK, and notes in *r what else went
 * wrong. */
packspan_status sheet_open(struct reading *r, const char *path, const struct table_column *columns,
                           size_t column_count, struct problems *problems, struct sheet *s);
void sheet_close(struct sheet *s);
/* A table without which there is no case. */
void report_missing_table(struct reading *r, const char *path, const char *remedy);

const char *sheet_text(const struct sheet *s, size_t row, size_t column);
/* NULL when the field is empty, which is reported. */
const char *sheet_needed(const struct sheet *s, size_t row, size_t column);
/* NaN and *bad = true when it is empty or no number, which is reported. */
double sheet_needed_number(const struct sheet *s, size_t row, size_t column, bool *bad);

void sheet_wrong(const struct sheet *s, size_t row, size_t column, const char *what,
                 const char *remedy);
/* Takes a composed remedy, which it frees; NULL means out of memory. */
void sheet_wrong_composed(const struct sheet *s, size_t row, size_t column, const char *what,
                          char *remedy);
/* The same row is on an earlier line. */
void sheet_twice(const struct sheet *s, size_t row, size_t column, long first_line);

/* Reports a name that is not of letters, digits, '_' and '-', or is `all`. */
bool sheet_check_name(const struct sheet *s, size_t row, size_t column);
bool is_name(const char *text);

/* "did you mean 'NEAREST'?", or else `otherwise`, or when that is NULL the list of all names after
 * "known: "; malloc'd. */
char *advice(const char *word, const char *const *names, size_t count, const char *otherwise);
/* The same for the names of `count` structs of `size` bytes that begin with a char *name. */
char *advice_of(const char *word, const void *first, size_t count, size_t size);

/* The same for the quantities of a vehicle. */
char *quantity_advice(const char *word);

char *copy_or_fail(struct reading *r, const char *text);

/* ---- Rows ---- */

/* A trip's index; TRIP_NONE when there is none of that name. */
size_t find_trip_named(const struct reading *r, const char *name);
/* The same of what a field names; false when there is none, which is reported. */
bool read_trip_name(const struct reading *r, const struct sheet *s, size_t row, size_t column,
                    const char *name, size_t *trip);
/* Whether a trip can give it. */
bool is_condition(enum quantity_id id);
/* advice() among their names. */
char *condition_advice(const char *word);

/* A vehicle's index, or VEHICLE_ALL where that is allowed. False when there is none, which is
 * reported unless no vehicle is known at all. */
bool read_vehicle(struct reading *r, const struct sheet *s, size_t row, size_t column,
                  bool all_allowed, size_t *vehicle);

/* The unit's factor to SI; false when it does not fit the quantity, which is reported. */
bool read_unit(struct reading *r, const struct sheet *s, size_t row, size_t column,
               enum quantity_id quantity, struct unit_factor *factor);

/* A vehicle's quantity, or trip_range.TRIP or trip_consumption.TRIP; *trip is TRIP_NONE for the
 * former. False when there is none of that name, which is reported. */
bool read_result_quantity(struct reading *r, const struct sheet *s, size_t row, size_t column,
                          enum quantity_id *quantity, size_t *trip);

/* A quantity that inputs.csv can give. QUANTITY_COUNT when it is wrong, which is reported. */
enum quantity_id read_input_quantity(const struct sheet *s, size_t row, size_t column);
/* False when a route is given for all vehicles at once, which is reported. */
bool check_owner(const struct sheet *s, size_t row, size_t column, const struct input *in);

#define COLUMN_NONE SIZE_MAX

/* Where the columns of a shape stand in a table. */
struct shape_columns {
    size_t unit, shape, source;
    size_t field[SHAPE_FIELD_COUNT]; /* COLUMN_NONE: the table has no such column */
};

/* Unit, shape, numbers and source of a row. A quantity that is not known (QUANTITY_COUNT) leaves
 * only some checks. Fills *in, whose owner and quantity are set already; in->shape is NULL when
 * anything is wrong. */
void read_shape_row(struct reading *r, const struct sheet *s, size_t row,
                    const struct shape_columns *columns, struct input *in);

/* Warns when the field `source` is empty. */
void warn_without_source(const struct sheet *s, size_t row, size_t column);

/* Room for `more` inputs. */
bool reserve_inputs(struct reading *r, size_t more);
/* The input takes part in the case; one that is given twice is reported. */
void add_input(struct reading *r, const struct sheet *s, size_t row, size_t quantity_column,
               struct input *in);
void free_input(struct input *in);

/* ---- Tables ---- */

void read_vehicles(struct reading *r);
void read_inputs(struct reading *r);
void read_trips(struct reading *r);
void read_claims(struct reading *r);
void read_evidence(struct reading *r);
void read_candidates(struct reading *r);
void read_links(struct reading *r);
void read_study(struct reading *r);
void read_points(struct reading *r);
void read_settings(struct reading *r);

/* ---- The folder and its cycles ---- */

/* False when the folder cannot be read, which is reported. */
bool list_folder(struct reading *r);
/* Problems with .csv files that no table accounts for. */
void check_other_files(struct reading *r);
void read_own_cycles(struct reading *r);
/* Index into c->cycles of a cycle that ships with packspan or of the case's own; SIZE_MAX when
 * there is none. */
size_t take_cycle(struct reading *r, const char *name);
char *cycle_advice(const struct reading *r, const char *word);

#endif
