#include <string.h>

#include "cli.h"

const struct command commands[] = {
    {.name = "run",
     .operand = "CASE",
     .summary = "work the case out, print the main results, write the result tables",
     .takes_settings = true,
     .run = command_run},
    {.name = "study",
     .operand = "CASE",
     .summary = "work the case out at every point of its study.csv or points.csv",
     .takes_settings = true,
     .run = command_study},
    {.name = "merge",
     .operand = "OUT",
     .more = "PART...",
     .summary = "put the parts of a run or a study together: the tables of the whole in OUT",
     .takes_settings = true,
     .own = "case",
     .own_argument = "FOLDER",
     .own_meaning = "where the case is now; where it was when the parts were made unless said",
     .run = command_merge},
    {.name = "check",
     .operand = "CASE",
     .summary = "say what is wrong with the tables, or what each result rests on",
     .takes_settings = true,
     .run = command_check},
    {.name = "new",
     .operand = "CASE",
     .summary = "write a small case that runs at once and explains itself",
     .run = command_new},
    {.name = "quantities",
     .summary = "list every quantity, its formulas, and the shapes of inputs",
     .run = command_quantities},
};
const size_t command_count = sizeof commands / sizeof commands[0];

int exit_status_of(packspan_status status)
{
    switch (status) {
    case PACKSPAN_OK:
        return EXIT_DONE;
    case PACKSPAN_USAGE:
        return EXIT_WRONG_USE;
    case PACKSPAN_BAD_CASE:
        return EXIT_WRONG_CASE;
    case PACKSPAN_MISSING:
        return EXIT_MISSING_FILE;
    case PACKSPAN_IO:
        return EXIT_READ_OR_WRITE_FAILED;
    case PACKSPAN_NO_MEMORY:
        return EXIT_NO_MEMORY;
    case PACKSPAN_INTERRUPTED:
        return EXIT_WAS_INTERRUPTED;
    }
    return EXIT_WRONG_USE;
}

static const struct command *find_command(const char *name)
{
    for (size_t i = 0; i < command_count; i++)
        if (strcmp(commands[i].name, name) == 0)
            return &commands[i];
    return NULL;
}

static int unknown_command(const char *name)
{
    const char *names[8];
    for (size_t i = 0; i < command_count; i++)
        names[i] = commands[i].name;
    const char *nearest = packspan_nearest_word(name, names, command_count);
    fprintf(stderr, "packspan: no such command: '%s'", name);
    if (nearest)
        fprintf(stderr, "; did you mean '%s'?", nearest);
    fprintf(stderr, "\nTry 'packspan --help'.\n");
    return EXIT_WRONG_USE;
}

/* Output that could not be written (a full disk behind a pipe or file) must not end as done. */
static int finish(int status)
{
    if (fflush(stdout) != 0 || ferror(stdout)) {
        perror("packspan: standard output");
        return status == EXIT_DONE ? EXIT_READ_OR_WRITE_FAILED : status;
    }
    return status;
}

int main(int argc, char **argv)
{
    if (argc < 2) {
        print_help(stderr);
        return EXIT_WRONG_USE;
    }
    if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
        print_help(stdout);
        return finish(EXIT_DONE);
    }
    if (strcmp(argv[1], "--version") == 0) {
        printf("packspan %s\n", PACKSPAN_VERSION);
        return finish(EXIT_DONE);
    }
    const struct command *command = find_command(argv[1]);
    if (!command)
        return unknown_command(argv[1]);
    struct options options;
    int status = read_options(argc - 1, argv + 1, command, &options);
    if (status != EXIT_DONE)
        return status;
    if (options.help) {
        print_command_help(stdout, command);
        return finish(EXIT_DONE);
    }
    return finish(command->run(&options));
}
