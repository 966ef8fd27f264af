#include "base/bytes.h"

#include <stdlib.h>
#include <string.h>

_Static_assert(sizeof(double) == WORD_BYTES, "IEEE 754 double");

void store_word(void *to, uint64_t word)
{
    unsigned char *bytes = to;
    for (int i = 0; i < WORD_BYTES; i++)
        bytes[i] = (unsigned char)(word >> 8 * i);
}

uint64_t load_word(const void *from)
{
    const unsigned char *bytes = from;
    uint64_t word = 0;
    for (int i = WORD_BYTES; i-- > 0;)
        word = word << 8 | bytes[i];
    return word;
}

void store_real(void *to, double real)
{
    uint64_t word;
    memcpy(&word, &real, sizeof word);
    store_word(to, word);
}

double load_real(const void *from)
{
    uint64_t word = load_word(from);
    double real;
    memcpy(&real, &word, sizeof real);
    return real;
}

static bool make_room(struct byte_writer *w, size_t more)
{
    size_t capacity = w->capacity ? w->capacity : 4096;
    while (capacity - w->length < more)
        capacity *= 2;
    if (capacity == w->capacity)
        return true;
    char *larger = realloc(w->bytes, capacity);
    if (!larger)
        return false;
    w->bytes = larger;
    w->capacity = capacity;
    return true;
}

void put_bytes(struct byte_writer *w, const void *bytes, size_t length)
{
    w->no_memory = w->no_memory || !make_room(w, length);
    if (w->no_memory || length == 0)
        return;
    memcpy(w->bytes + w->length, bytes, length);
    w->length += length;
}

void put_whole(struct byte_writer *w, uint64_t value)
{
    unsigned char bytes[10];
    size_t n = 0;
    while (value > 0x7f) {
        bytes[n++] = (unsigned char)(value | 0x80);
        value >>= 7;
    }
    bytes[n++] = (unsigned char)value;
    put_bytes(w, bytes, n);
}

void put_real(struct byte_writer *w, double value)
{
    unsigned char bytes[WORD_BYTES];
    store_real(bytes, value);
    put_bytes(w, bytes, sizeof bytes);
}

uint64_t take_whole(struct byte_reader *r)
{
    uint64_t value = 0;
    for (int shift = 0; shift < 64 && r->at < r->end; shift += 7) {
        unsigned char byte = (unsigned char)*r->at++;
        value |= (uint64_t)(byte & 0x7f) << shift;
        if (byte <= 0x7f && (shift < 63 || byte <= 1))
            return value;
    }
    r->failed = true;
    return 0;
}

double take_real(struct byte_reader *r)
{
    if (r->end - r->at < WORD_BYTES) {
        r->at = r->end;
        r->failed = true;
        return 0.0;
    }
    r->at += WORD_BYTES;
    return load_real(r->at - WORD_BYTES);
}
