/* A list of everything found wrong (errors) or doubtful (warnings) in the tables of a case. */
#ifndef PACKSPAN_BASE_PROBLEMS_H
#define PACKSPAN_BASE_PROBLEMS_H

#include <stdbool.h>
#include <stddef.h>

enum severity { SEVERITY_ERROR, SEVERITY_WARNING };

struct problem {
    enum severity severity;
    char *file;   /* path as given by the user; never NULL */
    long line;    /* 1-based; 0 when the problem is with the whole file */
    char *column; /* NULL when no one column is at fault */
    char *what;   /* what is wrong; never NULL */
    char *text;   /* the offending text; NULL when there is none */
    char *remedy; /* range or words that would be right; NULL when there is none */
};

struct problems {
    struct problem *items;
    size_t count, capacity;
    size_t errors;
    bool out_of_memory; /* set when a problem could not be recorded; counts as an error */
};

/* All strings are copied. `what` and `remedy` may be NULL-terminated text only; use text_format()
 * beforehand for composed ones. */
void problems_add(struct problems *list, enum severity severity, const char *file, long line,
                  const char *column, const char *what, const char *text, const char *remedy);

/* The same of one that another list has. */
void problems_repeat(struct problems *list, const struct problem *p);

/* Sorts by file, then line, keeping the order of equals. */
void problems_sort(struct problems *list);
void problems_clear(struct problems *list);

/* `FILE:LINE: column 'NAME': WHAT: 'TEXT'; REMEDY`, without the parts that are missing; warnings
 * carry `warning: ` before WHAT. malloc'd, NULL when out of memory. Bytes of TEXT that are not
 * printable UTF-8 are shown as \xHH, and a text of more than 60 bytes is cut with an ellipsis. */
char *problem_text(const struct problem *p);

#endif
