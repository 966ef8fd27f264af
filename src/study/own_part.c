#include "study/own_part.h"

#include <errno.h>
#include <stdlib.h>

#include "study/part_words.h"

static const char remedy[] = "remove it, or choose another folder with --out";

/* Sound, but of which run or study? */
static packspan_status compare(const char *path, const struct header *header,
                               const struct part_file *p, struct problems *problems)
{
    static const char *const own[] = {NULL};
    char *difference = part_difference(&p->header, header, own);
    packspan_status status = !difference   ? PACKSPAN_NO_MEMORY
                             : *difference ? PACKSPAN_BAD_CASE
                                           : PACKSPAN_OK;
    if (status == PACKSPAN_BAD_CASE)
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL, difference, NULL, remedy);
    free(difference);
    return status;
}

/* Hands over what is wrong with a file that stays, and how to go on. */
static void report(const struct problems *faults, struct problems *problems)
{
    for (size_t i = 0; i < faults->count; i++)
        problems_add(problems, SEVERITY_ERROR, faults->items[i].file, 0, NULL,
                     faults->items[i].what, NULL, remedy);
}

packspan_status own_part_find(const char *path, const struct header *header,
                              struct problems *problems, enum own_part *found,
                              struct part_file *out)
{
    struct problems faults = {0};
    struct part_file p;
    bool is_damaged = false;
    packspan_status status = part_file_probe(path, &faults, &is_damaged, &p);
    int reason = errno;
    bool is_sound = status == PACKSPAN_OK;
    if (is_sound)
        status = compare(path, header, &p, problems);
    if (is_sound && status != PACKSPAN_OK)
        part_file_free(&p);
    if (is_sound && status == PACKSPAN_OK) {
        *found = OWN_PART_THERE;
        *out = p;
    } else if (status == PACKSPAN_MISSING || is_damaged) {
        *found = is_damaged ? OWN_PART_DAMAGED : OWN_PART_NONE;
        status = PACKSPAN_OK;
    } else {
        report(&faults, problems);
    }
    problems_clear(&faults);
    errno = reason;
    return status;
}
