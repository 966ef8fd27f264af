#include "study/study.h"

#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <omp.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/clock.h"
#include "base/file.h"
#include "base/text.h"
#include "study/case_header.h"
#include "study/pace.h"
#include "study/run_part.h"
#include "study/study_part.h"
#include "study/tables_owner.h"

/* ---- what study it is ---- */

static const char points_item[] = "points";

/* Settings count as they are in force, wherever they come from. */
static void describe(struct study *s)
{
    const struct settings *settings = &s->source->settings;
    struct header *h = &s->header;
    header_add(h, "kind", "study");
    header_add(h, "version", PACKSPAN_VERSION);
    header_add(h, "design",
               s->design.table->is_points ? "points.csv"
               : s->design.sobol          ? "sobol"
                                          : "grid");
    header_add_whole(h, points_item, s->design.points);
    header_add_whole(h, "seed", settings->seed);
    header_add_whole(h, "samples", s->samples);
    header_add(h, "sequence", settings->sobol ? "sobol" : "pcg");
    header_add_whole(h, "pilot", settings->pilot);
    header_add(h, "quantities", settings->quantities);
    header_add_files(h, s->source);
}

/* What the journal says of it. Points of a Sobol' design are the first ones of a longer design too,
 * so that one journal serves both. */
static packspan_status describe_journal(const struct study *s, struct header *out)
{
    bool may_grow = s->design.sobol && s->part.parts == 0;
    for (size_t i = 0; i < s->header.count; i++) {
        const struct header_item *item = &s->header.items[i];
        if (!may_grow || strcmp(item->name, points_item) != 0)
            header_add(out, item->name, item->value);
    }
    return out->no_memory ? PACKSPAN_NO_MEMORY : PACKSPAN_OK;
}

/* ---- opening ---- */

static void report_usage(struct problems *problems, const struct case_data *c, const char *what)
{
    problems_add(problems, SEVERITY_ERROR, c->folder, 0, NULL, what, NULL, NULL);
}

/* A plan whose problems are those of every point. */
static void take_problems(struct problems *problems, const struct plan_set *set)
{
    for (size_t c = 0; c < set->count; c++)
        for (size_t i = 0; i < set->plans[c].problems.count; i++) {
            const struct problem *p = &set->plans[c].problems.items[i];
            if (p->severity == SEVERITY_ERROR)
                problems_repeat(problems, p);
        }
}

static packspan_status open_layout(struct study *s, struct problems *problems)
{
    char *wrong = NULL;
    packspan_status status =
        record_layout_open(&s->runner.set, s->source->settings.quantities, &s->layout, &wrong);
    if (wrong)
        report_usage(problems, s->source, wrong);
    free(wrong);
    return status;
}

static packspan_status open_share(struct study *s, struct problems *problems)
{
    struct part_of part = s->source->settings.part;
    packspan_status status = study_take_share(s, part);
    if (status != PACKSPAN_USAGE)
        return status;
    char *what = text_format(
        "part is %" PRIu64 "/%" PRIu64 " but the study has only %" PRIu64 " point%s to share",
        part.part, part.parts, s->design.points, s->design.points == 1 ? "" : "s");
    if (!what)
        return PACKSPAN_NO_MEMORY;
    report_usage(problems, s->source, what);
    free(what);
    return status;
}

static bool is_text(const char *a, const char *b)
{
    return a == b || (a && b && strcmp(a, b) == 0);
}

/* One that is the same under another candidate counts once. */
static void take_warning(struct problems *warnings, const struct problem *p)
{
    for (size_t i = 0; i < warnings->count; i++) {
        const struct problem *w = &warnings->items[i];
        if (w->line == p->line && is_text(w->file, p->file) && is_text(w->column, p->column) &&
            is_text(w->what, p->what) && is_text(w->text, p->text))
            return;
    }
    if (p->severity == SEVERITY_WARNING)
        problems_repeat(warnings, p);
}

static void take_warnings(struct problems *warnings, const struct problems *from)
{
    for (size_t i = 0; i < from->count; i++)
        take_warning(warnings, &from->items[i]);
}

/* Those of the tables, and of the plan that has the inputs of the study too. */
static packspan_status collect_warnings(struct study *s)
{
    const struct plan_set *set = &s->runner.set;
    bool no_memory = false;
    char *advice = results_samples_advice(&s->source->settings, s->samples, &no_memory);
    take_warnings(&s->warnings, &s->source->problems);
    for (size_t i = 0; i < set->count; i++)
        take_warnings(&s->warnings, &set->plans[i].problems);
    if (advice)
        problems_add(&s->warnings, SEVERITY_WARNING, s->source->folder, 0, NULL, advice, NULL,
                     NULL);
    free(advice);
    return no_memory || s->warnings.out_of_memory ? PACKSPAN_NO_MEMORY : PACKSPAN_OK;
}

packspan_status study_open(const struct case_data *source, struct problems *problems,
                           struct study *out)
{
    const char *reason = NULL;
    *out = (struct study){.source = source, .samples = settings_samples(&source->settings)};
    packspan_status status = design_open(source, &out->design, &reason);
    if (reason)
        report_usage(problems, source, reason);
    if (status == PACKSPAN_OK)
        status = design_check(&out->design, problems);
    if (status == PACKSPAN_OK) {
        status = point_runner_open(&out->design, &out->runner);
        if (status == PACKSPAN_BAD_CASE)
            take_problems(problems, &out->runner.set);
    }
    if (status == PACKSPAN_OK)
        status = open_layout(out, problems);
    if (status == PACKSPAN_OK)
        status = collect_warnings(out);
    if (status != PACKSPAN_OK)
        return status;
    out->count = out->design.points;
    describe(out);
    if (out->header.no_memory)
        return PACKSPAN_NO_MEMORY;
    return source->settings.part.parts > 0 ? open_share(out, problems) : PACKSPAN_OK;
}

void study_close(struct study *s)
{
    header_free(&s->header);
    problems_clear(&s->warnings);
    record_layout_close(&s->layout);
    point_runner_close(&s->runner);
    design_close(&s->design);
    *s = (struct study){0};
}

/* ---- what it will take ---- */

static packspan_status time_samples(struct study *s, uint64_t samples, struct record *record,
                                    double *seconds)
{
    double started = seconds_now();
    packspan_status status =
        point_runner_run(&s->runner, &s->layout, s->first, samples, NULL, NULL, record);
    *seconds = seconds_now() - started;
    return status;
}

/* What a sample costs shows between two runs of a point, of which the longer takes long enough for
 * a clock; the first ones of a process are too slow to tell. */
static packspan_status time_point(struct study *s, struct record *record, double *seconds)
{
    enum { FIRST = 1024, FEW = 16384, TIMES = 3 };
    const double enough = 0.2;
    uint64_t few = 0, more = s->samples < FIRST ? s->samples : FIRST;
    double before = 0.0, took = 0.0;
    packspan_status status = time_samples(s, more, record, &took);
    while (status == PACKSPAN_OK && more < s->samples && (few == 0 || took < enough)) {
        few = more < FEW ? FEW : more;
        few = few < s->samples ? few : s->samples;
        more = s->samples / TIMES > few ? TIMES * few : s->samples;
        status = time_samples(s, few, record, &before);
        if (status == PACKSPAN_OK)
            status = time_samples(s, more, record, &took);
    }
    double sample = more > few ? fmax(took - before, 0.1 * took) / (double)(more - few) : 0.0;
    *seconds = took + sample * (double)(s->samples - more);
    return status;
}

packspan_status study_time(struct study *s, double *seconds)
{
    struct record record = {.numbers = calloc(s->layout.numbers + 1, sizeof(double))};
    double point = 0.0;
    packspan_status status = record.numbers ? time_point(s, &record, &point) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = study_point_size(s, &record, &s->point_bytes);
    free(record.numbers);
    if (status == PACKSPAN_OK)
        *seconds = (double)s->count * point;
    return status;
}

uint64_t study_journal_size(const struct study *s)
{
    struct header header = {0};
    describe_journal(s, &header);
    uint64_t size = journal_size(&header, s->count, s->layout.numbers);
    header_free(&header);
    return size;
}

uint64_t study_table_size(const struct study *s)
{
    return s->part.parts > 0 ? 0 : s->point_bytes * s->count;
}

/* ---- files ---- */

/* The files of a study, or of a part of it. */
struct paths {
    const char *folder;
    char *journal, *log, *part;
    const char *blamed; /* which one a failure is about */
    char *table;        /* when it is a table; malloc'd */
};

static bool name_paths(struct paths *p, const struct study *s, const char *folder)
{
    bool is_part = s->part.parts > 0;
    char *stem = is_part ? part_stem(folder, s->part) : text_format("%s/study", folder);
    *p = (struct paths){.folder = folder};
    if (stem) {
        p->journal = text_format("%s.journal", stem);
        p->log = text_format("%s.log", stem);
        p->part = is_part ? text_format("%s.part", stem) : NULL;
    }
    p->blamed = p->journal;
    free(stem);
    return p->journal && p->log && (!is_part || p->part);
}

static void free_paths(struct paths *p)
{
    free(p->journal);
    free(p->log);
    free(p->part);
    free(p->table);
}

/* ---- points in parallel ---- */

struct crew {
    struct study *study;
    struct journal *journal;
    struct study_report *report;
    struct pace pace;
    omp_lock_t lock; /* for all that follows, and the pace */
    uint64_t next;   /* the next point to look at */
    packspan_status status;
    int reason; /* errno of a failure */
    bool stop;
    bool syncing; /* one thread is about it */
};

/* One thread of it. */
struct hand {
    struct crew *crew;
    struct point_runner runner;
    struct record record;
    uint8_t *space;
    double share; /* of the point that it is working out */
};

/* The first failure is the one that counts. */
static void fail(struct crew *crew, packspan_status status)
{
    int reason = errno;
    omp_set_lock(&crew->lock);
    if (crew->status == PACKSPAN_OK) {
        crew->status = status;
        crew->reason = reason;
    }
    crew->stop = true;
    omp_unset_lock(&crew->lock);
}

/* What is due once a second; the lock is held. Whether the caller has to sync once it is not. */
static bool look_around(struct crew *crew)
{
    enum pace_wish wish = pace_step(&crew->pace, &crew->report->done);
    crew->stop = crew->stop || wish == PACE_STOP;
    bool sync = wish == PACE_SYNC && !crew->syncing;
    crew->syncing = crew->syncing || sync;
    return sync;
}

/* A slow disk must not hold up the other threads. */
static void sync_journal(struct crew *crew)
{
    packspan_status status = journal_sync(crew->journal);
    if (status != PACKSPAN_OK)
        fail(crew, status);
    omp_set_lock(&crew->lock);
    crew->syncing = false;
    omp_unset_lock(&crew->lock);
}

/* Within a point; false leaves it. */
static bool report_share(void *user, uint64_t done, uint64_t total)
{
    struct hand *h = user;
    struct crew *crew = h->crew;
    double share = (double)done / (double)total;
    omp_set_lock(&crew->lock);
    crew->pace.shares += share - h->share;
    h->share = share;
    bool sync = look_around(crew);
    bool go_on = !crew->stop;
    omp_unset_lock(&crew->lock);
    if (sync)
        sync_journal(crew);
    return go_on;
}

/* The next point that nobody has looked at; false when there is none. */
static bool take_point(struct crew *crew, uint64_t *point)
{
    const struct study *s = crew->study;
    omp_set_lock(&crew->lock);
    bool taken = !crew->stop && crew->next < s->first + s->count;
    if (taken)
        *point = crew->next++;
    omp_unset_lock(&crew->lock);
    return taken;
}

/* Whether the journal lacks it; nobody knows when it cannot be read. */
static bool is_missing(const struct hand *h, uint64_t point)
{
    enum slot_state state = SLOT_EMPTY;
    if (point >= h->crew->report->found.end)
        return true;
    packspan_status status = journal_read(h->crew->journal, point, h->space, NULL, &state);
    if (status != PACKSPAN_OK)
        fail(h->crew, status);
    return status == PACKSPAN_OK && state != SLOT_DONE;
}

/* Whether there is time for a point more; else it is the last that anybody looks at, while those
 * that were begun earlier may still end in time. */
static bool may_begin(struct crew *crew)
{
    omp_set_lock(&crew->lock);
    bool has_time = pace_has_time(&crew->pace);
    if (!has_time) {
        crew->report->out_of_time = true;
        crew->next = crew->study->first + crew->study->count;
    }
    omp_unset_lock(&crew->lock);
    return has_time;
}

static void finish_point(struct hand *h, double seconds)
{
    struct crew *crew = h->crew;
    omp_set_lock(&crew->lock);
    crew->report->done++;
    crew->report->worked++;
    crew->pace.shares -= h->share;
    h->share = 0.0;
    pace_point(&crew->pace, seconds);
    bool sync = look_around(crew);
    omp_unset_lock(&crew->lock);
    if (sync)
        sync_journal(crew);
}

static void work_point(struct hand *h, uint64_t point)
{
    struct crew *crew = h->crew;
    const struct study *s = crew->study;
    double started = seconds_now();
    packspan_status status =
        point_runner_run(&h->runner, &s->layout, point, s->samples, report_share, h, &h->record);
    if (status == PACKSPAN_INTERRUPTED)
        return;
    if (status == PACKSPAN_OK)
        status = journal_write(crew->journal, &h->record, h->space);
    if (status == PACKSPAN_OK)
        finish_point(h, seconds_now() - started);
    else
        fail(crew, status);
}

static packspan_status open_hand(struct crew *crew, struct hand *h)
{
    const struct study *s = crew->study;
    *h = (struct hand){.crew = crew};
    h->record.numbers = calloc(s->layout.numbers + 1, sizeof(double));
    h->space = malloc(crew->journal->slot);
    if (!h->record.numbers || !h->space)
        return PACKSPAN_NO_MEMORY;
    return point_runner_open(&s->design, &h->runner);
}

static void close_hand(struct hand *h)
{
    point_runner_close(&h->runner);
    free(h->record.numbers);
    free(h->space);
}

static void work_points(struct crew *crew, struct hand *hands, unsigned threads)
{
#pragma omp parallel num_threads(threads)
    {
        struct hand *h = &hands[omp_get_thread_num()];
        uint64_t point;
        while (take_point(crew, &point))
            if (is_missing(h, point) && may_begin(crew))
                work_point(h, point);
    }
}

static packspan_status work(struct crew *crew, unsigned threads)
{
    struct hand *hands = calloc(threads, sizeof *hands);
    packspan_status status = hands ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (unsigned t = 0; t < threads && status == PACKSPAN_OK; t++)
        status = open_hand(crew, &hands[t]);
    if (status == PACKSPAN_OK) {
        omp_init_lock(&crew->lock);
        work_points(crew, hands, threads);
        omp_destroy_lock(&crew->lock);
        status = crew->status;
        errno = crew->reason;
    }
    int reason = errno;
    for (unsigned t = 0; hands && t < threads; t++)
        close_hand(&hands[t]);
    free(hands);
    errno = reason;
    return status;
}

unsigned study_threads(const struct study *s)
{
    unsigned wanted = s->source->settings.threads;
    unsigned threads = wanted ? wanted : (unsigned)omp_get_num_procs();
    return s->count < threads ? (unsigned)s->count : threads;
}

static packspan_status work_out(struct study *s, struct paths *p, struct journal *journal,
                                packspan_study_watch *watch, void *user,
                                struct study_report *report)
{
    struct crew crew = {.study = s, .journal = journal, .report = report, .next = s->first};
    double hours = s->source->settings.hours, started = seconds_now();
    report->threads = study_threads(s);
    packspan_status status = pace_open(&crew.pace, p->log, s->count, report->found.done, s->samples,
                                       3600.0 * hours, watch, user);
    crew.stop = crew.pace.stopped;
    if (status == PACKSPAN_OK)
        status = work(&crew, report->threads);
    else
        p->blamed = p->log;
    int reason = errno;
    if (journal_sync(journal) != PACKSPAN_OK && status == PACKSPAN_OK) {
        status = PACKSPAN_IO;
        reason = errno;
    }
    report->stopped = report->done < s->count;
    report->out_of_time = report->stopped && (report->out_of_time || crew.pace.out_of_time);
    report->seconds = seconds_now() - started;
    packspan_status closed = pace_close(&crew.pace, report->done);
    if (status != PACKSPAN_OK) {
        errno = reason;
        return status;
    }
    if (closed != PACKSPAN_OK)
        p->blamed = p->log;
    return closed;
}

/* ---- tables ---- */

struct journal_records {
    const struct journal *journal;
    uint64_t point;
    uint8_t *space;
};

static packspan_status next_record(void *from, struct record *out)
{
    struct journal_records *r = from;
    return journal_read_done(r->journal, r->point++, r->space, out);
}

/* What there is to tell about the points of a part. */
static packspan_status tally_points(const struct study *s, const struct journal *journal,
                                    struct study_report *report)
{
    struct journal_records from = {journal, s->first, malloc(journal->slot)};
    struct record record = {.numbers = calloc(s->layout.numbers + 1, sizeof(double))};
    packspan_status status = from.space && record.numbers ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (uint64_t i = 0; i < s->count && status == PACKSPAN_OK; i++) {
        status = next_record(&from, &record);
        if (status == PACKSPAN_OK)
            record_tally(&record, &report->told);
    }
    int reason = errno;
    free(record.numbers);
    free(from.space);
    errno = reason;
    return status;
}

static packspan_status write_tables(const struct study *s, const char *folder,
                                    const struct journal *journal, struct study_report *report,
                                    char **path)
{
    struct journal_records from = {journal, s->first, malloc(journal->slot)};
    struct record_source records = {next_record, &from, s->count};
    packspan_status status = from.space ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = study_tables_write(s, folder, &records, report, path);
    int reason = errno;
    free(from.space);
    errno = reason;
    return status;
}

/* ---- the whole ---- */

/* What all points together become. Of a part the journal is not needed any more. */
static packspan_status complete(const struct study *s, struct paths *p,
                                const struct journal *journal, struct study_report *report)
{
    if (!p->part)
        return write_tables(s, p->folder, journal, report, &p->table);
    packspan_status status = tally_points(s, journal, report);
    if (status != PACKSPAN_OK)
        return status;
    status = study_part_write(s, p->part, journal);
    if (status == PACKSPAN_OK)
        unlink(p->journal);
    else
        p->blamed = p->part;
    return status;
}

static packspan_status go_on(struct study *s, struct paths *p, struct journal *journal,
                             packspan_study_watch *watch, void *user, struct study_report *report)
{
    struct problems differences = {0};
    enum tables_owner owner = TABLES_NONE;
    packspan_status status = PACKSPAN_OK;
    report->done = report->found.done;
    if (!p->part)
        status = tables_owner_find(s, p->folder, &differences, &owner);
    problems_clear(&differences);
    report->was_complete = report->done == s->count && owner == TABLES_OWN;
    report->replaced = owner == TABLES_OTHER;
    if (report->was_complete || status != PACKSPAN_OK)
        return status;
    if (p->part)
        file_remove_drafts(p->part);
    else
        study_tables_remove(p->folder);
    if (report->done < s->count)
        status = work_out(s, p, journal, watch, user, report);
    return status == PACKSPAN_OK && !report->stopped ? complete(s, p, journal, report) : status;
}

/* A part that is there already is complete. */
static packspan_status find_part(const struct study *s, struct paths *p, struct problems *problems,
                                 struct study_report *report)
{
    enum own_part found = OWN_PART_NONE;
    packspan_status status = p->part ? study_part_find(s, p->part, problems, &found) : PACKSPAN_OK;
    if (status != PACKSPAN_OK)
        p->blamed = p->part;
    report->part_damaged = found == OWN_PART_DAMAGED;
    if (found == OWN_PART_THERE) {
        report->was_complete = true;
        report->done = s->count;
        unlink(p->journal); /* perhaps a kill has left it */
    }
    return status;
}

static packspan_status run_all(struct study *s, struct paths *p, struct problems *problems,
                               packspan_study_watch *watch, void *user, struct study_report *report)
{
    struct journal journal = {.file = -1};
    struct header header = {0};
    packspan_status status = find_part(s, p, problems, report);
    if (status != PACKSPAN_OK || report->was_complete)
        return status;
    if (!p->part && access(p->journal, F_OK) != 0)
        status = tables_may_be_written(s, p->folder, problems);
    if (status != PACKSPAN_OK)
        return status;
    status = describe_journal(s, &header);
    if (status == PACKSPAN_OK)
        status = journal_open(p->journal, &header, s->first, s->count, s->layout.numbers, problems,
                              &journal, &report->found);
    if (status == PACKSPAN_BAD_CASE)
        problems_add(problems, SEVERITY_ERROR, p->folder, 0, NULL, "holds another study", NULL,
                     "to begin afresh, take another folder with --out, or remove the file named "
                     "above");
    if (status == PACKSPAN_OK)
        status = go_on(s, p, &journal, watch, user, report);
    journal_close(&journal); /* keeps errno, as free() does */
    header_free(&header);
    return status;
}

static char *differences(const struct problems *problems)
{
    char *text = text_copy("");
    for (size_t i = 0; text && i < problems->count; i++) {
        const struct problem *p = &problems->items[i];
        char *line = problem_text(p);
        char *longer = line ? text_format("%s%s%s", text, *text ? "\n" : "", line) : NULL;
        free(line);
        free(text);
        text = longer;
    }
    return text;
}

static char *describe_failure(packspan_status status, const struct journal_found *found,
                              const struct problems *problems, const char *path, int reason)
{
    if (status == PACKSPAN_BAD_CASE)
        return differences(problems);
    if (status != PACKSPAN_IO)
        return NULL;
    return found->in_use ? text_format("%s: another packspan is working on it; wait for its "
                                       "end, or choose another folder with --out",
                                       path)
                         : text_format("%s: %s", path, strerror(reason));
}

packspan_status study_run(struct study *s, const char *folder, packspan_study_watch *watch,
                          void *user, struct study_report *report, char **failure)
{
    struct problems problems = {0};
    struct paths paths;
    *report = (struct study_report){0};
    packspan_status status =
        name_paths(&paths, s, folder) ? file_make_folder(folder) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = run_all(s, &paths, &problems, watch, user, report);
    int reason = errno;
    *failure = describe_failure(status, &report->found, &problems,
                                paths.table ? paths.table : paths.blamed, reason);
    problems_clear(&problems);
    free_paths(&paths);
    errno = reason;
    return status;
}
