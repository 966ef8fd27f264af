#include <errno.h>
#include <string.h>

#include "cli.h"

void choose_folder(packspan_case *c, char *folder, size_t size)
{
    snprintf(folder, size, "%s", packspan_case_setting(c, "out"));
    if (!*folder)
        snprintf(folder, size, "results/%s", packspan_case_name(c));
}

int prepare_folder(const struct options *options, const char *folder)
{
    packspan_status status = packspan_folder_prepare(folder);
    if (status == PACKSPAN_USAGE)
        fprintf(stderr,
                "packspan %s: %s holds a case, whose tables the results would replace; choose "
                "another folder with --out\n",
                options->command, folder);
    else if (status != PACKSPAN_OK)
        fprintf(stderr, "packspan %s: cannot write into %s: %s\n", options->command, folder,
                strerror(errno));
    return exit_status_of(status);
}
