/* PCG64 (XSL-RR 128/64), O'Neill, HMC-CS-2014-0905; equal bit for bit to the published pcg64. */
#ifndef PACKSPAN_DRAW_PCG_H
#define PACKSPAN_DRAW_PCG_H

#include <stddef.h>
#include <stdint.h>

__extension__ typedef unsigned __int128 uint128;

struct pcg64 {
    uint128 state, increment;
};

/* The published seeding with a stream (sequence) number. */
void pcg64_seed(struct pcg64 *g, uint128 seed, uint128 stream);
uint64_t pcg64_next(struct pcg64 *g);
/* Skips `count` outputs (modulo 2^128, so a negative jump is 2^128 - n), Brown 1994. */
void pcg64_jump(struct pcg64 *g, uint128 count);

/* The next n outputs as numbers in the open interval (0, 1): (top 52 bits + 1/2) / 2^52. */
void pcg64_uniforms(struct pcg64 *g, size_t n, double *u);
/* The same, each by its own way: chains side by side, or vectors of them; `g` is not moved on. n is
 * a multiple of PCG64_CHAINS. */
enum { PCG64_CHAINS = 16 };
void pcg64_uniforms_plain(const struct pcg64 *g, size_t n, double *u);
void pcg64_uniforms_wide(const struct pcg64 *g, size_t n, double *u);

#endif
