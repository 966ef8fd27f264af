/* The files that a case was read from, each with the SHA-256 of the bytes that were read: what
 * tells whether a result, a study or a part is of the same case. */
#ifndef PACKSPAN_CASE_CASE_FILES_H
#define PACKSPAN_CASE_CASE_FILES_H

#include <packspan/packspan.h>
#include <stddef.h>

#include "base/file.h"

struct case_file {
    char *name; /* its path from the case's folder on */
    char checksum[CHECKSUM_SIZE];
};

struct case_files {
    struct case_file *file; /* [count], by name once case_files_sort() was called */
    size_t count;
};

/* PACKSPAN_NO_MEMORY, and the list as it was, when there is no room. A file that is read several
 * times is listed once, as it was the first time. */
packspan_status case_files_add(struct case_files *files, const char *name,
                               const char checksum[CHECKSUM_SIZE]);
void case_files_sort(struct case_files *files);
void case_files_free(struct case_files *files);

#endif
