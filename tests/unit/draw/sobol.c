/* Sobol's points and their scrambling. */
#include "draw/sobol.h"
#include "draw/stream.h"
#include "support/support.h"

#include <math.h>
#include <string.h>

/* ---- the points themselves ---- */

static double plain(size_t dimension, uint64_t number)
{
    struct sobol s;
    uint32_t points[SOBOL_BLOCK];
    double value = 0.0;
    sobol_open(&s, dimension);
    sobol_block(&s, number / SOBOL_BLOCK, points);
    for (int i = 0; i < 32; i++)
        value += ldexp((double)(points[number % SOBOL_BLOCK] >> i & 1), -1 - i);
    return value;
}

/* Joe and Kuo 2008, as scipy.stats.qmc.Sobol(8, scramble=False) gives them (SciPy 1.10.1). */
static void first_points_are_as_published(void **state)
{
    (void)state;
    static const struct {
        uint64_t number;
        double x[8];
    } rows[] = {
        {0, {0}},
        {1, {.5, .5, .5, .5, .5, .5, .5, .5}},
        {2, {.75, .25, .25, .25, .75, .75, .25, .75}},
        {3, {.25, .75, .75, .75, .25, .25, .75, .25}},
        {4, {.375, .375, .625, .875, .375, .125, .375, .875}},
        {5, {.875, .875, .125, .375, .875, .625, .875, .375}},
        {6, {.625, .125, .875, .625, .625, .875, .125, .125}},
        {7, {.125, .625, .375, .125, .125, .375, .625, .625}},
        {8, {.1875, .3125, .9375, .4375, .5625, .3125, .4375, .9375}},
        {9, {.6875, .8125, .4375, .9375, .0625, .8125, .9375, .4375}},
        {15, {.0625, .9375, .5625, .3125, .6875, .1875, .8125, .3125}},
        {100, {.4140625, .2578125, .7734375, .7265625, .8828125, .7421875, .0234375, .4765625}},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        for (size_t d = 0; d < 8; d++)
            assert_true(plain(d, rows[i].number) == rows[i].x[d]);
}

/* Each coordinate's first 1024 points are the multiples of 2^-10, whose sum is 1023 / 2. */
static void a_thousand_points_have_the_known_sum(void **state)
{
    (void)state;
    double sum = 0.0;
    for (size_t d = 0; d < 40; d++)
        for (uint64_t n = 0; n < 1024; n++)
            sum += plain(d, n);
    assert_true(sum == 40.0 * 1023.0 / 2.0);
}

/* ---- the order of dimensions ---- */

static void every_dimension_is_taken_once(void **state)
{
    (void)state;
    unsigned char taken[SOBOL_DIMENSIONS] = {0};
    for (size_t rank = 0; rank < SOBOL_DIMENSIONS; rank++) {
        assert_true(sobol_dimension(rank) < SOBOL_DIMENSIONS);
        taken[sobol_dimension(rank)]++;
    }
    for (size_t d = 0; d < SOBOL_DIMENSIONS; d++)
        assert_int_equal(taken[d], 1);
}

enum { CHECKED = 54, BOX_DIGITS = 5, BOX_POINTS = 1 << 13 };

/* The first digits of each point: leading[rank][number]. */
static unsigned char leading[CHECKED][BOX_POINTS];

static void fill_digits(void)
{
    for (size_t rank = 0; rank < CHECKED; rank++) {
        struct sobol s;
        sobol_open(&s, sobol_dimension(rank));
        for (size_t b = 0; b < BOX_POINTS / SOBOL_BLOCK; b++) {
            uint32_t points[SOBOL_BLOCK];
            sobol_block(&s, b, points);
            for (size_t i = 0; i < SOBOL_BLOCK; i++)
                leading[rank][b * SOBOL_BLOCK + i] = points[i] & ((1 << BOX_DIGITS) - 1);
        }
    }
}

/* True when the boxes that the first a, b and c digits make are all filled alike. As points are
 * linear in the bits of their numbers, it is enough to look at the numbers 2^i: the digits of these
 * must have full rank. */
static int is_full(const size_t rank[3], const int take[3])
{
    uint32_t rows[13], basis[BOX_DIGITS];
    int found = 0;
    for (int bit = 0; bit < 13; bit++) {
        size_t number = (size_t)1 << bit; /* in Gray code it has the bits of i and of i - 1 */
        rows[bit] = 0;
        for (int k = 0; k < 3; k++)
            rows[bit] =
                rows[bit] << take[k] | (uint32_t)(leading[rank[k]][number] & ((1 << take[k]) - 1));
    }
    for (int bit = 0; bit < 13; bit++) {
        uint32_t x = rows[bit];
        for (int i = 0; i < found; i++)
            x = (x ^ basis[i]) < x ? x ^ basis[i] : x;
        if (x)
            basis[found++] = x;
    }
    return found == BOX_DIGITS;
}

static void any_three_of_the_first_dimensions_fill_all_boxes(void **state)
{
    (void)state;
    fill_digits();
    size_t r[3];
    for (r[0] = 2; r[0] < CHECKED; r[0]++)
        for (r[1] = 1; r[1] < r[0]; r[1]++)
            for (r[2] = 0; r[2] < r[1]; r[2]++)
                for (int a = 0; a <= BOX_DIGITS; a++)
                    for (int b = 0; a + b <= BOX_DIGITS; b++)
                        assert_true(is_full(r, (const int[3]){a, b, BOX_DIGITS - a - b}));
}

/* ---- the scrambling ---- */

static uint32_t next_random(uint64_t *x)
{
    *x = *x * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407); /* Knuth's MMIX */
    return (uint32_t)(*x >> 32);
}

static struct sobol_key random_key(uint64_t *x)
{
    uint32_t add = next_random(x), multiply = next_random(x);
    return (struct sobol_key){add, multiply, next_random(x)};
}

/* Leading binary digits that two numbers of (0, 1) share, up to 32. */
static int shared_digits(double a, double b)
{
    int digits = 0;
    while (digits < 32 && floor(ldexp(a, digits + 1)) == floor(ldexp(b, digits + 1)))
        digits++;
    return digits;
}

/* Owen 1995: a nested scrambling keeps how many leading digits two points share. */
static void shared_leading_digits_stay_shared(void **state)
{
    (void)state;
    uint64_t random = 1;
    for (int trial = 0; trial < 50; trial++) {
        uint32_t points[SOBOL_BLOCK];
        double u[SOBOL_BLOCK];
        struct sobol_key key = random_key(&random);
        uint32_t origin = next_random(&random);
        for (int i = 0; i < SOBOL_BLOCK; i++) { /* shares i % 33 digits with the origin */
            int shared = i % 33;
            uint32_t rest = shared < 32 ? (next_random(&random) | 1) << shared : 0;
            points[i] = origin ^ rest;
        }
        sobol_scramble(points, &key, u);
        for (int i = 0; i < SOBOL_BLOCK; i++)
            assert_int_equal(shared_digits(u[32], u[i]), i % 33);
    }
}

/* A digit is turned over in half of the scramblings, and where the digit before it differs it is
 * turned over without regard to the other's. Four standard errors of 4096 throws are 0.031. */
static void every_digit_is_turned_over_in_half_of_the_scramblings(void **state)
{
    (void)state;
    enum { KEYS = 4096, DIGITS = 12 };
    uint64_t random = 7;
    int ones[DIGITS] = {0}, unlike[DIGITS] = {0};
    for (int k = 0; k < KEYS; k++) {
        uint32_t points[SOBOL_BLOCK] = {0};
        double u[SOBOL_BLOCK];
        struct sobol_key key = random_key(&random);
        for (int d = 1; d < DIGITS; d++)
            points[d] = UINT32_C(1) << (d - 1); /* differs from points[0] just before digit d */
        sobol_scramble(points, &key, u);
        for (int d = 0; d < DIGITS; d++) {
            int own = (int)fmod(ldexp(u[d], d + 1), 2.0);
            ones[d] += own;
            unlike[d] += own != (int)fmod(ldexp(u[0], d + 1), 2.0);
        }
    }
    for (int d = 0; d < DIGITS; d++) {
        assert_close(ones[d], 0.5 * KEYS, 0, 0.031 * KEYS);
        if (d > 0)
            assert_close(unlike[d], 0.5 * KEYS, 0, 0.031 * KEYS);
    }
}

/* Two points that share all 32 digits of the table differ below them only by their digits, so the
 * 20 below must look uniform from point to point: their mean and variance, four standard errors. */
static void digits_below_the_table_are_uniform(void **state)
{
    (void)state;
    enum { BLOCKS = 64, COUNT = BLOCKS * SOBOL_BLOCK };
    struct sobol s;
    uint64_t random = 3;
    struct sobol_key key = random_key(&random);
    double sum = 0.0, squares = 0.0;
    sobol_open(&s, 5);
    for (uint64_t b = 0; b < BLOCKS; b++) {
        uint32_t points[SOBOL_BLOCK];
        double u[SOBOL_BLOCK];
        sobol_block(&s, b, points);
        sobol_scramble(points, &key, u);
        for (int i = 0; i < SOBOL_BLOCK; i++) {
            double below = fmod(ldexp(u[i], 32), 1.0);
            sum += below;
            squares += (below - 0.5) * (below - 0.5);
        }
    }
    assert_close(sum / COUNT, 0.5, 0, 4.0 * sqrt(1.0 / 12.0 / COUNT));
    assert_close(squares / COUNT, 1.0 / 12.0, 0, 4.0 * sqrt((1.0 / 80 - 1.0 / 144) / COUNT));
}

/* ---- streams ---- */

enum { INPUTS = 6, POINTS = 4096 };

/* Samples of one scrambling in the order of its points. */
static void draw(uint64_t seed, size_t dimension, size_t replicate, size_t n, double *u)
{
    static const char *const names[] = {"a", "b", "c", "d", "e", "f"};
    struct stream s;
    stream_open_sobol(&s, seed, "vehicle", "van", names[dimension % INPUTS], dimension);
    for (size_t i = 0; i < n; i += SOBOL_BLOCK) {
        uint64_t first = (i / SOBOL_BLOCK * REPLICATES + replicate) * SOBOL_BLOCK;
        assert_int_equal(stream_replicate(first), replicate);
        stream_uniforms(&s, first, SOBOL_BLOCK, u + i);
    }
}

/* Sobol 1967: every interval of length 2^-12 holds one of 2^12 points, and of a pair of the first
 * two dimensions every box of volume 2^-12 does (a (0, 12, 2)-net); scrambling keeps that. */
static void elementary_intervals_hold_one_point_each(void **state)
{
    (void)state;
    enum { BITS = 12 };
    static double x[POINTS], y[POINTS];
    for (size_t replicate = 0; replicate < REPLICATES; replicate += 5) {
        draw(11, 0, replicate, POINTS, x);
        draw(11, 1, replicate, POINTS, y);
        for (int bits = 0; bits <= BITS; bits++) {
            static unsigned char held[POINTS];
            memset(held, 0, sizeof held);
            for (size_t i = 0; i < POINTS; i++) {
                assert_true(x[i] > 0.0 && x[i] < 1.0);
                size_t box =
                    ((size_t)ldexp(x[i], bits) << (BITS - bits)) + (size_t)ldexp(y[i], BITS - bits);
                assert_int_equal(held[box], 0);
                held[box] = 1;
            }
        }
    }
}

static void scramblings_and_seeds_differ(void **state)
{
    (void)state;
    double all[2 * REPLICATES];
    for (size_t r = 0; r < 2 * REPLICATES; r++) {
        double u[SOBOL_BLOCK];
        draw(1 + r / REPLICATES, 2, r % REPLICATES, SOBOL_BLOCK, u);
        all[r] = u[0];
        for (size_t k = 0; k < r; k++)
            assert_true(all[k] != all[r]);
    }
}

static void does_not_depend_on_the_split(void **state)
{
    (void)state;
    enum { COUNT = 3000, FIRST = 777 };
    struct stream s;
    static double whole[COUNT], parts[COUNT];
    stream_open_sobol(&s, 3, "trip", "winter", "speed", 4);
    stream_uniforms(&s, FIRST, COUNT, whole);
    stream_uniforms(&s, FIRST, 100, parts);
    stream_uniforms(&s, FIRST + 100, 1, parts + 100);
    stream_uniforms(&s, FIRST + 101, COUNT - 101, parts + 101);
    assert_memory_equal(whole, parts, sizeof whole);
}

/* Past 2^32 points a scrambling goes on with others, which are as even. */
static void points_past_the_last_are_scrambled_anew(void **state)
{
    (void)state;
    const uint64_t again = (UINT64_C(1) << 32) * REPLICATES;
    struct stream s;
    double first[SOBOL_BLOCK], later[SOBOL_BLOCK];
    stream_open_sobol(&s, 3, "trip", "winter", "speed", 4);
    stream_uniforms(&s, 0, SOBOL_BLOCK, first);
    stream_uniforms(&s, again, SOBOL_BLOCK, later);
    unsigned char held[SOBOL_BLOCK] = {0};
    for (int i = 0; i < SOBOL_BLOCK; i++) {
        assert_true(first[i] != later[i]);
        held[(size_t)(later[i] * SOBOL_BLOCK)]++;
    }
    for (int i = 0; i < SOBOL_BLOCK; i++)
        assert_int_equal(held[i], 1);
}

static void even_numbers_of_samples_are_powers_of_two(void **state)
{
    (void)state;
    static const uint64_t rows[][2] = {
        {100, 16384},       {16384, 16384},
        {24575, 16384},     {24576, 32768},
        {65536, 65536},     {1000000, 1048576},
        {1572863, 1048576}, {1572864, 2097152},
        {2097152, 2097152}, {UINT64_C(1000000000000), UINT64_C(1) << 40},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_int_equal(stream_even_samples(rows[i][0]), rows[i][1]);
}

static void inputs_past_the_last_dimension_are_pseudo_random(void **state)
{
    (void)state;
    struct stream s, t;
    double u[SOBOL_BLOCK], v[SOBOL_BLOCK];
    stream_open_sobol(&s, 3, "vehicle", "van", "cell_mass", SOBOL_DIMENSIONS);
    stream_open(&t, 3, "vehicle", "van", "cell_mass");
    stream_uniforms(&s, 512, SOBOL_BLOCK, u);
    stream_uniforms(&t, 512, SOBOL_BLOCK, v);
    assert_memory_equal(u, v, sizeof u);
    stream_open_sobol(&s, 3, "vehicle", "van", "cell_mass", SOBOL_DIMENSIONS - 1);
    stream_uniforms(&s, 512, SOBOL_BLOCK, u);
    assert_memory_not_equal(u, v, sizeof u);
}

/* Sobol's g-function, prod (|4 x_i - 2| + a_i) / (1 + a_i): its integral is 1 and its variance
 * prod (1 + 1 / (3 (1 + a_i)^2)) - 1 (Saltelli and Sobol 1995, from memory). */
static const double g_weights[INPUTS] = {0.0, 1.0, 4.5, 9.0, 99.0, 99.0};

static double g_variance(void)
{
    double product = 1.0;
    for (size_t d = 0; d < INPUTS; d++)
        product *= 1.0 + 1.0 / (3.0 * (1.0 + g_weights[d]) * (1.0 + g_weights[d]));
    return product - 1.0;
}

static double g_mean(uint64_t seed, size_t replicate)
{
    static double x[INPUTS][POINTS];
    double sum = 0.0;
    for (size_t d = 0; d < INPUTS; d++)
        draw(seed, d, replicate, POINTS, x[d]);
    for (size_t i = 0; i < POINTS; i++) {
        double product = 1.0;
        for (size_t d = 0; d < INPUTS; d++)
            product *= (fabs(4.0 * x[d][i] - 2.0) + g_weights[d]) / (1.0 + g_weights[d]);
        sum += product;
    }
    return sum / POINTS;
}

/* 256 scramblings: unbiased within four standard errors, and each at least 400 times less variable
 * than as many independent samples (measured: some thousand times). */
static void integrates_far_better_than_independent_samples(void **state)
{
    (void)state;
    enum { SEEDS = 16, COUNT = SEEDS * REPLICATES };
    double sum = 0.0, squares = 0.0;
    for (uint64_t seed = 0; seed < SEEDS; seed++)
        for (size_t r = 0; r < REPLICATES; r++) {
            double error = g_mean(seed, r) - 1.0;
            sum += error;
            squares += error * error;
        }
    double variance = squares / COUNT;
    assert_close(sum / COUNT, 0.0, 0, 4.0 * sqrt(variance / COUNT));
    assert_true(variance < g_variance() / POINTS / 400.0);
}

/* The mean of 16 scramblings strays as far from the integral as their own spread tells: over 200
 * seeds the squares of the standardised errors have the mean of Student's t with 15 degrees of
 * freedom squared, 15/13, within four standard errors: the variance of F(1, 15) is
 * 2 15^2 (1 + 15 - 2) / (13^2 11) = 3.39. */
static void spread_of_the_scramblings_tells_the_error(void **state)
{
    (void)state;
    enum { SEEDS = 200 };
    double sum = 0.0;
    for (uint64_t seed = 0; seed < SEEDS; seed++) {
        double mean = 0.0, squares = 0.0, one[REPLICATES];
        for (size_t r = 0; r < REPLICATES; r++)
            mean += (one[r] = g_mean(1000 + seed, r)) / REPLICATES;
        for (size_t r = 0; r < REPLICATES; r++)
            squares += (one[r] - mean) * (one[r] - mean);
        sum += (mean - 1.0) * (mean - 1.0) / (squares / (REPLICATES * (REPLICATES - 1)));
    }
    assert_close(sum / SEEDS, 15.0 / 13.0, 0, 4.0 * sqrt(3.39 / SEEDS));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(first_points_are_as_published),
        cmocka_unit_test(a_thousand_points_have_the_known_sum),
        cmocka_unit_test(every_dimension_is_taken_once),
        cmocka_unit_test(any_three_of_the_first_dimensions_fill_all_boxes),
        cmocka_unit_test(shared_leading_digits_stay_shared),
        cmocka_unit_test(every_digit_is_turned_over_in_half_of_the_scramblings),
        cmocka_unit_test(digits_below_the_table_are_uniform),
        cmocka_unit_test(elementary_intervals_hold_one_point_each),
        cmocka_unit_test(scramblings_and_seeds_differ),
        cmocka_unit_test(does_not_depend_on_the_split),
        cmocka_unit_test(points_past_the_last_are_scrambled_anew),
        cmocka_unit_test(even_numbers_of_samples_are_powers_of_two),
        cmocka_unit_test(inputs_past_the_last_dimension_are_pseudo_random),
        cmocka_unit_test(integrates_far_better_than_independent_samples),
        cmocka_unit_test(spread_of_the_scramblings_tells_the_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
