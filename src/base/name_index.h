/* Positions of names, found without comparing them all. */
#ifndef PACKSPAN_BASE_NAME_INDEX_H
#define PACKSPAN_BASE_NAME_INDEX_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define NAME_NOT_FOUND SIZE_MAX

/* An open hash table; all zero is an empty one. */
struct name_index {
    struct name_place {
        const char *name; /* NULL: free */
        size_t position;
    } * places; /* [capacity], a power of two or 0 */
    size_t capacity, count;
};

/* The name stays the caller's and must outlive the index; of equal names the first counts. False,
 * and the index as it was, when out of memory. */
bool name_index_add(struct name_index *index, const char *name, size_t position);
/* NAME_NOT_FOUND when it was not added. */
size_t name_index_find(const struct name_index *index, const char *name);
void name_index_free(struct name_index *index);

#endif
