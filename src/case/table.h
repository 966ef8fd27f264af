/* One CSV table (RFC 4180, read with libcsv) in memory, every field as text with its line. */
#ifndef PACKSPAN_CASE_TABLE_H
#define PACKSPAN_CASE_TABLE_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/file.h"
#include "base/problems.h"

struct table_column {
    const char *name;
    bool required; /* the header must have it */
};

struct table {
    char *file;                         /* path as shown in messages */
    const struct table_column *columns; /* the known columns, in the caller's order */
    size_t column_count;
    struct table_column *own_columns; /* those of the header, where the caller knows none */
    long header_line;
    size_t row_count;
    long *lines;                  /* [row_count]: line on which the row starts */
    const char **fields;          /* [row_count * column_count]: trimmed text, "" when absent */
    bool decimal_comma;           /* separator is ';' or tab */
    char checksum[CHECKSUM_SIZE]; /* of the file that was read */
    char *storage;
};

/* Reads a table; columns == NULL takes whatever columns the header names. Problems of the file as a
 * whole, of the header and of rows with a wrong number of fields go to `problems`; rows that can be
 * used are kept. PACKSPAN_OK also when problems were added; PACKSPAN_MISSING when the file does not
 * exist (nothing added), PACKSPAN_IO when it cannot be read (problem added), PACKSPAN_NO_MEMORY.
 * table_free() in every case. */
packspan_status table_read(const char *path, const struct table_column *columns,
                           size_t column_count, struct problems *problems, struct table *out);
/* The same for a table that is in memory already; `path` is for the messages. */
packspan_status table_parse(const char *path, const char *bytes, size_t length,
                            const struct table_column *columns, size_t column_count,
                            struct problems *problems, struct table *out);
void table_free(struct table *t);

/* The field's text; never NULL. */
const char *table_text(const struct table *t, size_t row, size_t column);
/* Adds an error that names the file, the row's line, the column and the field's text. */
void table_problem(const struct table *t, size_t row, size_t column, enum severity severity,
                   const char *what, const char *remedy, struct problems *problems);
/* NaN for an empty field; a field that is not a finite number is reported and gives NaN and
 * *bad = true. */
double table_number(const struct table *t, size_t row, size_t column, struct problems *problems,
                    bool *bad);

#endif
