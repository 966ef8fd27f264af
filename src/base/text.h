/* Small helpers for texts. */
#ifndef PACKSPAN_BASE_TEXT_H
#define PACKSPAN_BASE_TEXT_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* printf into malloc'd memory, with a decimal point whatever the locale of the program says; NULL
 * when out of memory. */
char *text_format(const char *format, ...) __attribute__((format(printf, 1, 2)));
/* The same into `size` bytes, cut to what fits. */
void text_print(char *text, size_t size, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
void text_vprint(char *text, size_t size, const char *format, va_list arguments)
    __attribute__((format(printf, 3, 0)));

/* malloc'd copy; NULL when out of memory or `text` is NULL. */
char *text_copy(const char *text);
/* With files named from `folder` on where it stands before their names; NULL when out of memory. */
char *text_without_folder(const char *text, const char *folder);

/* The candidate nearest to `word` by edit distance (insert, delete, replace, swap of neighbours,
 * case ignored), or NULL when none is nearer than about a third of the word's length. */
const char *text_nearest(const char *word, const char *const *candidates, size_t count);

/* Reads the whole of `text` (surrounding blanks allowed) as a finite decimal number.
 * `decimal_comma` accepts ',' for '.'. Independent of the locale. Hexadecimal, "inf" and "nan"
 * are refused. False leaves *value as it was. */
bool text_number(const char *text, bool decimal_comma, double *value);

/* Bytes of the UTF-8 character at the start of `bytes` and its code point; 0 when the bytes are
 * not UTF-8 or `length` is 0. */
size_t text_character(const char *bytes, size_t length, uint32_t *code);

#endif
