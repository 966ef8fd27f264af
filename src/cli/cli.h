/* The command line: one file a command; only the public library below it. */
#ifndef PACKSPAN_CLI_CLI_H
#define PACKSPAN_CLI_CLI_H

#include <packspan/packspan.h>
#include <stdint.h>
#include <stdio.h>

enum exit_status {
    EXIT_DONE = 0,
    EXIT_WRONG_USE = 64,
    EXIT_WRONG_CASE = 65,
    EXIT_MISSING_FILE = 66,
    EXIT_NO_MEMORY = 71,
    EXIT_READ_OR_WRITE_FAILED = 74,
    EXIT_WAS_INTERRUPTED = 130
};
int exit_status_of(packspan_status status);

/* A command: what follows its name on the command line, already split by read_options(). */
struct options {
    const char *command;
    const char *operand; /* NULL when there is none */
    char *const *more;   /* [more_count]: the operands after it */
    size_t more_count;
    const char *own; /* value of the command's own option; NULL when it was not given */
    size_t setting_count;
    struct {
        const char *name, *value;
    } settings[64];
    bool help;
};

struct command {
    const char *name;
    const char *operand; /* for the help; NULL when it takes none */
    const char *more;    /* the same of one or more operands after it */
    const char *summary;
    bool takes_settings;
    const char *own; /* an option that is no setting, or NULL */
    const char *own_argument, *own_meaning;
    int (*run)(const struct options *options);
};
extern const struct command commands[];
extern const size_t command_count;

int command_run(const struct options *options);
int command_merge(const struct options *options);
int command_check(const struct options *options);
int command_new(const struct options *options);
int command_study(const struct options *options);
int command_quantities(const struct options *options);

/* EXIT_DONE, or EXIT_WRONG_USE after a message on standard error. */
int read_options(int argc, char **argv, const struct command *command, struct options *out);
void print_help(FILE *f);
void print_command_help(FILE *f, const struct command *command);

/* Opens the case of options->operand and applies the settings of the command line. Prints what is
 * wrong. EXIT_DONE or the exit status; *out is what could be read, to be freed either way, or NULL.
 */
int open_case(const struct options *options, packspan_case **out);
/* Makes its study. Prints what is wrong. EXIT_DONE or the exit status. */
int open_study(const struct options *options, packspan_case *c, packspan_study **out);
/* Applies the settings of the command line. */
void apply_settings(const struct options *options, packspan_case *c);
/* Finds out before a command works whether its tables can be written into the folder; says why not,
 * and after "choose another folder" how. */
int prepare_folder(const char *command, const char *how, const char *folder);

/* Says that a part that was there was of no use. */
void tell_remade(const char *folder, const char *name);

/* The folder of the results: the setting, or results/NAME-OF-CASE. */
void choose_folder(packspan_case *c, char *folder, size_t size);

/* Prints the case's errors, or its warnings, on `f`; returns how many. */
size_t print_problems(FILE *f, const packspan_case *c, bool errors, const char *indent);

/* A progress line on standard error, on a terminal only; also ends the run on Ctrl-C. */
struct progress {
    bool shown;
    bool open_ended; /* nobody knows how many samples it will take */
    double started;
    double printed; /* when it was last, where that is not each time */
};
void progress_start(struct progress *p, bool quiet, bool open_ended);
bool progress_step(void *user, uint64_t done, uint64_t total);
/* On a terminal, a few times a second. */
bool progress_is_due(struct progress *p);
/* Ctrl-C was pressed, or the program told to end. */
bool progress_stop_asked(void);
void progress_end(struct progress *p);

void print_results(FILE *f, packspan_case *c, const packspan_results *r, const char *folder);

/* Columns that `text` takes on a terminal (UTF-8 code points). */
int display_width(const char *text);
/* 1234567 as "1 234 567" (ISO 80000-1). */
void print_grouped(FILE *f, uint64_t value);
/* Prints `text` and blanks up to `width` columns. */
void print_padded(FILE *f, const char *text, int width);
/* 1234567 as "1 234 567" (ISO 80000-1). */
void print_grouped(FILE *f, uint64_t value);
/* "1 point", "1 000 points". */
void print_points(FILE *f, uint64_t points);
/* The last line of a command that wrote the tables of a study. */
void print_study_tables(const char *folder);

#endif
