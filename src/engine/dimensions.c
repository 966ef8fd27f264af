#include "engine/dimensions.h"

#include <stdlib.h>
#include <string.h>

struct draw_key draw_key_of(const struct case_data *c, const struct input *in)
{
    bool of_trip = in->trip != TRIP_NONE;
    const char *vehicle = in->vehicle == VEHICLE_ALL ? "all" : c->vehicles[in->vehicle].name;
    return (struct draw_key){.kind = of_trip ? "trip" : "vehicle",
                             .owner = of_trip ? c->trips[in->trip].name : vehicle,
                             .quantity = quantities[in->quantity].name};
}

/* Vehicles before trips: the first dimensions are the best, and vehicles' inputs are in more
 * results. */
static int compare_keys(const void *a, const void *b)
{
    const struct draw_key *x = a, *y = b;
    int order = strcmp(y->kind, x->kind);
    if (order == 0)
        order = strcmp(x->owner, y->owner);
    return order ? order : strcmp(x->quantity, y->quantity);
}

static void take_keys(struct dimensions *d, const struct case_data *c, const struct input *inputs,
                      size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (!shape_is_fixed(inputs[i].shape))
            d->keys[d->count++] = draw_key_of(c, &inputs[i]);
}

packspan_status dimensions_make(const struct case_data *c, struct dimensions *out)
{
    size_t room = c->input_count + 1;
    for (size_t k = 0; k < c->candidate_count; k++)
        room += c->candidates[k].input_count;
    struct dimensions d = {.keys = calloc(room, sizeof *d.keys)};
    if (!d.keys)
        return PACKSPAN_NO_MEMORY;
    take_keys(&d, c, c->inputs, c->input_count);
    for (size_t k = 0; k < c->candidate_count; k++)
        take_keys(&d, c, c->candidates[k].inputs, c->candidates[k].input_count);
    qsort(d.keys, d.count, sizeof *d.keys, compare_keys);
    size_t kept = 0;
    for (size_t i = 0; i < d.count; i++)
        if (kept == 0 || compare_keys(&d.keys[kept - 1], &d.keys[i]) != 0)
            d.keys[kept++] = d.keys[i];
    d.count = kept;
    *out = d;
    return PACKSPAN_OK;
}

void dimensions_free(struct dimensions *d)
{
    free(d->keys);
    *d = (struct dimensions){0};
}

size_t dimensions_find(const struct dimensions *d, const struct draw_key *key)
{
    const struct draw_key *found =
        d->count ? bsearch(key, d->keys, d->count, sizeof *d->keys, compare_keys) : NULL;
    return found ? (size_t)(found - d->keys) : d->count;
}
