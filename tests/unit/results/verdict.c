/* Verdicts and the calibrated words. */
#include "support/support.h"

#include "results/verdict.h"

/* IPCC AR5 guidance note (Mastrandrea et al. 2010), Table 1. */
static void words_of_the_published_scale(void **state)
{
    (void)state;
    static const struct {
        double probability;
        const char *word;
    } table[] = {
        {1.0, "virtually certain"},
        {0.99, "virtually certain"},
        {0.9899, "extremely likely"},
        {0.95, "extremely likely"},
        {0.9499, "very likely"},
        {0.90, "very likely"},
        {0.8999, "likely"},
        {0.66, "likely"},
        {0.6599, "about as likely as not"},
        {0.33, "about as likely as not"},
        {0.3299, "unlikely"},
        {0.1001, "unlikely"},
        {0.10, "very unlikely"},
        {0.0501, "very unlikely"},
        {0.05, "extremely unlikely"},
        {0.0101, "extremely unlikely"},
        {0.01, "exceptionally unlikely"},
        {0.0, "exceptionally unlikely"},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        assert_string_equal(likelihood_word(table[i].probability), table[i].word);
}

/* Wilson's interval at z = 1.96 has the published ends of Newcombe (1998); its half width at z = 1,
 * from the same formula, is what the error is: checked by the formula's own algebra at 81 of 263.
 * centre -+ half solves (p - phat)^2 = z^2 p (1 - p) / n. */
static void error_is_half_of_wilsons_interval(void **state)
{
    (void)state;
    static const struct {
        uint64_t hits, n;
    } table[] = {{81, 263}, {15, 148}, {0, 20}, {1, 29}, {20, 20}};
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++) {
        double n = (double)table[i].n, phat = (double)table[i].hits / n;
        double half = probability_error(phat, n);
        double centre = (phat + 0.5 / n) / (1.0 + 1.0 / n);
        for (int side = -1; side <= 1; side += 2) {
            double p = centre + side * half;
            assert_close((p - phat) * (p - phat), p * (1.0 - p) / n, 1e-12, 1e-16);
        }
        assert_true(half > 0.0);
    }
}

static struct verdict judge(enum claim_sense sense, uint64_t below, uint64_t within, uint64_t above)
{
    struct claim_count count = {.above = above, .below = below, .under = below, .at = 0};
    count.total = below + within + above;
    return verdict_of(sense, &count, (double)count.total);
}

static void verdicts_start_at_nine_in_ten(void **state)
{
    (void)state;
    assert_string_equal(judge(CLAIM_IS, 0, 10, 90).word, "understated");
    assert_string_equal(judge(CLAIM_IS, 0, 11, 89).word, "not contradicted");
    assert_string_equal(judge(CLAIM_IS, 90, 0, 10).word, "overstated");
    assert_string_equal(judge(CLAIM_AT_LEAST, 10, 0, 90).word, "holds");
    assert_string_equal(judge(CLAIM_AT_LEAST, 11, 0, 89).word, "open");
    assert_string_equal(judge(CLAIM_AT_LEAST, 90, 0, 10).word, "fails");
    assert_string_equal(judge(CLAIM_AT_MOST, 90, 0, 10).word, "holds");
    assert_string_equal(judge(CLAIM_AT_MOST, 50, 0, 50).word, "open");
    assert_string_equal(judge(CLAIM_AT_MOST, 10, 0, 90).word, "fails");
}

static void probability_is_that_of_the_claim(void **state)
{
    (void)state;
    assert_close(judge(CLAIM_IS, 20, 30, 50).probability, 0.30, 1e-15, 0.0);
    assert_close(judge(CLAIM_AT_LEAST, 20, 30, 50).probability, 0.80, 1e-15, 0.0);
    assert_close(judge(CLAIM_AT_MOST, 20, 30, 50).probability, 0.50, 1e-15, 0.0);
    assert_close(judge(CLAIM_IS, 20, 30, 50).percentile, 20.0, 1e-15, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_of_the_published_scale),
        cmocka_unit_test(error_is_half_of_wilsons_interval),
        cmocka_unit_test(verdicts_start_at_nine_in_ten),
        cmocka_unit_test(probability_is_that_of_the_claim),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
