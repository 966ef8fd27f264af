/* One share of the points of a study as a file, and the shares put together again. */
#ifndef PACKSPAN_STUDY_STUDY_PART_H
#define PACKSPAN_STUDY_STUDY_PART_H

#include "study/own_part.h"
#include "study/part_set.h"
#include "study/study.h"

/* The study is that share of its points from now on. PACKSPAN_USAGE when there are fewer points
 * than parts. */
packspan_status study_take_share(struct study *s, struct part_of part);

/* As own_part_find(). */
packspan_status study_part_find(const struct study *s, const char *path, struct problems *problems,
                                enum own_part *found);
/* All points of the share, which the journal must hold. */
packspan_status study_part_write(const struct study *s, const char *path,
                                 const struct journal *journal);

/* The tables of the whole study, by its parts. What is wrong with a part is reported. */
packspan_status study_merge(const struct part_set *parts, const struct study *s, const char *folder,
                            struct problems *problems, struct study_report *report, char **path);

#endif
