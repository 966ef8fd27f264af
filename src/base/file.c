#include "base/file.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"

#define TEMPORARY_NAMES 100
#define TEMPORARY ".partial-"
#define BUFFER_SIZE 65536

static void free_names(struct file_draft *draft)
{
    int reason = errno;
    free(draft->path);
    free(draft->temporary);
    free(draft->buffer);
    *draft = (struct file_draft){0};
    errno = reason;
}

/* Several names are tried, because a killed process of the same number may have left its own. */
static int create_temporary(const char *path, char **name)
{
    for (int i = 0; i < TEMPORARY_NAMES; i++) {
        char *candidate = text_format("%s" TEMPORARY "%ld-%d", path, (long)getpid(), i);
        if (!candidate) {
            errno = ENOMEM;
            return -1;
        }
        int file = open(candidate, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC, 0666);
        if (file >= 0) {
            *name = candidate;
            return file;
        }
        int reason = errno;
        free(candidate);
        errno = reason;
        if (reason != EEXIST)
            return -1;
    }
    return -1;
}

packspan_status file_begin(struct file_draft *draft, const char *path)
{
    struct file_draft made = {.path = text_copy(path)};
    if (!made.path)
        return PACKSPAN_NO_MEMORY;
    int file = create_temporary(path, &made.temporary);
    if (file >= 0)
        made.stream = fdopen(file, "w");
    if (!made.stream) {
        int reason = errno;
        if (file >= 0) {
            close(file);
            unlink(made.temporary);
        }
        errno = reason;
        free_names(&made);
        return reason == ENOMEM ? PACKSPAN_NO_MEMORY : PACKSPAN_IO;
    }
    made.buffer = malloc(BUFFER_SIZE); /* without it there is the stream's own, smaller one */
    if (made.buffer)
        setvbuf(made.stream, made.buffer, _IOFBF, BUFFER_SIZE);
    *draft = made;
    return PACKSPAN_OK;
}

/* A write that failed earlier may have lost its errno since; writing again brings it back. */
static bool flushed(FILE *stream)
{
    if (!ferror(stream))
        return fflush(stream) == 0 && fsync(fileno(stream)) == 0;
    clearerr(stream);
    if (fputc('\n', stream) != EOF && fflush(stream) == 0)
        errno = EIO;
    return false;
}

/* A folder that cannot be opened or synced is not a failure: not every file system offers it. */
bool file_flush_folder(const char *path)
{
    const char *slash = strrchr(path, '/');
    size_t length = slash ? (size_t)(slash - path) + 1 : 1;
    char *folder = strndup(slash ? path : ".", length);
    if (!folder)
        return false;
    int file = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    free(folder);
    if (file < 0)
        return true;
    bool done = fsync(file) == 0 || errno != EIO;
    int reason = errno;
    close(file);
    errno = reason;
    return done;
}

packspan_status file_sync(struct file_draft *draft)
{
    return flushed(draft->stream) ? PACKSPAN_OK : PACKSPAN_IO;
}

packspan_status file_commit(struct file_draft *draft)
{
    bool done = flushed(draft->stream);
    int reason = errno;
    if (fclose(draft->stream) != 0 && done) {
        done = false;
        reason = errno;
    }
    if (done && rename(draft->temporary, draft->path) != 0) {
        done = false;
        reason = errno;
    }
    if (!done)
        unlink(draft->temporary);
    if (done && !file_flush_folder(draft->path)) {
        done = false;
        reason = errno;
    }
    free_names(draft);
    if (!done)
        errno = reason;
    return done ? PACKSPAN_OK : PACKSPAN_IO;
}

void file_abandon(struct file_draft *draft)
{
    if (!draft->stream)
        return;
    fclose(draft->stream);
    unlink(draft->temporary);
    free_names(draft);
}

void file_remove_drafts(const char *path)
{
    const char *slash = strrchr(path, '/');
    char *folder = slash ? strndup(path, (size_t)(slash - path) + 1) : text_copy("./");
    char *start = text_format("%s" TEMPORARY, slash ? slash + 1 : path);
    DIR *names = folder && start ? opendir(folder) : NULL;
    for (const struct dirent *e; names && (e = readdir(names));)
        if (strncmp(e->d_name, start, strlen(start)) == 0)
            unlinkat(dirfd(names), e->d_name, 0); /* what stays is in nobody's way */
    if (names)
        closedir(names);
    free(start);
    free(folder);
}

bool file_is_folder(const char *path)
{
    struct stat status;
    return stat(path, &status) == 0 && S_ISDIR(status.st_mode);
}

static bool made_folder(const char *path)
{
    if (mkdir(path, 0777) == 0)
        return true;
    int reason = errno;
    if (file_is_folder(path))
        return true;
    errno = reason == EEXIST ? ENOTDIR : reason;
    return false;
}

packspan_status file_make_folder(const char *path)
{
    char *part = text_copy(path);
    if (!part)
        return PACKSPAN_NO_MEMORY;
    bool made = true;
    for (char *at = part; made && *at; at++) {
        if (*at != '/' || at == part)
            continue;
        *at = '\0';
        made = made_folder(part);
        *at = '/';
    }
    made = made && made_folder(part);
    int reason = errno;
    free(part);
    errno = reason;
    return made ? PACKSPAN_OK : PACKSPAN_IO;
}

static packspan_status failure(int reason)
{
    switch (reason) {
    case ENOENT:
    case ENOTDIR:
        return PACKSPAN_MISSING;
    case ENOMEM:
        return PACKSPAN_NO_MEMORY;
    default:
        return PACKSPAN_IO;
    }
}

/* Reads to the end, or to one byte more than `limit`. 0 or an errno. */
static int read_all(int file, size_t limit, char **bytes, size_t *length)
{
    size_t capacity = 0;
    for (;;) {
        if (capacity - *length < 2) {
            capacity = capacity ? 2 * capacity : 65536;
            char *larger = realloc(*bytes, capacity);
            if (!larger)
                return ENOMEM;
            *bytes = larger;
        }
        ssize_t got = read(file, *bytes + *length, capacity - *length - 1);
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0)
            return errno;
        if (got == 0)
            break;
        *length += (size_t)got;
        if (*length > limit)
            return EFBIG;
    }
    (*bytes)[*length] = '\0';
    return 0;
}

packspan_status file_read(const char *path, size_t limit, char **bytes, size_t *length)
{
    int file = open(path, O_RDONLY | O_CLOEXEC);
    if (file < 0)
        return failure(errno);
    char *content = NULL;
    size_t size = 0;
    int reason = read_all(file, limit, &content, &size);
    close(file);
    if (reason) {
        free(content);
        errno = reason;
        return failure(reason);
    }
    *bytes = content;
    *length = size;
    return PACKSPAN_OK;
}

packspan_status file_checksum(const char *path, char hex[CHECKSUM_SIZE])
{
    char some[1 << 16];
    struct digest digest;
    ssize_t got = -1;
    int file = open(path, O_RDONLY | O_CLOEXEC);
    digest_begin(&digest);
    while (file >= 0 && ((got = read(file, some, sizeof some)) > 0 || (got < 0 && errno == EINTR)))
        digest_put(&digest, some, got > 0 ? (size_t)got : 0);
    int reason = errno;
    if (file >= 0)
        close(file);
    if (got < 0) {
        errno = reason;
        return failure(reason);
    }
    digest_end_in_hex(&digest, hex);
    return PACKSPAN_OK;
}

void bytes_checksum(const char *bytes, size_t length, char hex[CHECKSUM_SIZE])
{
    struct digest digest;
    digest_begin(&digest);
    digest_put(&digest, bytes, length);
    digest_end_in_hex(&digest, hex);
}
