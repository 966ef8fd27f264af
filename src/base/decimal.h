/* Numbers as the tables show them. */
#ifndef PACKSPAN_BASE_DECIMAL_H
#define PACKSPAN_BASE_DECIMAL_H

#include <stddef.h>

enum { DECIMAL_SIZE = 32 }; /* with the final zero */

/* Writes what printf's %.10g does in the C locale, correctly rounded, and returns its length. */
size_t decimal_write(double value, char text[DECIMAL_SIZE]);

#endif
