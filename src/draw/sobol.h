/* Sobol' points with Joe and Kuo's direction numbers, and Owen's nested uniform scrambling of them.
 * A coordinate has 32 binary digits. They are kept with the first digit in the lowest bit, as the
 * scrambling works in that direction. */
#ifndef PACKSPAN_DRAW_SOBOL_H
#define PACKSPAN_DRAW_SOBOL_H

#include <stddef.h>
#include <stdint.h>

/* Dimension 0 is van der Corput's sequence, which needs no table. */
enum { SOBOL_DIMENSIONS = 1111, SOBOL_INITIAL_COUNT = 13223, SOBOL_BLOCK = 1024 };

/* For dimension d >= 1: sobol_polynomials[d - 1] is the primitive polynomial, its bits being the
 * coefficients, and the initial numbers m_1, ..., m_degree stand in sobol_initial one dimension
 * after the other. */
extern const uint16_t sobol_polynomials[SOBOL_DIMENSIONS - 1];
extern const uint16_t sobol_initial[SOBOL_INITIAL_COUNT];

/* The dimension to take for the rank-th input, rank < SOBOL_DIMENSIONS; each is taken once. Among
 * 2^15 points some triples of dimensions still leave half of the boxes empty that their first
 * digits make, and a result that rests on such three is worse off than with independent samples. So
 * those come first of which any three fill all boxes that five digits make, with 2^13 points. */
size_t sobol_dimension(size_t rank);

/* One dimension: the digits that each bit of a point's number turns over. */
struct sobol {
    uint32_t turns[32];
};

/* dimension < SOBOL_DIMENSIONS. */
void sobol_open(struct sobol *s, size_t dimension);

/* Points SOBOL_BLOCK block .. SOBOL_BLOCK (block + 1) - 1 of the sequence in its usual (Gray code)
 * order. The sequence repeats itself after 2^32 points. */
void sobol_block(const struct sobol *s, uint64_t block, uint32_t points[SOBOL_BLOCK]);

/* What makes a scrambling; random. */
struct sobol_key {
    uint32_t add, multiply, below;
};

/* Scrambles the points: equal leading digits stay equal, and each digit is turned over or not by
 * what the digits before it are, at random in the key. The digits below the 32nd, which a nested
 * scrambling makes independent from point to point, are hashed of the 32 and the key. The result is
 * (the 52 digits + 1/2) / 2^52, in (0, 1). */
void sobol_scramble(const uint32_t points[SOBOL_BLOCK], const struct sobol_key *key,
                    double u[SOBOL_BLOCK]);

#endif
