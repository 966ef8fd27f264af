/* A case in memory: what its tables say, checked, with shapes made and units resolved. */
#ifndef PACKSPAN_CASE_CASE_H
#define PACKSPAN_CASE_CASE_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/problems.h"
#include "case/case_files.h"
#include "case/study_table.h"
#include "draw/copula.h"
#include "draw/shape.h"
#include "registry/quantity.h"
#include "registry/settings.h"
#include "registry/units.h"

#define VEHICLE_ALL SIZE_MAX /* index of the pseudo-vehicle `all` */
#define TRIP_NONE SIZE_MAX

struct vehicle {
    char *name, *title;
    bool is_subject;
    long line;
};

/* One row of inputs.csv (trip == TRIP_NONE) or one numeric row of trips.csv. */
struct input {
    size_t vehicle; /* index, or VEHICLE_ALL; VEHICLE_ALL for a trip's condition */
    size_t trip;    /* index, or TRIP_NONE */
    enum quantity_id quantity;
    char *unit;               /* as written; "1" when it was empty */
    struct unit_factor to_si; /* draws are in `unit`; SI = scale * x + offset */
    struct shape_given given; /* values and weights are NULL here */
    struct shape *shape;
    bool studied; /* a study sets it, point by point */
    char *source;
    const char *file; /* owned by the case */
    long line;
};

/* The physical domain of its quantity, in the input's unit. */
struct shape_domain input_domain(const struct input *in);
/* Makes it exactly known; `unit` as of an input. Its shape stays what it was. */
void input_fix(struct input *in, const char *unit, struct unit_factor to_si, double value);

/* A speed trace, SI. */
struct cycle {
    char *name;
    char *file;                   /* NULL for a cycle that ships with packspan */
    char checksum[CHECKSUM_SIZE]; /* of the file that was read */
    size_t points;
    double *time;  /* s, strictly increasing */
    double *speed; /* m/s, >= 0 */
};

struct trip {
    char *name;
    bool steady;  /* otherwise `cycle` is used */
    size_t cycle; /* index into case_data.cycles; SIZE_MAX when steady */
    char *source;
    long line;
};

enum claim_sense { CLAIM_IS, CLAIM_AT_LEAST, CLAIM_AT_MOST };

struct claim {
    char *name;
    size_t vehicle;
    enum quantity_id quantity;
    size_t trip; /* for trip_range.TRIP and trip_consumption.TRIP; otherwise TRIP_NONE */
    char *unit;
    struct unit_factor to_si;
    enum claim_sense sense;
    double value, tolerance; /* in `unit`; tolerance 0 when empty */
    char *source;
    long line;
};

/* One row of links.csv. */
struct link {
    size_t a, b; /* indices into case_data.inputs, as the row names them */
    double rank_correlation;
    char *source;
    long line;
};

/* One row of evidence.csv: a Gaussian reading (value, sd) or an interval (low, high). */
struct observation {
    size_t vehicle;
    enum quantity_id quantity;
    size_t trip; /* for trip_range.TRIP and trip_consumption.TRIP; otherwise TRIP_NONE */
    char *unit;
    struct unit_factor to_si;
    bool is_interval;
    double value, sd; /* in `unit`; of an interval: NaN */
    double low, high; /* in `unit`; of a reading: NaN */
    char *source;
    long line;
};

/* SI. Of an interval its middle, and the standard deviation of a uniform distribution over it. */
void observation_reading(const struct observation *o, double *value, double *sd);

/* One rival explanation of candidates.csv: its inputs replace those of the case, or add to them. */
struct candidate {
    char *name;
    double weight; /* prior, as written; above 0 */
    struct input *inputs;
    size_t input_count;
    long line;
};

struct case_data {
    char *folder, *name; /* name: last part of the folder's path */
    struct vehicle *vehicles;
    size_t vehicle_count, subject; /* subject is SIZE_MAX when there is none */
    struct input *inputs;
    size_t input_count;
    struct trip *trips;
    size_t trip_count;
    struct claim *claims;
    size_t claim_count;
    struct observation *observations;
    size_t observation_count;
    struct candidate *candidates; /* by name; none when there is no candidates.csv */
    size_t candidate_count;
    struct link *links;
    size_t link_count;
    struct copula copula;     /* its members are indices into inputs */
    struct study_table study; /* no axes when there is neither study.csv nor points.csv */
    struct cycle *cycles; /* [0] is udds, [1] is hwfet, then every other one that a trip names */
    size_t cycle_count;
    struct case_files files; /* everything above and the settings were read from these */
    struct settings settings;
    struct unit_system *units;
    struct problems problems; /* errors and warnings found while reading */
    /* paths for messages */
    char *inputs_file, *trips_file, *claims_file, *evidence_file, *candidates_file, *links_file,
        *study_file, *points_file;
};

/* Reads every table of `folder`, reporting all problems of all tables in one pass into
 * out->problems. PACKSPAN_OK when there was no error; otherwise PACKSPAN_BAD_CASE,
 * PACKSPAN_MISSING (the folder or a required table), PACKSPAN_IO or PACKSPAN_NO_MEMORY, with the
 * problems filled. case_data_free() in every case. */
packspan_status case_data_read(const char *folder, struct case_data *out);
void case_data_free(struct case_data *c);

/* Where the cycles that ship with packspan are: $PACKSPAN_CYCLES if set, else the folder compiled
 * in by CMake (PACKSPAN_CYCLE_FOLDER). */
const char *cycle_folder(void);

/* Reads a speed trace; problems as in table_read(). At least two points, times strictly
 * increasing, speeds not negative, distance above zero; PACKSPAN_BAD_CASE when they are not. */
packspan_status cycle_read(const char *path, const char *name, struct problems *problems,
                           struct cycle *out);
void cycle_free(struct cycle *c);

/* Whether a file of the case's folder, named from there on, makes the design of its study: a run
 * does not depend on it. */
bool case_file_is_design(const struct case_data *c, const char *name);
/* The same of what a problem is about. */
bool case_problem_is_of_design(const struct case_data *c, const struct problem *p);

#endif
