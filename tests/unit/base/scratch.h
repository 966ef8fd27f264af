/* A folder of its own for a test that needs files. */
#ifndef PACKSPAN_TESTS_SCRATCH_H
#define PACKSPAN_TESTS_SCRATCH_H

#include <ftw.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static inline int scratch_remove_entry(const char *path, const struct stat *status, int type,
                                       struct FTW *place)
{
    (void)status;
    (void)type;
    (void)place;
    return remove(path);
}

/* The path of a new empty folder; free() it after scratch_remove(). NULL on failure. */
static inline char *scratch_create(void)
{
    const char *parent = getenv("TMPDIR");
    char *path;
    if (asprintf(&path, "%s/packspan-test-XXXXXX", parent ? parent : "/tmp") < 0)
        return NULL;
    if (mkdtemp(path))
        return path;
    free(path);
    return NULL;
}

static inline void scratch_remove(const char *path)
{
    nftw(path, scratch_remove_entry, 8, FTW_DEPTH | FTW_PHYS);
}

/* Set-up and tear-down of a cmocka test that works inside such a folder, which is *state. */
static inline int scratch_enter(void **state)
{
    *state = scratch_create();
    return !*state || chdir(*state);
}

static inline int scratch_leave(void **state)
{
    int failed = chdir("/");
    scratch_remove(*state);
    free(*state);
    return failed;
}

#endif
