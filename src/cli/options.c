/* Options are the settings of the library's table, in GNU long form. */
#include <errno.h>
#include <getopt.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "cli.h"

enum { OWN_OPTION = 999, HELP_OPTION = 1000, OUT_OPTION = 'o' };

static bool takes(const struct command *command, size_t setting)
{
    const char *takers = packspan_setting_text(setting, PACKSPAN_SETTING_COMMANDS);
    return command->takes_settings && strstr(takers, command->name);
}

static void put_operands(char *text, size_t size, const struct command *command)
{
    snprintf(text, size, "%s%s%s%s", command->operand ? " " : "",
             command->operand ? command->operand : "", command->more ? " " : "",
             command->more ? command->more : "");
}

void print_help(FILE *f)
{
    fprintf(f,
            "packspan %s: how sure one can be about an electric vehicle's battery and range\n\n"
            "usage: packspan COMMAND [OPTION]...\n\n",
            PACKSPAN_VERSION);
    for (size_t i = 0; i < command_count; i++) {
        char call[64], operands[48];
        put_operands(operands, sizeof operands, &commands[i]);
        snprintf(call, sizeof call, "%s%s", commands[i].name, operands);
        fprintf(f, "  %-17s %s\n", call, commands[i].summary);
    }
    fprintf(f, "\n'packspan COMMAND --help' lists a command's options.\n");
}

static void print_setting(FILE *f, size_t i)
{
    const char *argument = packspan_setting_text(i, PACKSPAN_SETTING_ARGUMENT);
    const char *name = packspan_setting_text(i, PACKSPAN_SETTING_NAME);
    char option[64], value[4096];
    packspan_setting_default(i, value, sizeof value);
    snprintf(option, sizeof option, "%s--%s%s%s", strcmp(name, "out") == 0 ? "-o, " : "    ", name,
             argument ? " " : "", argument ? argument : "");
    fprintf(f, "  %-22s %s\n", option, packspan_setting_text(i, PACKSPAN_SETTING_MEANING));
    if (argument)
        fprintf(f, "  %-22s %s%s%s\n", "", packspan_setting_text(i, PACKSPAN_SETTING_RANGE),
                *value ? "; default " : "", value);
}

void print_command_help(FILE *f, const struct command *command)
{
    char operands[48], option[64];
    put_operands(operands, sizeof operands, command);
    fprintf(f, "usage: packspan %s%s%s\n%s\n", command->name, operands,
            command->takes_settings ? " [OPTION]..." : "", command->summary);
    if (!command->takes_settings)
        return;
    fprintf(f, "\n");
    if (command->own) {
        snprintf(option, sizeof option, "    --%s %s", command->own, command->own_argument);
        fprintf(f, "  %-22s %s\n", option, command->own_meaning);
    }
    for (size_t i = 0; i < packspan_setting_count(); i++)
        if (takes(command, i))
            print_setting(f, i);
    fprintf(f, "\nsettings.csv of the case can set the same; the command line wins.\n");
}

static int wrong_use(const struct command *command, const char *what, const char *text)
{
    fprintf(stderr, "packspan %s: %s: '%s'\nTry 'packspan %s --help'.\n", command->name, what, text,
            command->name);
    return EXIT_WRONG_USE;
}

static int unknown_option(const struct command *command, const char *word)
{
    const char *names[64];
    size_t count = 0;
    if (command->own)
        names[count++] = command->own;
    for (size_t i = 0; i < packspan_setting_count(); i++)
        if (takes(command, i))
            names[count++] = packspan_setting_text(i, PACKSPAN_SETTING_NAME);
    const char *bare = word + strspn(word, "-");
    char name[64];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(bare, "="), bare);
    const char *nearest = packspan_nearest_word(name, names, count);
    fprintf(stderr, "packspan %s: no such option: '%s'", command->name, word);
    if (nearest)
        fprintf(stderr, "; did you mean '--%s'?", nearest);
    fprintf(stderr, "\nTry 'packspan %s --help'.\n", command->name);
    return EXIT_WRONG_USE;
}

static int take_setting(const struct command *command, size_t index, const char *value,
                        struct options *out)
{
    const char *name = packspan_setting_text(index, PACKSPAN_SETTING_NAME);
    if (!packspan_setting_allows(name, value)) {
        fprintf(stderr, "packspan %s: option '--%s': is not possible: '%s'; %s\n", command->name,
                name, value, packspan_setting_text(index, PACKSPAN_SETTING_RANGE));
        return EXIT_WRONG_USE;
    }
    size_t room = sizeof out->settings / sizeof out->settings[0];
    if (out->setting_count == room)
        return wrong_use(command, "too many options", name);
    out->settings[out->setting_count].name = name;
    out->settings[out->setting_count].value = value;
    out->setting_count++;
    return EXIT_DONE;
}

int read_options(int argc, char **argv, const struct command *command, struct options *out)
{
    struct option known[66] = {{"help", no_argument, NULL, HELP_OPTION}};
    size_t count = 1, out_index = SIZE_MAX;
    if (command->own)
        known[count++] = (struct option){command->own, required_argument, NULL, OWN_OPTION};
    for (size_t i = 0; i < packspan_setting_count(); i++) {
        const char *name = packspan_setting_text(i, PACKSPAN_SETTING_NAME);
        bool is_switch = packspan_setting_text(i, PACKSPAN_SETTING_ARGUMENT) == NULL;
        if (takes(command, i))
            known[count++] = (struct option){name, is_switch ? no_argument : required_argument,
                                             NULL, HELP_OPTION + 1 + (int)i};
        if (strcmp(name, "out") == 0 && takes(command, i))
            out_index = i;
    }
    *out = (struct options){.command = command->name};
    opterr = 0;
    int c;
    while ((c = getopt_long(argc, argv, out_index < SIZE_MAX ? ":o:h" : ":h", known, NULL)) != -1) {
        int status = EXIT_DONE;
        if (c == HELP_OPTION || c == 'h')
            out->help = true;
        else if (c == ':')
            status = wrong_use(command, "option needs a value", argv[optind - 1]);
        else if (c == OWN_OPTION)
            out->own = optarg;
        else if (c == '?' && optopt > 0 && optopt < OWN_OPTION)
            status = unknown_option(command, (char[]){'-', (char)optopt, '\0'});
        else if (c == '?')
            status = unknown_option(command, argv[optind - 1]);
        else if (c == OUT_OPTION)
            status = take_setting(command, out_index, optarg, out);
        else
            status =
                take_setting(command, (size_t)(c - HELP_OPTION - 1), optarg ? optarg : "yes", out);
        if (status != EXIT_DONE)
            return status;
    }
    if (out->help)
        return EXIT_DONE;
    if (command->operand && optind < argc)
        out->operand = argv[optind++];
    if (command->more) {
        out->more = argv + optind;
        out->more_count = (size_t)(argc - optind);
        optind = argc;
    }
    if (optind < argc)
        return wrong_use(command, "one argument too many", argv[optind]);
    if (command->operand && (!out->operand || !*out->operand))
        return wrong_use(command, "an argument is missing", command->operand);
    if (command->more && out->more_count == 0)
        return wrong_use(command, "an argument is missing", command->more);
    return EXIT_DONE;
}

size_t print_problems(FILE *f, const packspan_case *c, bool errors, const char *indent)
{
    size_t count = 0;
    for (size_t i = 0; i < packspan_case_problem_count(c); i++) {
        if (packspan_case_problem_is_error(c, i) != errors)
            continue;
        fprintf(f, "%s%s\n", indent, packspan_case_problem(c, i));
        count++;
    }
    return count;
}

static int check_settings(const struct options *options, packspan_case *c)
{
    unsigned long long keep = strtoull(packspan_case_setting(c, "keep"), NULL, 10);
    unsigned long long samples = strtoull(packspan_case_setting(c, "samples"), NULL, 10);
    if (keep <= samples)
        return EXIT_DONE;
    fprintf(stderr,
            "packspan %s: keep is %llu but samples is only %llu; raise samples or lower keep\n",
            options->command, keep, samples);
    return EXIT_WRONG_USE;
}

void apply_settings(const struct options *options, packspan_case *c)
{
    for (size_t i = 0; i < options->setting_count; i++)
        packspan_case_set(c, options->settings[i].name, options->settings[i].value);
}

void choose_folder(packspan_case *c, char *folder, size_t size)
{
    snprintf(folder, size, "%s", packspan_case_setting(c, "out"));
    if (!*folder)
        snprintf(folder, size, "results/%s", packspan_case_name(c));
}

int prepare_folder(const char *command, const char *how, const char *folder)
{
    packspan_status status = packspan_folder_prepare(folder);
    if (status == PACKSPAN_USAGE)
        fprintf(stderr,
                "packspan %s: %s holds a case, whose tables the results would replace; choose "
                "another folder%s\n",
                command, folder, how);
    else if (status != PACKSPAN_OK)
        fprintf(stderr, "packspan %s: cannot write into %s: %s\n", command, folder,
                strerror(errno));
    return exit_status_of(status);
}

/* Of settings that contradict each other there is one problem, and none of a case that is not
 * there. */
static int tell_errors(const struct options *options, const packspan_case *c,
                       packspan_status status)
{
    size_t errors = c ? print_problems(stderr, c, true, "") : 0;
    if (errors == 0)
        fprintf(stderr, "packspan: %s: %s\n", options->operand, packspan_status_text(status));
    else if (status != PACKSPAN_USAGE)
        fprintf(stderr, "packspan: %zu problem%s in case '%s'\n", errors, errors == 1 ? "" : "s",
                options->operand);
    return exit_status_of(status);
}

int open_case(const struct options *options, packspan_case **out)
{
    packspan_case *c = NULL;
    packspan_study *none = NULL;
    packspan_status status = packspan_case_open(options->operand, &c);
    *out = c;
    if (c)
        apply_settings(options, c);
    if (status == PACKSPAN_OK)
        return check_settings(options, c);
    if (c && packspan_case_has_study(c))
        packspan_study_open(c, &none); /* adds what is wrong with its points */
    return tell_errors(options, c, status);
}

int open_study(const struct options *options, packspan_case *c, packspan_study **out)
{
    packspan_status status = packspan_study_open(c, out);
    return status == PACKSPAN_OK ? EXIT_DONE : tell_errors(options, c, status);
}
