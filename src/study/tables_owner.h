/* Whose the tables are that a folder holds: what another study, or a hand, has made is replaced by
 * none but a study whose own journal is there, which then says so. */
#ifndef PACKSPAN_STUDY_TABLES_OWNER_H
#define PACKSPAN_STUDY_TABLES_OWNER_H

#include "base/problems.h"
#include "study/study.h"

enum tables_owner {
    TABLES_NONE,
    TABLES_OWN,     /* complete, as this study wrote them */
    TABLES_PARTIAL, /* begun by this study, or by it with fewer points of a Sobol' design */
    TABLES_OTHER    /* of another study, or with other bytes since, which is reported */
};

/* By study_run.csv, which names the study and the SHA-256 of its tables. PACKSPAN_IO with errno. */
packspan_status tables_owner_find(const struct study *s, const char *folder,
                                  struct problems *problems, enum tables_owner *owner);

/* PACKSPAN_BAD_CASE, with what to do, when there are tables of another owner. */
packspan_status tables_may_be_written(const struct study *s, const char *folder,
                                      struct problems *problems);

#endif
