#include "draw/pcg.h"

static const uint128 multiplier = (uint128)2549297995355413924 << 64 | 4865540595714422341;

static void step(struct pcg64 *g)
{
    g->state = g->state * multiplier + g->increment;
}

void pcg64_seed(struct pcg64 *g, uint128 seed, uint128 stream)
{
    g->increment = stream << 1 | 1;
    g->state = 0;
    step(g);
    g->state += seed;
    step(g);
}

uint64_t pcg64_next(struct pcg64 *g)
{
    step(g);
    uint64_t mixed = (uint64_t)(g->state >> 64) ^ (uint64_t)g->state;
    unsigned turn = (unsigned)(g->state >> 122);
    return mixed >> turn | mixed << (-turn & 63);
}

/* One step is x -> m x + c; squaring that map doubles its reach. */
void pcg64_jump(struct pcg64 *g, uint128 count)
{
    uint128 factor = 1, offset = 0;
    uint128 m = multiplier, c = g->increment;
    for (; count > 0; count >>= 1) {
        if (count & 1) {
            factor *= m;
            offset = offset * m + c;
        }
        c *= m + 1;
        m *= m;
    }
    g->state = g->state * factor + offset;
}
