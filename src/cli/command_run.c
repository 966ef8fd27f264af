#include <string.h>

#include "cli.h"

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
    status = prepare_folder(options, folder);
    if (status == EXIT_DONE)
        status = run_and_write(c, folder, quiet);
    packspan_case_free(c);
    return status;
}
