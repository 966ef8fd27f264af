#include <errno.h>
#include <inttypes.h>
#include <limits.h>
#include <malloc.h>
#include <math.h>
#include <string.h>

#include "cli.h"

/* "3 h 20 min", "41 s": two units at most. */
static void print_duration(FILE *f, double seconds)
{
    if (seconds < 99.5)
        fprintf(f, "%.0f s", seconds);
    else if (seconds < 3600.0 * 3.0)
        fprintf(f, "%.0f min", seconds / 60.0);
    else if (seconds < 3600.0 * 48.0)
        fprintf(f, "%.1f h", seconds / 3600.0);
    else
        fprintf(f, "%.1f days", seconds / 86400.0);
}

static void print_bytes(FILE *f, double bytes)
{
    static const char *const units[] = {"kB", "MB", "GB", "TB", "PB"};
    int unit = 0;
    bytes /= 1000.0;
    while (bytes >= 999.5 && unit < 4) {
        bytes /= 1000.0;
        unit++;
    }
    fprintf(f, "%.3g %s", bytes < 1.0 ? 1.0 : bytes, units[unit]);
}

/* What is told while it goes on. */
struct watcher {
    packspan_case *c;
    packspan_study *s;
    bool quiet, begun;
    struct progress progress;
};

static bool is_part(packspan_case *c)
{
    return strcmp(packspan_case_setting(c, "part"), "all") != 0;
}

/* What it will take, before it begins. */
static void print_plan(const struct watcher *w, uint64_t done)
{
    packspan_study *s = w->s;
    double seconds = 0.0;
    uint64_t points = packspan_study_points(s);
    unsigned threads = packspan_study_threads(s);
    printf("%s: ", packspan_case_name(w->c));
    if (is_part(w->c)) {
        printf("part %s of ", packspan_case_setting(w->c, "part"));
        print_points(stdout, packspan_study_all_points(s));
        printf(": ");
    }
    print_points(stdout, points);
    printf(" of ");
    print_grouped(stdout, packspan_study_samples(s));
    printf(" samples, %zu rows each\n", packspan_study_rows(s));
    if (done > 0) {
        print_grouped(stdout, done);
        printf(" of them %s finished before\n", done == 1 ? "was" : "were");
    }
    fflush(stdout);
    if (packspan_study_time(s, &seconds) == PACKSPAN_OK) {
        printf("time: about ");
        print_duration(stdout,
                       seconds * (double)(points - done) / (double)points / (double)threads);
        printf(" with %u thread%s\n", threads, threads == 1 ? "" : "s");
    }
    printf("disk: about ");
    if (!is_part(w->c)) {
        print_bytes(stdout, (double)packspan_study_table_bytes(s));
        printf(" for the tables, ");
    }
    print_bytes(stdout, (double)packspan_study_journal_bytes(s));
    printf(is_part(w->c) ? " for the journal, and again for the part\n" : " for the journal\n");
    if (packspan_study_warning_count(s) > 0)
        printf("\nTo be aware of\n");
    for (size_t i = 0; i < packspan_study_warning_count(s); i++)
        printf("  %s\n", packspan_study_warning(s, i));
    printf("\n");
    fflush(stdout);
}

static void print_state(const packspan_study_state *state)
{
    fprintf(stderr, "\r%" PRIu64 " of %" PRIu64 " points  %.3g points/s  %.2f million samples/s",
            state->done, state->points, state->points_per_second, 1e-6 * state->samples_per_second);
    if (isfinite(state->seconds_left)) {
        fprintf(stderr, "  ");
        print_duration(stderr, state->seconds_left);
        fprintf(stderr, " left");
    }
    fprintf(stderr, "\033[K");
}

static bool watch(void *user, const packspan_study_state *state)
{
    struct watcher *w = user;
    if (!w->begun && !w->quiet)
        print_plan(w, state->done);
    w->begun = true;
    if (progress_is_due(&w->progress))
        print_state(state);
    return !progress_stop_asked();
}

/* What was not as it had been left. */
static void print_damage(const packspan_study_report *report, const char *folder)
{
    if (report->mended)
        fprintf(stderr, "packspan: the header of the journal in %s was damaged and is mended\n",
                folder);
    if (report->dropped > 0)
        fprintf(stderr,
                "packspan: damaged records of the journal in %s that were dropped, their "
                "points being worked out again: %" PRIu64 "\n",
                folder, report->dropped);
    if (report->replaced)
        fprintf(stderr,
                "packspan: the tables in %s were edited or those of another study; this one's own "
                "take their place\n",
                folder);
}

static void print_remarks(packspan_study *s, const packspan_study_report *report, bool quiet)
{
    for (size_t i = 0; i < packspan_study_remark_count(s); i++)
        if (!quiet || packspan_study_remark_is_refusal(s, i))
            fprintf(stderr, "%s\n", packspan_study_remark(s, i));
    if (report->refused > 0)
        fprintf(stderr, "Refused points have no numbers in the tables; packspan run of the case "
                        "with these values tells more.\n");
}

/* Of a part: where it is, and what is next. */
static int print_part(packspan_case *c, const packspan_study_report *report, const char *folder,
                      bool quiet)
{
    char name[64];
    packspan_part_name(c, name, sizeof name);
    if (report->part_damaged)
        tell_remade(folder, name);
    if (quiet)
        return EXIT_DONE;
    printf("%s/%s %s\nWhen all parts are there: packspan merge %s %s\n", folder, name,
           report->was_complete ? "is there already; nothing was done" : "is written.", folder,
           folder);
    return EXIT_DONE;
}

static int print_end(packspan_case *c, packspan_study *s, const packspan_study_report *report,
                     const char *folder, bool quiet)
{
    print_remarks(s, report, quiet);
    if (is_part(c))
        return print_part(c, report, folder, quiet);
    if (report->was_complete) {
        if (!quiet)
            printf("All points were finished before; the tables in %s are left as they are.\n",
                   folder);
        return EXIT_DONE;
    }
    if (!quiet) {
        print_points(stdout, report->done);
        printf(" %s done, in ", report->done == 1 ? "is" : "are");
        print_duration(stdout, report->seconds);
        print_study_tables(folder);
    }
    return report->refused == report->done ? EXIT_WRONG_CASE : EXIT_DONE;
}

static int print_stop(packspan_study *s, const packspan_study_report *report, const char *folder)
{
    fprintf(stderr,
            "packspan: %s; %" PRIu64 " of %" PRIu64 " points are kept in %s, and the same command "
            "goes on\n",
            report->out_of_time ? "the hours are over" : "interrupted", report->done,
            packspan_study_points(s), folder);
    return EXIT_WAS_INTERRUPTED;
}

static int print_failure(packspan_study *s, packspan_status status,
                         const packspan_study_report *report)
{
    const char *failure = packspan_study_failure(s);
    if (!*failure)
        failure = packspan_status_text(status);
    fprintf(stderr, "%s%s\n", status == PACKSPAN_BAD_CASE ? "" : "packspan: ", failure);
    if (status == PACKSPAN_IO && !report->in_use)
        fprintf(stderr, "What is finished is kept in the journal; the same command goes on.\n");
    return exit_status_of(status);
}

/* Each point needs the memory of the one before it again: glibc shall not give it back and clear it
 * anew, which would be a tenth of a short point's time. */
static void keep_memory(void)
{
    mallopt(M_MMAP_THRESHOLD, 1 << 25); /* the most that glibc takes */
    mallopt(M_TRIM_THRESHOLD, INT_MAX);
}

static int run_study(packspan_case *c, packspan_study *s, const char *folder)
{
    struct watcher w = {
        .c = c, .s = s, .quiet = strcmp(packspan_case_setting(c, "quiet"), "yes") == 0};
    packspan_study_report report;
    keep_memory();
    progress_start(&w.progress, w.quiet, false);
    packspan_status status = packspan_study_run(s, folder, watch, &w, &report);
    progress_end(&w.progress);
    if (status != PACKSPAN_BAD_CASE)
        print_damage(&report, folder);
    if (status == PACKSPAN_OK)
        return print_end(c, s, &report, folder, w.quiet);
    return status == PACKSPAN_INTERRUPTED ? print_stop(s, &report, folder)
                                          : print_failure(s, status, &report);
}

int command_study(const struct options *options)
{
    packspan_case *c = NULL;
    packspan_study *s = NULL;
    char folder[4096 + 16];
    int status = open_case(options, &c);
    if (status == EXIT_DONE)
        status = open_study(options, c, &s);
    if (status == EXIT_DONE) {
        choose_folder(c, folder, sizeof folder);
        status = prepare_folder("study", " with --out", folder);
    }
    if (status == EXIT_DONE)
        status = run_study(c, s, folder);
    packspan_study_free(s);
    packspan_case_free(c);
    return status;
}
