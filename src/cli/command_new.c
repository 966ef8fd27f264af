#include <errno.h>
#include <string.h>

#include "cli.h"

int command_new(const struct options *options)
{
    const char *folder = options->operand;
    packspan_status status = packspan_case_write_new(folder);
    if (status == PACKSPAN_USAGE)
        fprintf(stderr,
                "packspan new: '%s' exists already and is not an empty folder; choose "
                "another name\n",
                folder);
    else if (status == PACKSPAN_MISSING)
        fprintf(stderr,
                "packspan new: the starter case cannot be found; PACKSPAN_TEMPLATES, if set, "
                "names the folder of packspan's templates\n");
    else if (status != PACKSPAN_OK)
        fprintf(stderr, "packspan new: %s: %s\n", folder, strerror(errno));
    else
        printf("The case is in %s. Its tables explain themselves in lines that start with '#'.\n"
               "Next:  packspan check %s\n"
               "       packspan run %s\n",
               folder, folder, folder);
    return exit_status_of(status);
}
