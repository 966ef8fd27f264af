#include "draw/copula.h"

#include "draw/correlation.h"
#include "draw/stream.h"
#include "support/support.h"

/* ---- correlation matrices ---- */

/* 2 sin(pi r/6) with NumPy 1.24.2; 0.5 gives 2 sin(15 degrees) = (sqrt 6 - sqrt 2)/2. */
static void ranks_and_scores_correlate_differently(void **state)
{
    (void)state;
    static const double pairs[][2] = {{-1.0, -1.0},
                                      {-0.9, -0.9079809994790935},
                                      {-0.3, -0.31286893008046174},
                                      {0.0, 0.0},
                                      {0.1, 0.10467191248588766},
                                      {0.5, 0.5176380902050416},
                                      {0.99, 0.9909173368648151},
                                      {1.0, 1.0}};
    for (size_t i = 0; i < sizeof pairs / sizeof pairs[0]; i++) {
        assert_close(correlation_of_ranks(pairs[i][0]), pairs[i][1], 1e-15, 1e-15);
        assert_close(ranks_of_correlation(pairs[i][1]), pairs[i][0], 1e-14, 1e-15);
    }
}

static void a_factor_gives_its_matrix_back(void **state)
{
    (void)state;
    enum { N = 4 };
    static const double a[N * N] = {1.0,  0.5, -0.3, 0.0, 0.5, 1.0,  0.2, -0.6,
                                    -0.3, 0.2, 1.0,  0.1, 0.0, -0.6, 0.1, 1.0};
    double l[N * N];
    assert_true(correlation_factor(N, a, l));
    for (size_t i = 0; i < N; i++)
        for (size_t j = 0; j < N; j++) {
            double sum = 0.0;
            for (size_t k = 0; k < N; k++)
                sum += l[i * N + k] * l[j * N + k];
            assert_close(sum, a[i * N + j], 0.0, 1e-15);
            assert_true(j <= i || l[i * N + j] == 0.0);
        }
}

/* x3 = (x1 + x2)/sqrt 2 leaves a plane: an eigenvalue is exactly 0. */
static void the_edge_of_what_is_possible_is_possible(void **state)
{
    (void)state;
    double r = M_SQRT1_2, over = r + 1e-6, l[9];
    const double flat[9] = {1, 0, r, 0, 1, r, r, r, 1};
    const double twice[9] = {1, 1, 0.5, 1, 1, 0.5, 0.5, 0.5, 1};
    const double torn[9] = {1, 1, 0.5, 1, 1, 0.4, 0.5, 0.4, 1};
    const double beyond[9] = {1, 0, over, 0, 1, over, over, over, 1};
    assert_true(correlation_factor(3, flat, l));
    assert_true(correlation_factor(3, twice, l));
    assert_close(l[6] * l[3] + l[7] * l[4], 0.5, 0.0, 1e-9);
    assert_false(correlation_factor(3, torn, l));
    assert_false(correlation_factor(3, beyond, l));
}

/* The example of N. J. Higham, IMA J. Numer. Anal. 22 (2002) 329-343, section 4, to the digits
 * given there (from memory). */
static void the_nearest_matrix_is_highams(void **state)
{
    (void)state;
    double a[9] = {1, 1, 0, 1, 1, 1, 0, 1, 1};
    static const double nearest[9] = {1.0,    0.7607, 0.1573, 0.7607, 1.0,
                                      0.7607, 0.1573, 0.7607, 1.0};
    assert_int_equal(correlation_nearest(3, NULL, 0.0, a), PACKSPAN_OK);
    for (size_t i = 0; i < 9; i++)
        assert_close(a[i], nearest[i], 0.0, 5e-5);
}

/* With the third pair held at 0 the eigenvalues are 1 and 1 -+ sqrt(x^2 + y^2), so that the
 * nearest point is on the circle of the radius 1 - least. */
static void pairs_can_be_held(void **state)
{
    (void)state;
    double a[9] = {1, 0.9, 0, 0.9, 1, 0.6, 0, 0.6, 1}, radius = 0.99 / hypot(0.9, 0.6);
    static const bool free_pairs[9] = {[1] = true, [3] = true, [5] = true, [7] = true};
    assert_int_equal(correlation_nearest(3, free_pairs, 0.01, a), PACKSPAN_OK);
    assert_close(a[1], 0.9 * radius, 0.0, 1e-5);
    assert_close(a[5], 0.6 * radius, 0.0, 1e-5);
    assert_true(a[2] == 0.0 && a[6] == 0.0 && a[0] == 1.0 && a[3] == a[1]);
}

static void what_is_possible_already_stays(void **state)
{
    (void)state;
    double a[4] = {1, -0.8, -0.8, 1};
    assert_int_equal(correlation_nearest(2, NULL, 0.1, a), PACKSPAN_OK);
    assert_true(a[0] == 1.0 && a[1] == -0.8 && a[2] == -0.8 && a[3] == 1.0);
}

/* ---- groups ---- */

static struct copula open_groups(size_t count, const size_t *order, size_t link_count,
                                 const struct copula_link *links)
{
    struct copula c;
    assert_int_equal(copula_open(count, order, link_count, links, &c), PACKSPAN_OK);
    return c;
}

static void links_connect_inputs_to_groups(void **state)
{
    (void)state;
    static const size_t order[] = {6, 5, 4, 3, 2, 1, 0};
    static const struct copula_link links[] = {{0, 4, 0.3}, {1, 5, 0.2}, {6, 4, -0.1},
                                               {6, 0, 0.0}, {2, 3, 0.0}, {1, 0, 0.0}};
    struct copula c = open_groups(7, order, 6, links);
    assert_int_equal(c.group_count, 2);
    const struct copula_group *g = &c.groups[0];
    static const size_t first[] = {6, 4, 0}, second[] = {5, 1};
    assert_int_equal(g->size, 3);
    assert_memory_equal(g->members, first, sizeof first);
    assert_int_equal(g->entry_count, 3);
    assert_int_equal(g->entries[0].link, 0);
    assert_int_equal(g->entries[1].link, 2);
    assert_int_equal(g->entries[2].link, 3);
    assert_int_equal(g->entries[2].row, 2);
    assert_int_equal(g->entries[2].column, 0);
    assert_int_equal(c.groups[1].size, 2);
    assert_memory_equal(c.groups[1].members, second, sizeof second);
    assert_true(g->possible && c.groups[1].possible);
    copula_close(&c);
}

static void the_order_of_links_plays_no_part(void **state)
{
    (void)state;
    static const size_t order[] = {2, 0, 1};
    static const struct copula_link one[] = {{0, 1, 0.5}, {1, 2, 0.3}, {0, 2, -0.2}};
    static const struct copula_link other[] = {{2, 0, -0.2}, {1, 0, 0.5}, {2, 1, 0.3}};
    struct copula a = open_groups(3, order, 3, one), b = open_groups(3, order, 3, other);
    assert_int_equal(a.group_count, 1);
    assert_memory_equal(a.groups[0].members, b.groups[0].members, sizeof order);
    assert_memory_equal(a.groups[0].factor, b.groups[0].factor, 9 * sizeof(double));
    copula_close(&a);
    copula_close(&b);
}

static void check_offer(size_t count, size_t link_count, struct copula_link *links, double *offer)
{
    static const size_t order[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 9};
    struct copula c = open_groups(count, order, link_count, links);
    assert_int_equal(c.group_count, 1);
    assert_false(c.groups[0].possible);
    assert_int_equal(copula_nearest(&c.groups[0], offer), PACKSPAN_OK);
    copula_close(&c);
    for (size_t i = 0; i < link_count; i++) {
        assert_close(1000.0 * offer[i], rint(1000.0 * offer[i]), 0.0, 1e-9);
        links[i].rank_correlation = offer[i];
    }
    c = open_groups(count, order, link_count, links);
    assert_true(c.groups[0].possible);
    copula_close(&c);
}

/* The largest possible value of two equal links is 6/pi asin(sqrt(1/8)) = 0.6902. */
static void an_impossible_set_gets_one_that_is_possible(void **state)
{
    (void)state;
    struct copula_link chain[] = {{0, 1, 0.9}, {1, 2, 0.9}};
    double offer[45];
    check_offer(3, 2, chain, offer);
    assert_close(offer[0], 0.690, 0.0, 0.0015);
    assert_true(offer[0] == offer[1]);

    struct copula_link triangle[] = {{0, 1, 0.95}, {1, 2, 0.95}, {0, 2, -0.95}};
    check_offer(3, 3, triangle, offer);
    assert_true(offer[0] > 0.3 && offer[2] < -0.3);

    /* Ten inputs that each fall when any other rises: -1/9 at most. */
    struct copula_link all[45];
    size_t count = 0;
    for (size_t i = 0; i < 10; i++)
        for (size_t j = 0; j < i; j++)
            all[count++] = (struct copula_link){i, j, -0.9};
    check_offer(10, count, all, offer);
    for (size_t i = 0; i < count; i++)
        assert_close(offer[i], ranks_of_correlation(-1.0 / 9.0), 0.0, 0.0015);
}

/* ---- draws ---- */

/* Tails beyond a: exp(a^2/2) - sqrt(2/pi) (a + a^3/3 + a^5/(3 5) + ...), halved and over
 * exp(a^2/2), summed with 420 digits by Python's decimal module. (SciPy's norm.sf rounds a/sqrt(2)
 * first and is off by 1.1e-13 of the tail at 37.) What lies beyond 37 is taken for 37. */
static const double tails[][2] = {
    {0.0, 0.5},
    {0.25, 0.4012936743170763},
    {0.5, 0.30853753872598688},
    {1.0, 0.15865525393145705},
    {2.0, 0.022750131948179209},
    {3.0, 0.0013498980316300946},
    {4.0, 3.1671241833119924e-05},
    {5.0, 2.8665157187919391e-07},
    {6.0, 9.8658764503769809e-10},
    {8.5, 9.4795348222033177e-18},
    {9.0, 1.1285884059538405e-19},
    {12.0, 1.776482112077679e-33},
    {20.0, 2.7536241186062337e-89},
    {30.0, 4.9067139271481872e-198},
    {37.0, 5.7255712225245771e-300},
    {90.0, 5.7255712225245771e-300},
};

static void both_tails_keep_their_digits(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof tails / sizeof tails[0]; i++) {
        double a = tails[i][0], tail = tails[i][1], lower[2], upper[2];
        copula_tails(2, (double[]){-a, a}, lower, upper);
        double accuracy = 1e-15 * (1.0 + fmin(0.5 * a * a, 684.5));
        assert_close(lower[0], tail, accuracy, 0.0);
        assert_close(upper[1], tail, accuracy, 0.0);
        assert_close(upper[0], 1.0 - tail, 2e-16, 0.0);
        assert_close(lower[1], 1.0 - tail, 2e-16, 0.0);
    }
}

/* The C library's erfc() rounds a/sqrt(2), so that the two differ by about a^2 roundings. */
static void tails_are_symmetric_and_rise(void **state)
{
    (void)state;
    enum { COUNT = 40000 };
    static double z[2 * COUNT], lower[2 * COUNT], upper[2 * COUNT];
    for (size_t i = 0; i < COUNT; i++) {
        z[i] = -38.0 + 38.0 * (double)i / COUNT;
        z[2 * COUNT - 1 - i] = -z[i];
    }
    copula_tails(2 * COUNT, z, lower, upper);
    for (size_t i = 0; i < 2 * COUNT; i++) {
        assert_true(lower[i] == upper[2 * COUNT - 1 - i]);
        assert_true(i == 0 || lower[i] >= lower[i - 1]);
        if (z[i] > -37.0 && z[i] < 0.0)
            assert_close(lower[i], 0.5 * erfc(-z[i] * M_SQRT1_2), 3e-16 * (1.0 + z[i] * z[i]), 0.0);
    }
}

static void scores_lead_back_to_their_numbers(void **state)
{
    (void)state;
    enum { COUNT = 1001 };
    double u[COUNT], z[COUNT], lower[COUNT], upper[COUNT];
    for (size_t i = 0; i < COUNT; i++)
        u[i] = i < 500 ? 0.5 * pow(2.0, -(double)i / 10.0) : 1.0 - ldexp(1.0 + (double)i, -53);
    copula_scores(COUNT, u, z);
    copula_tails(COUNT, z, lower, upper);
    for (size_t i = 0; i < COUNT; i++) {
        assert_close(lower[i], u[i], 1e-13, 0.0);
        assert_close(upper[i], 1.0 - u[i], 1e-13, 0.0);
    }
}

/* 2^17 joint scores: standard normal each, correlated as asked, within four standard errors. */
static void mixed_scores_are_correlated(void **state)
{
    (void)state;
    enum { N = 3, BLOCK = 512, COUNT = 1 << 17 };
    static const size_t order[] = {0, 1, 2};
    static const struct copula_link links[] = {{0, 1, 0.8}, {2, 1, -0.5}};
    static const double ranks[N][N] = {{1, 0.8, 0}, {0.8, 1, -0.5}, {0, -0.5, 1}};
    static const char *const names[] = {"a", "b", "c"};
    double z[N][BLOCK], *columns[N] = {z[0], z[1], z[2]}, sums[N] = {0}, products[N][N] = {{0}};
    struct copula c = open_groups(N, order, 2, links);
    struct stream streams[N];
    for (size_t k = 0; k < N; k++)
        stream_open(&streams[k], 3, "vehicle", "van", names[k]);
    for (uint64_t first = 0; first < COUNT; first += BLOCK) {
        for (size_t k = 0; k < N; k++) {
            stream_uniforms(&streams[k], first, BLOCK, z[k]);
            copula_scores(BLOCK, z[k], z[k]);
        }
        copula_mix(&c.groups[0], BLOCK, columns);
        for (size_t i = 0; i < N; i++)
            for (size_t s = 0; s < BLOCK; s++) {
                sums[i] += z[i][s];
                for (size_t j = 0; j <= i; j++)
                    products[i][j] += z[i][s] * z[j][s];
            }
    }
    for (size_t i = 0; i < N; i++) {
        assert_close(sums[i] / COUNT, 0.0, 0.0, 4.0 / sqrt(COUNT));
        for (size_t j = 0; j <= i; j++) {
            double r = correlation_of_ranks(ranks[i][j]);
            assert_close(products[i][j] / COUNT, r, 0.0, 4.0 * sqrt((1.0 + r * r) / COUNT));
        }
    }
    copula_close(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ranks_and_scores_correlate_differently),
        cmocka_unit_test(a_factor_gives_its_matrix_back),
        cmocka_unit_test(the_edge_of_what_is_possible_is_possible),
        cmocka_unit_test(the_nearest_matrix_is_highams),
        cmocka_unit_test(pairs_can_be_held),
        cmocka_unit_test(what_is_possible_already_stays),
        cmocka_unit_test(links_connect_inputs_to_groups),
        cmocka_unit_test(the_order_of_links_plays_no_part),
        cmocka_unit_test(an_impossible_set_gets_one_that_is_possible),
        cmocka_unit_test(both_tails_keep_their_digits),
        cmocka_unit_test(tails_are_symmetric_and_rise),
        cmocka_unit_test(scores_lead_back_to_their_numbers),
        cmocka_unit_test(mixed_scores_are_correlated),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
