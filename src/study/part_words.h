/* Parts in an analyst's words: how two of them differ, and what makes one that is missing. */
#ifndef PACKSPAN_STUDY_PART_WORDS_H
#define PACKSPAN_STUDY_PART_WORDS_H

#include "study/part_file.h"

/* What h is, and `other` is not, but for the items in `own` (NULL at the end): "is part of another
 * run: seed is 7, not 1; inputs.csv differs". "" when there is no difference; malloc'd, NULL when
 * out of memory. */
char *part_difference(const struct header *h, const struct header *other, const char *const *own);

/* The command that works a part of that kind out into `folder`, up to the share; malloc'd. */
char *part_command(const struct header *h, const char *folder);

#endif
