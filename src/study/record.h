/* What is kept of a point: the numbers of its rows in the tables of a study, in one order for all
 * points. */
#ifndef PACKSPAN_STUDY_RECORD_H
#define PACKSPAN_STUDY_RECORD_H

#include "model/plan_set.h"
#include "results/results.h"

/* The columns of study.csv that a row's numbers fill. */
enum { RECORD_STATISTICS = 9 };
extern const packspan_statistic record_statistics[RECORD_STATISTICS];
/* Of a claim: its probability and that one's error. */
enum { RECORD_CLAIM_NUMBERS = 2 };

struct record_row {
    const char *candidate, *vehicle, *unit;
    char *quantity;
    size_t group, set_row;
};

struct record_claim {
    const char *candidate, *vehicle;
    const struct claim *claim;
    char *quantity;
    size_t group;
};

struct record_layout {
    bool has_candidates;
    size_t group_count;      /* everything together, then each candidate */
    struct record_row *rows; /* [row_count]: by group, then as in summary.csv */
    size_t row_count;
    struct record_claim *claims; /* [claim_count]: by group, then name */
    size_t claim_count;
    size_t numbers; /* effective samples of each group, then of the rows, then of the claims */
};

/* Too many samples are invalid, the evidence fits none, or the values make no shape of an input. */
enum point_fate { POINT_DONE, POINT_INVALID, POINT_UNFIT, POINT_SHAPELESS, POINT_FATES };

struct record {
    uint64_t point, fate, invalid;
    uint64_t cautions; /* a bit each, see caution_text() */
    double *numbers;   /* NaN where there is none: a refused point, a candidate without weight */
};

/* `quantities` are the names that are kept, with commas between them; all when empty.
 * PACKSPAN_USAGE when there is no such quantity in the results: *wrong (malloc'd) says which.
 * record_layout_close() in every case. */
packspan_status record_layout_open(const struct plan_set *set, const char *quantities,
                                   struct record_layout *out, char **wrong);
void record_layout_close(struct record_layout *l);

/* The numbers of a point's results, or none of them (r == NULL). */
void record_fill(const struct record_layout *l, const struct packspan_results *r, double *numbers);

/* How many points a remark is about. */
struct point_tally {
    uint64_t count, first; /* the first is a point */
};
struct point_tallies {
    struct point_tally fates[POINT_FATES], cautions[CAUTIONS];
};
void record_tally(const struct record *record, struct point_tallies *t);
/* "done", or why it was refused. */
const char *point_fate_text(uint64_t fate);

/* Where numbers stand. */
double record_effective(const double *numbers, size_t group);
const double *record_row_numbers(const struct record_layout *l, const double *numbers, size_t row);
const double *record_claim_numbers(const struct record_layout *l, const double *numbers,
                                   size_t claim);

#endif
