#include "base/digest.h"

#include <nettle/base16.h>

void digest_begin(struct digest *d)
{
    sha256_init(&d->state);
}

void digest_put(struct digest *d, const void *bytes, size_t length)
{
    sha256_update(&d->state, length, bytes);
}

void digest_end(struct digest *d, uint8_t out[DIGEST_BYTES])
{
    sha256_digest(&d->state, DIGEST_BYTES, out);
}

void digest_end_in_hex(struct digest *d, char hex[CHECKSUM_SIZE])
{
    uint8_t digest[DIGEST_BYTES];
    digest_end(d, digest);
    base16_encode_update(hex, DIGEST_BYTES, digest);
    hex[CHECKSUM_SIZE - 1] = '\0';
}
