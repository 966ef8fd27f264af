#include "base/name_index.h"

#include <stdlib.h>
#include <string.h>

/* FNV-1a, 64 bits. */
static uint64_t hash_of(const char *name)
{
    uint64_t hash = 0xcbf29ce484222325U;
    for (; *name; name++)
        hash = (hash ^ (unsigned char)*name) * 0x100000001b3U;
    return hash;
}

/* Where the name is, or would be: a free place there is always. */
static struct name_place *place_of(const struct name_index *index, const char *name)
{
    size_t at = (size_t)hash_of(name) & (index->capacity - 1);
    while (index->places[at].name && strcmp(index->places[at].name, name) != 0)
        at = (at + 1) & (index->capacity - 1);
    return &index->places[at];
}

static bool make_room(struct name_index *index)
{
    if (2 * (index->count + 1) <= index->capacity)
        return true;
    struct name_index larger = {.capacity = index->capacity ? 2 * index->capacity : 64,
                                .count = index->count};
    larger.places = calloc(larger.capacity, sizeof *larger.places);
    if (!larger.places)
        return false;
    for (size_t i = 0; i < index->capacity; i++)
        if (index->places[i].name)
            *place_of(&larger, index->places[i].name) = index->places[i];
    free(index->places);
    *index = larger;
    return true;
}

bool name_index_add(struct name_index *index, const char *name, size_t position)
{
    if (!make_room(index))
        return false;
    struct name_place *place = place_of(index, name);
    if (!place->name) {
        *place = (struct name_place){name, position};
        index->count++;
    }
    return true;
}

size_t name_index_find(const struct name_index *index, const char *name)
{
    if (index->count == 0)
        return NAME_NOT_FOUND;
    const struct name_place *place = place_of(index, name);
    return place->name ? place->position : NAME_NOT_FOUND;
}

void name_index_free(struct name_index *index)
{
    free(index->places);
    *index = (struct name_index){0};
}
