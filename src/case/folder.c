/* The files of a case's folder: which tables there are, which of them packspan does not read, and
 * the speed traces. */
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/text.h"
#include "case/reading.h"

static const char cycle_prefix[] = "cycle_";
static const char extension[] = ".csv";

static const char *const known_tables[] = {
    "vehicles.csv",   "inputs.csv", "trips.csv", "claims.csv", "evidence.csv",
    "candidates.csv", "links.csv",  "study.csv", "points.csv", "settings.csv"};
static const char *const shipped_cycles[] = {"udds", "hwfet", "us06", "sc03", "wltc3b"};

#define COUNT(list) (sizeof(list) / sizeof(list)[0])

static bool is_among(const char *name, const char *const *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(list[i], name) == 0)
            return true;
    return false;
}

static bool is_table_file(const char *name)
{
    size_t length = strlen(name), end = strlen(extension);
    return *name != '.' && length > end && strcasecmp(name + length - end, extension) == 0;
}

static bool is_cycle_file(const char *name)
{
    return strncmp(name, cycle_prefix, strlen(cycle_prefix)) == 0;
}

/* ---- the list of files ---- */

static bool add_file(struct reading *r, const char *name)
{
    char **files = reallocarray(r->files, r->file_count + 1, sizeof *files);
    if (!files) {
        r->no_memory = true;
        return false;
    }
    r->files = files;
    files[r->file_count] = copy_or_fail(r, name);
    if (!files[r->file_count])
        return false;
    r->file_count++;
    return true;
}

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static void report_folder(struct reading *r, int reason)
{
    static const char remedy[] = "a case is a folder with the tables vehicles.csv and inputs.csv";
    const char *what = reason == ENOENT    ? "no such folder"
                       : reason == ENOTDIR ? "is not a folder"
                                           : "cannot be read";
    bool other = reason != ENOENT && reason != ENOTDIR;
    problems_add(&r->c->problems, SEVERITY_ERROR, r->c->folder, 0, NULL, what,
                 other ? strerrordesc_np(reason) : NULL, other ? NULL : remedy);
    r->missing = r->missing || reason == ENOENT;
    r->unreadable = r->unreadable || other;
}

bool list_folder(struct reading *r)
{
    DIR *folder = opendir(r->c->folder);
    int reason = folder ? 0 : errno;
    while (folder) {
        errno = 0;
        const struct dirent *entry = readdir(folder);
        if (!entry)
            reason = errno;
        if (!entry || (is_table_file(entry->d_name) && !add_file(r, entry->d_name)))
            break;
    }
    if (folder)
        closedir(folder);
    if (reason)
        report_folder(r, reason);
    if (r->file_count)
        qsort(r->files, r->file_count, sizeof *r->files, compare_names);
    return !reason && !r->no_memory;
}

/* ---- files that no table accounts for ---- */

static void report_file(struct reading *r, const char *name, enum severity severity,
                        const char *what, const char *remedy)
{
    char *path = path_in_case(r, name);
    if (path)
        problems_add(&r->c->problems, severity, path, 0, NULL, what, NULL, remedy);
    free(path);
}

static void warn_of_stray(struct reading *r, const char *name)
{
    char *remedy =
        advice(name, known_tables, COUNT(known_tables),
               "packspan reads vehicles.csv, inputs.csv, trips.csv, claims.csv, "
               "evidence.csv, candidates.csv, links.csv, study.csv, points.csv, settings.csv and "
               "cycle_NAME.csv");
    report_file(r, name, SEVERITY_WARNING, remedy ? "is not a table of a case" : NULL, remedy);
    free(remedy);
}

void check_other_files(struct reading *r)
{
    for (size_t i = 0; i < r->file_count; i++) {
        const char *name = r->files[i];
        if (is_among(name, known_tables, COUNT(known_tables)) || is_cycle_file(name) ||
            is_among(name, (const char *const *)r->readings, r->reading_count))
            continue;
        warn_of_stray(r, name);
    }
}

/* ---- the case's own cycles ---- */

static bool is_taken(const char *name)
{
    for (size_t i = 0; i < COUNT(shipped_cycles); i++)
        if (strcasecmp(shipped_cycles[i], name) == 0)
            return true;
    return strcasecmp(name, "steady") == 0;
}

/* False when no trip can name it, which is reported. */
static bool check_cycle_name(struct reading *r, const char *path, const char *name)
{
    bool allowed = is_name(name);
    if (!allowed)
        problems_add(&r->c->problems, SEVERITY_ERROR, path, 0, NULL, "is not a cycle's name", name,
                     "name the file cycle_NAME.csv, with letters, digits, '_' and '-' in NAME");
    else if (is_taken(name))
        problems_add(&r->c->problems, SEVERITY_ERROR, path, 0, NULL,
                     "the cycle's name is taken by packspan", name,
                     "rename the file, and the cycle in trips.csv");
    return allowed && !is_taken(name);
}

/* Reads a trace, which stays without points when it is wrong. */
static packspan_status read_trace(struct reading *r, const char *path, struct cycle *cycle)
{
    struct cycle trace = {0};
    packspan_status status = cycle_read(path, cycle->name, &r->c->problems, &trace);
    r->unreadable = r->unreadable || status == PACKSPAN_IO;
    r->no_memory = r->no_memory || status == PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        free(cycle->name);
        *cycle = trace;
    }
    return status;
}

static void read_own_cycle(struct reading *r, const char *file)
{
    char *path = path_in_case(r, file);
    size_t start = strlen(cycle_prefix), length = strlen(file) - start - strlen(extension);
    char *name = strndup(file + start, length);
    if (!path || !name) {
        r->no_memory = true;
        free(path);
        free(name);
        return;
    }
    struct cycle cycle = {.name = name};
    bool usable = check_cycle_name(r, path, name);
    if (read_trace(r, path, &cycle) == PACKSPAN_OK)
        list_file(r, path, cycle.checksum);
    if (usable)
        r->own_cycles[r->own_cycle_count++] = cycle;
    else
        cycle_free(&cycle);
    free(path);
}

void read_own_cycles(struct reading *r)
{
    r->own_cycles = calloc(r->file_count + 1, sizeof *r->own_cycles);
    r->no_memory = r->no_memory || !r->own_cycles;
    for (size_t i = 0; i < r->file_count && !r->no_memory; i++)
        if (is_cycle_file(r->files[i]))
            read_own_cycle(r, r->files[i]);
}

/* ---- cycles by name ---- */

static size_t add_cycle(struct reading *r, struct cycle *cycle)
{
    struct case_data *c = r->c;
    struct cycle *cycles = reallocarray(c->cycles, c->cycle_count + 1, sizeof *cycles);
    if (!cycles) {
        r->no_memory = true;
        cycle_free(cycle);
        return SIZE_MAX;
    }
    c->cycles = cycles;
    cycles[c->cycle_count] = *cycle;
    return c->cycle_count++;
}

static size_t take_own(struct reading *r, struct cycle *own)
{
    char *name = copy_or_fail(r, own->name);
    if (!name)
        return SIZE_MAX;
    struct cycle taken = *own;
    *own = (struct cycle){.name = name}; /* for advice */
    return add_cycle(r, &taken);
}

static size_t take_shipped(struct reading *r, const char *name)
{
    char *path = text_format("%s/%s%s", cycle_folder(), name, extension);
    struct cycle cycle = {.name = copy_or_fail(r, name)};
    if (!path || !cycle.name) {
        r->no_memory = true;
        free(path);
        cycle_free(&cycle);
        return SIZE_MAX;
    }
    if (read_trace(r, path, &cycle) == PACKSPAN_MISSING) {
        problems_add(&r->c->problems, SEVERITY_ERROR, path, 0, NULL, "no such file", NULL,
                     "PACKSPAN_CYCLES, if set, names the folder of the cycles that come with "
                     "packspan");
        r->missing = true;
    }
    free(path);
    free(cycle.file);
    cycle.file = NULL;
    return add_cycle(r, &cycle);
}

size_t take_cycle(struct reading *r, const char *name)
{
    for (size_t i = 0; i < r->c->cycle_count; i++)
        if (strcmp(r->c->cycles[i].name, name) == 0)
            return i;
    for (size_t i = 0; i < r->own_cycle_count; i++)
        if (strcmp(r->own_cycles[i].name, name) == 0)
            return take_own(r, &r->own_cycles[i]);
    return is_among(name, shipped_cycles, COUNT(shipped_cycles)) ? take_shipped(r, name) : SIZE_MAX;
}

char *cycle_advice(const struct reading *r, const char *word)
{
    const char **names = calloc(COUNT(shipped_cycles) + 1 + r->own_cycle_count, sizeof *names);
    if (!names)
        return NULL;
    size_t count = 0;
    for (size_t i = 0; i < COUNT(shipped_cycles); i++)
        names[count++] = shipped_cycles[i];
    names[count++] = "steady";
    for (size_t i = 0; i < r->own_cycle_count; i++)
        names[count++] = r->own_cycles[i].name;
    char *remedy = advice(word, names, count, NULL);
    free(names);
    return remedy;
}
