#include "study/pace.h"

#include <errno.h>
#include <math.h>
#include <time.h>

#include "base/clock.h"

enum { LOG_SECONDS = 60 };
#define SYNC_SECONDS 1.0
/* A point is begun when one that takes this much longer than the longest would end in time. */
#define CAUTION 1.25
/* Of the time that is given, this much is kept for the end. */
#define RESERVE_SECONDS 2.0
#define RESERVE_SHARE 0.05

static packspan_study_state state_of(const struct pace *p, uint64_t done, double now)
{
    double spent = fmax(now - p->started, 1e-9);
    double worked = (double)(done - p->before) + p->shares;
    double rate = worked / spent;
    return (packspan_study_state){
        .done = done,
        .points = p->points,
        .seconds = spent,
        .points_per_second = rate,
        .samples_per_second = rate * (double)p->samples,
        .seconds_left =
            worked > 0.0 ? ((double)(p->points - done) - p->shares) / rate : (double)INFINITY,
    };
}

/* One line at a time, so that lines of several processes do not mix. */
static bool put_line(FILE *log, const packspan_study_state *s, const char *what)
{
    char at[32], left[48] = "";
    time_t now = time(NULL);
    struct tm utc;
    if (!gmtime_r(&now, &utc) || strftime(at, sizeof at, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0)
        at[0] = '\0';
    if (s->done < s->points && isfinite(s->seconds_left))
        snprintf(left, sizeof left, ", %.0f s left", s->seconds_left);
    fprintf(log, "%s %s: %llu of %llu points", at, what, (unsigned long long)s->done,
            (unsigned long long)s->points);
    if (s->points_per_second > 0.0)
        fprintf(log, ", %.4g points/s, %.3g million samples/s", s->points_per_second,
                1e-6 * s->samples_per_second);
    fprintf(log, "%s\n", left);
    return fflush(log) == 0;
}

packspan_status pace_open(struct pace *p, const char *log, uint64_t points, uint64_t before,
                          uint64_t samples, double limit, packspan_study_watch *watch, void *user)
{
    double now = seconds_now();
    double reserve = fmin(RESERVE_SECONDS, RESERVE_SHARE * limit);
    *p = (struct pace){.points = points,
                       .before = before,
                       .samples = samples,
                       .watch = watch,
                       .user = user,
                       .started = now,
                       .deadline = limit > 0.0 ? now + limit - reserve : (double)INFINITY,
                       .synced = now,
                       .logged = now};
    p->log = fopen(log, "ae");
    packspan_study_state state = state_of(p, before, now);
    if (!p->log || !put_line(p->log, &state, before > 0 ? "goes on" : "begins"))
        return PACKSPAN_IO;
    p->stopped = watch && !watch(user, &state);
    return PACKSPAN_OK;
}

packspan_status pace_close(struct pace *p, uint64_t done)
{
    packspan_study_state state = state_of(p, done, seconds_now());
    if (!p->log)
        return PACKSPAN_IO;
    bool put = put_line(p->log, &state, done == p->points ? "done" : "stopped");
    bool closed = fclose(p->log) == 0;
    p->log = NULL;
    return put && closed ? PACKSPAN_OK : PACKSPAN_IO;
}

void pace_point(struct pace *p, double seconds)
{
    p->longest = fmax(p->longest, seconds);
}

bool pace_has_time(const struct pace *p)
{
    return seconds_now() + CAUTION * p->longest < p->deadline;
}

enum pace_wish pace_step(struct pace *p, const uint64_t *done)
{
    double now = seconds_now();
    packspan_study_state state = state_of(p, *done, now);
    p->out_of_time = p->out_of_time || now >= p->deadline;
    if (p->out_of_time || (p->watch && !p->watch(p->user, &state)))
        return PACE_STOP;
    if (now - p->logged >= LOG_SECONDS) {
        p->logged = now; /* not as often as it was due while the machine slept */
        put_line(p->log, &state, "going on"); /* a failure shows again at the end */
    }
    if (now - p->synced < SYNC_SECONDS)
        return PACE_GO_ON;
    p->synced = now;
    return PACE_SYNC;
}
