/* How far a study has come: its rate and the time left, for whoever watches, for the log and for
 * the limit of time. */
#ifndef PACKSPAN_STUDY_PACE_H
#define PACKSPAN_STUDY_PACE_H

#include <packspan/packspan.h>
#include <stdio.h>

struct pace {
    FILE *log;                        /* appended to, a line a minute */
    uint64_t points, before, samples; /* of the share; done before it began; of a point */
    packspan_study_watch *watch;      /* may be NULL */
    void *user;
    double started, deadline;  /* deadline: infinity when there is no limit */
    double longest;            /* seconds of a point so far */
    double synced, logged;     /* when it was last */
    double shares;             /* of the points that are being worked out */
    bool out_of_time, stopped; /* stopped: by the watch, before it began */
};

/* The watch is asked for the first time. `log` is the file's path. A study that takes `limit`
 * seconds is stopped shortly before; 0 is no limit. PACKSPAN_IO with errno when the log cannot be
 * written. pace_close() in every case. */
packspan_status pace_open(struct pace *p, const char *log, uint64_t points, uint64_t before,
                          uint64_t samples, double limit, packspan_study_watch *watch, void *user);
packspan_status pace_close(struct pace *p, uint64_t done);

/* A point took so many seconds. */
void pace_point(struct pace *p, double seconds);
/* Whether a further point can be expected to end in time. */
bool pace_has_time(const struct pace *p);

enum pace_wish { PACE_GO_ON, PACE_SYNC, PACE_STOP };
/* Tells the watch and the log how it goes when it is time to. */
enum pace_wish pace_step(struct pace *p, const uint64_t *done);

#endif
