/* Keyed streams: a draw depends on the seed, the owner's and the quantity's name and the sample's
 * number, and on nothing else. */
#ifndef PACKSPAN_DRAW_STREAM_H
#define PACKSPAN_DRAW_STREAM_H

#include "draw/pcg.h"

/* Where sample 0 of one input's stream starts. */
struct stream {
    struct pcg64 origin;
};

/* `kind` tells whose input it is ("vehicle" or "trip"), so that a trip and a vehicle of the same
 * name do not share their luck; `owner` is the vehicle ("all" for a shared draw) or the trip. The
 * SHA-256 of seed, kind, owner and quantity, separated by '\0', gives PCG64's seed and stream. */
void stream_open(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                 const char *quantity);

/* Uniform numbers of samples first .. first + n - 1 in the open interval (0, 1):
 * (top 52 bits + 1/2) / 2^52, so that 0 and 1 never occur. */
void stream_uniforms(const struct stream *s, uint64_t first, size_t n, double *u);

#endif
