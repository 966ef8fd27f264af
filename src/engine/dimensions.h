/* The rank of each uncertain input among all, for Sobol' points: by the names of its owner and
 * quantity, over the inputs of the case and of all its candidates, so that neither the order of
 * rows nor a candidate changes an input's luck. Unlike a pseudo-random draw, one of Sobol' points
 * so depends on which other uncertain inputs the case has. */
#ifndef PACKSPAN_ENGINE_DIMENSIONS_H
#define PACKSPAN_ENGINE_DIMENSIONS_H

#include "case/case.h"

/* Whose draw it is. */
struct draw_key {
    const char *kind; /* "vehicle" or "trip" */
    const char *owner, *quantity;
};
struct draw_key draw_key_of(const struct case_data *c, const struct input *in);

struct dimensions {
    struct draw_key *keys; /* [count], in order */
    size_t count;
};
/* The case must outlive them. */
packspan_status dimensions_make(const struct case_data *c, struct dimensions *out);
void dimensions_free(struct dimensions *d);
/* The key's rank; of a key that is not uncertain under any candidate, `count`. */
size_t dimensions_find(const struct dimensions *d, const struct draw_key *key);

#endif
