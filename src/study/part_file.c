#include "study/part_file.h"

#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define FIRST_ITEM "packspan part"
#define FORMAT "1"
#define PAYLOAD_ITEM "payload"
#define CHECKSUM_ITEM "sha256,"
enum { LAST_LINE = sizeof CHECKSUM_ITEM - 1 + CHECKSUM_SIZE }; /* with the line end */

/* ---- the header ---- */

static void add_owned(struct header *h, char *name, char *value)
{
    struct header_item *longer = reallocarray(h->items, h->count + 1, sizeof *longer);
    if (longer)
        h->items = longer;
    if (!longer || !name || !value) {
        free(name);
        free(value);
        h->no_memory = true;
        return;
    }
    h->items[h->count++] = (struct header_item){name, value};
}

void header_add(struct header *h, const char *name, const char *value)
{
    add_owned(h, text_copy(name), text_copy(value));
}

void header_add_whole(struct header *h, const char *name, uint64_t value)
{
    add_owned(h, text_copy(name), text_format("%" PRIu64, value));
}

void header_free(struct header *h)
{
    for (size_t i = 0; i < h->count; i++) {
        free(h->items[i].name);
        free(h->items[i].value);
    }
    free(h->items);
    *h = (struct header){0};
}

const char *header_value(const struct header *h, const char *name)
{
    for (size_t i = 0; i < h->count; i++)
        if (strcmp(h->items[i].name, name) == 0)
            return h->items[i].value;
    return NULL;
}

bool header_whole(const struct header *h, const char *name, uint64_t *value)
{
    const char *text = header_value(h, name);
    if (!text || !*text || text[strspn(text, "0123456789")] != '\0')
        return false;
    errno = 0;
    unsigned long long number = strtoull(text, NULL, 10);
    if (errno == 0)
        *value = number;
    return errno == 0;
}

static bool is_plain(char c)
{
    return (unsigned char)c >= 0x20 && c != ',' && c != '%';
}

static void put_escaped(struct byte_writer *w, const char *text)
{
    for (; *text; text++) {
        char escaped[4];
        if (is_plain(*text)) {
            put_bytes(w, text, 1);
            continue;
        }
        snprintf(escaped, sizeof escaped, "%%%02X", (unsigned)(unsigned char)*text);
        put_bytes(w, escaped, 3);
    }
}

static void put_line(struct byte_writer *w, const char *name, const char *value)
{
    put_escaped(w, name);
    put_bytes(w, ",", 1);
    put_escaped(w, value);
    put_bytes(w, "\n", 1);
}

static void put_items(const struct header *h, struct byte_writer *w)
{
    for (size_t i = 0; i < h->count; i++)
        put_line(w, h->items[i].name, h->items[i].value);
    w->no_memory = w->no_memory || h->no_memory;
}

void header_put(const struct header *h, struct byte_writer *w)
{
    put_items(h, w);
    put_bytes(w, "\n", 1);
}

static int digit_of(char c)
{
    static const char digits[] = "0123456789ABCDEF";
    const char *at = c ? strchr(digits, c) : NULL;
    return at ? (int)(at - digits) : -1;
}

/* malloc'd; NULL when out of memory. What is no escape stands for itself. */
static char *unescape(const char *from, size_t length)
{
    char *text = malloc(length + 1), *to = text;
    const char *end = from + length;
    while (text && from < end) {
        int high = -1, low = -1;
        if (*from == '%' && end - from > 2) {
            high = digit_of(from[1]);
            low = digit_of(from[2]);
        }
        bool is_escape = high >= 0 && low >= 0;
        *to++ = is_escape ? (char)(16 * high + low) : *from;
        from += is_escape ? 3 : 1;
    }
    if (text)
        *to = '\0';
    return text;
}

packspan_status header_take(struct byte_reader *r, struct header *out)
{
    while (!out->no_memory && r->at < r->end) {
        const char *end = memchr(r->at, '\n', (size_t)(r->end - r->at));
        if (end == r->at) {
            r->at++;
            return PACKSPAN_OK;
        }
        const char *comma = end ? memchr(r->at, ',', (size_t)(end - r->at)) : NULL;
        if (!comma)
            break;
        add_owned(out, unescape(r->at, (size_t)(comma - r->at)),
                  unescape(comma + 1, (size_t)(end - comma - 1)));
        r->at = end + 1;
    }
    return out->no_memory ? PACKSPAN_NO_MEMORY : PACKSPAN_BAD_CASE;
}

static void report(struct problems *problems, const char *file, char *what)
{
    if (what)
        problems_add(problems, SEVERITY_ERROR, file, 0, NULL, what, NULL, NULL);
    else
        problems->out_of_memory = true;
    free(what);
}

bool header_is_among(const char *name, const char *const *list)
{
    for (; *list; list++)
        if (strcmp(*list, name) == 0)
            return true;
    return false;
}

/* As an empty setting is meant. */
static const char all[] = "all";

void header_compare(const struct header *h, const char *file, const struct header *other,
                    const char *other_file, const char *const *own, struct problems *problems)
{
    for (size_t i = 0; i < h->count; i++) {
        const char *name = h->items[i].name, *value = h->items[i].value;
        const char *there = header_value(other, name);
        value = *value ? value : all;
        there = there && !*there ? all : there;
        if (header_is_among(name, own) || (there && strcmp(there, value) == 0))
            continue;
        report(
            problems, file,
            there ? text_format("%s is %s here, %s in %s", name, value, there, other_file)
                  : text_format("%s is %s here, and there is none in %s", name, value, other_file));
    }
    for (size_t i = 0; i < other->count; i++) {
        const char *name = other->items[i].name;
        if (!header_is_among(name, own) && !header_value(h, name))
            report(problems, file,
                   text_format("there is no %s here, but %s in %s", name, other->items[i].value,
                               other_file));
    }
}

/* ---- the file ---- */

packspan_status part_file_begin(struct part_draft *draft, const char *path,
                                const struct header *header, size_t length)
{
    struct byte_writer w = {0};
    put_line(&w, FIRST_ITEM, FORMAT);
    put_items(header, &w);
    char size[24];
    snprintf(size, sizeof size, "%zu", length);
    put_line(&w, PAYLOAD_ITEM, size);
    put_bytes(&w, "\n", 1);
    packspan_status status = w.no_memory ? PACKSPAN_NO_MEMORY : file_begin(&draft->file, path);
    if (status == PACKSPAN_OK) {
        digest_begin(&draft->digest);
        part_file_put(draft, w.bytes, w.length);
    }
    int reason = errno;
    free(w.bytes);
    errno = reason;
    return status;
}

void part_file_put(struct part_draft *draft, const void *bytes, size_t length)
{
    digest_put(&draft->digest, bytes, length);
    fwrite(bytes, 1, length, draft->file.stream);
}

packspan_status part_file_commit(struct part_draft *draft)
{
    char checksum[CHECKSUM_SIZE];
    digest_end_in_hex(&draft->digest, checksum);
    fprintf(draft->file.stream, "%s%s\n", CHECKSUM_ITEM, checksum);
    return file_commit(&draft->file); /* checks the stream's error flag */
}

void part_file_abandon(struct part_draft *draft)
{
    file_abandon(&draft->file);
}

packspan_status part_file_write(const char *path, const struct header *header, const char *payload,
                                size_t length)
{
    struct part_draft draft;
    packspan_status status = part_file_begin(&draft, path, header, length);
    if (status != PACKSPAN_OK)
        return status;
    part_file_put(&draft, payload, length);
    return part_file_commit(&draft);
}

static bool is_sound(const char *bytes, size_t length)
{
    char last[LAST_LINE + 1], checksum[CHECKSUM_SIZE];
    if (length < LAST_LINE)
        return false;
    bytes_checksum(bytes, length - LAST_LINE, checksum);
    snprintf(last, sizeof last, "%s%s\n", CHECKSUM_ITEM, checksum);
    return memcmp(bytes + length - LAST_LINE, last, LAST_LINE) == 0;
}

/* Removes the first and the last item, which are the file's own. */
static void strip_header(struct header *h)
{
    size_t last = h->count - 1;
    free(h->items[0].name);
    free(h->items[0].value);
    free(h->items[last].name);
    free(h->items[last].value);
    memmove(h->items, h->items + 1, (last - 1) * sizeof *h->items);
    h->count -= 2;
}

static const char no_part[] = "is no part that packspan has written",
                  damaged[] = "is damaged or cut off, its checksum does not fit";

/* NULL, or what is wrong. */
static const char *fault_of(struct part_file *p, size_t length, packspan_status *status)
{
    static const char beginning[] = FIRST_ITEM ",", own_beginning[] = FIRST_ITEM "," FORMAT "\n";
    size_t known = sizeof beginning - 1;
    uint64_t payload;
    *status = PACKSPAN_BAD_CASE;
    if (memcmp(p->bytes, beginning, length < known ? length : known) != 0)
        return no_part;
    if (!is_sound(p->bytes, length))
        return damaged;
    if (memcmp(p->bytes, own_beginning, sizeof own_beginning - 1) != 0)
        return "was written by a packspan of another format; make all parts and merge them with "
               "the same version";
    struct byte_reader r = {p->bytes, p->bytes + length - LAST_LINE, false};
    packspan_status taken = header_take(&r, &p->header);
    if (taken == PACKSPAN_NO_MEMORY)
        *status = taken;
    p->payload = r.at;
    p->length = (size_t)(r.end - r.at);
    if (taken != PACKSPAN_OK || p->header.count < 2 ||
        strcmp(p->header.items[p->header.count - 1].name, PAYLOAD_ITEM) != 0 ||
        !header_whole(&p->header, PAYLOAD_ITEM, &payload) || payload != p->length)
        return "has a header that packspan does not write";
    strip_header(&p->header);
    *status = PACKSPAN_OK;
    return NULL;
}

packspan_status part_file_probe(const char *path, struct problems *problems, bool *is_damaged,
                                struct part_file *out)
{
    struct part_file p = {0};
    size_t length = 0;
    packspan_status status = file_read(path, SIZE_MAX / 4, &p.bytes, &length);
    int reason = errno;
    if (status != PACKSPAN_OK) {
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL,
                     status == PACKSPAN_NO_MEMORY ? "out of memory" : strerror(reason), NULL, NULL);
        errno = reason;
        return status;
    }
    const char *fault = fault_of(&p, length, &status);
    if (status == PACKSPAN_OK) {
        *out = p;
        return status;
    }
    *is_damaged = fault == damaged;
    problems_add(problems, SEVERITY_ERROR, path, 0, NULL, fault, NULL, NULL);
    part_file_free(&p);
    return status;
}

packspan_status part_file_read(const char *path, struct problems *problems, struct part_file *out)
{
    bool is_damaged;
    return part_file_probe(path, problems, &is_damaged, out);
}

void part_file_free(struct part_file *p)
{
    header_free(&p->header);
    free(p->bytes);
    *p = (struct part_file){0};
}
