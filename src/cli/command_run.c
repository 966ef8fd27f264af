#include <errno.h>
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

void tell_remade(const char *folder, const char *name)
{
    fprintf(stderr, "packspan: %s/%s was damaged or cut off and has been worked out again\n",
            folder, name);
}

static void tell_part(packspan_case *c, const char *folder, packspan_part_news news, bool quiet)
{
    char name[64];
    packspan_part_name(c, name, sizeof name);
    if (news == PACKSPAN_PART_OUTGROWN)
        fprintf(
            stderr,
            "packspan: some samples of %s/%s outweigh by far those that set the scale; packspan "
            "merge will say with which --pilot all parts are to be run again\n",
            folder, name);
    else if (news == PACKSPAN_PART_REMADE)
        tell_remade(folder, name);
    if (news != PACKSPAN_PART_OUTGROWN && !quiet)
        printf("%s/%s %s\nWhen all parts are there: packspan merge %s %s\n", folder, name,
               news == PACKSPAN_PART_WAS_THERE ? "is there already; nothing was done"
                                               : "is written.",
               folder, folder);
}

static int run_part(packspan_case *c, const char *folder, bool quiet)
{
    struct progress progress;
    packspan_part_news news = PACKSPAN_PART_WRITTEN;
    progress_start(&progress, quiet, false);
    packspan_status ran = packspan_run_part(c, folder, progress_step, &progress, &news);
    progress_end(&progress);
    if (ran == PACKSPAN_OK)
        tell_part(c, folder, news, quiet);
    else if (ran == PACKSPAN_INTERRUPTED)
        fprintf(stderr, "packspan: interrupted; of a part of a run nothing is kept before it is "
                        "done, and smaller parts lose less\n");
    else if (print_problems(stderr, c, true, ran == PACKSPAN_USAGE ? "packspan run: " : "") == 0)
        fprintf(stderr, "packspan: %s\n", packspan_status_text(ran));
    return exit_status_of(ran);
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
    status = prepare_folder("run", " with --out", folder);
    if (status == EXIT_DONE && strcmp(packspan_case_setting(c, "part"), "all") != 0)
        status = run_part(c, folder, quiet);
    else if (status == EXIT_DONE)
        status = run_and_write(c, folder, quiet);
    packspan_case_free(c);
    return status;
}
