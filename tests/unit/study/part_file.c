#include "support/support.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "study/part_file.h"
#include "unit/base/scratch.h"

static const char payload[] = "bytes\n\nwith, all % kinds \0 of things\n";

static struct header example(void)
{
    struct header h = {0};
    header_add(&h, "kind", "run");
    header_add(&h, "case", "/home/an, analyst/50 %\n/van");
    header_add(&h, "case_checksum a,b.csv", "");
    header_add_whole(&h, "seed", UINT64_MAX);
    assert_false(h.no_memory);
    return h;
}

static void write_example(const char *path)
{
    struct header h = example();
    assert_int_equal(part_file_write(path, &h, payload, sizeof payload), PACKSPAN_OK);
    header_free(&h);
}

static void put_file(const char *path, const char *bytes, size_t length)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, length, f), length);
    assert_int_equal(fclose(f), 0);
}

/* The only problem that reading the file reports, or "" and what was read is freed. */
static void assert_read(const char *path, packspan_status expected, const char *problem)
{
    struct problems problems = {0};
    struct part_file p;
    assert_int_equal(part_file_read(path, &problems, &p), expected);
    assert_int_equal(problems.count, expected == PACKSPAN_OK ? 0 : 1);
    if (expected == PACKSPAN_OK)
        part_file_free(&p);
    else {
        char *text = problem_text(&problems.items[0]);
        assert_string_equal(text, problem);
        free(text);
    }
    problems_clear(&problems);
}

static void what_is_written_is_read(void **state)
{
    (void)state;
    struct problems problems = {0};
    struct part_file p;
    uint64_t seed = 0;
    write_example("a.part");
    assert_int_equal(part_file_read("a.part", &problems, &p), PACKSPAN_OK);
    assert_int_equal(p.header.count, 4);
    assert_string_equal(header_value(&p.header, "kind"), "run");
    assert_string_equal(header_value(&p.header, "case"), "/home/an, analyst/50 %\n/van");
    assert_string_equal(header_value(&p.header, "case_checksum a,b.csv"), "");
    assert_true(header_whole(&p.header, "seed", &seed));
    assert_true(seed == UINT64_MAX);
    assert_false(header_whole(&p.header, "kind", &seed));
    assert_null(header_value(&p.header, "payload"));
    assert_int_equal(p.length, sizeof payload);
    assert_memory_equal(p.payload, payload, sizeof payload);
    assert_int_equal(problems.count, 0);
    part_file_free(&p);
}

/* The checksum is what sha256sum prints of all lines before it. */
static void the_file_is_text_with_a_checksum(void **state)
{
    (void)state;
    char *bytes, line[128];
    size_t length;
    write_example("a.part");
    assert_int_equal(file_read("a.part", 4096, &bytes, &length), PACKSPAN_OK);
    static const char expected[] = "packspan part,1\nkind,run\n"
                                   "case,/home/an%2C analyst/50 %25%0A/van\n"
                                   "case_checksum a%2Cb.csv,\nseed,18446744073709551615\n"
                                   "payload,38\n\n";
    assert_memory_equal(bytes, expected, sizeof expected - 1);
    FILE *f = popen("head -c -72 a.part | sha256sum", "r");
    assert_non_null(f);
    assert_non_null(fgets(line, sizeof line, f));
    assert_int_equal(pclose(f), 0);
    assert_memory_equal(bytes + length - 65, line, 64);
    free(bytes);
}

static void any_cut_or_flipped_bit_is_found(void **state)
{
    (void)state;
    char *bytes;
    size_t length;
    static const char damaged[] = "a.part: is damaged or cut off, its checksum does not fit";
    static const char foreign[] = "a.part: is no part that packspan has written";
    write_example("a.part");
    assert_int_equal(file_read("a.part", 4096, &bytes, &length), PACKSPAN_OK);
    for (size_t cut = 0; cut < length; cut++) {
        put_file("a.part", bytes, cut);
        assert_read("a.part", PACKSPAN_BAD_CASE, damaged);
    }
    for (size_t bit = 0; bit < 8 * length; bit++) {
        bytes[bit / 8] = (char)(bytes[bit / 8] ^ 1 << bit % 8);
        put_file("a.part", bytes, length);
        assert_read("a.part", PACKSPAN_BAD_CASE, bit / 8 < 14 ? foreign : damaged);
        bytes[bit / 8] = (char)(bytes[bit / 8] ^ 1 << bit % 8);
    }
    put_file("a.part", bytes, length);
    assert_read("a.part", PACKSPAN_OK, "");
    free(bytes);
}

static void other_files_are_named(void **state)
{
    (void)state;
    put_file("a.part", "vehicle,role\nvan,subject\n", 25);
    assert_read("a.part", PACKSPAN_BAD_CASE, "a.part: is no part that packspan has written");
    assert_read("none.part", PACKSPAN_MISSING, "none.part: No such file or directory");
    assert_read(".", PACKSPAN_IO, ".: Is a directory");
}

/* Another format with a good checksum, of which nothing else is known. */
static void another_format_is_told(void **state)
{
    (void)state;
    char text[256] = "packspan part,2\nsomething else\n", checksum[CHECKSUM_SIZE];
    size_t length = strlen(text);
    bytes_checksum(text, length, checksum);
    snprintf(text + length, sizeof text - length, "sha256,%s\n", checksum);
    put_file("a.part", text, strlen(text));
    assert_read("a.part", PACKSPAN_BAD_CASE,
                "a.part: was written by a packspan of another format; make all parts and merge "
                "them with the same version");
}

static void a_write_that_fails_leaves_nothing(void **state)
{
    (void)state;
    struct header h = example();
    assert_int_equal(part_file_write("no_folder/a.part", &h, payload, sizeof payload), PACKSPAN_IO);
    assert_int_equal(errno, ENOENT);
    header_free(&h);
}

static void differences_are_reported_item_by_item(void **state)
{
    (void)state;
    struct header a = {0}, b = {0};
    struct problems problems = {0};
    static const char *const own[] = {"part", NULL};
    static const char *const expected[] = {
        "b.part: seed is 8 here, 7 in a.part",
        "b.part: keep is 10 here, and there is none in a.part",
        "b.part: there is no pilot here, but 5 in a.part",
    };
    header_add(&a, "kind", "run");
    header_add_whole(&a, "part", 1);
    header_add_whole(&a, "seed", 7);
    header_add_whole(&a, "pilot", 5);
    header_add(&b, "kind", "run");
    header_add_whole(&b, "part", 2);
    header_add_whole(&b, "seed", 8);
    header_add_whole(&b, "keep", 10);
    header_compare(&b, "b.part", &a, "a.part", own, &problems);
    assert_int_equal(problems.count, 3);
    for (size_t i = 0; i < 3; i++) {
        char *text = problem_text(&problems.items[i]);
        assert_string_equal(text, expected[i]);
        free(text);
    }
    problems_clear(&problems);
    header_free(&a);
    header_free(&b);
}

/* As a journal has it: a header, then something else. */
static void a_header_alone_is_read_up_to_its_end(void **state)
{
    (void)state;
    struct header h = example(), back = {0};
    struct byte_writer w = {0};
    header_put(&h, &w);
    put_bytes(&w, "more", 4);
    struct byte_reader r = {w.bytes, w.bytes + w.length, false};
    assert_int_equal(header_take(&r, &back), PACKSPAN_OK);
    assert_int_equal(back.count, h.count);
    assert_int_equal(r.end - r.at, 4);
    header_free(&back);
    r = (struct byte_reader){w.bytes, w.bytes + w.length - 5, false};
    assert_int_equal(header_take(&r, &back), PACKSPAN_BAD_CASE);
    header_free(&back);
    header_free(&h);
    free(w.bytes);
}

/* A payload that comes in pieces makes the same file; one that does not come to its end, none. */
static void pieces_make_the_same_file(void **state)
{
    (void)state;
    struct header h = example();
    struct part_draft draft;
    char *whole = NULL, *pieces = NULL;
    size_t whole_length = 0, length = 0;
    write_example("whole.part");
    assert_int_equal(part_file_begin(&draft, "pieces.part", &h, sizeof payload), PACKSPAN_OK);
    part_file_put(&draft, payload, 1);
    part_file_put(&draft, payload + 1, 0);
    part_file_put(&draft, payload + 1, sizeof payload - 1);
    assert_int_equal(part_file_commit(&draft), PACKSPAN_OK);
    assert_int_equal(file_read("whole.part", 4096, &whole, &whole_length), PACKSPAN_OK);
    assert_int_equal(file_read("pieces.part", 4096, &pieces, &length), PACKSPAN_OK);
    assert_int_equal(length, whole_length);
    assert_memory_equal(pieces, whole, length);
    free(whole);
    free(pieces);

    assert_int_equal(part_file_begin(&draft, "cut.part", &h, sizeof payload), PACKSPAN_OK);
    part_file_put(&draft, payload, 3);
    part_file_abandon(&draft);
    assert_read("cut.part", PACKSPAN_MISSING, "cut.part: No such file or directory");
    header_free(&h);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_is_read),
        cmocka_unit_test(the_file_is_text_with_a_checksum),
        cmocka_unit_test(any_cut_or_flipped_bit_is_found),
        cmocka_unit_test(pieces_make_the_same_file),
        cmocka_unit_test(other_files_are_named),
        cmocka_unit_test(another_format_is_told),
        cmocka_unit_test(a_write_that_fails_leaves_nothing),
        cmocka_unit_test(differences_are_reported_item_by_item),
        cmocka_unit_test(a_header_alone_is_read_up_to_its_end),
    };
    return cmocka_run_group_tests(tests, scratch_enter, scratch_leave);
}
