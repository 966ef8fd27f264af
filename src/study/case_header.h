/* What a part, or a journal, says about the case that it comes from. */
#ifndef PACKSPAN_STUDY_CASE_HEADER_H
#define PACKSPAN_STUDY_CASE_HEADER_H

#include "case/case.h"
#include "study/part_file.h"

/* Adds kind, version, the case's folder, the checksums of the files and of packspan's own cycles
 * that it was read from, and every setting that alters results. */
void header_add_case(struct header *h, const char *kind, const struct case_data *c);

/* Where the case is. */
void header_add_folder(struct header *h, const struct case_data *c);
/* The checksums alone, by the kind that the header has already: a run does not depend on the design
 * of a study. The table of settings is not among them: settings count as they are in force. */
void header_add_files(struct header *h, const struct case_data *c);

/* NULL, or the name of the file, or cycle, that the item is the checksum of. */
const char *header_file_of(const char *item);

/* Reports each file of the case that is not what it was when the header was made. */
void header_check_case(const struct header *h, const struct case_data *c,
                       struct problems *problems);

#endif
