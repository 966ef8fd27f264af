#include "support/support.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "unit/base/scratch.h"

static char *folder;

static int create_folder(void **state)
{
    (void)state;
    folder = scratch_create();
    return folder ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    scratch_remove(folder);
    free(folder);
    return 0;
}

/* Path of `name` in the scratch folder; the caller frees it. */
static char *inside(const char *name)
{
    char *path = text_format("%s/%s", folder, name);
    assert_non_null(path);
    return path;
}

static void write_text(const char *path, const char *text)
{
    FILE *stream = fopen(path, "w");
    assert_non_null(stream);
    assert_true(fputs(text, stream) >= 0);
    assert_int_equal(fclose(stream), 0);
}

static void assert_content(const char *path, const char *expected)
{
    char *bytes;
    size_t length;
    assert_int_equal(file_read(path, 1 << 20, &bytes, &length), PACKSPAN_OK);
    assert_int_equal(length, strlen(expected));
    assert_string_equal(bytes, expected);
    free(bytes);
}

static size_t count_entries(void)
{
    DIR *listing = opendir(folder);
    assert_non_null(listing);
    size_t count = 0;
    while (readdir(listing))
        count++;
    closedir(listing);
    return count - 2; /* without . and .. */
}

static void a_draft_appears_only_when_it_is_committed(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    struct file_draft draft;
    assert_int_equal(file_begin(&draft, path), PACKSPAN_OK);
    assert_true(fputs("a,b\n", draft.stream) >= 0);
    assert_int_equal(access(path, F_OK), -1);
    char *start = text_format("%s.partial-%ld", path, (long)getpid());
    assert_int_equal(strncmp(draft.temporary, start, strlen(start)), 0);
    free(start);
    assert_int_equal(file_commit(&draft), PACKSPAN_OK);
    assert_content(path, "a,b\n");
    assert_int_equal(count_entries(), 1);

    assert_int_equal(file_begin(&draft, path), PACKSPAN_OK);
    assert_true(fputs("c\n", draft.stream) >= 0);
    assert_content(path, "a,b\n");
    assert_int_equal(file_commit(&draft), PACKSPAN_OK);
    assert_content(path, "c\n");
    free(path);
}

static void the_mode_follows_the_umask(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    mode_t before = umask(027);
    struct file_draft draft;
    packspan_status status = file_begin(&draft, path);
    umask(before);
    assert_int_equal(status, PACKSPAN_OK);
    assert_int_equal(file_commit(&draft), PACKSPAN_OK);
    struct stat about;
    assert_int_equal(stat(path, &about), 0);
    assert_int_equal(about.st_mode & 0777, 0640);
    free(path);
}

static void an_abandoned_draft_leaves_nothing(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    write_text(path, "old\n");
    struct file_draft draft;
    assert_int_equal(file_begin(&draft, path), PACKSPAN_OK);
    assert_true(fputs("new\n", draft.stream) >= 0);
    file_abandon(&draft);
    file_abandon(&draft);
    assert_content(path, "old\n");
    assert_int_equal(count_entries(), 1);
    free(path);
}

static void a_temporary_left_by_a_killed_process_is_no_obstacle(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    struct file_draft first, second;
    assert_int_equal(file_begin(&first, path), PACKSPAN_OK);
    assert_int_equal(file_begin(&second, path), PACKSPAN_OK);
    assert_string_not_equal(first.temporary, second.temporary);
    assert_true(fputs("second\n", second.stream) >= 0);
    assert_int_equal(file_commit(&second), PACKSPAN_OK);
    file_abandon(&first);
    assert_content(path, "second\n");
    assert_int_equal(count_entries(), 1);
    free(path);
}

static void a_file_without_a_folder_in_its_path_is_written_here(void **state)
{
    (void)state;
    int before = open(".", O_RDONLY | O_DIRECTORY);
    assert_true(before >= 0);
    assert_int_equal(chdir(folder), 0);
    struct file_draft draft;
    packspan_status begun = file_begin(&draft, "table.csv");
    packspan_status committed = begun == PACKSPAN_OK ? file_commit(&draft) : begun;
    assert_int_equal(fchdir(before), 0);
    close(before);
    assert_int_equal(committed, PACKSPAN_OK);
    char *path = inside("table.csv");
    assert_content(path, "");
    free(path);
}

static void a_draft_that_cannot_be_created_tells_why(void **state)
{
    (void)state;
    char *obstacle = inside("obstacle");
    write_text(obstacle, "");
    char *below = inside("obstacle/table.csv"), *missing = inside("missing/table.csv");
    struct file_draft draft = {.path = obstacle};
    errno = 0;
    assert_int_equal(file_begin(&draft, below), PACKSPAN_IO);
    assert_int_equal(errno, ENOTDIR);
    assert_int_equal(file_begin(&draft, missing), PACKSPAN_IO);
    assert_int_equal(errno, ENOENT);
    assert_ptr_equal(draft.path, obstacle); /* untouched */
    free(missing);
    free(below);
    free(obstacle);
}

static void a_folder_in_the_way_of_the_final_name_is_a_failure(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    assert_int_equal(mkdir(path, 0777), 0);
    struct file_draft draft;
    assert_int_equal(file_begin(&draft, path), PACKSPAN_OK);
    assert_int_equal(file_commit(&draft), PACKSPAN_IO);
    assert_int_equal(errno, EISDIR);
    assert_int_equal(count_entries(), 1);
    free(path);
}

/* A draft whose stream goes to a device that is always full. */
static struct file_draft full_draft(const char *path)
{
    struct file_draft draft;
    assert_int_equal(file_begin(&draft, path), PACKSPAN_OK);
    assert_non_null(freopen("/dev/full", "w", draft.stream));
    return draft;
}

static void a_full_disk_is_noticed_when_the_rest_is_flushed(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    char *path = inside("table.csv");
    struct file_draft draft = full_draft(path);
    assert_true(fputs("a,b\n", draft.stream) >= 0); /* still in the buffer */
    assert_int_equal(file_commit(&draft), PACKSPAN_IO);
    assert_int_equal(errno, ENOSPC);
    assert_int_equal(count_entries(), 0);
    free(path);
}

static void a_full_disk_that_failed_an_earlier_write_still_tells_why(void **state)
{
    (void)state;
    if (access("/dev/full", W_OK) != 0)
        skip();
    char *path = inside("table.csv");
    struct file_draft draft = full_draft(path);
    assert_true(fputs("a,b\n", draft.stream) >= 0);
    assert_int_equal(fflush(draft.stream), EOF);
    errno = 0;
    assert_int_equal(file_commit(&draft), PACKSPAN_IO);
    assert_int_equal(errno, ENOSPC);
    assert_int_equal(count_entries(), 0);
    free(path);
}

/* A limit on the size of files stops real writes half-way, as a full disk does. */
static void a_write_that_stops_half_way_keeps_the_old_table(void **state)
{
    (void)state;
    char *path = inside("table.csv");
    write_text(path, "old\n");
    struct rlimit before, small;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = before;
    small.rlim_cur = 8192;
    void (*handler)(int) = signal(SIGXFSZ, SIG_IGN);
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);

    struct file_draft draft;
    packspan_status begun = file_begin(&draft, path), committed = PACKSPAN_OK;
    int reason = 0;
    if (begun == PACKSPAN_OK) {
        for (int i = 0; i < 20000; i++)
            fputs("0123456789\n", draft.stream);
        committed = file_commit(&draft);
        reason = errno;
    }
    assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
    signal(SIGXFSZ, handler);

    assert_int_equal(begun, PACKSPAN_OK);
    assert_int_equal(committed, PACKSPAN_IO);
    assert_int_equal(reason, EFBIG);
    assert_content(path, "old\n");
    assert_int_equal(count_entries(), 1);
    free(path);
}

static void folders_are_made_with_their_parents(void **state)
{
    (void)state;
    char *path = inside("a/b//c/");
    assert_int_equal(file_make_folder(path), PACKSPAN_OK);
    assert_int_equal(file_make_folder(path), PACKSPAN_OK);
    struct stat about;
    assert_int_equal(stat(path, &about), 0);
    assert_true(S_ISDIR(about.st_mode));
    assert_int_equal(file_make_folder("/"), PACKSPAN_OK);
    assert_int_equal(file_make_folder("."), PACKSPAN_OK);
    free(path);
}

static void a_folder_that_cannot_be_made_tells_why(void **state)
{
    (void)state;
    char *obstacle = inside("obstacle"), *below = inside("obstacle/a/b");
    write_text(obstacle, "");
    assert_int_equal(file_make_folder(obstacle), PACKSPAN_IO);
    assert_int_equal(errno, ENOTDIR);
    assert_int_equal(file_make_folder(below), PACKSPAN_IO);
    assert_int_equal(errno, ENOTDIR);
    assert_int_equal(file_make_folder(""), PACKSPAN_IO);
    assert_int_equal(errno, ENOENT);
    free(below);
    free(obstacle);
}

static void a_file_is_read_whole_up_to_the_limit(void **state)
{
    (void)state;
    char *path = inside("big");
    FILE *stream = fopen(path, "w");
    assert_non_null(stream);
    const size_t size = 200000;
    for (size_t i = 0; i < size; i++)
        putc((int)(i % 251), stream);
    assert_int_equal(fclose(stream), 0);

    char *bytes = NULL;
    size_t length = 0;
    assert_int_equal(file_read(path, size, &bytes, &length), PACKSPAN_OK);
    assert_int_equal(length, size);
    for (size_t i = 0; i < size; i++)
        assert_int_equal((unsigned char)bytes[i], i % 251);
    assert_int_equal(bytes[size], '\0');
    free(bytes);

    bytes = NULL;
    length = 7;
    assert_int_equal(file_read(path, size - 1, &bytes, &length), PACKSPAN_IO);
    assert_int_equal(errno, EFBIG);
    assert_null(bytes);
    assert_int_equal(length, 7);
    free(path);
}

static void a_file_that_cannot_be_read_tells_why(void **state)
{
    (void)state;
    char *obstacle = inside("obstacle"), *below = inside("obstacle/x"), *missing = inside("none");
    write_text(obstacle, "");
    char *bytes = NULL;
    size_t length = 7;
    assert_int_equal(file_read(missing, 100, &bytes, &length), PACKSPAN_MISSING);
    assert_int_equal(file_read(below, 100, &bytes, &length), PACKSPAN_MISSING);
    assert_int_equal(file_read(folder, 100, &bytes, &length), PACKSPAN_IO);
    assert_int_equal(errno, EISDIR);
    assert_null(bytes);
    assert_int_equal(length, 7);
    free(missing);
    free(below);
    free(obstacle);
}

/* FIPS 180-4 example "abc" and the digest of the empty message (NIST example values). */
static void checksums_are_sha_256(void **state)
{
    (void)state;
    char *path = inside("message"), *missing = inside("none"), hex[65];
    write_text(path, "abc");
    assert_int_equal(file_checksum(path, hex), PACKSPAN_OK);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    write_text(path, "");
    assert_int_equal(file_checksum(path, hex), PACKSPAN_OK);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    strcpy(hex, "untouched");
    assert_int_equal(file_checksum(missing, hex), PACKSPAN_MISSING);
    assert_int_equal(file_checksum(folder, hex), PACKSPAN_IO);
    assert_int_equal(errno, EISDIR);
    assert_string_equal(hex, "untouched");
    free(missing);
    free(path);
}

#define in_scratch(test) cmocka_unit_test_setup_teardown(test, create_folder, remove_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        in_scratch(a_draft_appears_only_when_it_is_committed),
        in_scratch(the_mode_follows_the_umask),
        in_scratch(an_abandoned_draft_leaves_nothing),
        in_scratch(a_temporary_left_by_a_killed_process_is_no_obstacle),
        in_scratch(a_file_without_a_folder_in_its_path_is_written_here),
        in_scratch(a_draft_that_cannot_be_created_tells_why),
        in_scratch(a_folder_in_the_way_of_the_final_name_is_a_failure),
        in_scratch(a_full_disk_is_noticed_when_the_rest_is_flushed),
        in_scratch(a_full_disk_that_failed_an_earlier_write_still_tells_why),
        in_scratch(a_write_that_stops_half_way_keeps_the_old_table),
        in_scratch(folders_are_made_with_their_parents),
        in_scratch(a_folder_that_cannot_be_made_tells_why),
        in_scratch(a_file_is_read_whole_up_to_the_limit),
        in_scratch(a_file_that_cannot_be_read_tells_why),
        in_scratch(checksums_are_sha_256),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
