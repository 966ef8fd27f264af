#include "support/support.h"

#include <stdlib.h>
#include <string.h>

#include "base/bytes.h"

static struct byte_reader reader_of(const struct byte_writer *w)
{
    return (struct byte_reader){w->bytes, w->bytes + w->length, false};
}

/* Unsigned LEB128; the examples are those of DWARF 5, 7.6 (2 to 12857), and the extremes. */
static void whole_numbers_are_leb128(void **state)
{
    (void)state;
    static const struct {
        uint64_t value;
        size_t length;
        unsigned char bytes[10];
    } cases[] = {
        {0, 1, {0}},
        {2, 1, {2}},
        {127, 1, {127}},
        {128, 2, {0x80, 1}},
        {129, 2, {1 | 0x80, 1}},
        {12857, 2, {57 + 0x80, 100}},
        {UINT64_MAX, 10, {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 1}},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct byte_writer w = {0};
        put_whole(&w, cases[i].value);
        assert_int_equal(w.length, cases[i].length);
        assert_memory_equal(w.bytes, cases[i].bytes, w.length);
        struct byte_reader r = reader_of(&w);
        assert_true(take_whole(&r) == cases[i].value);
        assert_false(r.failed);
        assert_ptr_equal(r.at, r.end);
        free(w.bytes);
    }
}

static void a_whole_number_that_is_too_large_or_cut_off_fails(void **state)
{
    (void)state;
    static const unsigned char large[] = {0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 2};
    struct byte_reader r = {(const char *)large, (const char *)large + 10, false};
    assert_true(take_whole(&r) == 0 && r.failed);
    r = (struct byte_reader){(const char *)large, (const char *)large + 3, false};
    assert_true(take_whole(&r) == 0 && r.failed);
}

/* 1.0 is 3ff0000000000000 (IEEE 754-2019, 3.4), the least significant byte first. */
static void real_numbers_keep_all_bits(void **state)
{
    (void)state;
    static const double values[] = {1.0, -0.0, 0x1p-1074, 1e308, INFINITY, -INFINITY, NAN};
    enum { VALUES = sizeof values / sizeof values[0] };
    static const unsigned char one[8] = {0, 0, 0, 0, 0, 0, 0xf0, 0x3f};
    struct byte_writer w = {0};
    for (size_t i = 0; i < VALUES; i++)
        put_real(&w, values[i]);
    assert_int_equal(w.length, 8 * VALUES);
    assert_memory_equal(w.bytes, one, sizeof one);
    struct byte_reader r = reader_of(&w);
    for (size_t i = 0; i < VALUES; i++) {
        double back = take_real(&r);
        assert_memory_equal(&back, &values[i], sizeof back);
    }
    assert_false(r.failed);
    assert_true(take_real(&r) == 0.0 && r.failed);
    free(w.bytes);
}

static void the_writer_grows(void **state)
{
    (void)state;
    struct byte_writer w = {0};
    char piece[1000];
    memset(piece, 'x', sizeof piece);
    for (int i = 0; i < 100; i++)
        put_bytes(&w, piece, sizeof piece);
    put_bytes(&w, NULL, 0);
    assert_int_equal(w.length, 100000);
    assert_false(w.no_memory);
    for (size_t i = 0; i < w.length; i++)
        assert_int_equal(w.bytes[i], 'x');
    free(w.bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whole_numbers_are_leb128),
        cmocka_unit_test(a_whole_number_that_is_too_large_or_cut_off_fails),
        cmocka_unit_test(real_numbers_keep_all_bits),
        cmocka_unit_test(the_writer_grows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
