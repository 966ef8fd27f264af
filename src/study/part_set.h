/* The parts that are to be merged: read once to see that all are there, belong together and are not
 * damaged. Nothing but their names stays in memory. */
#ifndef PACKSPAN_STUDY_PART_SET_H
#define PACKSPAN_STUDY_PART_SET_H

#include <sys/types.h>

#include "study/part_file.h"

struct part_entry {
    char *path;
    uint64_t part;
    dev_t device; /* with the inode: which file it is, under whatever path */
    ino_t inode;
    char digest[65]; /* of the header, without what is the part's own */
};

struct part_set {
    struct part_entry *entries; /* [count]: parts 1 to count, once part_set_open() is done with */
    size_t count;
    struct header header; /* what they have in common */
};

/* `paths` are part files or folders that hold them. Reports everything that is wrong: PACKSPAN_OK,
 * or the first status that was not. part_set_free() in every case. */
packspan_status part_set_open(const char *const *paths, size_t n, struct problems *problems,
                              struct part_set *out);
void part_set_free(struct part_set *s);

/* Reports a sound part whose payload is not what the case gives; PACKSPAN_BAD_CASE. */
packspan_status part_blame(const char *path, struct problems *problems);

/* NULL-terminated: items that are not the same in all parts. */
extern const char *const part_own_items[];

#endif
