#include <string.h>

#include "cli.h"

static void print_found(const packspan_merge *m, bool quiet)
{
    for (size_t i = 0; i < packspan_merge_problem_count(m); i++)
        if (!quiet || packspan_merge_problem_is_error(m, i))
            fprintf(stderr, "%s\n", packspan_merge_problem(m, i));
}

static void print_merge_problems(const packspan_merge *m, packspan_status status)
{
    print_found(m, false);
    if (packspan_merge_problem_count(m) == 0)
        fprintf(stderr, "packspan merge: %s\n", packspan_status_text(status));
}

static int merge_and_write(packspan_merge *m, const char *folder, bool quiet)
{
    struct progress progress;
    packspan_results *r = NULL;
    progress_start(&progress, quiet, false);
    packspan_status status = packspan_merge_run(m, progress_step, &progress, &r);
    progress_end(&progress);
    if (status == PACKSPAN_INTERRUPTED)
        fprintf(stderr, "packspan: interrupted; no tables were written\n");
    else if (status != PACKSPAN_OK)
        print_merge_problems(m, status);
    if (status != PACKSPAN_OK)
        return exit_status_of(status);
    status = packspan_results_write(r, folder);
    if (status != PACKSPAN_OK)
        fprintf(stderr, "packspan: %s\n", packspan_results_failure(r));
    else if (!quiet)
        print_results(stdout, packspan_merge_case(m), r, folder);
    packspan_results_free(r);
    return exit_status_of(status);
}

static int merge_study(packspan_merge *m, const char *folder, bool quiet)
{
    packspan_study_report report;
    packspan_status status = packspan_merge_study(m, folder, &report);
    if (status != PACKSPAN_OK) {
        print_merge_problems(m, status);
        return exit_status_of(status);
    }
    print_found(m, quiet);
    if (!quiet) {
        print_points(stdout, report.done);
        print_study_tables(folder);
    }
    return report.refused == report.done ? EXIT_WRONG_CASE : EXIT_DONE;
}

/* Nothing of a study is on the screen. */
static bool asks_for_units(const struct options *options)
{
    bool asks = false;
    for (size_t i = 0; i < options->setting_count; i++)
        asks = asks || strcmp(options->settings[i].name, "units") == 0;
    return asks;
}

int command_merge(const struct options *options)
{
    packspan_merge *m = NULL;
    packspan_status status = packspan_merge_open((const char *const *)options->more,
                                                 options->more_count, options->own, &m);
    if (status != PACKSPAN_OK) {
        if (m)
            print_merge_problems(m, status);
        else
            fprintf(stderr, "packspan merge: %s\n", packspan_status_text(status));
        packspan_merge_free(m);
        return exit_status_of(status);
    }
    if (packspan_merge_is_study(m) && asks_for_units(options)) {
        fprintf(stderr, "packspan merge: option '--units': these are parts of a study, of which "
                        "no results are shown on the screen\n");
        packspan_merge_free(m);
        return EXIT_WRONG_USE;
    }
    packspan_case *c = packspan_merge_case(m);
    apply_settings(options, c);
    bool quiet = strcmp(packspan_case_setting(c, "quiet"), "yes") == 0;
    int done = prepare_folder("merge", "", options->operand);
    if (done == EXIT_DONE && packspan_merge_is_study(m))
        done = merge_study(m, options->operand, quiet);
    else if (done == EXIT_DONE)
        done = merge_and_write(m, options->operand, quiet);
    packspan_merge_free(m);
    return done;
}
