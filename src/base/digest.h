/* SHA-256 (FIPS 180-4), as sha256sum prints it. */
#ifndef PACKSPAN_BASE_DIGEST_H
#define PACKSPAN_BASE_DIGEST_H

#include <nettle/sha2.h>
#include <stddef.h>
#include <stdint.h>

enum { DIGEST_BYTES = SHA256_DIGEST_SIZE, CHECKSUM_SIZE = 2 * DIGEST_BYTES + 1 };

/* Of all that is put, in any pieces; a copy goes on by itself. */
struct digest {
    struct sha256_ctx state;
};
void digest_begin(struct digest *d);
void digest_put(struct digest *d, const void *bytes, size_t length);
/* Both begin the digest anew. */
void digest_end(struct digest *d, uint8_t out[DIGEST_BYTES]);
void digest_end_in_hex(struct digest *d, char hex[CHECKSUM_SIZE]);

#endif
