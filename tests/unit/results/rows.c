/* Rows of results: worked out in full or in brief, with any percentile. */
#include "support/support.h"

#include <stdlib.h>

#include "api/case_handle.h"
#include "results/results.h"

static packspan_case *open_demo(const char *samples)
{
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open(PROJECT_FOLDER "/configs/demo", &c), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "samples", samples), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "threads", "2"), PACKSPAN_OK);
    return c;
}

static packspan_results *run(const packspan_case *c, enum row_detail detail)
{
    struct run_outcome outcome;
    packspan_results *r = NULL;
    assert_int_equal(run_plans(&c->set, NULL, NULL, &outcome), PACKSPAN_OK);
    assert_int_equal(results_make(&outcome, detail, &r), PACKSPAN_OK);
    return r;
}

static bool is_brief(packspan_statistic statistic)
{
    static const packspan_statistic brief[] = {
        PACKSPAN_MEAN, PACKSPAN_SD,  PACKSPAN_P05, PACKSPAN_P10, PACKSPAN_P25, PACKSPAN_P50,
        PACKSPAN_P75,  PACKSPAN_P90, PACKSPAN_P95, PACKSPAN_MIN, PACKSPAN_MAX, PACKSPAN_MEAN_ERROR};
    for (size_t i = 0; i < sizeof brief / sizeof brief[0]; i++)
        if (brief[i] == statistic)
            return true;
    return false;
}

static void brief_rows_say_the_same_but_less(void **state)
{
    (void)state;
    packspan_case *c = open_demo("5000");
    packspan_results *full = run(c, ROW_FULL), *brief = run(c, ROW_BRIEF);
    packspan_bin bins[PACKSPAN_BINS_MAX];
    assert_true(packspan_results_count(full) > 100);
    assert_int_equal(packspan_results_count(brief), packspan_results_count(full));
    for (size_t i = 0; i < packspan_results_count(full); i++) {
        for (int s = 0; s < PACKSPAN_STATISTIC_COUNT; s++) {
            double value = packspan_results_value(brief, i, (packspan_statistic)s);
            if (is_brief((packspan_statistic)s))
                assert_close(value, packspan_results_value(full, i, (packspan_statistic)s), 0.0,
                             0.0);
            else
                assert_true(isnan(value));
        }
        assert_true(packspan_results_histogram(full, i, bins) > 0);
        assert_int_equal(packspan_results_histogram(brief, i, bins), 0);
    }
    assert_true(packspan_claim_count(full) > 0);
    assert_int_equal(packspan_claim_count(brief), packspan_claim_count(full));
    for (size_t i = 0; i < packspan_claim_count(full); i++)
        for (int v = PACKSPAN_CLAIM_VALUE; v <= PACKSPAN_CLAIM_GAP_P95; v++)
            assert_close(packspan_claim_number(brief, i, (packspan_claim_value)v),
                         packspan_claim_number(full, i, (packspan_claim_value)v), 0.0, 0.0);
    packspan_results_free(full);
    packspan_results_free(brief);
    packspan_case_free(c);
}

/* Histograms, extremes and percentiles of a row come from the same counts. */
static void any_percentile_fits_the_row(void **state)
{
    (void)state;
    packspan_case *c = open_demo("5000");
    packspan_results *r = NULL;
    assert_int_equal(packspan_run(c, NULL, NULL, &r), PACKSPAN_OK);
    for (size_t i = 0; i < packspan_results_count(r); i++) {
        packspan_bin bins[PACKSPAN_BINS_MAX];
        double before = packspan_results_value(r, i, PACKSPAN_MIN), count = 0.0;
        double samples = (double)packspan_results_samples(r);
        assert_close(packspan_results_percentile(r, i, 0.0), before, 1e-12, 0.0);
        assert_close(packspan_results_percentile(r, i, 1.0),
                     packspan_results_value(r, i, PACKSPAN_MAX), 1e-12, 0.0);
        assert_close(packspan_results_percentile(r, i, 0.01),
                     packspan_results_value(r, i, PACKSPAN_P01), 0.0, 0.0);
        assert_close(packspan_results_percentile(r, i, 0.90),
                     packspan_results_value(r, i, PACKSPAN_P90), 0.0, 0.0);
        for (int k = 1; k <= 20; k++) {
            double now = packspan_results_percentile(r, i, k / 20.0);
            assert_true(now >= before - 1e-12 * fabs(before));
            before = now;
        }
        size_t n = packspan_results_histogram(r, i, bins);
        for (size_t k = 0; k < n; k++)
            count += bins[k].count;
        assert_close(count, samples, 1e-9, 0.0);
    }
    packspan_results_free(r);
    packspan_case_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(brief_rows_say_the_same_but_less),
        cmocka_unit_test(any_percentile_fits_the_row),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
