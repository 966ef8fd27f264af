/* Keyed streams of uniform numbers, pseudo-random (PCG64) or of scrambled Sobol' points. */
#ifndef PACKSPAN_DRAW_STREAM_H
#define PACKSPAN_DRAW_STREAM_H

#include <stdbool.h>

#include "draw/pcg.h"
#include "draw/sobol.h"

/* Independent scramblings in a Sobol' stream, for the errors of what comes out. */
enum { REPLICATES = 16 };

/* One input's stream. */
struct stream {
    bool is_sobol;
    struct pcg64 origin; /* of sample 0 */
    struct sobol sobol;
    struct sobol_key keys[REPLICATES];
};

/* A draw depends on the seed, the owner's and the quantity's name and the sample's number, and on
 * nothing else. `kind` tells whose input it is ("vehicle" or "trip"), so that a trip and a vehicle
 * of the same name do not share their luck; `owner` is the vehicle ("all" for a shared draw) or the
 * trip. The SHA-256 of seed, kind, owner and quantity, separated by '\0', gives PCG64's seed and
 * stream. */
void stream_open(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                 const char *quantity);

/* The same of Sobol' points, for the rank-th of the inputs that are drawn together: each has a
 * dimension of its own, see sobol_dimension(). The replicate's number is then the last part of what
 * is hashed, for the keys of its scrambling. From SOBOL_DIMENSIONS on it is stream_open(): the last
 * of so many inputs are drawn pseudo-random. */
void stream_open_sobol(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                       const char *quantity, size_t rank);

/* Which scrambling a sample belongs to: SOBOL_BLOCK samples of one, then of the next. */
static inline size_t stream_replicate(uint64_t sample)
{
    return (size_t)(sample / SOBOL_BLOCK % REPLICATES);
}

/* The number nearest to `samples` for which every scrambling has the same power of two of points,
 * which are then as even as they can be. */
uint64_t stream_even_samples(uint64_t samples);

/* Uniform numbers of samples first .. first + n - 1 in the open interval (0, 1):
 * (52 bits + 1/2) / 2^52, so that 0 and 1 never occur. */
void stream_uniforms(const struct stream *s, uint64_t first, size_t n, double *u);

#endif
