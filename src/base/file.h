/* Files written whole or not at all. */
#ifndef PACKSPAN_BASE_FILE_H
#define PACKSPAN_BASE_FILE_H

#include "base/digest.h"
#include <packspan/packspan.h>
#include <stdbool.h>
#include <stdio.h>

/* A table on its way to `path`: written to a temporary name in the same folder, flushed to disk
 * and renamed by file_commit(); file_abandon() removes the temporary. */
struct file_draft {
    FILE *stream;
    char *path, *temporary;
    char *buffer; /* the stream's */
};

/* PACKSPAN_IO with errno kept when the file cannot be created. */
packspan_status file_begin(struct file_draft *draft, const char *path);
/* All that was written so far, on the disk under the temporary name. PACKSPAN_IO with errno. */
packspan_status file_sync(struct file_draft *draft);
/* Checks the stream's error flag, fflush, fsync, fclose and rename; on any failure the temporary
 * is removed, errno tells why and PACKSPAN_IO is returned. The draft is finished either way. */
packspan_status file_commit(struct file_draft *draft);
void file_abandon(struct file_draft *draft);
/* Removes what processes that were killed have left of drafts of `path`. For whoever knows that
 * nobody else is writing it. */
void file_remove_drafts(const char *path);

/* Makes it last that a file was made or renamed to `path`. False with errno when the disk fails. */
bool file_flush_folder(const char *path);

bool file_is_folder(const char *path);
/* mkdir -p. PACKSPAN_IO with errno kept. */
packspan_status file_make_folder(const char *path);

/* Reads a whole file into malloc'd memory (one extra '\0' at the end). PACKSPAN_MISSING when it
 * does not exist, PACKSPAN_IO (errno kept; EISDIR for a folder; EFBIG above `limit` bytes). */
packspan_status file_read(const char *path, size_t limit, char **bytes, size_t *length);

/* Lower-case hexadecimal SHA-256 (64 digits and '\0') as sha256sum prints it. */
packspan_status file_checksum(const char *path, char hex[CHECKSUM_SIZE]);
/* The same of a file that is in memory. */
void bytes_checksum(const char *bytes, size_t length, char hex[CHECKSUM_SIZE]);

#endif
