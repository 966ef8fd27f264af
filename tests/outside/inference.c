/* Evidence and rival candidates against closed forms, through the public library on small cases.
 *
 * Normal priors with Gaussian readings: the posterior of a linear-Gaussian model, the marginal
 * density N(y; m, s^2 + sd^2) and Bayes factors from it are in any textbook (Gelman et al.,
 * Bayesian Data Analysis, 3rd ed., 2.5 and 3.5; from memory). A normal that is known to lie in an
 * interval: Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1, 13.10.1 (from
 * memory).
 *
 * Unless a test says otherwise, five standard errors are allowed: sd / sqrt(n) of a mean and
 * sd / sqrt(2 n) of an sd, n being the effective samples. */
#include "support/support.h"

#include <packspan/packspan.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "unit/base/scratch.h"

/* ---- cases ---- */

static int enter_scratch(void **state)
{
    return scratch_enter(state) || mkdir("c", 0700);
}

static void put(const char *path, const char *header, const char *rows)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    assert_true(fprintf(f, "%s\n%s", header, rows) > 0);
    assert_int_equal(fclose(f), 0);
}

static void put_inputs(const char *rows)
{
    put("c/vehicles.csv", "vehicle,role", "van,subject\nold_van,reference\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,sd,source", rows);
}

static void put_evidence(const char *rows)
{
    put("c/evidence.csv", "vehicle,quantity,unit,value,sd,low,high,source", rows);
}

static void put_candidates(const char *rows)
{
    put("c/candidates.csv", "candidate,weight,vehicle,quantity,unit,shape,best,sd,source", rows);
}

struct trial {
    packspan_case *c;
    packspan_results *r;
};

static struct trial open_trial(const char *samples)
{
    struct trial t = {NULL, NULL};
    packspan_status status = packspan_case_open("c", &t.c);
    for (size_t i = 0; status != PACKSPAN_OK && i < packspan_case_problem_count(t.c); i++)
        print_error("%s\n", packspan_case_problem(t.c, i));
    assert_int_equal(status, PACKSPAN_OK);
    assert_int_equal(packspan_case_set(t.c, "samples", samples), PACKSPAN_OK);
    return t;
}

static struct trial run(const char *samples)
{
    struct trial t = open_trial(samples);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    return t;
}

static void close_trial(struct trial *t)
{
    packspan_results_free(t->r);
    packspan_case_free(t->c);
}

/* ---- results ---- */

static size_t row_of(const packspan_results *r, const char *candidate, const char *vehicle,
                     const char *quantity)
{
    for (size_t i = 0; i < packspan_results_count(r); i++)
        if (strcmp(packspan_results_text(r, i, PACKSPAN_ROW_CANDIDATE), candidate) == 0 &&
            strcmp(packspan_results_text(r, i, PACKSPAN_ROW_VEHICLE), vehicle) == 0 &&
            strcmp(packspan_results_text(r, i, PACKSPAN_ROW_QUANTITY), quantity) == 0)
            return i;
    fail_msg("no row %s %s %s", candidate, vehicle, quantity);
    return 0;
}

static size_t candidate_of(const packspan_results *r, const char *name)
{
    for (size_t i = 0; i < packspan_candidate_count(r); i++)
        if (strcmp(packspan_candidate_name(r, i), name) == 0)
            return i;
    fail_msg("no candidate %s", name);
    return 0;
}

static size_t observation_of(const packspan_results *r, const char *vehicle, const char *quantity)
{
    for (size_t i = 0; i < packspan_observation_count(r); i++)
        if (strcmp(packspan_observation_vehicle(r, i), vehicle) == 0 &&
            strcmp(packspan_observation_quantity(r, i), quantity) == 0)
            return i;
    fail_msg("no observation %s %s", vehicle, quantity);
    return 0;
}

struct normal {
    double mean, variance;
};

static double density(double x, struct normal n)
{
    double d = x - n.mean;
    return exp(-0.5 * d * d / n.variance) / sqrt(2.0 * M_PI * n.variance);
}

static double below(double x, struct normal n)
{
    return 0.5 * erfc((n.mean - x) / sqrt(2.0 * n.variance));
}

static struct normal plus(struct normal n, double variance)
{
    return (struct normal){n.mean, n.variance + variance};
}

static struct normal updated(struct normal prior, double reading, double variance)
{
    double gain = prior.variance / (prior.variance + variance);
    return (struct normal){prior.mean + gain * (reading - prior.mean),
                           prior.variance * (1.0 - gain)};
}

/* Effective samples per sample, (E w)^2 / E w^2, for the weight w = exp(-(x - y)^2 / 2 v): of w^k
 * the mean is sqrt(2 pi v / k) times the density of y under the prior widened by v / k. */
static double acceptance(struct normal prior, double reading, double variance)
{
    double first = sqrt(2.0 * M_PI * variance) * density(reading, plus(prior, variance));
    double second = sqrt(M_PI * variance) * density(reading, plus(prior, 0.5 * variance));
    return first * first / second;
}

static void assert_moments(const packspan_results *r, size_t row, double effective,
                           struct normal want)
{
    double sd = sqrt(want.variance);
    assert_close(packspan_results_value(r, row, PACKSPAN_MEAN), want.mean, 0.0,
                 5.0 * sd / sqrt(effective));
    assert_close(packspan_results_value(r, row, PACKSPAN_SD), sd, 0.0,
                 5.0 * sd / sqrt(2.0 * effective));
}

static void assert_normal(const packspan_results *r, size_t row, double effective,
                          struct normal want)
{
    static const double ps[] = {0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99};
    assert_moments(r, row, effective, want);
    for (size_t i = 0; i < sizeof ps / sizeof ps[0]; i++)
        assert_close(below(packspan_results_percentile(r, row, ps[i]), want), ps[i], 0.0,
                     5.0 * sqrt(ps[i] * (1.0 - ps[i]) / effective));
}

/* ---- one reading, several readings ---- */

static const struct normal glider = {1500.0, 1600.0}, pack = {500.0, 900.0};
static const char masses[] = "van,glider_mass,kg,normal,1500,40,s\n"
                             "van,pack_mass,kg,normal,500,30,s\n";

static void a_reading_of_a_normal(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1530,20,,,s\n");
    struct trial t = run("200000");
    double n = packspan_results_effective(t.r);
    assert_close(n, 200000.0 * acceptance(glider, 1530.0, 400.0), 0.02, 0.0);
    assert_normal(t.r, row_of(t.r, "", "van", "glider_mass"), n, updated(glider, 1530.0, 400.0));
    assert_normal(t.r, row_of(t.r, "", "van", "pack_mass"), n, pack);
    assert_int_equal(packspan_results_samples(t.r), 200000);
    close_trial(&t);
}

static void two_readings_at_once(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,curb_mass,lb,4400,25,,,s\nvan,glider_mass,kg,1530,20,,,s\n");
    struct trial t = run("300000");
    double lb = 0.45359237; /* kg, NIST SP 811 B.8 */
    double n = packspan_results_effective(t.r), v = 625.0 * lb * lb;
    struct normal first = updated(glider, 1530.0, 400.0);
    struct normal want_glider = updated(first, 4400.0 * lb - pack.mean, v + pack.variance);
    struct normal want_pack = updated(pack, 4400.0 * lb - first.mean, v + first.variance);
    struct normal sum = {first.mean + pack.mean, first.variance + pack.variance};
    assert_moments(t.r, row_of(t.r, "", "van", "glider_mass"), n, want_glider);
    assert_moments(t.r, row_of(t.r, "", "van", "pack_mass"), n, want_pack);
    assert_moments(t.r, row_of(t.r, "", "van", "curb_mass"), n, updated(sum, 4400.0 * lb, v));
    close_trial(&t);
}

/* ---- joint samples ---- */

enum { KEPT = 50000, GLIDER, PACK, CURB, WEIGHT, COLUMNS };

/* samples.csv: weight, then one column a quantity in the order of the quantities. */
static size_t read_samples(const char *path, double (*rows)[COLUMNS])
{
    static const char header[] =
        "weight,van.pack_mass (kg),van.glider_mass (kg),van.curb_mass (kg),van.test_mass (kg)\n";
    char line[256];
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    assert_non_null(fgets(line, sizeof line, f));
    assert_string_equal(line, header);
    size_t n = 0;
    while (fgets(line, sizeof line, f)) {
        assert_true(n < KEPT);
        assert_int_equal(sscanf(line, "%lf,%lf,%lf,%lf", &rows[n][WEIGHT], &rows[n][PACK],
                                &rows[n][GLIDER], &rows[n][CURB]),
                         4);
        n++;
    }
    fclose(f);
    return n;
}

static double weighted_mean(double (*rows)[COLUMNS], size_t n, int a)
{
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += rows[i][WEIGHT] * rows[i][a];
        weight += rows[i][WEIGHT];
    }
    return sum / weight;
}

static double weighted_covariance(double (*rows)[COLUMNS], size_t n, int a, int b)
{
    double mean_a = weighted_mean(rows, n, a), mean_b = weighted_mean(rows, n, b);
    double sum = 0.0, weight = 0.0;
    for (size_t i = 0; i < n; i++) {
        sum += rows[i][WEIGHT] * (rows[i][a] - mean_a) * (rows[i][b] - mean_b);
        weight += rows[i][WEIGHT];
    }
    return sum / weight;
}

/* A reading y of the sum of both masses: with gain = variance / (both + v) each posterior variance
 * is s^2 - s^4 / (both + v), and the covariance -s_g^2 s_p^2 / (both + v). Standard error of a
 * correlation: (1 - rho^2) / sqrt(n). */
static void a_reading_of_a_sum_ties_its_terms(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,curb_mass,kg,2030,15,,,s\n");
    struct trial t = open_trial("50000");
    assert_int_equal(packspan_case_set(t.c, "keep", "50000"), PACKSPAN_OK);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    assert_int_equal(packspan_results_write(t.r, "out"), PACKSPAN_OK);
    double(*rows)[COLUMNS] = calloc(KEPT, sizeof *rows);
    assert_non_null(rows);
    size_t n = read_samples("out/samples.csv", rows);
    assert_int_equal(n, KEPT);

    double effective = packspan_results_effective(t.r), v = 225.0;
    double both = glider.variance + pack.variance + v;
    struct normal want_glider = updated(glider, 2030.0 - pack.mean, v + pack.variance);
    struct normal want_pack = updated(pack, 2030.0 - glider.mean, v + glider.variance);
    double rho =
        -glider.variance * pack.variance / both / sqrt(want_glider.variance * want_pack.variance);
    assert_moments(t.r, row_of(t.r, "", "van", "glider_mass"), effective, want_glider);
    assert_moments(t.r, row_of(t.r, "", "van", "pack_mass"), effective, want_pack);
    double got = weighted_covariance(rows, n, GLIDER, PACK) /
                 sqrt(weighted_covariance(rows, n, GLIDER, GLIDER) *
                      weighted_covariance(rows, n, PACK, PACK));
    assert_close(got, rho, 0.0, 5.0 * (1.0 - rho * rho) / sqrt(effective));

    /* Weights are relative; samples that weigh nearly nothing are left out of the tallies only. */
    double sum = 0.0, squares = 0.0, unit = 0.0;
    for (size_t i = 0; i < n; i++) {
        double z = (rows[i][CURB] - 2030.0) / 15.0, w = exp(-0.5 * z * z);
        unit = unit > 0.0 ? unit : rows[i][WEIGHT] / w;
        assert_close(rows[i][WEIGHT], unit * w, 1e-9, 1e-300);
        sum += rows[i][WEIGHT];
        squares += rows[i][WEIGHT] * rows[i][WEIGHT];
    }
    assert_close(effective, sum * sum / squares, 1e-9, 0.0);
    assert_close(packspan_results_value(t.r, row_of(t.r, "", "van", "pack_mass"), PACKSPAN_MEAN),
                 weighted_mean(rows, n, PACK), 1e-8, 0.0);
    free(rows);
    close_trial(&t);
}

/* ---- a rounded figure ---- */

static void an_interval_cuts_a_normal(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,,,1510,1550,s\n");
    put_candidates("alone,7,,,,,,,\n");
    struct trial t = run("200000");
    double a = 10.0 / 40.0, b = 50.0 / 40.0;
    struct normal standard = {0.0, 1.0};
    double share = below(b, standard) - below(a, standard);
    double step = (density(a, standard) - density(b, standard)) / share;
    double slope = (a * density(a, standard) - b * density(b, standard)) / share;
    struct normal want = {1500.0 + 40.0 * step, 1600.0 * (1.0 + slope - step * step)};
    double n = packspan_results_effective(t.r);
    size_t row = row_of(t.r, "mixture", "van", "glider_mass");
    /* all samples inside count the same */
    assert_close(n, 200000.0 * share, 0.0, 5.0 * sqrt(200000.0 * share * (1.0 - share)));
    assert_moments(t.r, row, n, want);
    assert_true(packspan_results_value(t.r, row, PACKSPAN_MIN) >= 1510.0);
    assert_true(packspan_results_value(t.r, row, PACKSPAN_MAX) <= 1550.0);
    double median = packspan_results_value(t.r, row, PACKSPAN_P50);
    assert_close((below(median, glider) - below(1510.0, glider)) / share, 0.5, 0.0,
                 5.0 * sqrt(0.25 / n));
    /* the likelihood of an interval is its probability */
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD), share, 0.0,
                 5.0 * sqrt(share * (1.0 - share) / 200000.0));
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR),
                 sqrt(share * (1.0 - share) / 200000.0), 0.02, 0.0);
    assert_true(isnan(packspan_observation_number(t.r, 0, PACKSPAN_OBSERVATION_VALUE)));
    assert_true(isnan(packspan_observation_number(t.r, 0, PACKSPAN_OBSERVATION_SD)));
    assert_close(packspan_observation_number(t.r, 0, PACKSPAN_OBSERVATION_LOW), 1510.0, 0.0, 0.0);
    close_trial(&t);
}

/* ---- what a reference tells of the subject ---- */

/* Usable energy is the recharge energy times the charge efficiency that both vehicles share. */
static void a_reading_of_the_reference_sharpens_the_subject(void **state)
{
    (void)state;
    put_inputs("all,charge_efficiency,1,normal,0.88,0.02,s\n"
               "van,stated_recharge_energy,kWh,fixed,80,,s\n"
               "old_van,stated_recharge_energy,kWh,fixed,60,,s\n");
    put_evidence("old_van,usable_energy,MJ,194.4,2.16,,,s\n"); /* 54 kWh with sd 0.6 kWh */
    struct trial t = run("200000");
    double n = packspan_results_effective(t.r);
    struct normal before = {52.8, 1.44}, after = updated(before, 54.0, 0.36);
    struct normal subject = {after.mean * 80.0 / 60.0, after.variance * 64.0 / 36.0};
    struct normal share = {after.mean / 60.0, after.variance / 3600.0};
    assert_normal(t.r, row_of(t.r, "", "old_van", "usable_energy"), n, after);
    assert_normal(t.r, row_of(t.r, "", "van", "usable_energy_by_recharge"), n, subject);
    assert_normal(t.r, row_of(t.r, "", "all", "charge_efficiency"), n, share);
    /* alone it moves the subject by as much as all of it did; standard errors of both means */
    assert_close(packspan_observation_number(t.r, 0, PACKSPAN_OBSERVATION_ENERGY_SHIFT),
                 subject.mean - 80.0 * 0.88, 0.0,
                 5.0 * (sqrt(subject.variance / n) + 80.0 * 0.02 / sqrt(200000.0)));
    assert_true(isnan(packspan_observation_number(t.r, 0, PACKSPAN_OBSERVATION_RANGE_SHIFT)));
    close_trial(&t);
}

/* ---- where an observation stood ---- */

static void assert_stood(const packspan_results *r, size_t k, double samples, double value,
                         double variance, struct normal prior)
{
    double sd = sqrt(prior.variance), share = below(value, plus(prior, variance));
    assert_close(packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PRIOR_MEAN), prior.mean,
                 0.0, 5.0 * sd / sqrt(samples));
    assert_close(packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PRIOR_SD), sd, 0.0,
                 5.0 * sd / sqrt(2.0 * samples));
    assert_close(packspan_observation_number(r, k, PACKSPAN_OBSERVATION_PERCENTILE), 100.0 * share,
                 0.0, 500.0 * sqrt(share * (1.0 - share) / samples));
    double distance = (value - prior.mean) / sqrt(prior.variance + variance);
    assert_close(packspan_observation_number(r, k, PACKSPAN_OBSERVATION_DISTANCE), distance, 0.0,
                 5.0 * sqrt((1.0 + 0.5 * distance * distance) / samples));
}

static void every_observation_is_placed_by_itself(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,curb_mass,kg,2100,30,,,s\nvan,glider_mass,lb,3200,50,,,s\n"
                 "van,pack_mass,kg,,,440,470,s\n");
    struct trial t = run("200000");
    double lb = 0.45359237, n = 200000.0;
    struct normal curb = {2000.0, 2500.0};
    struct normal in_pounds = {1500.0 / lb, 1600.0 / (lb * lb)};
    assert_stood(t.r, observation_of(t.r, "van", "curb_mass"), n, 2100.0, 900.0, curb);
    assert_stood(t.r, observation_of(t.r, "van", "glider_mass"), n, 3200.0, 2500.0, in_pounds);
    /* an interval is read at its middle, with the sd of a uniform distribution over it */
    assert_stood(t.r, observation_of(t.r, "van", "pack_mass"), n, 455.0, 75.0, pack);
    assert_string_equal(packspan_observation_unit(t.r, observation_of(t.r, "van", "glider_mass")),
                        "lb");
    close_trial(&t);
}

/* ---- mean likelihood ---- */

static void the_mean_likelihood_is_the_marginal_density(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,lb,3370,40,,,s\nvan,pack_mass,kg,470,12,,,s\n");
    put_candidates("alone,7,,,,,,,\n");
    struct trial t = run("200000");
    double lb = 0.45359237, n = 200000.0;
    struct normal in_pounds = {1500.0 / lb, 1600.0 / (lb * lb)};
    double want = density(3370.0, plus(in_pounds, 1600.0)) * density(470.0, plus(pack, 144.0));
    double share = acceptance(in_pounds, 3370.0, 1600.0) * acceptance(pack, 470.0, 144.0);
    double error = want * sqrt((1.0 / share - 1.0) / n); /* E w^2 = (E w)^2 / share */
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD), want, 0.0,
                 5.0 * error);
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR), error,
                 0.02, 0.0);
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_EFFECTIVE), share * n, 0.03,
                 0.0);
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_PRIOR), 1.0, 0.0, 0.0);
    assert_close(packspan_candidate_number(t.r, 0, PACKSPAN_CANDIDATE_POSTERIOR), 1.0, 0.0, 0.0);
    close_trial(&t);
}

/* ---- rivals ---- */

enum { RIVALS = 3 };
static const struct rival {
    const char *name;
    double weight;
    struct normal glider;
} rivals[RIVALS] = {{"as-is", 1.0, {1500.0, 1600.0}},
                    {"heavy", 2.0, {1560.0, 400.0}},
                    {"vague", 3.0, {1450.0, 8100.0}}};
static const char rival_rows[] = "heavy,2,van,glider_mass,kg,normal,1560,20,s\n"
                                 "vague,3,van,glider_mass,kg,normal,1450,90,s\n";

/* One standard error of a mean likelihood, relative. */
static double likelihood_error(const packspan_results *r, size_t c)
{
    return packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR) /
           packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD);
}

/* The first `count` rivals, whose evidence is a reading of 1540 kg with sd 15. */
static void check_rivals(const packspan_results *r, size_t count)
{
    double evidence[RIVALS], weight = 0.0, sum = 0.0, best = 0.0, mean = 0.0, error = 0.0;
    for (size_t k = 0; k < count; k++) {
        weight += rivals[k].weight;
        evidence[k] = density(1540.0, plus(rivals[k].glider, 225.0));
        sum += rivals[k].weight * evidence[k];
        best = fmax(best, rivals[k].weight * evidence[k]);
    }
    assert_int_equal(packspan_candidate_count(r), count);
    for (size_t k = 0; k < count; k++) {
        size_t c = candidate_of(r, rivals[k].name);
        error = fmax(error, likelihood_error(r, c));
    }
    for (size_t k = 0; k < count; k++) {
        size_t c = candidate_of(r, rivals[k].name), telling = 99;
        double posterior = rivals[k].weight * evidence[k] / sum;
        struct normal after = updated(rivals[k].glider, 1540.0, 225.0);
        double n = packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_EFFECTIVE);
        assert_close(packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_PRIOR),
                     rivals[k].weight / weight, 1e-15, 0.0);
        assert_close(packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD),
                     evidence[k], 5.0 * likelihood_error(r, c), 0.0);
        assert_close(packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_POSTERIOR), posterior,
                     5.0 * M_SQRT2 * error, 0.0);
        assert_close(packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_ODDS),
                     rivals[k].weight * evidence[k] / best, 5.0 * M_SQRT2 * error, 0.0);
        assert_true(packspan_candidate_telling(r, c, &telling));
        assert_int_equal(telling, 0);
        assert_close(packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_TELLING_FACTOR),
                     evidence[k] * weight / sum, 5.0 * M_SQRT2 * error, 0.0);
        assert_close(n / (double)packspan_results_samples(r),
                     acceptance(rivals[k].glider, 1540.0, 225.0), 0.03, 0.0);
        assert_normal(r, row_of(r, rivals[k].name, "van", "glider_mass"), n, after);
        mean += posterior * after.mean;
    }
    /* The spread of the rivals' means, under 40 kg, times the errors of their posteriors, too. */
    size_t row = row_of(r, "mixture", "van", "glider_mass");
    assert_close(
        packspan_results_value(r, row, PACKSPAN_MEAN), mean, 0.0,
        5.0 * (packspan_results_value(r, row, PACKSPAN_SD) / sqrt(packspan_results_effective(r)) +
               40.0 * error));
}

static void bayes_factor_of_two_rivals(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1540,15,,,s\n");
    put_candidates("as-is,1,,,,,,,\nheavy,2,van,glider_mass,kg,normal,1560,20,s\n");
    struct trial t = run("200000");
    check_rivals(t.r, 2);
    close_trial(&t);
}

static void bayes_factors_of_three_rivals(void **state)
{
    (void)state;
    char rows[512];
    snprintf(rows, sizeof rows, "as-is,1,,,,,,,\n%s", rival_rows);
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1540,15,,,s\n");
    put_candidates(rows);
    struct trial t = run("200000");
    check_rivals(t.r, 3);
    close_trial(&t);
}

/* Weights are tallied to 2^-25 of the heaviest sample, which leaves 1e-9; percentiles are those of
 * other bins, each good to 1e-4 interquartile ranges. */
static void halves_of_a_candidate_are_the_candidate(void **state)
{
    (void)state;
    char rows[512];
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1540,15,,,s\n");
    snprintf(rows, sizeof rows, "as-is,1,,,,,,,\n%s", rival_rows);
    put_candidates(rows);
    struct trial whole = run("60000");
    snprintf(rows, sizeof rows, "half-1,0.5,,,,,,,\nhalf-2,0.5,,,,,,,\n%s", rival_rows);
    put_candidates(rows);
    struct trial halves = run("60000");

    assert_close(packspan_results_effective(halves.r), packspan_results_effective(whole.r), 1e-9,
                 0.0);
    static const char *const names[] = {"half-1", "half-2"};
    static const packspan_candidate_value shared[] = {
        PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR,
        PACKSPAN_CANDIDATE_EFFECTIVE, PACKSPAN_CANDIDATE_TELLING_FACTOR};
    size_t c = candidate_of(whole.r, "as-is");
    double posterior = 0.0;
    for (size_t h = 0; h < 2; h++) {
        size_t half = candidate_of(halves.r, names[h]);
        posterior += packspan_candidate_number(halves.r, half, PACKSPAN_CANDIDATE_POSTERIOR);
        for (size_t i = 0; i < sizeof shared / sizeof shared[0]; i++)
            assert_close(packspan_candidate_number(halves.r, half, shared[i]),
                         packspan_candidate_number(whole.r, c, shared[i]), 1e-12, 0.0);
    }
    assert_close(posterior, packspan_candidate_number(whole.r, c, PACKSPAN_CANDIDATE_POSTERIOR),
                 1e-12, 0.0);

    static const char *const quantities[] = {"glider_mass", "pack_mass", "curb_mass"};
    for (size_t q = 0; q < 3; q++) {
        size_t a = row_of(whole.r, "mixture", "van", quantities[q]);
        size_t b = row_of(halves.r, "mixture", "van", quantities[q]);
        double iqr = packspan_results_value(whole.r, a, PACKSPAN_P75) -
                     packspan_results_value(whole.r, a, PACKSPAN_P25);
        static const packspan_statistic exact[] = {PACKSPAN_MEAN, PACKSPAN_SD, PACKSPAN_MEAN_ERROR};
        for (size_t i = 0; i < sizeof exact / sizeof exact[0]; i++)
            assert_close(packspan_results_value(halves.r, b, exact[i]),
                         packspan_results_value(whole.r, a, exact[i]), 1e-8, 0.0);
        for (packspan_statistic s = PACKSPAN_P01; s <= PACKSPAN_P99; s++)
            assert_close(packspan_results_value(halves.r, b, s),
                         packspan_results_value(whole.r, a, s), 0.0, 2e-4 * iqr);
    }
    close_trial(&whole);
    close_trial(&halves);
}

static void without_evidence_the_prior_stays(void **state)
{
    (void)state;
    char rows[512];
    snprintf(rows, sizeof rows, "as-is,1,,,,,,,\n%s", rival_rows);
    put_inputs(masses);
    put_candidates(rows);
    struct trial t = run("100000");
    double n = 100000.0;
    assert_close(packspan_results_effective(t.r), n, 1e-12, 0.0);
    for (size_t k = 0; k < RIVALS; k++) {
        size_t c = candidate_of(t.r, rivals[k].name), telling;
        assert_close(packspan_candidate_number(t.r, c, PACKSPAN_CANDIDATE_PRIOR),
                     rivals[k].weight / 6.0, 1e-15, 0.0);
        assert_close(packspan_candidate_number(t.r, c, PACKSPAN_CANDIDATE_POSTERIOR),
                     rivals[k].weight / 6.0, 1e-12, 0.0);
        assert_close(packspan_candidate_number(t.r, c, PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD), 1.0,
                     1e-12, 0.0);
        assert_false(packspan_candidate_telling(t.r, c, &telling));
        assert_normal(t.r, row_of(t.r, rivals[k].name, "van", "glider_mass"), n, rivals[k].glider);
    }
    size_t row = row_of(t.r, "mixture", "van", "glider_mass");
    for (double p = 0.01; p < 1.0; p += 0.07) {
        double x = packspan_results_percentile(t.r, row, p), share = 0.0;
        for (size_t k = 0; k < RIVALS; k++)
            share += rivals[k].weight / 6.0 * below(x, rivals[k].glider);
        assert_close(share, p, 0.0, 5.0 * sqrt(p * (1.0 - p) / n));
    }
    /* What no candidate changes is the same draw under all of them. */
    size_t all = row_of(t.r, "mixture", "van", "pack_mass");
    for (size_t k = 0; k < RIVALS; k++)
        assert_close(packspan_results_value(t.r, row_of(t.r, rivals[k].name, "van", "pack_mass"),
                                            PACKSPAN_MEAN),
                     packspan_results_value(t.r, all, PACKSPAN_MEAN), 1e-12, 0.0);
    close_trial(&t);
}

/* 200 cells with a quarter of the weight, 224 with the rest, of 20 Wh each. */
static void rival_constants_are_two_spikes(void **state)
{
    (void)state;
    put_inputs("van,cell_count,1,fixed,1,,s\nvan,cell_energy,Wh,fixed,20,,s\n");
    put_candidates("few,1,van,cell_count,1,fixed,200,,s\nmany,3,van,cell_count,1,fixed,224,,s\n");
    struct trial t = run("10000");
    static const struct {
        const char *quantity;
        double scale;
    } rows[] = {{"cell_count", 1.0}, {"nominal_energy", 0.02}};
    for (size_t q = 0; q < 2; q++) {
        size_t row = row_of(t.r, "mixture", "van", rows[q].quantity);
        double few = 200.0 * rows[q].scale, many = 224.0 * rows[q].scale;
        static const double ps[] = {0.0, 0.01, 0.2499, 0.2501, 0.5, 0.99, 1.0};
        for (size_t i = 0; i < sizeof ps / sizeof ps[0]; i++)
            assert_close(packspan_results_percentile(t.r, row, ps[i]), ps[i] < 0.25 ? few : many,
                         1e-12, 0.0);
        /* weights are whole numbers of steps of 2^-26 */
        assert_close(packspan_results_value(t.r, row, PACKSPAN_MEAN), 0.25 * few + 0.75 * many,
                     1e-8, 0.0);
        assert_close(packspan_results_value(t.r, row, PACKSPAN_SD),
                     (many - few) * sqrt(0.25 * 0.75 * 10000.0 / 9999.0), 1e-7, 0.0);
        assert_close(packspan_results_value(t.r, row, PACKSPAN_MIN), few, 1e-12, 0.0);
        assert_close(packspan_results_value(t.r, row, PACKSPAN_MAX), many, 1e-12, 0.0);
        assert_close(packspan_results_value(t.r, row, PACKSPAN_SHORTEST95_LOW), few, 1e-12, 0.0);
        assert_close(packspan_results_value(t.r, row, PACKSPAN_SHORTEST95_HIGH), many, 1e-12, 0.0);
        packspan_bin bins[PACKSPAN_BINS_MAX];
        assert_int_equal(packspan_results_histogram(t.r, row, bins), 2);
        assert_close(bins[0].low, few, 1e-12, 0.0);
        assert_close(bins[0].count, 2500.0, 1e-7, 0.0);
        assert_close(bins[1].high, many, 1e-12, 0.0);
        assert_close(bins[1].count, 7500.0, 1e-7, 0.0);
        size_t own = row_of(t.r, "few", "van", rows[q].quantity);
        assert_close(packspan_results_value(t.r, own, PACKSPAN_MEAN), few, 1e-15, 0.0);
        assert_close(packspan_results_value(t.r, own, PACKSPAN_SD), 0.0, 0.0, 0.0);
    }
    close_trial(&t);
}

/* ---- claims ---- */

static void claims_go_by_weight(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1530,20,,,s\n");
    put("c/claims.csv", "claim,vehicle,quantity,unit,sense,value,tolerance,source",
        "light,van,glider_mass,kg,at_most,1540,,s\n");
    struct trial t = run("200000");
    double n = packspan_results_effective(t.r);
    double want = below(1540.0, updated(glider, 1530.0, 400.0));
    double error = sqrt(want * (1.0 - want) / n);
    assert_close(packspan_claim_number(t.r, 0, PACKSPAN_CLAIM_PROBABILITY), want, 0.0, 5.0 * error);
    assert_close(packspan_claim_number(t.r, 0, PACKSPAN_CLAIM_PROBABILITY_ERROR), error, 0.02, 0.0);
    close_trial(&t);
}

/* ---- the same bytes ---- */

static char *contents(const char *folder, const char *name)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *f = fopen(path, "r");
    assert_non_null(f);
    assert_int_equal(fseek(f, 0, SEEK_END), 0);
    long size = ftell(f);
    assert_true(size > 0);
    rewind(f);
    char *text = calloc((size_t)size + 1, 1);
    assert_non_null(text);
    assert_int_equal(fread(text, 1, (size_t)size, f), size);
    fclose(f);
    return text;
}

static void run_into(const char *folder, const char *threads)
{
    struct trial t = open_trial("70000");
    assert_int_equal(packspan_case_set(t.c, "keep", "600"), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(t.c, "threads", threads), PACKSPAN_OK);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    assert_int_equal(packspan_results_write(t.r, folder), PACKSPAN_OK);
    close_trial(&t);
}

static void assert_same_tables(const char *a, const char *b)
{
    static const char *const tables[] = {"summary.csv", "histogram.csv", "claims.csv",
                                         "routes.csv",  "evidence.csv",  "candidates.csv",
                                         "samples.csv"};
    for (size_t i = 0; i < sizeof tables / sizeof tables[0]; i++) {
        char *first = contents(a, tables[i]), *second = contents(b, tables[i]);
        assert_true(strlen(first) > 0);
        if (strcmp(first, second) != 0)
            fail_msg("%s differs between %s and %s", tables[i], a, b);
        free(first);
        free(second);
    }
}

static const char full_inputs[] = "van,glider_mass,kg,normal,1500,40,s\n"
                                  "van,pack_mass,kg,normal,500,30,s\n"
                                  "van,cell_count,1,fixed,224,,s\n"
                                  "van,cell_energy,Wh,normal,300,9,s\n"
                                  "van,usable_fraction,1,fixed,0.94,,s\n";

static void the_order_of_rows_changes_no_byte(void **state)
{
    (void)state;
    put_inputs(full_inputs);
    put("c/claims.csv", "claim,vehicle,quantity,unit,sense,value,tolerance,source",
        "size,van,usable_energy,kWh,is,62,1,s\n");
    put_evidence("van,curb_mass,kg,2030,25,,,s\nvan,glider_mass,kg,1520,40,,,s\n"
                 "van,glider_mass,lb,1520,4000,,,s\nvan,nominal_energy,kWh,,,60,70,s\n"
                 "van,curb_mass,kg,2020,25,,,s\n");
    put_candidates("a,1,van,glider_mass,kg,normal,1550,20,s\na,,van,cell_count,1,fixed,230,,s\n"
                   "b,2,van,pack_mass,kg,normal,520,10,s\nc,0.5,,,,,,,\n");
    run_into("first", "1");
    put_evidence("van,glider_mass,lb,1520,4000,,,s\nvan,curb_mass,kg,2020,25,,,s\n"
                 "van,nominal_energy,kWh,,,60,70,s\nvan,curb_mass,kg,2030,25,,,s\n"
                 "van,glider_mass,kg,1520,40,,,s\n");
    put_candidates("c,0.5,,,,,,,\nb,2,van,pack_mass,kg,normal,520,10,s\n"
                   "a,,van,cell_count,1,fixed,230,,s\na,1,van,glider_mass,kg,normal,1550,20,s\n");
    run_into("second", "1");
    assert_same_tables("first", "second");
}

static void threads_change_no_byte(void **state)
{
    (void)state;
    put_inputs(full_inputs);
    put("c/claims.csv", "claim,vehicle,quantity,unit,sense,value,tolerance,source",
        "size,van,usable_energy,kWh,is,62,1,s\n");
    put_evidence("van,curb_mass,kg,2030,25,,,s\nvan,nominal_energy,kWh,,,60,70,s\n");
    put_candidates("a,1,van,glider_mass,kg,normal,1550,20,s\na,,van,cell_count,1,fixed,230,,s\n"
                   "b,2,van,pack_mass,kg,normal,520,10,s\nc,0.5,,,,,,,\n");
    run_into("one", "1");
    run_into("two", "2");
    run_into("three", "3");
    assert_same_tables("one", "two");
    assert_same_tables("one", "three");
}

/* ---- how many samples ---- */

static void effective_samples_stop_the_run(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1530,20,,,s\n");
    struct trial t = open_trial("1e9");
    assert_int_equal(packspan_case_set(t.c, "effective", "100000"), PACKSPAN_OK);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    double n = packspan_results_effective(t.r);
    double wanted = 100000.0 / acceptance(glider, 1530.0, 400.0);
    double drawn = (double)packspan_results_samples(t.r);
    assert_true(n >= 100000.0);
    assert_true(drawn < 1.1 * wanted + 50000.0); /* runs stop between rounds */
    close_trial(&t);

    t = open_trial("20000"); /* not to be had */
    assert_int_equal(packspan_case_set(t.c, "effective", "100000"), PACKSPAN_OK);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    assert_int_equal(packspan_results_samples(t.r), 20000);
    close_trial(&t);
}

/* Four independent readings, each ten times tighter than what was expected. Where the prior density
 * p is even over a reading of sd s, effective samples per sample are the product of
 * 2 sqrt(pi) s p: here about 3.5e-4, so that 10,000 effective samples need about 28 million
 * samples. A tenth of it is enough to see. The number of effective samples wanders by about
 * 2 / sqrt(n), of which three are allowed. */
static void four_tight_readings(void **state)
{
    (void)state;
    put_inputs("van,glider_mass,kg,normal,1500,40,s\nvan,pack_mass,kg,normal,500,30,s\n"
               "old_van,glider_mass,kg,normal,1500,40,s\nold_van,pack_mass,kg,normal,500,30,s\n");
    put_evidence("van,glider_mass,kg,1510,4,,,s\nvan,pack_mass,kg,492.5,3,,,s\n"
                 "old_van,glider_mass,kg,1490,4,,,s\nold_van,pack_mass,kg,507.5,3,,,s\n");
    struct trial t = open_trial("1e9");
    assert_int_equal(packspan_case_set(t.c, "effective", "1000"), PACKSPAN_OK);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_OK);
    double share = 1.0, even = 1.0, n = packspan_results_effective(t.r);
    const double readings[] = {1510.0, 492.5, 1490.0, 507.5};
    for (int k = 0; k < 4; k++) {
        struct normal prior = k % 2 ? pack : glider;
        double sd = 0.1 * sqrt(prior.variance);
        share *= acceptance(prior, readings[k], sd * sd);
        even *= 2.0 * sqrt(M_PI) * sd * density(readings[k], prior);
    }
    assert_close(even, share, 0.05, 0.0);
    assert_true(n >= 1000.0);
    assert_close(n / (double)packspan_results_samples(t.r), share, 3.0 * 2.0 / sqrt(n), 0.0);
    static const char *const vehicles[] = {"van", "van", "old_van", "old_van"};
    static const char *const names[] = {"glider_mass", "pack_mass", "glider_mass", "pack_mass"};
    for (int k = 0; k < 4; k++) {
        struct normal prior = k % 2 ? pack : glider;
        assert_moments(t.r, row_of(t.r, "", vehicles[k], names[k]), n,
                       updated(prior, readings[k], 0.01 * prior.variance));
    }
    close_trial(&t);
}

/* ---- when little or nothing fits ---- */

static bool is_warned(const packspan_results *r, const char *start)
{
    for (size_t i = 0; i < packspan_results_warning_count(r); i++)
        if (strncmp(packspan_results_warning(r, i), start, strlen(start)) == 0)
            return true;
    return false;
}

static void few_effective_samples_are_warned_of(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1530,0.5,,,s\n");
    struct trial t = run("2000");
    assert_true(packspan_results_effective(t.r) < 100.0);
    assert_true(is_warned(t.r, "only "));
    assert_true(is_warned(t.r, "one sample carries "));
    close_trial(&t);
    t = run("200000");
    assert_true(packspan_results_effective(t.r) > 1000.0);
    assert_false(is_warned(t.r, "only "));
    assert_false(is_warned(t.r, "one sample carries "));
    close_trial(&t);
}

static void check_refused(const char *start)
{
    struct trial t = open_trial("20000");
    size_t before = packspan_case_problem_count(t.c);
    assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_BAD_CASE);
    assert_null(t.r);
    assert_int_equal(packspan_case_problem_count(t.c), before + 1);
    const char *text = packspan_case_problem(t.c, before);
    if (strncmp(text, start, strlen(start)) != 0)
        fail_msg("%s", text);
    assert_true(packspan_case_problem_is_error(t.c, before));
    close_trial(&t);
}

static void what_fits_no_sample_is_refused(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,pack_mass,kg,505,10,,,s\nvan,glider_mass,kg,3300,50,,,s\n");
    check_refused("c/evidence.csv:3: no sample comes near this observation: glider_mass of 'van' "
                  "lies between 13");
    put_evidence("van,glider_mass,kg,,,3300,3301,s\nvan,pack_mass,kg,505,10,,,s\n");
    check_refused("c/evidence.csv:2: no sample comes near this observation: glider_mass of 'van' ");
    /* among the samples, but between them */
    put_evidence("van,pack_mass,kg,505,10,,,s\nvan,glider_mass,kg,1500,1e-9,,,s\n");
    check_refused("c/evidence.csv:3: no sample comes near this observation, although glider_mass "
                  "of 'van' lies between 13");
    /* each for itself, but not together */
    put_evidence("van,glider_mass,kg,,,1400,1490,s\nvan,glider_mass,kg,,,1500,1600,s\n");
    check_refused("c/evidence.csv: each observation fits some samples, but no sample fits them "
                  "all");
}

/* A rival that nothing speaks for does not spoil the others. */
static void a_hopeless_rival_is_left_out(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_mass,kg,1530,20,,,s\n");
    put_candidates("as-is,1,,,,,,,\nelse,9,van,glider_mass,kg,normal,5000,10,s\n");
    struct trial t = run("200000");
    double n = packspan_results_effective(t.r);
    assert_normal(t.r, row_of(t.r, "mixture", "van", "glider_mass"), n,
                  updated(glider, 1530.0, 400.0));
    assert_close(
        packspan_candidate_number(t.r, candidate_of(t.r, "else"), PACKSPAN_CANDIDATE_POSTERIOR),
        0.0, 0.0, 1e-300);
    for (size_t i = 0; i < packspan_results_count(t.r); i++)
        assert_string_not_equal(packspan_results_text(t.r, i, PACKSPAN_ROW_CANDIDATE), "else");
    assert_true(is_warned(t.r, "candidate 'else' "));
    close_trial(&t);
}

/* One rival's samples fit badly but all alike; what fits far better comes so seldom that the pilot
 * does not see it. Relative to the pilot's, its weight is infinite: exp(38^2 / 2). */
static void a_late_sample_that_fits_is_not_lost(void **state)
{
    (void)state;
    put_inputs(masses);
    put_evidence("van,glider_change,kg,0,0.5,,,s\n");
    put_candidates("near,1,van,glider_change,kg,fixed,19,,s\n"
                   "far,1,van,glider_change,kg,normal,0,600000,s\n");
    struct trial t = run("1e6");
    size_t far = candidate_of(t.r, "far"), row = row_of(t.r, "mixture", "van", "glider_change");
    double n = packspan_results_effective(t.r);
    assert_true(n >= 1.0 && n < 100.0);
    assert_true(is_warned(t.r, "only "));
    assert_close(packspan_candidate_number(t.r, far, PACKSPAN_CANDIDATE_POSTERIOR), 1.0, 1e-12,
                 0.0);
    /* sqrt(2 pi) 600,000 / 10^6: a sample every 1.5 kg */
    assert_close(packspan_results_value(t.r, row, PACKSPAN_MEAN), 0.0, 0.0, 3.0);
    close_trial(&t);
}

/* One sample of a rival in 60,001 fits, and its others differ so much that exp(3000^2 / 2) lies
 * between them: the rival's own pilot sees none that does. What fits, fits as well as the other
 * rival's samples, so that the odds are the prior's times the share of the k that were drawn. */
static void a_rival_that_its_pilot_misjudges_is_weighed(void **state)
{
    (void)state;
    enum { SAMPLES = 400000 };
    put("c/vehicles.csv", "vehicle,role", "van,subject\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,best,file,source",
        "van,cell_count,1,fixed,300,,s\nvan,cell_energy,Wh,observed,,readings.csv,s\n");
    put("c/readings.csv", "value,weight", "219,60000\n250,1\n");
    put_evidence("van,nominal_energy,kWh,75,0.003,,,s\n");
    put_candidates("told,3,,,,,,,\nfixed,1,van,cell_energy,Wh,fixed,250,,s\n");
    struct trial t = run("400000");
    size_t told = candidate_of(t.r, "told");
    double odds = packspan_candidate_number(t.r, told, PACKSPAN_CANDIDATE_ODDS);
    double k = odds / 3.0 * SAMPLES, mean = SAMPLES / 60001.0;
    assert_close(k, round(k), 1e-12, 0.0);
    assert_close(k, mean, 0.0, 5.0 * sqrt(mean));
    assert_true(k >= 1.0);
    assert_close(packspan_candidate_number(t.r, told, PACKSPAN_CANDIDATE_POSTERIOR),
                 odds / (1.0 + odds), 1e-12, 0.0);
    assert_close(
        packspan_results_value(t.r, row_of(t.r, "told", "van", "nominal_energy"), PACKSPAN_P50),
        75.0, 1e-12, 0.0);
    close_trial(&t);
}

/* Forty rivals spread widely and one that is nearly sure, the last to be drawn. The mixture's 5th
 * percentile is where the last has 5 % less the forty's 40/840 below it, by its standard deviation
 * of 0.5 Wh and with the standard error of an order statistic of its normal. */
static void many_rivals_all_take_part(void **state)
{
    (void)state;
    put_inputs("van,cell_count,1,fixed,300,,s\nvan,cell_energy,Wh,normal,220,2,s\n");
    char rows[8192];
    size_t used = 0;
    for (int i = 1; i <= 40; i++)
        used += (size_t)snprintf(rows + used, sizeof rows - used,
                                 "c%d,1,van,cell_energy,Wh,uniform,,,150,%d,s\n", i, 320 + i);
    snprintf(rows + used, sizeof rows - used, "last,800,van,cell_energy,Wh,normal,600,0.5,,,s\n");
    put("c/candidates.csv", "candidate,weight,vehicle,quantity,unit,shape,best,sd,low,high,source",
        rows);
    struct trial t = run("50000");
    double share = 0.05 * 840.0 / 800.0 - 40.0 / 800.0; /* 0.0025 */
    double z = -2.8070337683; /* of that share; any table of the normal distribution */
    double density = exp(-0.5 * z * z) / sqrt(2.0 * 3.14159265358979323846);
    double error = sqrt(share * (1.0 - share) / 50000.0) / density;
    assert_close(
        packspan_results_value(t.r, row_of(t.r, "mixture", "van", "nominal_energy"), PACKSPAN_P05),
        0.3 * (600.0 + 0.5 * z), 0.0, 0.3 * 0.5 * 5.0 * error);
    close_trial(&t);
}

/* ---- samples that are no good ---- */

/* The reference's glider is what 2000 kg leave beside its pack, below 0 when the pack is heavier:
 * 2.28 % of N(1900, 50) before the reading, and after it of N(1900, 50 / sqrt 2) 0.234 %. */
static void samples_outside_their_domain_go_by_weight(void **state)
{
    (void)state;
    put_inputs("old_van,stated_curb_mass,kg,fixed,2000,,s\n"
               "old_van,pack_mass,kg,normal,1900,50,s\n");
    put_evidence("old_van,pack_mass,kg,1900,50,,,s\n");
    struct trial t = run("300000");
    static const char start[] = "glider_mass of 'old_van' leaves its physical domain in ";
    double want = 0.5 * erfc(2.0), n = packspan_results_effective(t.r), got = NAN;
    for (size_t i = 0; i < packspan_results_warning_count(t.r); i++)
        if (strncmp(packspan_results_warning(t.r, i), start, strlen(start)) == 0)
            got = strtod(packspan_results_warning(t.r, i) + strlen(start), NULL);
    assert_close(got, 100.0 * want, 0.0, 500.0 * sqrt(want * (1.0 - want) / n));
    close_trial(&t);
}

/* Pushed by a tail wind, 0.45 % of the samples consume nothing: N(0, 6) m/s of air against C = 0.4
 * has to be below -sqrt(100 / 0.4). However early a run stops, that is too many. */
static void a_run_that_stops_early_is_still_refused(void **state)
{
    (void)state;
    put_inputs("van,road_load_a,N,fixed,100,,s\nvan,road_load_b,N s/m,fixed,0,,s\n"
               "van,road_load_c,N s2/m2,fixed,0.4,,s\nvan,drive_efficiency,1,fixed,0.9,,s\n"
               "van,stated_curb_mass,kg,fixed,2000,,s\n");
    put("c/trips.csv", "trip,quantity,unit,shape,best,sd,source",
        "blown,cycle,,,steady,,s\nblown,speed,m/s,fixed,30,,s\n"
        "blown,headwind,m/s,normal,-30,6,s\n");
    static const char *const wanted[] = {"0", "1000"};
    for (size_t i = 0; i < 2; i++) {
        struct trial t = open_trial(i == 0 ? "100000" : "1e9");
        assert_int_equal(packspan_case_set(t.c, "effective", wanted[i]), PACKSPAN_OK);
        assert_int_equal(packspan_run(t.c, NULL, NULL, &t.r), PACKSPAN_BAD_CASE);
        const char *last = packspan_case_problem(t.c, packspan_case_problem_count(t.c) - 1);
        assert_non_null(strstr(last, "trip_consumption.blown of 'van' is not positive"));
        close_trial(&t);
    }
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, enter_scratch, scratch_leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(a_reading_of_a_normal),
        IN_SCRATCH(two_readings_at_once),
        IN_SCRATCH(a_reading_of_a_sum_ties_its_terms),
        IN_SCRATCH(an_interval_cuts_a_normal),
        IN_SCRATCH(a_reading_of_the_reference_sharpens_the_subject),
        IN_SCRATCH(every_observation_is_placed_by_itself),
        IN_SCRATCH(the_mean_likelihood_is_the_marginal_density),
        IN_SCRATCH(bayes_factor_of_two_rivals),
        IN_SCRATCH(bayes_factors_of_three_rivals),
        IN_SCRATCH(halves_of_a_candidate_are_the_candidate),
        IN_SCRATCH(without_evidence_the_prior_stays),
        IN_SCRATCH(rival_constants_are_two_spikes),
        IN_SCRATCH(claims_go_by_weight),
        IN_SCRATCH(the_order_of_rows_changes_no_byte),
        IN_SCRATCH(threads_change_no_byte),
        IN_SCRATCH(effective_samples_stop_the_run),
        IN_SCRATCH(four_tight_readings),
        IN_SCRATCH(few_effective_samples_are_warned_of),
        IN_SCRATCH(what_fits_no_sample_is_refused),
        IN_SCRATCH(a_hopeless_rival_is_left_out),
        IN_SCRATCH(a_late_sample_that_fits_is_not_lost),
        IN_SCRATCH(a_rival_that_its_pilot_misjudges_is_weighed),
        IN_SCRATCH(many_rivals_all_take_part),
        IN_SCRATCH(samples_outside_their_domain_go_by_weight),
        IN_SCRATCH(a_run_that_stops_early_is_still_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
