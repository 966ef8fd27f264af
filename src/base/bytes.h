/* Numbers as bytes that are the same on every machine, for files that packspan reads back. */
#ifndef PACKSPAN_BASE_BYTES_H
#define PACKSPAN_BASE_BYTES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* A word, the lowest byte first; of a real all bits, NaN and infinity included. */
enum { WORD_BYTES = 8 };
void store_word(void *to, uint64_t word);
uint64_t load_word(const void *from);
void store_real(void *to, double real);
double load_real(const void *from);

/* Grows as it is written to. */
struct byte_writer {
    char *bytes; /* malloc'd */
    size_t length, capacity;
    bool no_memory; /* then nothing more is taken */
};
void put_bytes(struct byte_writer *w, const void *bytes, size_t length);
/* Seven bits a byte, the lowest first: small numbers are short. */
void put_whole(struct byte_writer *w, uint64_t value);
/* As store_real(). */
void put_real(struct byte_writer *w, double value);

/* Whoever reads past the end, or a whole number that is none, gets 0 and `failed`. */
struct byte_reader {
    const char *at, *end;
    bool failed;
};
uint64_t take_whole(struct byte_reader *r);
double take_real(struct byte_reader *r);

#endif
