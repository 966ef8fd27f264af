/* Errors from independent scramblings, and the sequences of the adaptive procedure. */
#include "engine/replicates.h"
#include "support/support.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "unit/base/scratch.h"

/* ---- the error of a ratio ---- */

/* With equal weights it is the standard error of the mean: 2, 4, 4, 4, 5, 5, 7, 9 have the mean 5
 * and the squared deviations 32, so sqrt(32 / 7 / 8). */
static void equal_weights_give_the_error_of_the_mean(void **state)
{
    (void)state;
    static const double a[] = {2, 4, 4, 4, 5, 5, 7, 9}, b[] = {1, 1, 1, 1, 1, 1, 1, 1};
    assert_close(ratio_error(8, a, b), sqrt(32.0 / 7.0 / 8.0), 1e-14, 0.0);
    double a3[8], b3[8];
    for (int i = 0; i < 8; i++) {
        a3[i] = 3.0 * a[i];
        b3[i] = 3.0;
    }
    assert_close(ratio_error(8, a3, b3), sqrt(32.0 / 7.0 / 8.0), 1e-14, 0.0);
}

/* Cochran, Sampling Techniques, 3rd ed. 1977, (6.4) without the finite correction (from memory):
 * a = 1, 3, 8 and b = 2, 4, 6 give the ratio 1, the rests -1, -1, 2 and so
 * sqrt(6 / 2 / 3) / 4 = 1 / 4. */
static void unequal_weights_give_the_error_of_the_ratio(void **state)
{
    (void)state;
    static const double a[] = {1, 3, 8, 0}, b[] = {2, 4, 6, 0};
    assert_close(ratio_error(3, a, b), 0.25, 1e-14, 0.0);
    assert_close(ratio_error(4, a, b), 0.25, 1e-14, 0.0); /* the last one has no weight */
    assert_true(isnan(ratio_error(1, a, b)));
    assert_true(isnan(ratio_error(0, a, b)));
}

/* ---- whole runs ---- */

static int enter_scratch(void **state)
{
    return scratch_enter(state) || mkdir("plain", 0777) || mkdir("weighted", 0777);
}

static void put(const char *path, const char *text)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static const char vehicles[] = "vehicle,role\nvan,subject\n";
static const char inputs[] = "vehicle,quantity,unit,shape,best,low,high,sd,source\n"
                             "van,cell_count,1,fixed,200,,,,x\n"
                             "van,cell_charge,Ah,uniform,,60,66,,x\n"
                             "van,cell_voltage,V,normal,3.65,,,0.02,x\n"
                             "van,usable_fraction,1,triangular,0.94,0.90,0.96,,x\n";
static const char claims[] = "claim,vehicle,quantity,unit,sense,value,source\n"
                             "paper,van,usable_energy,kWh,at_least,42.5,x\n";
static const char evidence[] = "vehicle,quantity,unit,value,sd,source\n"
                               "van,nominal_energy,kWh,45.6,0.8,x\n";
static const char candidates[] = "candidate,weight,vehicle,quantity,unit,shape,best,source\n"
                                 "told,2,,,,,,\n"
                                 "fewer,1,van,cell_count,1,fixed,196,x\n";

/* What a run gives, each with its error. */
enum { MEAN, P05, P50, P95, CLAIM, LIKELIHOOD, FIGURES };
struct figures {
    double value[FIGURES], error[FIGURES];
};

static struct figures run(const char *folder, uint64_t seed, const char *samples)
{
    static const packspan_statistic values[] = {PACKSPAN_MEAN, PACKSPAN_P05, PACKSPAN_P50,
                                                PACKSPAN_P95};
    static const packspan_statistic errors[] = {PACKSPAN_MEAN_ERROR, PACKSPAN_P05_ERROR,
                                                PACKSPAN_P50_ERROR, PACKSPAN_P95_ERROR};
    packspan_case *c = NULL;
    packspan_results *r = NULL;
    char text[32];
    size_t i = 0;
    struct figures f = {{0}, {0}};
    snprintf(text, sizeof text, "%llu", (unsigned long long)seed);
    assert_int_equal(packspan_case_open(folder, &c), PACKSPAN_OK);
    packspan_case_set(c, "seed", text);
    packspan_case_set(c, "sequence", "sobol");
    packspan_case_set(c, "samples", samples);
    packspan_case_set(c, "threads", "1");
    assert_int_equal(packspan_run(c, NULL, NULL, &r), PACKSPAN_OK);
    assert_true(packspan_results_find(r, "van", "usable_energy", &i));
    for (int k = MEAN; k <= P95; k++) {
        f.value[k] = packspan_results_value(r, i, values[k]);
        f.error[k] = packspan_results_value(r, i, errors[k]);
    }
    f.value[CLAIM] = packspan_claim_number(r, 0, PACKSPAN_CLAIM_PROBABILITY);
    f.error[CLAIM] = packspan_claim_number(r, 0, PACKSPAN_CLAIM_PROBABILITY_ERROR);
    if (packspan_candidate_count(r) > 0) {
        f.value[LIKELIHOOD] = packspan_candidate_number(r, 1, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD);
        f.error[LIKELIHOOD] =
            packspan_candidate_number(r, 1, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR);
    }
    packspan_results_free(r);
    packspan_case_free(c);
    return f;
}

/* The squared deviation from a run with 64 times the samples, per squared reported error, has the
 * mean of F(1, 15), 15/13, and the variance 3.39; over 64 seeds four standard errors are 0.92. */
static void check_errors(const char *folder, int figures)
{
    enum { SEEDS = 64 };
    struct figures truth = run(folder, 1000, "2097152");
    double sum[FIGURES] = {0.0};
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        struct figures f = run(folder, seed, "32768");
        for (int k = 0; k < figures; k++) {
            double z = (f.value[k] - truth.value[k]) / f.error[k];
            sum[k] += z * z / SEEDS;
        }
    }
    for (int k = 0; k < figures; k++)
        assert_close(sum[k], 15.0 / 13.0, 0.0, 0.92);
}

static void reported_errors_are_those_of_other_seeds(void **state)
{
    (void)state;
    put("plain/vehicles.csv", vehicles);
    put("plain/inputs.csv", inputs);
    put("plain/claims.csv", claims);
    check_errors("plain", LIKELIHOOD);
}

static void so_they_are_with_evidence_and_candidates(void **state)
{
    (void)state;
    put("weighted/vehicles.csv", vehicles);
    put("weighted/inputs.csv", inputs);
    put("weighted/claims.csv", claims);
    put("weighted/evidence.csv", evidence);
    put("weighted/candidates.csv", candidates);
    check_errors("weighted", FIGURES);
}

/* Too few samples for two scramblings: the errors are those of independent samples, sd / sqrt(n).
 */
static void one_scrambling_alone_tells_no_error(void **state)
{
    (void)state;
    struct figures f = run("plain", 1, "1000");
    assert_true(f.error[MEAN] > 0.0 && isfinite(f.error[MEAN]));
    assert_true(f.error[P50] > 0.0 && isfinite(f.error[P50]));
    assert_true(f.error[CLAIM] > 0.0 && isfinite(f.error[CLAIM]));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(equal_weights_give_the_error_of_the_mean),
        cmocka_unit_test(unequal_weights_give_the_error_of_the_ratio),
        cmocka_unit_test(reported_errors_are_those_of_other_seeds),
        cmocka_unit_test(so_they_are_with_evidence_and_candidates),
        cmocka_unit_test(one_scrambling_alone_tells_no_error),
    };
    return cmocka_run_group_tests(tests, enter_scratch, scratch_leave);
}
