/* The finished points of a study on disk, so that nothing that was worked out is lost. A header
 * tells what study it is; then every point has a slot of its own, of one size, with a checksum. So
 * points may finish in any order, a slot that was not written whole counts as not finished, and
 * nothing has to be known of the others. */
#ifndef PACKSPAN_STUDY_JOURNAL_H
#define PACKSPAN_STUDY_JOURNAL_H

#include "study/part_file.h"
#include "study/record.h"

struct journal {
    int file; /* -1 when closed */
    char *path;
    uint64_t first, count;       /* the points that it holds */
    size_t numbers;              /* of a record */
    size_t slot, start;          /* bytes of a slot, and before the first */
    uint8_t study[DIGEST_BYTES]; /* of the header: a slot of another study does not fit */
};

/* What was found when it was opened. */
struct journal_found {
    uint64_t done;    /* points that need not be worked out again */
    uint64_t damaged; /* slots that hold something else than a whole record: dropped */
    uint64_t end;     /* one past the last of the points that are done */
    bool header_damaged;
    bool in_use; /* PACKSPAN_IO: another process works on it */
};

enum slot_state { SLOT_EMPTY, SLOT_DONE, SLOT_DAMAGED };

/* Opens the journal at `path`, or makes it. PACKSPAN_BAD_CASE when it is one of another study, of
 * more points, or of no study at all: problems say in what they differ. PACKSPAN_IO with errno.
 * journal_close() in every case. */
packspan_status journal_open(const char *path, const struct header *header, uint64_t first,
                             uint64_t count, size_t numbers, struct problems *problems,
                             struct journal *out, struct journal_found *found);
void journal_close(struct journal *j);

/* Bytes that it takes on disk. */
uint64_t journal_size(const struct header *header, uint64_t count, size_t numbers);

/* How a journal's slots lie, without a file. journal_close() in every case. */
packspan_status journal_frame(const struct header *header, uint64_t first, uint64_t count,
                              size_t numbers, struct journal *out);
/* A record out of a slot that is in memory; false when it is no whole one of this point. */
bool journal_take(const struct journal *j, uint64_t point, const uint8_t *slot, struct record *out);
/* `space` has room for a slot. Several threads may read and write different points. */
packspan_status journal_read(const struct journal *j, uint64_t point, uint8_t *space,
                             struct record *out, enum slot_state *state);
/* The same of a point that is known to be done: PACKSPAN_IO when it is not, after all. */
packspan_status journal_read_done(const struct journal *j, uint64_t point, uint8_t *space,
                                  struct record *out);
packspan_status journal_write(const struct journal *j, const struct record *record, uint8_t *space);
/* To the disk itself. */
packspan_status journal_sync(const struct journal *j);

#endif
