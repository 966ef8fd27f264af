/* A case run again and again, at every point of a design: points in parallel, one thread each, into
 * a journal; and the tables once all points are there. */
#ifndef PACKSPAN_STUDY_STUDY_H
#define PACKSPAN_STUDY_STUDY_H

#include <packspan/packspan.h>

#include "study/design.h"
#include "study/journal.h"
#include "study/point_runner.h"
#include "study/record.h"

struct study {
    const struct case_data *source;
    struct design design;
    struct point_runner runner; /* at some point of the design: its plan is that of all points */
    struct record_layout layout;
    struct header header;     /* what tells this study from any other */
    struct problems warnings; /* that hold for all points */
    uint64_t samples;         /* of each point */
    uint64_t point_bytes;     /* in all tables, once study_time() has seen one */
    struct part_of part;      /* none: the whole */
    uint64_t first, count;    /* the points of this share: all, or those of one part */
};

/* Checks every point. Problems are reported; PACKSPAN_BAD_CASE when a point makes no case, and
 * PACKSPAN_USAGE when settings contradict each other or name what is not there. study_close() in
 * every case; the case must outlive the study. */
packspan_status study_open(const struct case_data *source, struct problems *problems,
                           struct study *out);
void study_close(struct study *s);

/* Seconds that the whole share takes with one thread, by few samples of its first point. */
packspan_status study_time(struct study *s, double *seconds);
/* Threads that share the points. */
unsigned study_threads(const struct study *s);
/* Bytes of the journal and, after study_time() and roughly, of the tables, which a part has none
 * of.
 */
uint64_t study_journal_size(const struct study *s);
uint64_t study_table_size(const struct study *s);

struct study_report {
    struct journal_found found;
    bool was_complete; /* there was nothing to do */
    bool part_damaged; /* the part's file was, and is made again */
    bool replaced;     /* tables that were not, or not any more, this study's */
    bool stopped;      /* by the watch or by the time; what is finished is kept */
    bool out_of_time;
    uint64_t done;             /* points of the share that are finished now */
    struct point_tallies told; /* of all points of the share, when it is complete */
    uint64_t worked;           /* points that were worked out now */
    double seconds;
    unsigned threads;
    size_t parts; /* that were merged */
};

/* Goes on with the journal in `folder` until all points are done, then writes the tables, or the
 * file of the part that the study is. `failure`
 * (malloc'd) names the file and the reason of PACKSPAN_IO, and of PACKSPAN_BAD_CASE (a journal of
 * another study) each difference on a line of its own. */
packspan_status study_run(struct study *s, const char *folder, packspan_study_watch *watch,
                          void *user, struct study_report *report, char **failure);

/* ---- tables ---- */

/* Hands out the records one after the other, in the order of points. */
struct record_source {
    packspan_status (*next)(void *from, struct record *out);
    void *from;
    uint64_t count;
};

/* study_run.csv, then study.csv, study_claims.csv and study_points.csv, each whole or not at all;
 * counts what there is to tell about points. `path` (malloc'd) is the file that PACKSPAN_IO is
 * about.
 */
packspan_status study_tables_write(const struct study *s, const char *folder,
                                   const struct record_source *records, struct study_report *report,
                                   char **path);
/* Its name, and an item as it writes it, without the line end (malloc'd). */
extern const char study_record_name[];
char *study_record_line(const char *item, const char *value);
/* The path of some table that is in the folder (malloc'd), or NULL. */
char *study_table_there(const char *folder);
/* What a point takes in all of them together. */
packspan_status study_point_size(const struct study *s, const struct record *record,
                                 uint64_t *bytes);
/* What a reader must know about points, a problem each, at the table or the part that holds them.
 */
packspan_status study_remarks(const struct study *s, const char *folder,
                              const struct study_report *report, struct problems *problems);
uint64_t study_refused(const struct study_report *report);
/* A point's name, or its number from 1, and "AXIS = VALUE UNIT, ..."; malloc'd. */
char *study_point_text(const struct study *s, uint64_t point);
void study_tables_remove(const char *folder);

#endif
