#include "base/sort.h"

#include <stdint.h>
#include <string.h>

enum { DIGIT_BITS = 11, DIGITS = 6, RADIX = 1 << DIGIT_BITS };

/* Whole numbers that rise with the value: negative ones are turned round. */
static uint64_t key_of(double value)
{
    uint64_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits >> 63 ? ~bits : bits | (uint64_t)1 << 63;
}

static size_t digit_of(double value, int digit)
{
    return key_of(value) >> (digit * DIGIT_BITS) & (RADIX - 1);
}

void sort_weighted(size_t n, struct weighted_value *list, struct weighted_value *spare)
{
    size_t count[DIGITS][RADIX] = {{0}};
    for (size_t i = 0; i < n; i++)
        for (int d = 0; d < DIGITS; d++)
            count[d][digit_of(list[i].value, d)]++;
    struct weighted_value *from = list, *to = spare;
    for (int d = 0; d < DIGITS && n > 0; d++) {
        if (count[d][digit_of(from[0].value, d)] == n) /* all the same */
            continue;
        size_t before = 0;
        for (size_t k = 0; k < RADIX; k++) {
            size_t here = count[d][k];
            count[d][k] = before;
            before += here;
        }
        for (size_t i = 0; i < n; i++)
            to[count[d][digit_of(from[i].value, d)]++] = from[i];
        struct weighted_value *other = from;
        from = to;
        to = other;
    }
    if (from != list)
        memcpy(list, from, n * sizeof *list);
}
