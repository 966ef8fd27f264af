#include "case/case_files.h"

#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static bool is_listed(const struct case_files *files, const char *name)
{
    for (size_t i = 0; i < files->count; i++)
        if (strcmp(files->file[i].name, name) == 0)
            return true;
    return false;
}

packspan_status case_files_add(struct case_files *files, const char *name,
                               const char checksum[CHECKSUM_SIZE])
{
    if (is_listed(files, name))
        return PACKSPAN_OK;
    struct case_file *longer = reallocarray(files->file, files->count + 1, sizeof *longer);
    if (!longer)
        return PACKSPAN_NO_MEMORY;
    files->file = longer;
    struct case_file *added = &longer[files->count];
    added->name = text_copy(name);
    if (!added->name)
        return PACKSPAN_NO_MEMORY;
    memcpy(added->checksum, checksum, CHECKSUM_SIZE);
    files->count++;
    return PACKSPAN_OK;
}

static int compare_files(const void *a, const void *b)
{
    return strcmp(((const struct case_file *)a)->name, ((const struct case_file *)b)->name);
}

void case_files_sort(struct case_files *files)
{
    if (files->count > 0)
        qsort(files->file, files->count, sizeof *files->file, compare_files);
}

void case_files_free(struct case_files *files)
{
    for (size_t i = 0; i < files->count; i++)
        free(files->file[i].name);
    free(files->file);
    *files = (struct case_files){0};
}
