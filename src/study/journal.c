#include "study/journal.h"

#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/bytes.h"
#include "base/file.h"
#include "base/text.h"

static const char first_line[] = "packspan study journal,2\n";

enum { SLOT_WORDS = 4 }; /* point, fate, invalid samples, cautions */

/* ---- bytes ---- */

static void digest_both(const void *before, size_t before_length, const void *bytes, size_t length,
                        uint8_t out[DIGEST_BYTES])
{
    struct digest digest;
    digest_begin(&digest);
    digest_put(&digest, before, before_length);
    digest_put(&digest, bytes, length);
    digest_end(&digest, out);
}

static packspan_status write_at(int file, const void *bytes, size_t length, uint64_t at)
{
    for (size_t done = 0; done < length;) {
        ssize_t put =
            pwrite(file, (const uint8_t *)bytes + done, length - done, (off_t)(at + done));
        if (put < 0 && errno == EINTR)
            continue;
        if (put < 0)
            return PACKSPAN_IO;
        if (put == 0) {
            errno = ENOSPC;
            return PACKSPAN_IO;
        }
        done += (size_t)put;
    }
    return PACKSPAN_OK;
}

/* *got is less than `length` at the end of the file only. */
static packspan_status read_at(int file, void *bytes, size_t length, uint64_t at, size_t *got)
{
    *got = 0;
    while (*got < length) {
        ssize_t part = pread(file, (uint8_t *)bytes + *got, length - *got, (off_t)(at + *got));
        if (part < 0 && errno == EINTR)
            continue;
        if (part < 0)
            return PACKSPAN_IO;
        if (part == 0)
            break;
        *got += (size_t)part;
    }
    return PACKSPAN_OK;
}

static bool is_zero(const uint8_t *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++)
        if (bytes[i])
            return false;
    return true;
}

/* ---- slots ---- */

static size_t slot_size(size_t numbers)
{
    return WORD_BYTES * (SLOT_WORDS + numbers) + DIGEST_BYTES;
}

static uint64_t place_of(const struct journal *j, uint64_t point)
{
    return j->start + (point - j->first) * j->slot;
}

static void slot_digest(const struct journal *j, const uint8_t *slot, uint8_t out[DIGEST_BYTES])
{
    digest_both(j->study, sizeof j->study, slot, j->slot - DIGEST_BYTES, out);
}

static enum slot_state judge_slot(const struct journal *j, uint64_t point, const uint8_t *slot,
                                  size_t got)
{
    uint8_t expected[DIGEST_BYTES];
    if (is_zero(slot, got)) /* left out by points that finished before it */
        return SLOT_EMPTY;
    if (got < j->slot || load_word(slot) != point)
        return SLOT_DAMAGED;
    slot_digest(j, slot, expected);
    bool fits = memcmp(expected, slot + j->slot - DIGEST_BYTES, DIGEST_BYTES) == 0;
    return fits ? SLOT_DONE : SLOT_DAMAGED;
}

static void take_slot(const struct journal *j, const uint8_t *slot, struct record *out)
{
    out->point = load_word(slot);
    out->fate = load_word(slot + WORD_BYTES);
    out->invalid = load_word(slot + 2 * WORD_BYTES);
    out->cautions = load_word(slot + 3 * WORD_BYTES);
    for (size_t i = 0; i < j->numbers; i++)
        out->numbers[i] = load_real(slot + WORD_BYTES * (SLOT_WORDS + i));
}

bool journal_take(const struct journal *j, uint64_t point, const uint8_t *slot, struct record *out)
{
    if (judge_slot(j, point, slot, j->slot) != SLOT_DONE)
        return false;
    take_slot(j, slot, out);
    return true;
}

packspan_status journal_read(const struct journal *j, uint64_t point, uint8_t *space,
                             struct record *out, enum slot_state *state)
{
    size_t got;
    packspan_status status = read_at(j->file, space, j->slot, place_of(j, point), &got);
    if (status != PACKSPAN_OK)
        return status;
    *state = judge_slot(j, point, space, got);
    if (*state == SLOT_DONE && out)
        take_slot(j, space, out);
    return PACKSPAN_OK;
}

packspan_status journal_read_done(const struct journal *j, uint64_t point, uint8_t *space,
                                  struct record *out)
{
    enum slot_state state = SLOT_EMPTY;
    packspan_status status = journal_read(j, point, space, out, &state);
    if (status == PACKSPAN_OK && state != SLOT_DONE) {
        errno = EIO; /* it was there a moment ago */
        status = PACKSPAN_IO;
    }
    return status;
}

packspan_status journal_write(const struct journal *j, const struct record *record, uint8_t *space)
{
    store_word(space, record->point);
    store_word(space + WORD_BYTES, record->fate);
    store_word(space + 2 * WORD_BYTES, record->invalid);
    store_word(space + 3 * WORD_BYTES, record->cautions);
    for (size_t i = 0; i < j->numbers; i++)
        store_real(space + WORD_BYTES * (SLOT_WORDS + i), record->numbers[i]);
    slot_digest(j, space, space + j->slot - DIGEST_BYTES);
    return write_at(j->file, space, j->slot, place_of(j, record->point));
}

packspan_status journal_sync(const struct journal *j)
{
    return fdatasync(j->file) == 0 ? PACKSPAN_OK : PACKSPAN_IO;
}

/* ---- the header ---- */

/* The first line, the items, and a digest of both. */
static bool make_header(const struct header *header, struct byte_writer *w,
                        uint8_t study[DIGEST_BYTES])
{
    put_bytes(w, first_line, sizeof first_line - 1);
    header_put(header, w);
    if (w->no_memory)
        return false;
    digest_both(NULL, 0, w->bytes, w->length, study);
    put_bytes(w, study, DIGEST_BYTES);
    return !w->no_memory;
}

/* A header that is whole, of whatever study. */
static bool take_header(const char *bytes, size_t length, struct header *out)
{
    uint8_t study[DIGEST_BYTES];
    size_t line = sizeof first_line - 1;
    if (length < line || memcmp(bytes, first_line, line) != 0)
        return false;
    struct byte_reader r = {bytes + line, bytes + length, false};
    if (header_take(&r, out) != PACKSPAN_OK || r.end - r.at < DIGEST_BYTES)
        return false;
    digest_both(NULL, 0, bytes, (size_t)(r.at - bytes), study);
    return memcmp(study, r.at, DIGEST_BYTES) == 0;
}

/* HEADER_BEGUN: as when its writing was cut short; there cannot be any record yet. */
enum header_state { HEADER_OWN, HEADER_OTHER, HEADER_BEGUN, HEADER_DAMAGED };

/* All that there is of a file: the beginning of our own header, then zeros. */
static bool is_begun(const struct byte_writer *own, const char *bytes, size_t length)
{
    size_t same = 0;
    while (same < length && same < own->length && bytes[same] == own->bytes[same])
        same++;
    return length <= own->length && is_zero((const uint8_t *)bytes + same, length - same);
}

static enum header_state state_of_header(const struct byte_writer *own, const char *bytes,
                                         size_t length, struct header *other)
{
    if (length >= own->length && memcmp(bytes, own->bytes, own->length) == 0)
        return HEADER_OWN;
    if (is_begun(own, bytes, length))
        return HEADER_BEGUN;
    return take_header(bytes, length, other) ? HEADER_OTHER : HEADER_DAMAGED;
}

/* Reports in what another study's header differs. */
static packspan_status judge_header(const struct journal *j, const struct header *header,
                                    const struct byte_writer *own, struct problems *problems,
                                    enum header_state *state)
{
    static const char *const none[] = {NULL}, *const points[] = {"points", NULL};
    enum { MOST_HEADER = 1 << 20 };
    size_t got;
    char *bytes = malloc(MOST_HEADER);
    struct header other = {0};
    packspan_status status =
        bytes ? read_at(j->file, bytes, MOST_HEADER, 0, &got) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        *state = state_of_header(own, bytes, got, &other);
        bool both_say = header_value(header, "points") && header_value(&other, "points");
        if (*state == HEADER_OTHER)
            header_compare(header, "this study", &other, j->path, both_say ? none : points,
                           problems);
        if (other.no_memory || problems->out_of_memory)
            status = PACKSPAN_NO_MEMORY;
    }
    header_free(&other);
    free(bytes);
    return status;
}

/* ---- opening ---- */

/* The points from .. to - 1, as far as the file goes. */
static packspan_status scan_points(const struct journal *j, uint64_t from, uint64_t to,
                                   struct journal_found *found)
{
    struct stat about;
    uint8_t *space = malloc(j->slot);
    packspan_status status = space ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK && fstat(j->file, &about) != 0)
        status = PACKSPAN_IO;
    for (uint64_t i = from; i < to && status == PACKSPAN_OK; i++) {
        enum slot_state state = SLOT_EMPTY;
        if (place_of(j, i) >= (uint64_t)about.st_size)
            break;
        status = journal_read(j, i, space, NULL, &state);
        found->done += state == SLOT_DONE;
        found->damaged += state == SLOT_DAMAGED;
        if (state == SLOT_DONE)
            found->end = i + 1;
    }
    free(space);
    return status;
}

static packspan_status scan(const struct journal *j, struct journal_found *found)
{
    return scan_points(j, j->first, j->first + j->count, found);
}

static packspan_status write_header(const struct journal *j, const struct byte_writer *own)
{
    packspan_status status = write_at(j->file, own->bytes, own->length, 0);
    if (status == PACKSPAN_OK)
        status = journal_sync(j);
    return status == PACKSPAN_OK && !file_flush_folder(j->path) ? PACKSPAN_IO : status;
}

/* A damaged header does not matter where records show that they are of this study. */
static packspan_status mend_header(const struct journal *j, const struct byte_writer *own,
                                   struct problems *problems, struct journal_found *found)
{
    packspan_status status = scan(j, found);
    if (status != PACKSPAN_OK)
        return status;
    found->header_damaged = found->done > 0;
    if (found->header_damaged)
        return write_header(j, own);
    problems_add(problems, SEVERITY_ERROR, j->path, 0, NULL,
                 "is no journal of this study, or damaged beyond use", NULL, NULL);
    return PACKSPAN_BAD_CASE;
}

static packspan_status open_file(struct journal *j, struct journal_found *found)
{
    j->file = open(j->path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
    if (j->file < 0)
        return PACKSPAN_IO;
    if (flock(j->file, LOCK_EX | LOCK_NB) == 0)
        return PACKSPAN_OK;
    found->in_use = errno == EWOULDBLOCK;
    return found->in_use ? PACKSPAN_IO : PACKSPAN_OK; /* a file system without locks */
}

/* Reads what is there of this study. One that has come to more points is not for fewer. */
static packspan_status take_records(const struct journal *j, struct problems *problems,
                                    struct journal_found *found)
{
    struct journal_found beyond = {0};
    packspan_status status = scan_points(j, j->first + j->count, UINT64_MAX, &beyond);
    if (status != PACKSPAN_OK || beyond.done == 0)
        return status == PACKSPAN_OK ? scan(j, found) : status;
    char *what = text_format("holds points up to %" PRIu64 ", more than the %" PRIu64
                             " of this study: ask for %" PRIu64 " or more",
                             beyond.end, j->count, beyond.end);
    if (!what)
        return PACKSPAN_NO_MEMORY;
    problems_add(problems, SEVERITY_ERROR, j->path, 0, NULL, what, NULL, NULL);
    free(what);
    return PACKSPAN_BAD_CASE;
}

static packspan_status open_journal(struct journal *j, const struct header *header,
                                    const struct byte_writer *own, struct problems *problems,
                                    struct journal_found *found)
{
    enum header_state state = HEADER_DAMAGED;
    packspan_status status = open_file(j, found);
    if (status == PACKSPAN_OK)
        status = judge_header(j, header, own, problems, &state);
    if (status != PACKSPAN_OK)
        return status;
    switch (state) {
    case HEADER_OWN:
        return take_records(j, problems, found);
    case HEADER_BEGUN:
        return write_header(j, own);
    case HEADER_DAMAGED:
        return mend_header(j, own, problems, found);
    case HEADER_OTHER:
        break;
    }
    return PACKSPAN_BAD_CASE;
}

static packspan_status make_frame(const struct header *header, uint64_t first, uint64_t count,
                                  size_t numbers, struct byte_writer *own, struct journal *out)
{
    *out = (struct journal){
        .file = -1, .first = first, .count = count, .numbers = numbers, .slot = slot_size(numbers)};
    bool made = make_header(header, own, out->study);
    out->start = own->length;
    return made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

packspan_status journal_frame(const struct header *header, uint64_t first, uint64_t count,
                              size_t numbers, struct journal *out)
{
    struct byte_writer own = {0};
    packspan_status status = make_frame(header, first, count, numbers, &own, out);
    free(own.bytes);
    return status;
}

packspan_status journal_open(const char *path, const struct header *header, uint64_t first,
                             uint64_t count, size_t numbers, struct problems *problems,
                             struct journal *out, struct journal_found *found)
{
    struct byte_writer own = {0};
    *found = (struct journal_found){0};
    packspan_status status = make_frame(header, first, count, numbers, &own, out);
    out->path = text_copy(path);
    if (status == PACKSPAN_OK && !out->path)
        status = PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = open_journal(out, header, &own, problems, found);
    int reason = errno;
    free(own.bytes);
    errno = reason;
    return status;
}

void journal_close(struct journal *j)
{
    int reason = errno;
    if (j->path && j->file >= 0)
        close(j->file);
    free(j->path);
    *j = (struct journal){.file = -1};
    errno = reason;
}

uint64_t journal_size(const struct header *header, uint64_t count, size_t numbers)
{
    struct byte_writer own = {0};
    uint8_t study[DIGEST_BYTES];
    make_header(header, &own, study);
    free(own.bytes);
    return own.length + count * slot_size(numbers);
}
