/* Large arrays that start as zeros, in memory that is taken when it is first written to. */
#ifndef PACKSPAN_BASE_PAGES_H
#define PACKSPAN_BASE_PAGES_H

#include <stddef.h>

/* NULL when out of memory. Where the system has larger pages, it is asked for them: many small ones
 * would take longer to get than to use. */
void *pages_open(size_t bytes);
/* Of so many bytes as were asked for; NULL is fine. */
void pages_close(void *pages, size_t bytes);

#endif
