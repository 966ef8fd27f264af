#include "base/pages.h"

#include <sys/mman.h>

void *pages_open(size_t bytes)
{
    void *pages = mmap(NULL, bytes > 0 ? bytes : 1, PROT_READ | PROT_WRITE,
                       MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
    if (pages == MAP_FAILED)
        return NULL;
    madvise(pages, bytes, MADV_HUGEPAGE); /* a hint: whether it is taken changes no result */
    return pages;
}

void pages_close(void *pages, size_t bytes)
{
    if (pages)
        munmap(pages, bytes > 0 ? bytes : 1);
}
