#include "draw/pcg.h"

#include "base/hot_loop.h"

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

static inline uint64_t output(uint64_t high, uint64_t low)
{
    uint64_t mixed = high ^ low, turn = high >> 58;
    return mixed >> turn | mixed << (-turn & 63);
}

static inline uint64_t output_of(uint128 state)
{
    return output((uint64_t)(state >> 64), (uint64_t)state);
}

static inline double uniform(uint64_t bits)
{
    return ((double)(bits >> 12) + 0.5) * 0x1p-52;
}

uint64_t pcg64_next(struct pcg64 *g)
{
    step(g);
    return output_of(g->state);
}

/* Each of `count` chains takes every count-th state: one step of it is x -> factor x + offset. */
struct leap {
    uint128 factor, offset;
};

static struct leap leap_of(const struct pcg64 *g, int count)
{
    struct leap leap = {1, 0};
    for (int i = 0; i < count; i++) {
        leap.factor *= multiplier;
        leap.offset = leap.offset * multiplier + g->increment;
    }
    return leap;
}

void pcg64_uniforms_plain(const struct pcg64 *g, size_t n, double *u)
{
    enum { CHAINS = 4 };
    struct leap leap = leap_of(g, CHAINS);
    struct pcg64 next = *g;
    uint128 state[CHAINS];
    for (int c = 0; c < CHAINS; c++) {
        step(&next);
        state[c] = next.state;
    }
    for (size_t i = 0; i < n; i += CHAINS) {
        for (int c = 0; c < CHAINS; c++) {
            u[i + (size_t)c] = uniform(output_of(state[c]));
            state[c] = state[c] * leap.factor + leap.offset;
        }
    }
}

/* 128-bit products from 32-bit ones, which vectors have. */
WIDE_LOOP void pcg64_uniforms_wide(const struct pcg64 *g, size_t n, double *restrict u)
{
    struct leap leap = leap_of(g, PCG64_CHAINS);
    struct pcg64 next = *g;
    uint64_t high[PCG64_CHAINS], low[PCG64_CHAINS];
    for (int c = 0; c < PCG64_CHAINS; c++) {
        step(&next);
        high[c] = (uint64_t)(next.state >> 64);
        low[c] = (uint64_t)next.state;
    }
    uint64_t factor_high = (uint64_t)(leap.factor >> 64), factor_low = (uint64_t)leap.factor;
    uint64_t offset_high = (uint64_t)(leap.offset >> 64), offset_low = (uint64_t)leap.offset;
    uint64_t f0 = (uint32_t)factor_low, f1 = factor_low >> 32;
    for (size_t i = 0; i < n; i += PCG64_CHAINS) {
        for (size_t c = 0; c < PCG64_CHAINS; c++) {
            u[i + c] = uniform(output(high[c], low[c]));
            uint64_t x0 = (uint32_t)low[c], x1 = low[c] >> 32;
            uint64_t p00 = x0 * f0, p01 = x0 * f1, p10 = x1 * f0;
            uint64_t middle = (p00 >> 32) + (uint32_t)p01 + (uint32_t)p10;
            uint64_t carried = x1 * f1 + (p01 >> 32) + (p10 >> 32) + (middle >> 32);
            uint64_t sum = low[c] * factor_low + offset_low;
            high[c] = carried + high[c] * factor_low + low[c] * factor_high + offset_high +
                      (sum < offset_low);
            low[c] = sum;
        }
    }
}

void pcg64_uniforms(struct pcg64 *g, size_t n, double *u)
{
    size_t whole = n - n % PCG64_CHAINS;
    if (has_wide_products())
        pcg64_uniforms_wide(g, whole, u);
    else
        pcg64_uniforms_plain(g, whole, u);
    pcg64_jump(g, whole);
    for (size_t i = whole; i < n; i++)
        u[i] = uniform(pcg64_next(g));
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
