#include "draw/sobol.h"

#include <string.h>

#include "base/hot_loop.h"

enum { DIGITS = 32 };

static int degree_of(unsigned polynomial)
{
    return 31 - __builtin_clz(polynomial);
}

static inline uint32_t reversed(uint32_t x)
{
    x = (x >> 1 & 0x55555555) | (x & 0x55555555) << 1;
    x = (x >> 2 & 0x33333333) | (x & 0x33333333) << 2;
    x = (x >> 4 & 0x0F0F0F0F) | (x & 0x0F0F0F0F) << 4;
    return __builtin_bswap32(x);
}

/* v[i] is the direction number of the (i + 1)-th digit, first digit in the highest bit, by the
 * recurrence of Bratley and Fox, ACM TOMS 14 (1988) 88-100. */
static void direction_numbers(size_t dimension, uint32_t v[DIGITS])
{
    for (int i = 0; i < DIGITS; i++)
        v[i] = UINT32_C(1) << (31 - i);
    if (dimension == 0)
        return;
    const uint16_t *initial = sobol_initial;
    for (size_t d = 1; d < dimension; d++)
        initial += degree_of(sobol_polynomials[d - 1]);
    unsigned polynomial = sobol_polynomials[dimension - 1];
    int degree = degree_of(polynomial);
    for (int i = 0; i < degree; i++)
        v[i] = (uint32_t)initial[i] << (31 - i);
    for (int i = degree; i < DIGITS; i++) {
        v[i] = v[i - degree] ^ v[i - degree] >> degree;
        for (int k = 1; k < degree; k++)
            if (polynomial >> (degree - k) & 1)
                v[i] ^= v[i - k];
    }
}

/* Found by going through all dimensions and leaving out what does not suit those before it. */
static const uint16_t first_choice[] = {
    0,   1,   2,   3,   4,   5,   6,   7,   8,   9,   10,  11,  12,  13,  14,  15,  18,  21,
    25,  27,  30,  31,  32,  33,  34,  43,  44,  47,  49,  53,  60,  69,  87,  91,  92,  113,
    117, 128, 141, 148, 177, 208, 298, 346, 367, 387, 394, 399, 415, 506, 514, 516, 672, 675};
enum { FIRST_CHOICE = sizeof first_choice / sizeof first_choice[0] };

size_t sobol_dimension(size_t rank)
{
    if (rank < FIRST_CHOICE)
        return first_choice[rank];
    size_t dimension = rank - FIRST_CHOICE; /* among those that are left */
    for (size_t i = 0; i < FIRST_CHOICE && first_choice[i] <= dimension; i++)
        dimension++;
    return dimension;
}

/* In Gray code bit i of a number sets the bits i and i - 1. */
void sobol_open(struct sobol *s, size_t dimension)
{
    uint32_t v[DIGITS];
    direction_numbers(dimension, v);
    for (int i = 0; i < DIGITS; i++)
        s->turns[i] = reversed(i > 0 ? v[i] ^ v[i - 1] : v[i]);
}

void sobol_block(const struct sobol *s, uint64_t block, uint32_t points[SOBOL_BLOCK])
{
    enum { BLOCK_BITS = 10, LOW = 16, HIGH = SOBOL_BLOCK / LOW };
    uint32_t low[LOW] = {0}, high[HIGH] = {0};
    for (int i = BLOCK_BITS; i < DIGITS; i++)
        high[0] ^= block >> (i - BLOCK_BITS) & 1 ? s->turns[i] : 0;
    for (size_t n = 1, bit = 0; n < LOW; n *= 2, bit++)
        for (size_t i = 0; i < n; i++)
            low[n + i] = low[i] ^ s->turns[bit];
    for (size_t n = 1, bit = 4; n < HIGH; n *= 2, bit++)
        for (size_t i = 0; i < n; i++)
            high[n + i] = high[i] ^ s->turns[bit];
    for (size_t k = 0; k < HIGH; k++)
        for (size_t i = 0; i < LOW; i++)
            points[k * LOW + i] = high[k] ^ low[i];
}

/* A permutation in which a bit depends on the key and the bits below only: Laine and Karras,
 * Comput. Graph. Forum 30 (2011) 1265-1276, with the constants that N. Vegdahl published in 2021.
 * The multiplier has a random word of its own. */
static inline uint32_t permuted(uint32_t x, uint32_t add, uint32_t multiply)
{
    x ^= x * 0x3d20adea;
    x += add;
    x *= multiply | 1;
    x ^= x * 0x05526c56;
    x ^= x * 0x53a22864;
    return x;
}

/* Every bit of the result depends on every bit of x: the last steps of A. Appleby's MurmurHash3. */
static inline uint32_t mixed(uint32_t x)
{
    x = (x ^ x >> 16) * 0x85ebca6b;
    x = (x ^ x >> 13) * 0xc2b2ae35;
    return x ^ x >> 16;
}

HOT_LOOP void sobol_scramble(const uint32_t points[SOBOL_BLOCK], const struct sobol_key *key,
                             double u[SOBOL_BLOCK])
{
    const uint64_t one = UINT64_C(0x3FF) << 52; /* the bits of 1.0 */
    uint32_t add = key->add, multiply = key->multiply, below = key->below;
    for (size_t i = 0; i < SOBOL_BLOCK; i++) {
        uint32_t digits = reversed(permuted(points[i], add, multiply));
        uint32_t rest = mixed(digits + below) >> 12;
        uint64_t bits = one | (uint64_t)digits << 20 | rest;
        double from_one;
        memcpy(&from_one, &bits, sizeof from_one);
        u[i] = from_one - (1.0 - 0x1p-53);
    }
}
