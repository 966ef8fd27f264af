#include "study/study_part.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "study/case_header.h"
#include "study/run_part.h"
#include "study/tables_owner.h"

/* The points of a part, as a run's blocks are shared out. */
static void share_of(const struct study *s, struct part_of part, uint64_t *first, uint64_t *count)
{
    uint64_t from, to;
    part_share(part, s->design.points, &from, &to);
    *first = from;
    *count = to - from;
}

packspan_status study_take_share(struct study *s, struct part_of part)
{
    if (part.parts > s->design.points)
        return PACKSPAN_USAGE;
    s->part = part;
    share_of(s, part, &s->first, &s->count);
    return PACKSPAN_OK;
}

static bool make_header(const struct study *s, struct header *h)
{
    for (size_t i = 0; i < s->header.count; i++)
        header_add(h, s->header.items[i].name, s->header.items[i].value);
    header_add_folder(h, s->source);
    header_add_whole(h, "part", s->part.part);
    header_add_whole(h, "parts", s->part.parts);
    return !h->no_memory;
}

packspan_status study_part_find(const struct study *s, const char *path, struct problems *problems,
                                enum own_part *found)
{
    struct header header = {0};
    struct part_file p;
    packspan_status status = make_header(s, &header)
                                 ? own_part_find(path, &header, problems, found, &p)
                                 : PACKSPAN_NO_MEMORY;
    int reason = errno;
    if (status == PACKSPAN_OK && *found == OWN_PART_THERE)
        part_file_free(&p);
    header_free(&header);
    errno = reason;
    return status;
}

/* One slot at a time, so that a part of any size takes no memory. */
static packspan_status put_slots(struct part_draft *draft, const struct journal *journal,
                                 uint8_t *slot)
{
    packspan_status status = PACKSPAN_OK;
    for (uint64_t i = 0; i < journal->count && status == PACKSPAN_OK; i++) {
        status = journal_read_done(journal, journal->first + i, slot, NULL);
        if (status == PACKSPAN_OK)
            part_file_put(draft, slot, journal->slot);
    }
    return status;
}

static packspan_status write_slots(const char *path, const struct header *header,
                                   const struct journal *journal, uint8_t *slot)
{
    struct part_draft draft;
    packspan_status status = part_file_begin(&draft, path, header, journal->count * journal->slot);
    if (status != PACKSPAN_OK)
        return status;
    status = put_slots(&draft, journal, slot);
    if (status == PACKSPAN_OK)
        return part_file_commit(&draft);
    int reason = errno;
    part_file_abandon(&draft);
    errno = reason;
    return status;
}

packspan_status study_part_write(const struct study *s, const char *path,
                                 const struct journal *journal)
{
    struct header header = {0};
    uint8_t *slot = malloc(journal->slot);
    packspan_status status = make_header(s, &header) && slot ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = write_slots(path, &header, journal, slot);
    int reason = errno;
    free(slot);
    header_free(&header);
    errno = reason;
    return status;
}

/* ---- merging ---- */

/* Records of one part after the other; one part at a time is in memory. */
struct part_records {
    const struct part_set *parts;
    const struct study *study;
    struct problems *problems;
    struct journal frame; /* how the slots of the present part lie */
    struct part_file file;
    size_t next; /* part */
    uint64_t point;
    bool is_open;
};

static void close_part(struct part_records *r)
{
    if (r->is_open)
        part_file_free(&r->file);
    journal_close(&r->frame);
    r->is_open = false;
}

static packspan_status open_part(struct part_records *r)
{
    const struct part_entry *e = &r->parts->entries[r->next++];
    uint64_t first, count;
    close_part(r);
    share_of(r->study, (struct part_of){e->part, r->parts->count}, &first, &count);
    packspan_status status = part_file_read(e->path, r->problems, &r->file);
    r->is_open = status == PACKSPAN_OK;
    if (status == PACKSPAN_OK)
        status =
            journal_frame(&r->study->header, first, count, r->study->layout.numbers, &r->frame);
    r->point = first;
    if (status == PACKSPAN_OK && r->file.length != count * r->frame.slot)
        return part_blame(e->path, r->problems);
    return status;
}

static packspan_status next_record(void *from, struct record *out)
{
    struct part_records *r = from;
    packspan_status status = PACKSPAN_OK;
    while (status == PACKSPAN_OK && (!r->is_open || r->point == r->frame.first + r->frame.count))
        status = open_part(r);
    if (status != PACKSPAN_OK)
        return status;
    uint64_t place = (r->point - r->frame.first) * r->frame.slot;
    bool good = journal_take(&r->frame, r->point++, (const uint8_t *)r->file.payload + place, out);
    return good ? PACKSPAN_OK : part_blame(r->parts->entries[r->next - 1].path, r->problems);
}

packspan_status study_merge(const struct part_set *parts, const struct study *s, const char *folder,
                            struct problems *problems, struct study_report *report, char **path)
{
    struct part_records from = {
        .parts = parts, .study = s, .problems = problems, .frame = {.file = -1}};
    struct record_source records = {next_record, &from, s->design.points};
    *report = (struct study_report){.done = s->design.points, .parts = parts->count};
    packspan_status status = tables_may_be_written(s, folder, problems);
    if (status != PACKSPAN_OK)
        return status;
    study_tables_remove(folder);
    status = study_tables_write(s, folder, &records, report, path);
    int reason = errno;
    close_part(&from);
    errno = reason;
    return status;
}
