#include "draw/stream.h"

#include <inttypes.h>
#include <sha256.h>
#include <stdio.h>
#include <string.h>
#include <sys/types.h>

static void hash_text(SHA2_CTX *hash, const char *text)
{
    SHA256Update(hash, (const uint8_t *)"", 1);
    SHA256Update(hash, (const uint8_t *)text, strlen(text));
}

static uint128 read_big_endian(const uint8_t bytes[16])
{
    uint128 value = 0;
    for (int i = 0; i < 16; i++)
        value = value << 8 | bytes[i];
    return value;
}

/* The seed enters as decimal digits, so that byte order and word size play no part. */
void stream_open(struct stream *s, uint64_t seed, const char *kind, const char *owner,
                 const char *quantity)
{
    char digits[24];
    int length = snprintf(digits, sizeof digits, "%" PRIu64, seed);
    SHA2_CTX hash;
    uint8_t digest[SHA256_DIGEST_LENGTH];
    SHA256Init(&hash);
    SHA256Update(&hash, (const uint8_t *)digits, (size_t)length);
    hash_text(&hash, kind);
    hash_text(&hash, owner);
    hash_text(&hash, quantity);
    SHA256Final(digest, &hash);
    pcg64_seed(&s->origin, read_big_endian(digest), read_big_endian(digest + 16));
}

void stream_uniforms(const struct stream *s, uint64_t first, size_t n, double *u)
{
    struct pcg64 g = s->origin;
    pcg64_jump(&g, first);
    pcg64_uniforms(&g, n, u);
}
