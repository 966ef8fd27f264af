#include "study/merge.h"

#include <inttypes.h>
#include <stdlib.h>

#include "base/text.h"

static packspan_status take_part(const struct part_entry *e, struct part_of part,
                                 struct problems *problems, uint64_t *pilot,
                                 struct run_outcome *out)
{
    struct part_file p;
    uint64_t from, to;
    packspan_status status = part_file_read(e->path, problems, &p);
    if (status != PACKSPAN_OK)
        return status;
    part_share(part, run_block_count(out->set), &from, &to);
    struct byte_reader r = {p.payload, p.payload + p.length, false};
    status = run_part_take(&r, from, to, pilot, out);
    part_file_free(&p);
    if (status == PACKSPAN_BAD_CASE)
        part_blame(e->path, problems);
    return status;
}

/* The whole run would have started again with that pilot. */
static packspan_status refuse_outgrown(const char *path, uint64_t pilot, size_t parts,
                                       struct problems *problems)
{
    char *what = text_format("some of its samples outweigh by far those that set the scale; remove "
                             "all %zu parts and run each again with --pilot %" PRIu64,
                             parts, pilot);
    if (!what)
        return PACKSPAN_NO_MEMORY;
    problems_add(problems, SEVERITY_ERROR, path, 0, NULL, what, NULL, NULL);
    free(what);
    return PACKSPAN_BAD_CASE;
}

packspan_status merge_run(const struct part_set *parts, const struct plan_set *set,
                          run_progress *progress, void *user, struct problems *problems,
                          struct run_outcome *out)
{
    packspan_status status = run_open(set, progress, user, out);
    out->parts = parts->count;
    for (size_t i = 0; i < parts->count && status == PACKSPAN_OK; i++) {
        const struct part_entry *e = &parts->entries[i];
        struct part_of part = {e->part, parts->count};
        uint64_t pilot = 0;
        status = take_part(e, part, problems, &pilot, out);
        if (status == PACKSPAN_OK && pilot > 0)
            return refuse_outgrown(e->path, pilot, parts->count, problems);
        if (status == PACKSPAN_OK && progress && !progress(user, out->drawn, out->requested))
            status = PACKSPAN_INTERRUPTED;
    }
    return status == PACKSPAN_OK ? run_finish(out) : status;
}
