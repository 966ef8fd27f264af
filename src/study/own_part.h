/* The file that a part is to become: perhaps it is there already. */
#ifndef PACKSPAN_STUDY_OWN_PART_H
#define PACKSPAN_STUDY_OWN_PART_H

#include "study/part_file.h"

enum own_part { OWN_PART_NONE, OWN_PART_THERE, OWN_PART_DAMAGED };

/* OWN_PART_DAMAGED is one that packspan wrote, cut off or with other bytes since, which may be
 * replaced. Anything else that is no part with this header is reported: PACKSPAN_BAD_CASE.
 * PACKSPAN_IO with errno, reported. part_file_free() after OWN_PART_THERE. */
packspan_status own_part_find(const char *path, const struct header *header,
                              struct problems *problems, enum own_part *found,
                              struct part_file *out);

#endif
