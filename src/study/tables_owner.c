#include "study/tables_owner.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"

static const char checksum_item[] = "checksum ";

/* ---- what study ---- */

static bool has_line(const char *record, const char *line)
{
    size_t length = strlen(line);
    for (const char *at = strstr(record, line); at; at = strstr(at + 1, line))
        if ((at == record || at[-1] == '\n') && (at[length] == '\n' || at[length] == '\r'))
            return true;
    return false;
}

/* The value of an item, as study_run.csv quotes it. */
static bool has_item(const char *record, const struct header_item *item, bool *no_memory)
{
    char *line = study_record_line(item->name, item->value);
    bool has = line && has_line(record, line);
    *no_memory = *no_memory || !line;
    free(line);
    return has;
}

/* A Sobol' design of fewer points gives the first ones of this one. */
static bool had_fewer_points(const struct study *s, const char *record)
{
    static const char item[] = "\npoints,";
    const char *at = s->design.sobol ? strstr(record, item) : NULL;
    return at && strtoull(at + sizeof item - 1, NULL, 10) < s->design.points;
}

/* Everything that tells the study from others. */
static packspan_status compare_study(const struct study *s, const char *record, bool *same,
                                     bool *grown)
{
    bool no_memory = false;
    *same = true;
    *grown = false;
    for (size_t i = 0; i < s->header.count; i++) {
        const struct header_item *item = &s->header.items[i];
        if (has_item(record, item, &no_memory))
            continue;
        bool may_differ = strcmp(item->name, "points") == 0 && had_fewer_points(s, record);
        *grown = *grown || may_differ;
        *same = *same && may_differ;
    }
    return no_memory ? PACKSPAN_NO_MEMORY : PACKSPAN_OK;
}

/* ---- what tables ---- */

/* "NAME,DIGITS" of a line of the record; malloc'd names the path. */
static packspan_status check_table(const char *folder, const char *at, char **path, bool *same,
                                   bool *missing)
{
    char checksum[CHECKSUM_SIZE];
    size_t name = strcspn(at, ",\n");
    char *copy = strndup(at, name);
    *path = copy ? text_format("%s/%s", folder, copy) : NULL;
    free(copy);
    if (!*path)
        return PACKSPAN_NO_MEMORY;
    packspan_status status = file_checksum(*path, checksum);
    *missing = status == PACKSPAN_MISSING;
    *same = *missing || (at[name] == ',' && status == PACKSPAN_OK &&
                         strncmp(at + name + 1, checksum, CHECKSUM_SIZE - 1) == 0);
    return *missing ? PACKSPAN_OK : status;
}

static packspan_status check_tables(const char *folder, const char *record,
                                    struct problems *problems, enum tables_owner *owner)
{
    packspan_status status = PACKSPAN_OK;
    size_t length = sizeof checksum_item - 1;
    for (const char *at = record; at && status == PACKSPAN_OK; at = strchr(at, '\n')) {
        char *path = NULL;
        bool same = true, missing = false;
        at += *at == '\n';
        if (strncmp(at, checksum_item, length) != 0)
            continue;
        status = check_table(folder, at + length, &path, &same, &missing);
        if (missing && *owner == TABLES_OWN)
            *owner = TABLES_PARTIAL;
        if (status == PACKSPAN_OK && !same) {
            *owner = TABLES_OTHER;
            problems_add(problems, SEVERITY_ERROR, path, 0, NULL,
                         "has been edited since this study wrote it", NULL, NULL);
        }
        free(path);
    }
    return status;
}

/* ---- both ---- */

static packspan_status judge(const struct study *s, const char *folder, const char *path,
                             const char *record, struct problems *problems,
                             enum tables_owner *owner)
{
    bool same, grown;
    packspan_status status = compare_study(s, record, &same, &grown);
    if (status != PACKSPAN_OK)
        return status;
    *owner = same ? TABLES_OWN : TABLES_OTHER;
    if (!same)
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL,
                     "is the record of another study, or of this one with other settings or tables",
                     NULL, NULL);
    else
        status = check_tables(folder, record, problems, owner);
    if (grown && *owner == TABLES_OWN)
        *owner = TABLES_PARTIAL;
    return status;
}

packspan_status tables_owner_find(const struct study *s, const char *folder,
                                  struct problems *problems, enum tables_owner *owner)
{
    enum { MOST_RECORD = 1 << 24 };
    char *path = text_format("%s/%s", folder, study_record_name), *record = NULL;
    size_t length;
    packspan_status status =
        path ? file_read(path, MOST_RECORD, &record, &length) : PACKSPAN_NO_MEMORY;
    int reason = errno;
    if (status == PACKSPAN_MISSING) {
        char *table = study_table_there(folder);
        *owner = table ? TABLES_OTHER : TABLES_NONE;
        if (table)
            problems_add(problems, SEVERITY_ERROR, table, 0, NULL,
                         "is there without a study_run.csv, which would tell whose it is", NULL,
                         NULL);
        free(table);
        status = PACKSPAN_OK;
    } else if (status == PACKSPAN_OK) {
        status = judge(s, folder, path, record, problems, owner);
        reason = errno;
    }
    free(record);
    free(path);
    errno = reason;
    return problems->out_of_memory ? PACKSPAN_NO_MEMORY : status;
}

packspan_status tables_may_be_written(const struct study *s, const char *folder,
                                      struct problems *problems)
{
    enum tables_owner owner = TABLES_NONE;
    packspan_status status = tables_owner_find(s, folder, problems, &owner);
    if (status != PACKSPAN_OK || owner != TABLES_OTHER)
        return status;
    problems_add(problems, SEVERITY_ERROR, folder, 0, NULL,
                 "holds tables that this study did not write", NULL,
                 "take another folder, or remove study_run.csv, study.csv and the other tables of "
                 "a study from it");
    return PACKSPAN_BAD_CASE;
}
