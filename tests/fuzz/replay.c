/* Feeds every file of a corpus folder, and mutations of it that are the same on every run, to a
 * fuzz driver, without a fuzzing engine:  replay FOLDER MUTATIONS-PER-FILE */
#include <dirent.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

#define LARGEST_INPUT ((size_t)1 << 20)

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t length);

/* xorshift64 (Marsaglia, J. Stat. Softw. 8(14), 2003). */
static uint64_t next_random(uint64_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    return *state;
}

static size_t random_below(uint64_t *state, size_t limit)
{
    return (size_t)(next_random(state) % limit);
}

/* A copy of the exact size, so that a sanitizer sees a step too far. */
static bool feed(const char *bytes, size_t length)
{
    uint8_t *copy = malloc(length ? length : 1);
    if (!copy)
        return false;
    memcpy(copy, bytes, length);
    LLVMFuzzerTestOneInput(copy, length);
    free(copy);
    return true;
}

/* Replaces, inserts or removes a few bytes; `bytes` has room for `room`. The new length. */
static size_t mutate(char *bytes, size_t length, size_t room, uint64_t *state)
{
    static const char lively[] = {'"', ',',  ';', '\t', '\n', '\r',   '#',    ' ',
                                  '.', '\0', 'e', '-',  '1',  '\xef', '\xc3', '\x7f'};
    for (size_t edits = 1 + random_below(state, 4); edits > 0; edits--) {
        char byte = random_below(state, 4) ? lively[random_below(state, sizeof lively)]
                                           : (char)random_below(state, 256);
        size_t at = random_below(state, length + 1);
        switch (random_below(state, 3)) {
        case 0:
            if (at < length)
                bytes[at] = byte;
            break;
        case 1:
            if (length < room) {
                memmove(bytes + at + 1, bytes + at, length - at);
                bytes[at] = byte;
                length++;
            }
            break;
        default: {
            size_t removed = at < length ? 1 + random_below(state, length - at) % 16 : 0;
            if (at + removed > length)
                removed = length - at;
            memmove(bytes + at, bytes + at + removed, length - at - removed);
            length -= removed;
        }
        }
    }
    return length;
}

static bool replay_bytes(const char *bytes, size_t length, long mutations, uint64_t *state)
{
    if (!feed(bytes, length))
        return false;
    size_t room = length + 16;
    char *changed = malloc(room);
    bool done = changed != NULL;
    for (long i = 0; done && i < mutations; i++) {
        memcpy(changed, bytes, length);
        done = feed(changed, mutate(changed, length, room, state));
    }
    free(changed);
    return done;
}

static bool replay_file(const char *folder, const char *name, long mutations)
{
    char *path = text_format("%s/%s", folder, name), *bytes = NULL;
    size_t length = 0;
    uint64_t state = 88172645463325252u; /* for every file anew: no file changes another's run */
    bool done = path && file_read(path, LARGEST_INPUT, &bytes, &length) == PACKSPAN_OK &&
                replay_bytes(bytes, length, mutations, &state);
    if (!done)
        fprintf(stderr, "replay: cannot replay %s/%s\n", folder, name);
    free(bytes);
    free(path);
    return done;
}

static int is_visible(const struct dirent *entry)
{
    return entry->d_name[0] != '.';
}

int main(int count, char **arguments)
{
    if (count != 3) {
        fprintf(stderr, "usage: replay FOLDER MUTATIONS-PER-FILE\n");
        return 2;
    }
    struct dirent **entries;
    int files = scandir(arguments[1], &entries, is_visible, alphasort);
    if (files <= 0) {
        fprintf(stderr, "replay: no corpus in %s\n", arguments[1]);
        return 1;
    }
    bool done = true;
    for (int i = 0; i < files; i++) {
        done = replay_file(arguments[1], entries[i]->d_name, atol(arguments[2])) && done;
        free(entries[i]);
    }
    free(entries);
    printf("%d files replayed\n", files);
    return done ? 0 : 1;
}
