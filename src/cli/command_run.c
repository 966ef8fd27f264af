#include <errno.h>
#include <string.h>

#include "cli.h"

/* The folder of the results: the setting, or results/NAME-OF-CASE. */
static void choose_folder(packspan_case *c, char *folder, size_t size)
{
    snprintf(folder, size, "%s", packspan_case_setting(c, "out"));
    if (!*folder)
        snprintf(folder, size, "results/%s", packspan_case_name(c));
}

/* Finds out before the run whether its tables can be written. */
static int prepare_folder(const char *folder)
{
    packspan_status status = packspan_folder_prepare(folder);
    if (status == PACKSPAN_USAGE)
        fprintf(stderr,
                "packspan run: %s holds a case, whose claims.csv the results would replace; choose "
                "another folder with --out\n",
                folder);
    else if (status != PACKSPAN_OK)
        fprintf(stderr, "packspan run: cannot write into %s: %s\n", folder, strerror(errno));
    return exit_status_of(status);
}

static int run_and_write(packspan_case *c, const char *folder, bool quiet)
{
    struct progress progress;
    packspan_results *r = NULL;
    bool open_ended = strcmp(packspan_case_setting(c, "stable"), "0") != 0;
    progress_start(&progress, quiet, open_ended);
    packspan_status ran = packspan_run(c, progress_step, &progress, &r);
    progress_end(&progress);
    if (!r) {
        if (print_problems(stderr, c, true, "") == 0)
            fprintf(stderr, "packspan: %s\n", packspan_status_text(ran));
        return exit_status_of(ran);
    }
    packspan_status written = packspan_results_write(r, folder);
    if (written != PACKSPAN_OK)
        fprintf(stderr, "packspan: %s\n", packspan_results_failure(r));
    else if (!quiet)
        print_results(stdout, c, r, folder);
    if (written == PACKSPAN_OK && ran == PACKSPAN_INTERRUPTED)
        fprintf(stderr,
                "packspan: interrupted; the tables in %s hold the samples that were finished\n",
                folder);
    packspan_results_free(r);
    return exit_status_of(written != PACKSPAN_OK ? written : ran);
}

int command_run(const struct options *options)
{
    packspan_case *c = NULL;
    int status = open_case(options, &c);
    if (status != EXIT_DONE) {
        packspan_case_free(c);
        return status;
    }
    char folder[4096 + 16];
    choose_folder(c, folder, sizeof folder);
    bool quiet = strcmp(packspan_case_setting(c, "quiet"), "yes") == 0;
    status = prepare_folder(folder);
    if (status == EXIT_DONE)
        status = run_and_write(c, folder, quiet);
    packspan_case_free(c);
    return status;
}
