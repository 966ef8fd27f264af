/* What one share of a study or of a huge run leaves on disk: lines of text that tell what it is a
 * part of, then bytes, then a checksum.
 *
 *     packspan part,1
 *     ITEM,VALUE          once for each item of the header
 *     payload,BYTES
 *                         an empty line
 *     the payload
 *     sha256,DIGITS       of everything before this line
 *
 * In an item or a value a byte below 0x20, a comma or a % is written as %XX. */
#ifndef PACKSPAN_STUDY_PART_FILE_H
#define PACKSPAN_STUDY_PART_FILE_H

#include <packspan/packspan.h>

#include "base/bytes.h"
#include "base/file.h"
#include "base/problems.h"

/* ---- the header, which a study's journal begins with too ---- */

struct header_item {
    char *name, *value;
};

struct header {
    struct header_item *items;
    size_t count;
    bool no_memory; /* an item is missing */
};
void header_add(struct header *h, const char *name, const char *value);
void header_add_whole(struct header *h, const char *name, uint64_t value);
void header_free(struct header *h);
/* NULL when there is no such item. */
const char *header_value(const struct header *h, const char *name);
/* False, and *value as it was, when there is no such item or it is no whole number. */
bool header_whole(const struct header *h, const char *name, uint64_t *value);

/* Lines of items and an empty one. */
void header_put(const struct header *h, struct byte_writer *w);
/* Reads them, up to and with the empty line. PACKSPAN_BAD_CASE when they are none. header_free() in
 * every case. */
packspan_status header_take(struct byte_reader *r, struct header *out);

/* Whether the list, NULL at its end, holds the name. */
bool header_is_among(const char *name, const char *const *list);
/* Reports each item that is not the same in both, but for those in `own` (NULL at the end): "seed
 * is 7 here, 8 in OTHER". */
void header_compare(const struct header *h, const char *file, const struct header *other,
                    const char *other_file, const char *const *own, struct problems *problems);

/* ---- the file ---- */

struct part_file {
    struct header header;
    const char *payload; /* in `bytes` */
    size_t length;
    char *bytes;
};

/* A part on its way, whole or not at all: flushed and renamed by part_file_commit(). */
struct part_draft {
    struct file_draft file;
    struct digest digest; /* of all that was put */
};

/* `length` bytes of payload are to follow. PACKSPAN_IO with errno. After PACKSPAN_OK
 * part_file_commit() or part_file_abandon(). */
packspan_status part_file_begin(struct part_draft *draft, const char *path,
                                const struct header *header, size_t length);
/* That the disk fails shows in part_file_commit(). */
void part_file_put(struct part_draft *draft, const void *bytes, size_t length);
packspan_status part_file_commit(struct part_draft *draft);
void part_file_abandon(struct part_draft *draft);

/* The same for a payload that is in memory. */
packspan_status part_file_write(const char *path, const struct header *header, const char *payload,
                                size_t length);
/* Reports what is wrong. PACKSPAN_BAD_CASE when it is no part file, or damaged; PACKSPAN_MISSING
 * and PACKSPAN_IO with errno. part_file_free() after PACKSPAN_OK. */
packspan_status part_file_read(const char *path, struct problems *problems, struct part_file *out);
/* The same; *is_damaged tells one that packspan began, but that is cut off or has other bytes
 * since, from what never was a part. It is left as it is when the file cannot be read. */
packspan_status part_file_probe(const char *path, struct problems *problems, bool *is_damaged,
                                struct part_file *out);
void part_file_free(struct part_file *p);

#endif
