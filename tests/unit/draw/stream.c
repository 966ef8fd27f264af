#include "draw/stream.h"
#include "support/support.h"

#include <string.h>

static struct stream van(void)
{
    struct stream s;
    stream_open(&s, 20240501, "vehicle", "van", "cell_energy");
    return s;
}

static double first_of(uint64_t seed, const char *kind, const char *owner, const char *quantity)
{
    struct stream s;
    double u;
    stream_open(&s, seed, kind, owner, quantity);
    stream_uniforms(&s, 0, 1, &u);
    return u;
}

/* From Python: hashlib.sha256(b'20240501\0vehicle\0van\0cell_energy'), its halves read big-endian
 * as the seed and the stream of numpy.random.PCG64 (its state set by the published seeding), and
 * ((random_raw() >> 12) + 0.5)/2**52, the fourth after advance(10**9). NumPy 1.24.2. */
static void agrees_with_numpy(void **state)
{
    (void)state;
    struct stream s = van();
    double u[3];
    stream_uniforms(&s, 0, 3, u);
    assert_true(u[0] == 0.4118955618348449);
    assert_true(u[1] == 0.8998946123490063);
    assert_true(u[2] == 0.022825834084467478);
    stream_uniforms(&s, 1000000000, 1, u);
    assert_true(u[0] == 0.2070922448857001);
    stream_open(&s, UINT64_MAX, "trip", "winter", "speed");
    stream_uniforms(&s, 0, 2, u);
    assert_true(u[0] == 0.3178230008907198);
    assert_true(u[1] == 0.336897755570602);
}

static void does_not_depend_on_the_split(void **state)
{
    (void)state;
    enum { COUNT = 512, FIRST = 777 };
    struct stream s = van();
    double block[COUNT], single[COUNT], parts[COUNT];
    stream_uniforms(&s, FIRST, COUNT, block);
    for (size_t i = 0; i < COUNT; i++)
        stream_uniforms(&s, FIRST + i, 1, &single[i]);
    stream_uniforms(&s, FIRST + 100, COUNT - 100, parts + 100);
    stream_uniforms(&s, FIRST, 100, parts);
    assert_memory_equal(block, single, sizeof block);
    assert_memory_equal(block, parts, sizeof block);
}

static void sample_is_a_jump_of_the_generator(void **state)
{
    (void)state;
    static const uint64_t samples[] = {0, 1, 511, 1u << 20, UINT64_MAX};
    struct stream s = van();
    for (size_t i = 0; i < sizeof samples / sizeof *samples; i++) {
        struct pcg64 g = s.origin;
        double u;
        pcg64_jump(&g, samples[i]);
        stream_uniforms(&s, samples[i], 1, &u);
        assert_true(u == ((double)(pcg64_next(&g) >> 12) + 0.5) / 4503599627370496.0);
    }
}

static void every_part_of_the_key_counts(void **state)
{
    (void)state;
    const double u[] = {
        first_of(1, "vehicle", "van", "cell_mass"),  first_of(2, "vehicle", "van", "cell_mass"),
        first_of(1, "trip", "van", "cell_mass"),     first_of(1, "vehicle", "wagon", "cell_mass"),
        first_of(1, "vehicle", "van", "cell_count"), first_of(1, "vehicle", "vanc", "ell_mass"),
        first_of(11, "vehicle", "van", "cell_mass"), first_of(1, "vehicle", "", "cell_mass"),
    };
    for (size_t i = 0; i < sizeof u / sizeof *u; i++)
        for (size_t k = 0; k < i; k++)
            assert_true(u[i] != u[k]);
}

/* 2^18 uniform numbers: mean 1/2 and variance 1/12, within 4 standard errors. */
static void is_uniform_in_the_open_interval(void **state)
{
    (void)state;
    enum { COUNT = 1 << 18, BLOCK = 512 };
    struct stream s = van();
    double u[BLOCK], sum = 0.0, squares = 0.0;
    for (size_t first = 0; first < COUNT; first += BLOCK) {
        stream_uniforms(&s, first, BLOCK, u);
        for (size_t i = 0; i < BLOCK; i++) {
            assert_true(u[i] > 0.0 && u[i] < 1.0);
            sum += u[i];
            squares += (u[i] - 0.5) * (u[i] - 0.5);
        }
    }
    assert_close(sum / COUNT, 0.5, 0, 4.0 * sqrt(1.0 / 12.0 / COUNT));
    assert_close(squares / COUNT, 1.0 / 12.0, 0, 4.0 * sqrt((1.0 / 80 - 1.0 / 144) / COUNT));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(agrees_with_numpy),
        cmocka_unit_test(does_not_depend_on_the_split),
        cmocka_unit_test(sample_is_a_jump_of_the_generator),
        cmocka_unit_test(every_part_of_the_key_counts),
        cmocka_unit_test(is_uniform_in_the_open_interval),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
