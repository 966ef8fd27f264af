#include "draw/pcg.h"
#include "base/hot_loop.h"
#include "support/support.h"

#include <string.h>

static struct pcg64 demo(void)
{
    struct pcg64 g;
    pcg64_seed(&g, 42, 54);
    return g;
}

/* Seed 42, stream 54: test-high/expected/check-pcg64.out of O'Neill's pcg-c. */
static void gives_published_outputs(void **state)
{
    (void)state;
    static const uint64_t expected[] = {0x86b1da1d72062b68, 0x1304aa46c9853d39, 0xa3670e9e0dd50358,
                                        0xf9090e529a7dae00, 0xc85b9fd837996f2c, 0x606121f8e3919196};
    struct pcg64 g = demo();
    assert_int_equal(g.increment, 0x6d);
    assert_int_equal(g.state >> 64, 0xde2bce05be013be3);
    assert_int_equal((uint64_t)g.state, 0xd3f6c45a41e54320);
    for (size_t i = 0; i < sizeof expected / sizeof *expected; i++)
        assert_int_equal(pcg64_next(&g), expected[i]);
}

/* php-src, test of PcgOneseq128XslRr64: seed 1234, 10 000 outputs, a jump of 1 234 567, and then
 * the bytes b88e2a0f23720a1d (little-endian). One-sequence means the default increment of
 * O'Neill's pcg_variants.h. */
static void jumps_as_published(void **state)
{
    (void)state;
    uint128 increment = (uint128)6364136223846793005 << 64 | 1442695040888963407;
    struct pcg64 g;
    pcg64_seed(&g, 1234, increment >> 1);
    assert_true(g.increment == increment);
    for (int i = 0; i < 10000; i++)
        pcg64_next(&g);
    pcg64_jump(&g, 1234567);
    assert_int_equal(pcg64_next(&g), 0x1d0a72230f2a8eb8);
}

/* Worked out with whole-number arithmetic in Python from the published constants. */
static void jumps_further_than_64_bits(void **state)
{
    (void)state;
    struct pcg64 g = demo();
    pcg64_jump(&g, (uint128)1 << 64);
    assert_int_equal(pcg64_next(&g), 0xc4ebffdcfe29bbac);
}

static void jump_equals_steps_and_goes_back(void **state)
{
    (void)state;
    struct pcg64 walked = demo(), jumped = demo();
    for (int i = 0; i < 1000; i++)
        pcg64_next(&walked);
    pcg64_jump(&jumped, 1000);
    assert_true(walked.state == jumped.state);
    pcg64_jump(&jumped, 0);
    assert_true(walked.state == jumped.state);
    pcg64_jump(&jumped, -(uint128)1000);
    assert_true(jumped.state == demo().state);
}

/* Every way of drawing many numbers gives the outputs of the published generator. */
static void columns_hold_the_same_numbers(void **state)
{
    (void)state;
    enum { COUNT = 5 * PCG64_CHAINS + 3, WHOLE = 5 * PCG64_CHAINS };
    struct pcg64 one = demo(), many = demo();
    double expected[COUNT], u[COUNT];
    for (int i = 0; i < COUNT; i++)
        expected[i] = ((double)(pcg64_next(&one) >> 12) + 0.5) * 0x1p-52;
    pcg64_uniforms(&many, COUNT, u);
    assert_memory_equal(u, expected, sizeof u);
    assert_true(many.state == one.state);
    many = demo();
    pcg64_uniforms_plain(&many, WHOLE, u);
    assert_memory_equal(u, expected, WHOLE * sizeof *u);
    if (!has_wide_products())
        return;
    memset(u, 0, sizeof u);
    pcg64_uniforms_wide(&many, WHOLE, u);
    assert_memory_equal(u, expected, WHOLE * sizeof *u);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(gives_published_outputs),
        cmocka_unit_test(jumps_as_published),
        cmocka_unit_test(jumps_further_than_64_bits),
        cmocka_unit_test(jump_equals_steps_and_goes_back),
        cmocka_unit_test(columns_hold_the_same_numbers),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
