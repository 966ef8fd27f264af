#include "study/part_set.h"

#include <dirent.h>
#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "study/part_words.h"

/* The folder of the case may have another name elsewhere. */
const char *const part_own_items[] = {"part", "case", NULL};

static const char part_ending[] = ".part", journal_ending[] = ".journal";

struct gathering {
    struct part_set *set;
    struct problems *problems;
    packspan_status status; /* the first that is not PACKSPAN_OK */
};

static void note(struct gathering *g, packspan_status status)
{
    if (g->status == PACKSPAN_OK)
        g->status = status;
}

static void report(struct gathering *g, char *file, char *what)
{
    if (file && what)
        problems_add(g->problems, SEVERITY_ERROR, file, 0, NULL, what, NULL, NULL);
    note(g, file && what ? PACKSPAN_BAD_CASE : PACKSPAN_NO_MEMORY);
    free(file);
    free(what);
}

/* ---- reading ---- */

static bool digest_header(const struct header *h, char digest[65])
{
    struct byte_writer w = {0};
    for (size_t i = 0; i < h->count; i++) {
        const struct header_item *item = &h->items[i];
        if (header_is_among(item->name, part_own_items))
            continue;
        put_bytes(&w, item->name, strlen(item->name) + 1);
        put_bytes(&w, item->value, strlen(item->value) + 1);
    }
    if (!w.no_memory)
        bytes_checksum(w.bytes, w.length, digest);
    free(w.bytes);
    return !w.no_memory;
}

static void add_entry(struct gathering *g, const char *path, const struct header *h)
{
    struct part_set *s = g->set;
    struct part_entry entry = {.path = text_copy(path)};
    struct part_entry *longer = reallocarray(s->entries, s->count + 1, sizeof *longer);
    if (longer)
        s->entries = longer;
    if (!longer || !entry.path || !digest_header(h, entry.digest)) {
        free(entry.path);
        note(g, PACKSPAN_NO_MEMORY);
        return;
    }
    struct stat about;
    if (stat(path, &about) == 0) {
        entry.device = about.st_dev;
        entry.inode = about.st_ino;
    }
    header_whole(h, "part", &entry.part);
    longer[s->count++] = entry;
}

static void take_file(struct gathering *g, const char *path)
{
    struct part_file p;
    struct problems faults = {0};
    bool is_damaged = false;
    packspan_status status = part_file_probe(path, &faults, &is_damaged, &p);
    for (size_t i = 0; i < faults.count; i++)
        problems_add(g->problems, SEVERITY_ERROR, path, 0, NULL, faults.items[i].what, NULL,
                     is_damaged ? "the command that made it makes it again" : NULL);
    problems_clear(&faults);
    note(g, status);
    if (status != PACKSPAN_OK)
        return;
    add_entry(g, path, &p.header);
    part_file_free(&p);
}

static bool ends_with(const char *name, const char *end)
{
    size_t length = strlen(name), of_end = strlen(end);
    return length > of_end && strcmp(name + length - of_end, end) == 0;
}

static int is_part_name(const struct dirent *e)
{
    return ends_with(e->d_name, part_ending);
}

static int is_journal_name(const struct dirent *e)
{
    return strncmp(e->d_name, "part_", 5) == 0 && ends_with(e->d_name, journal_ending);
}

static void take_folder(struct gathering *g, const char *folder)
{
    struct dirent **names = NULL;
    int count = scandir(folder, &names, is_part_name, alphasort);
    if (count < 0) {
        problems_add(g->problems, SEVERITY_ERROR, folder, 0, NULL, strerror(errno), NULL, NULL);
        note(g, PACKSPAN_IO);
        return;
    }
    if (count == 0)
        report(g, text_copy(folder), text_copy("holds no part"));
    for (int i = 0; i < count; i++) {
        char *path = text_format("%s/%s", folder, names[i]->d_name);
        if (path)
            take_file(g, path);
        else
            note(g, PACKSPAN_NO_MEMORY);
        free(path);
        free(names[i]);
    }
    free(names);
}

/* ---- checking ---- */

/* The header of more than half of them, if there is one (Boyer and Moore's vote). */
static const struct part_entry *choose_reference(const struct part_set *s)
{
    const struct part_entry *chosen = s->entries;
    size_t votes = 0;
    for (size_t i = 0; i < s->count; i++) {
        bool same = strcmp(s->entries[i].digest, chosen->digest) == 0;
        if (votes == 0)
            chosen = same ? chosen : &s->entries[i];
        votes = votes == 0 || same ? votes + 1 : votes - 1;
    }
    return chosen;
}

static void report_foreign(struct gathering *g, const struct part_entry *e)
{
    struct part_file p;
    packspan_status status = part_file_read(e->path, g->problems, &p);
    if (status != PACKSPAN_OK) {
        note(g, status);
        return;
    }
    report(g, text_copy(e->path), part_difference(&p.header, &g->set->header, part_own_items));
    part_file_free(&p);
}

/* Reads the header that they should have in common; what has another is told and dropped. */
static void drop_foreign(struct gathering *g)
{
    struct part_set *s = g->set;
    const struct part_entry reference = *choose_reference(s);
    char *path = text_copy(reference.path);
    struct part_file p = {0};
    packspan_status status = path ? part_file_read(path, g->problems, &p) : PACKSPAN_NO_MEMORY;
    s->header = p.header;
    p.header = (struct header){0};
    note(g, status);
    size_t kept = 0;
    for (size_t i = 0; i < s->count; i++) {
        if (strcmp(s->entries[i].digest, reference.digest) == 0) {
            s->entries[kept++] = s->entries[i];
            continue;
        }
        if (status == PACKSPAN_OK)
            report_foreign(g, &s->entries[i]);
        free(s->entries[i].path);
    }
    s->count = kept;
    part_file_free(&p);
    free(path);
}

static int compare_parts(const void *a, const void *b)
{
    const struct part_entry *x = a, *y = b;
    if (x->part != y->part)
        return x->part < y->part ? -1 : 1;
    if (x->device != y->device)
        return x->device < y->device ? -1 : 1;
    if (x->inode != y->inode)
        return x->inode < y->inode ? -1 : 1;
    return strcmp(x->path, y->path);
}

/* A file that was named twice, perhaps by two paths, counts once. */
static void drop_repeated(struct part_set *s)
{
    size_t kept = 0;
    for (size_t i = 0; i < s->count; i++) {
        const struct part_entry *last = kept > 0 ? &s->entries[kept - 1] : NULL;
        const struct part_entry *e = &s->entries[i];
        if (last && last->device == e->device && last->inode == e->inode)
            free(s->entries[i].path);
        else
            s->entries[kept++] = *e;
    }
    s->count = kept;
}

/* Beside the parts that are there. */
static char *folder_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    size_t length = slash ? (size_t)(slash - path) : 0;
    return slash ? strndup(path, length ? length : 1) : text_copy(".");
}

static void report_missing(struct gathering *g, uint64_t from, uint64_t to, uint64_t parts)
{
    if (from > to)
        return;
    char *folder = folder_of(g->set->entries[0].path);
    char *command = folder ? part_command(&g->set->header, folder) : NULL;
    if (!command)
        note(g, PACKSPAN_NO_MEMORY);
    else if (from == to)
        report(g, text_format("part %" PRIu64 " of %" PRIu64, from, parts),
               text_format("is missing; it is made by: %s %" PRIu64 "/%" PRIu64, command, from,
                           parts));
    else
        report(g, text_format("parts %" PRIu64 " to %" PRIu64 " of %" PRIu64, from, to, parts),
               text_format("are missing; they are made, K from %" PRIu64 " to %" PRIu64
                           ", by: %s K/%" PRIu64,
                           from, to, command, parts));
    free(command);
    free(folder);
}

static void check_complete(struct gathering *g)
{
    struct part_set *s = g->set;
    uint64_t parts = 0, next = 1;
    if (!header_whole(&s->header, "parts", &parts)) {
        report(g, text_copy(s->entries[0].path), text_copy("says of how many parts it is none"));
        return;
    }
    qsort(s->entries, s->count, sizeof *s->entries, compare_parts);
    drop_repeated(s);
    for (size_t i = 0; i < s->count; i++) {
        const struct part_entry *e = &s->entries[i];
        if (e->part + 1 == next && i > 0) {
            report(g, text_copy(e->path),
                   text_format("is part %" PRIu64 " of %" PRIu64 ", and so is %s", e->part, parts,
                               s->entries[i - 1].path));
            continue;
        }
        if (e->part < next || e->part > parts) {
            report(
                g, text_copy(e->path),
                text_format("is part %" PRIu64 " of %" PRIu64 ", which cannot be", e->part, parts));
            continue;
        }
        report_missing(g, next, e->part - 1, parts);
        next = e->part + 1;
    }
    report_missing(g, next, parts, parts);
}

/* ---- what is not finished ---- */

/* Without the line end; malloc'd, "" when there is none. */
static char *last_line(const char *path)
{
    enum { MOST_LOG = 1 << 24 };
    char *text = NULL;
    size_t length;
    if (file_read(path, MOST_LOG, &text, &length) != PACKSPAN_OK)
        return text_copy("");
    while (length > 0 && text[length - 1] == '\n')
        text[--length] = '\0';
    const char *end = strrchr(text, '\n');
    char *line = text_copy(end ? end + 1 : text);
    free(text);
    return line;
}

static void tell_journal(struct gathering *g, const char *folder, const char *name)
{
    int stem = (int)(strlen(name) + 1 - sizeof journal_ending);
    char *part = text_format("%s/%.*s%s", folder, stem, name, part_ending);
    char *log = text_format("%s/%.*s.log", folder, stem, name);
    char *path = text_format("%s/%s", folder, name);
    char *line = log ? last_line(log) : NULL;
    if (!part || !path || !line)
        note(g, PACKSPAN_NO_MEMORY);
    else if (access(part, F_OK) != 0)
        problems_add(g->problems, SEVERITY_ERROR, path, 0, NULL,
                     *line ? "is not finished; its log ends with" : "is not finished",
                     *line ? line : NULL, NULL);
    free(line);
    free(path);
    free(log);
    free(part);
}

/* Parts of a study that are being worked out, or have to be gone on with. */
static void tell_journals(struct gathering *g, const char *folder)
{
    struct dirent **names = NULL;
    int count = scandir(folder, &names, is_journal_name, alphasort);
    for (int i = 0; i < count; i++) {
        tell_journal(g, folder, names[i]->d_name);
        free(names[i]);
    }
    free(names);
}

packspan_status part_set_open(const char *const *paths, size_t n, struct problems *problems,
                              struct part_set *out)
{
    *out = (struct part_set){0};
    struct gathering g = {out, problems, PACKSPAN_OK};
    for (size_t i = 0; i < n; i++) {
        if (file_is_folder(paths[i]))
            take_folder(&g, paths[i]);
        else
            take_file(&g, paths[i]);
    }
    if (out->count > 0)
        drop_foreign(&g);
    if (out->count > 0)
        check_complete(&g);
    for (size_t i = 0; i < n && g.status == PACKSPAN_BAD_CASE; i++)
        if (file_is_folder(paths[i]))
            tell_journals(&g, paths[i]);
    return g.status;
}

void part_set_free(struct part_set *s)
{
    for (size_t i = 0; i < s->count; i++)
        free(s->entries[i].path);
    free(s->entries);
    header_free(&s->header);
    *s = (struct part_set){0};
}

packspan_status part_blame(const char *path, struct problems *problems)
{
    problems_add(problems, SEVERITY_ERROR, path, 0, NULL,
                 "holds something else than this packspan makes of the case", NULL, NULL);
    return PACKSPAN_BAD_CASE;
}
