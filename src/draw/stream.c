#include "draw/stream.h"

#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "base/digest.h"

static void put_text(struct digest *digest, const char *text)
{
    digest_put(digest, "", 1);
    digest_put(digest, text, strlen(text));
}

static uint128 read_big_endian(const uint8_t bytes[16])
{
    uint128 value = 0;
    for (int i = 0; i < 16; i++)
        value = value << 8 | bytes[i];
    return value;
}

/* The seed enters as decimal digits, so that byte order and word size play no part. */
static void put_number(struct digest *digest, uint64_t number)
{
    char digits[24];
    int length = snprintf(digits, sizeof digits, "%" PRIu64, number);
    digest_put(digest, digits, (size_t)length);
}

static struct digest digest_names(uint64_t seed, const char *kind, const char *owner,
                                  const char *quantity)
{
    struct digest digest;
    digest_begin(&digest);
    put_number(&digest, seed);
    put_text(&digest, kind);
    put_text(&digest, owner);
    put_text(&digest, quantity);
    return digest;
}

void stream_open(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                 const char *quantity)
{
    struct digest digest = digest_names(seed, kind, owner, quantity);
    uint8_t bytes[DIGEST_BYTES];
    digest_end(&digest, bytes);
    pcg64_seed(&s->origin, read_big_endian(bytes), read_big_endian(bytes + 16));
    s->is_sobol = false;
}

void stream_open_sobol(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                       const char *quantity, size_t rank)
{
    stream_open(s, seed, kind, owner, quantity);
    if (rank >= SOBOL_DIMENSIONS)
        return;
    s->is_sobol = true;
    sobol_open(&s->sobol, sobol_dimension(rank));
    struct digest names = digest_names(seed, kind, owner, quantity);
    for (size_t r = 0; r < REPLICATES; r++) {
        struct digest digest = names;
        uint8_t bytes[DIGEST_BYTES];
        put_text(&digest, "");
        put_number(&digest, r);
        digest_end(&digest, bytes);
        uint128 words = read_big_endian(bytes);
        s->keys[r] = (struct sobol_key){.add = (uint32_t)(words >> 96),
                                        .multiply = (uint32_t)(words >> 64),
                                        .below = (uint32_t)(words >> 32)};
    }
}

uint64_t stream_even_samples(uint64_t samples)
{
    uint64_t even = SOBOL_BLOCK * REPLICATES;
    while (samples / 3 >= even / 2) /* as near to the double */
        even *= 2;
    return even;
}

static void pcg_uniforms(const struct stream *s, uint64_t first, size_t n, double *u)
{
    struct pcg64 g = s->origin;
    pcg64_jump(&g, first);
    pcg64_uniforms(&g, n, u);
}

/* Sobol's points repeat themselves, so their next round gets another scrambling. */
#define POINTS (UINT64_C(1) << 32)
static struct sobol_key key_of(const struct stream *s, size_t replicate, uint64_t block)
{
    struct sobol_key key = s->keys[replicate];
    uint32_t turn = (uint32_t)(block / (POINTS / SOBOL_BLOCK));
    key.add ^= turn * 0x9e3779b1;
    key.multiply ^= turn * 0x85ebca77;
    key.below ^= turn * 0xc2b2ae3d;
    return key;
}

static void sobol_samples(const struct stream *s, uint64_t sample_block, double u[SOBOL_BLOCK])
{
    uint32_t points[SOBOL_BLOCK];
    uint64_t block = sample_block / REPLICATES;
    struct sobol_key key = key_of(s, (size_t)(sample_block % REPLICATES), block);
    sobol_block(&s->sobol, block, points);
    sobol_scramble(points, &key, u);
}

static void sobol_uniforms(const struct stream *s, uint64_t first, size_t n, double *u)
{
    while (n > 0) {
        uint64_t block = first / SOBOL_BLOCK;
        size_t from = (size_t)(first % SOBOL_BLOCK);
        size_t count = n < SOBOL_BLOCK - from ? n : SOBOL_BLOCK - from;
        double whole[SOBOL_BLOCK];
        sobol_samples(s, block, whole);
        memcpy(u, whole + from, count * sizeof *u);
        first += count;
        u += count;
        n -= count;
    }
}

void stream_uniforms(const struct stream *s, uint64_t first, size_t n, double *u)
{
    if (s->is_sobol)
        sobol_uniforms(s, first, n, u);
    else
        pcg_uniforms(s, first, n, u);
}
