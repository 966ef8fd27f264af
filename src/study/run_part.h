/* A share of a run as the payload of a part: what shares add up to, bit for bit. Of a huge run it
 * holds as much as of a small one, but for a few digits. */
#ifndef PACKSPAN_STUDY_RUN_PART_H
#define PACKSPAN_STUDY_RUN_PART_H

#include "engine/run.h"
#include "study/part_file.h"

/* Of so many blocks of samples, or points of a study, from .. to - 1 are the part's. */
void part_share(struct part_of part, uint64_t count, uint64_t *from, uint64_t *to);

/* OUT/part_K_of_N, which a part's files begin with, and its .part; malloc'd. */
char *part_stem(const char *folder, struct part_of part);
char *run_part_path(const char *folder, struct part_of part);

/* `share` is what run_share() has made, with its *pilot. */
void run_part_put(struct run_outcome *share, uint64_t pilot, struct byte_writer *w);

/* Adds blocks from .. to - 1, which follow those that were added before, to what run_open() has
 * made. Where *pilot is not 0, the share needs a longer pilot and holds nothing. PACKSPAN_BAD_CASE
 * when the bytes are not what packspan writes for the case; PACKSPAN_NO_MEMORY. */
packspan_status run_part_take(struct byte_reader *r, uint64_t from, uint64_t to, uint64_t *pilot,
                              struct run_outcome *into);

#endif
