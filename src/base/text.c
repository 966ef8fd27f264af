#include "base/text.h"

#include <ctype.h>
#include <locale.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#define LONGEST_NAME 128
#define LONGEST_NUMBER 512

/* What printf and strtod make of numbers depends on the locale, of which each thread may have its
 * own. */
struct locales {
    locale_t plain, before;
};

static struct locales enter_plain_locale(void)
{
    locale_t plain = newlocale(LC_ALL_MASK, "C", (locale_t)0);
    return (struct locales){plain, uselocale(plain)};
}

static void leave_plain_locale(struct locales l)
{
    uselocale(l.before);
    if (l.plain)
        freelocale(l.plain);
}

char *text_format(const char *format, ...)
{
    char *text;
    va_list arguments;
    struct locales locales = enter_plain_locale();
    va_start(arguments, format);
    int written = vasprintf(&text, format, arguments);
    va_end(arguments);
    leave_plain_locale(locales);
    return written < 0 ? NULL : text;
}

void text_vprint(char *text, size_t size, const char *format, va_list arguments)
{
    struct locales locales = enter_plain_locale();
    vsnprintf(text, size, format, arguments);
    leave_plain_locale(locales);
}

void text_print(char *text, size_t size, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    text_vprint(text, size, format, arguments);
    va_end(arguments);
}

char *text_copy(const char *text)
{
    return text ? strdup(text) : NULL;
}

char *text_without_folder(const char *text, const char *folder)
{
    size_t length = strlen(folder);
    char *bare = malloc(strlen(text) + 1), *to = bare;
    for (const char *at = text; bare && *at;) {
        bool begins = at == text || strchr(" '(", at[-1]);
        if (begins && strncmp(at, folder, length) == 0 && at[length] == '/')
            at += length + 1;
        else
            *to++ = *at++;
    }
    if (bare)
        *to = '\0';
    return bare;
}

static size_t smaller(size_t a, size_t b)
{
    return a < b ? a : b;
}

static bool same_letter(char a, char b)
{
    return tolower((unsigned char)a) == tolower((unsigned char)b);
}

/* Optimal string alignment: row i holds the distances of the first i letters of `a` to every
 * beginning of `b`; a swap looks back two rows. */
static size_t edit_distance(const char *a, size_t a_length, const char *b, size_t b_length)
{
    size_t rows[3][LONGEST_NAME + 1];
    size_t *before = rows[0], *above = rows[1], *row = rows[2];
    for (size_t j = 0; j <= b_length; j++)
        row[j] = j;
    for (size_t i = 1; i <= a_length; i++) {
        size_t *spare = before;
        before = above;
        above = row;
        row = spare;
        row[0] = i;
        for (size_t j = 1; j <= b_length; j++) {
            size_t replace = above[j - 1] + !same_letter(a[i - 1], b[j - 1]);
            row[j] = smaller(replace, smaller(above[j], row[j - 1]) + 1);
            if (i > 1 && j > 1 && same_letter(a[i - 1], b[j - 2]) &&
                same_letter(a[i - 2], b[j - 1]))
                row[j] = smaller(row[j], before[j - 2] + 1);
        }
    }
    return row[b_length];
}

const char *text_nearest(const char *word, const char *const *candidates, size_t count)
{
    size_t length = strlen(word);
    if (length > LONGEST_NAME)
        return NULL;
    const char *nearest = NULL;
    size_t limit = (length + 1) / 3;
    for (size_t i = 0; i < count; i++) {
        size_t candidate_length = strlen(candidates[i]);
        if (candidate_length > LONGEST_NAME)
            continue;
        size_t distance = edit_distance(word, length, candidates[i], candidate_length);
        if (distance > limit || (nearest && distance == limit))
            continue;
        nearest = candidates[i];
        limit = distance;
    }
    return nearest;
}

static const char *skip_blanks(const char *text)
{
    return text + strspn(text, " \t");
}

static const char *skip_digits(const char *text)
{
    return text + strspn(text, "0123456789");
}

/* The end of the decimal number that starts at `text`, NULL when there is none. */
static const char *number_end(const char *text, bool decimal_comma)
{
    if (*text == '+' || *text == '-')
        text++;
    const char *end = skip_digits(text);
    bool has_digits = end > text;
    if (*end == '.' || (decimal_comma && *end == ',')) {
        const char *fraction = end + 1;
        end = skip_digits(fraction);
        has_digits = has_digits || end > fraction;
    }
    if (!has_digits)
        return NULL;
    if (*end == 'e' || *end == 'E') {
        const char *exponent = end + 1;
        if (*exponent == '+' || *exponent == '-')
            exponent++;
        end = skip_digits(exponent);
        if (end == exponent)
            return NULL;
    }
    return end;
}

bool text_number(const char *text, bool decimal_comma, double *value)
{
    const char *start = skip_blanks(text);
    const char *end = number_end(start, decimal_comma);
    if (!end || *skip_blanks(end) != '\0')
        return false;

    char number[LONGEST_NUMBER + 1];
    size_t length = (size_t)(end - start);
    if (length > LONGEST_NUMBER)
        return false;
    memcpy(number, start, length);
    number[length] = '\0';
    char *comma = strchr(number, ',');
    if (comma)
        *comma = '.';

    struct locales locales = enter_plain_locale();
    double result = strtod(number, NULL);
    leave_plain_locale(locales);
    if (!isfinite(result))
        return false;
    *value = result;
    return true;
}

size_t text_character(const char *bytes, size_t length, uint32_t *code)
{
    /* Lead bytes of 1 to 4 bytes, and the smallest code point that needs so many (RFC 3629). */
    static const struct {
        unsigned char mask, lead;
        uint32_t smallest;
    } forms[] = {{0x80, 0x00, 0}, {0xe0, 0xc0, 0x80}, {0xf0, 0xe0, 0x800}, {0xf8, 0xf0, 0x10000}};
    if (length == 0)
        return 0;
    unsigned char first = (unsigned char)bytes[0];
    for (size_t form = 0; form < sizeof forms / sizeof forms[0]; form++) {
        if ((first & forms[form].mask) != forms[form].lead)
            continue;
        if (length <= form)
            return 0;
        uint32_t point = first & (unsigned char)~forms[form].mask;
        for (size_t i = 1; i <= form; i++) {
            unsigned char next = (unsigned char)bytes[i];
            if ((next & 0xc0) != 0x80)
                return 0;
            point = point << 6 | (next & 0x3f);
        }
        bool surrogate = point >= 0xd800 && point <= 0xdfff;
        if (point < forms[form].smallest || point > 0x10ffff || surrogate)
            return 0;
        *code = point;
        return form + 1;
    }
    return 0;
}
