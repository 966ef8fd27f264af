/* packspan: how sure one can be about an electric vehicle's battery and range.
 *
 * Open a case, run it, read the results by name, free both:
 *
 *     packspan_case *c = NULL;
 *     packspan_status s = packspan_case_open("configs/demo", &c);
 *     if (s != PACKSPAN_OK) ... packspan_case_problem(c, i) tells what is wrong ...
 *     packspan_case_set(c, "samples", "1e6");
 *     packspan_results *r = NULL;
 *     s = packspan_run(c, NULL, NULL, &r);
 *     size_t i;
 *     if (packspan_results_find(r, "van", "usable_energy", &i))
 *         p05 = packspan_results_percentile(r, i, 0.05);
 *     packspan_results_free(r);
 *     packspan_case_free(c);
 *
 * The library never prints, never exits and has no mutable globals. A function that fails leaves
 * its out-parameters as they were, unless it says otherwise. Strings that it hands out belong to
 * the object they came from. One object may be used by one thread at a time; different objects
 * may be used by different threads. */
#ifndef PACKSPAN_PACKSPAN_H
#define PACKSPAN_PACKSPAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* The one place of the version; CMake reads it here. */
#define PACKSPAN_VERSION "0.1.0"

typedef enum packspan_status {
    PACKSPAN_OK = 0,
    PACKSPAN_USAGE,      /* an argument or setting is out of range */
    PACKSPAN_BAD_CASE,   /* a table of the case is wrong; see packspan_case_problem() */
    PACKSPAN_MISSING,    /* a file or folder does not exist */
    PACKSPAN_IO,         /* reading or writing failed */
    PACKSPAN_NO_MEMORY,  /* allocation failed */
    PACKSPAN_INTERRUPTED /* the progress callback asked to stop */
} packspan_status;

/* What a status means, in words; never NULL. */
const char *packspan_status_text(packspan_status status);

/* ---- Case ---------------------------------------------------------------------------------- */

typedef struct packspan_case packspan_case;

/* Reads and checks all tables of the case in `folder`. *out is set, and to be freed, also when the
 * case is wrong (PACKSPAN_BAD_CASE, PACKSPAN_MISSING, PACKSPAN_IO), so that its problems can be
 * read; only PACKSPAN_NO_MEMORY leaves it as it was. */
packspan_status packspan_case_open(const char *folder, packspan_case **out);
void packspan_case_free(packspan_case *c); /* NULL is fine */

/* Last part of the folder's path. */
const char *packspan_case_name(const packspan_case *c);
/* The subject's name and title ("" when none is given); the case must be good. */
const char *packspan_case_subject(const packspan_case *c);
const char *packspan_case_subject_title(const packspan_case *c);

/* Everything found wrong (errors) or doubtful (warnings), by file and line, as
 * "FILE:LINE: column 'NAME': what is wrong: 'text'; what would be right". i < count. */
size_t packspan_case_problem_count(const packspan_case *c);
const char *packspan_case_problem(const packspan_case *c, size_t i);
bool packspan_case_problem_is_error(const packspan_case *c, size_t i);

/* Overrides a setting of settings.csv; names, ranges and defaults are those of
 * packspan_setting_text(). PACKSPAN_USAGE when there is no such setting or the value is out of
 * its range. */
packspan_status packspan_case_set(packspan_case *c, const char *setting, const char *value);
/* The present value of a setting; "" when there is no such setting. */
const char *packspan_case_setting(packspan_case *c, const char *setting);

/* Where each value of the case comes from. */
typedef enum packspan_origin {
    PACKSPAN_GIVEN,      /* by a row of the case */
    PACKSPAN_DEFAULT,    /* assumed; the text names the source */
    PACKSPAN_WORKED_OUT, /* the text is the formula */
    PACKSPAN_NOT_KNOWN,  /* the text says what is missing */
    PACKSPAN_LINKED,     /* given; the text says with what it is correlated, how far and where */
    PACKSPAN_CONSEQUENCE /* not known for want of what is PACKSPAN_NOT_KNOWN: the text names what */
} packspan_origin;
size_t packspan_case_value_count(const packspan_case *c);
packspan_origin packspan_case_value(const packspan_case *c, size_t i, const char **vehicle,
                                    const char **quantity, const char **text);

/* Writes a small case that runs at once and explains itself into `folder`, which must not exist or
 * be empty (PACKSPAN_USAGE otherwise). PACKSPAN_MISSING when packspan's own templates are not
 * found. On PACKSPAN_IO errno tells why. */
packspan_status packspan_case_write_new(const char *folder);

/* ---- Words that the tables and the settings understand ------------------------------------- */

typedef enum packspan_quantity_field {
    PACKSPAN_QUANTITY_NAME,
    PACKSPAN_QUANTITY_TABLE_UNIT, /* unit in result tables */
    PACKSPAN_QUANTITY_SI_UNIT,
    PACKSPAN_QUANTITY_UNITS, /* units an analyst may write */
    PACKSPAN_QUANTITY_ROLE,  /* vehicle, route, trip condition, trip result */
    PACKSPAN_QUANTITY_MEANING
} packspan_quantity_field;
size_t packspan_quantity_count(void);
const char *packspan_quantity_text(size_t i, packspan_quantity_field field);
/* Physical domain in SI; an open end is excluded. */
void packspan_quantity_domain(size_t i, double *low, double *high, bool *low_open, bool *high_open);
/* The value assumed when neither given nor worked out (SI) and its source; false when none. */
bool packspan_quantity_default(size_t i, double *value, const char **source);
/* The k-th formula (from 0) that works quantity i out; NULL past the last. */
const char *packspan_quantity_formula(size_t i, size_t k);

typedef enum packspan_shape_field {
    PACKSPAN_SHAPE_NAME,
    PACKSPAN_SHAPE_COLUMNS,
    PACKSPAN_SHAPE_MEANING
} packspan_shape_field;
size_t packspan_shape_count(void);
const char *packspan_shape_text(size_t i, packspan_shape_field field);

typedef enum packspan_setting_field {
    PACKSPAN_SETTING_NAME,
    PACKSPAN_SETTING_ARGUMENT, /* NULL for a switch */
    PACKSPAN_SETTING_RANGE,
    PACKSPAN_SETTING_MEANING,
    PACKSPAN_SETTING_COMMANDS /* that take it: run, check, study, with blanks between them */
} packspan_setting_field;
size_t packspan_setting_count(void);
const char *packspan_setting_text(size_t i, packspan_setting_field field);
/* The default as packspan_case_set() would read it. */
void packspan_setting_default(size_t i, char *text, size_t size);
/* Whether packspan_case_set() would take the value; `setting` must be a setting's name. */
bool packspan_setting_allows(const char *setting, const char *value);

/* The candidate nearest to a misspelt word, or NULL when none is near. */
const char *packspan_nearest_word(const char *word, const char *const *candidates, size_t count);

/* ---- Run and results ----------------------------------------------------------------------- */

typedef struct packspan_results packspan_results;

/* Called on the running thread now and then with samples done and wanted; false stops the run. */
typedef bool packspan_progress(void *user, uint64_t done, uint64_t total);

/* Samples the case (packspan_case_open() must have returned PACKSPAN_OK) and works everything out.
 * The case must outlive the results. PACKSPAN_INTERRUPTED also sets *out, with what was finished,
 * unless nothing of that says anything.
 * PACKSPAN_BAD_CASE when more than 0.1 % of the samples are invalid (NaN, infinite, or a
 * consumption that is not positive), or when an observation fits no sample; the case's problems
 * then say which quantities or rows are to blame. */
packspan_status packspan_run(packspan_case *c, packspan_progress *progress, void *user,
                             packspan_results **out);
void packspan_results_free(packspan_results *r); /* NULL is fine */

/* ---- Shares of a huge run, computed apart and merged -------------------------------------------
 */

typedef enum packspan_part_news {
    PACKSPAN_PART_WRITTEN,
    PACKSPAN_PART_REMADE,    /* written in place of one that was damaged or cut off */
    PACKSPAN_PART_WAS_THERE, /* a sound one of the same run: nothing was done */
    PACKSPAN_PART_OUTGROWN   /* written, but only to say how long a pilot all parts need:
                                packspan_merge_run() tells */
} packspan_part_news;

/* Works out the share of the run that the setting part names, and writes it as one file,
 * part_K_of_N.part, into `folder`, which must exist. What it depends on is the whole run's, so that
 * all shares together give the bytes of the whole run. PACKSPAN_USAGE without that setting, with
 * more parts than blocks of 1024 samples, or with the settings stable or effective, for which the
 * whole run must be known. PACKSPAN_BAD_CASE as packspan_run(), or when there is another file of
 * that name, unless it is a damaged part. PACKSPAN_INTERRUPTED: nothing is kept. PACKSPAN_IO: errno
 * tells why. The case's problems tell what is wrong. */
packspan_status packspan_run_part(packspan_case *c, const char *folder, packspan_progress *progress,
                                  void *user, packspan_part_news *news);
/* The name of the file of that setting, "" without it. */
void packspan_part_name(const packspan_case *c, char *name, size_t size);

typedef struct packspan_merge packspan_merge;

/* Reads parts, which are files or folders that hold them, and the case that they were made of, from
 * `case_folder` or, when that is NULL, from where it was then. Checks that all parts are there,
 * whole, and of the same run, and that the case is what it was: PACKSPAN_BAD_CASE otherwise, or
 * PACKSPAN_MISSING and PACKSPAN_IO for what cannot be read. *out is set, and to be freed, unless it
 * is PACKSPAN_NO_MEMORY. */
packspan_status packspan_merge_open(const char *const *paths, size_t count, const char *case_folder,
                                    packspan_merge **out);
void packspan_merge_free(packspan_merge *m); /* NULL is fine */
/* Everything that is wrong, by file; i < count. */
size_t packspan_merge_problem_count(const packspan_merge *m);
const char *packspan_merge_problem(const packspan_merge *m, size_t i);
bool packspan_merge_problem_is_error(const packspan_merge *m, size_t i); /* else a warning */
/* The case, with the settings of the parts; it belongs to the merge. */
packspan_case *packspan_merge_case(packspan_merge *m);
/* The results of the whole run; the merge must have been opened with PACKSPAN_OK and must outlive
 * them. As packspan_run(), but without results when interrupted; packspan_merge_problem() tells
 * what is wrong. */
packspan_status packspan_merge_run(packspan_merge *m, packspan_progress *progress, void *user,
                                   packspan_results **out);

/* ---- Result tables --------------------------------------------------------------------------- */

/* Makes `folder` if it is missing and tries to write into it, so that a long run does not end
 * without its tables. PACKSPAN_USAGE when it holds a case (vehicles.csv or inputs.csv), whose
 * claims.csv the results would replace. On PACKSPAN_IO errno tells why. */
packspan_status packspan_folder_prepare(const char *folder);

/* Writes summary.csv, histogram.csv, claims.csv, routes.csv and run.csv into `folder` (made if
 * missing) and, with candidates, evidence or the setting keep, candidates.csv, evidence.csv and
 * samples.csv. A table is complete or not there at all; an earlier run's run.csv, which is written
 * last, and its tables that this run does not write are removed first. On PACKSPAN_IO, and on
 * PACKSPAN_USAGE as for packspan_folder_prepare(), packspan_results_failure() names the file and
 * the reason. */
packspan_status packspan_results_write(packspan_results *r, const char *folder);
const char *packspan_results_failure(const packspan_results *r);

/* One row a quantity, in the order of summary.csv; i < count. With candidates the rows of their
 * mixture come first, then those of each candidate. */
typedef enum packspan_row_field {
    PACKSPAN_ROW_CANDIDATE, /* "" without candidates, else the candidate's name or "mixture" */
    PACKSPAN_ROW_VEHICLE,
    PACKSPAN_ROW_QUANTITY,
    PACKSPAN_ROW_UNIT,       /* of all values, as in the tables */
    PACKSPAN_ROW_KIND,       /* input, worked_out, route or trip */
    PACKSPAN_ROW_SCREEN_UNIT /* by the setting units */
} packspan_row_field;
size_t packspan_results_count(const packspan_results *r);
const char *packspan_results_text(const packspan_results *r, size_t i, packspan_row_field field);
/* True for a quantity that is only a step to others, such as the traction work of a cycle. */
bool packspan_results_is_step(const packspan_results *r, size_t i);
/* A value of row i (table unit) in its screen unit. */
double packspan_results_screen(const packspan_results *r, size_t i, double value);
/* The first such row, which with candidates is that of the mixture; false when there is none.
 * `quantity` is "usable_energy", "trip_range.winter", … */
bool packspan_results_find(const packspan_results *r, const char *vehicle, const char *quantity,
                           size_t *i);

typedef enum packspan_statistic {
    PACKSPAN_MEAN,
    PACKSPAN_SD, /* n - 1 in the denominator, n being the effective samples */
    PACKSPAN_P01,
    PACKSPAN_P05,
    PACKSPAN_P10,
    PACKSPAN_P25,
    PACKSPAN_P50,
    PACKSPAN_P75,
    PACKSPAN_P90,
    PACKSPAN_P95,
    PACKSPAN_P99,
    PACKSPAN_SHORTEST95_LOW, /* shortest interval that holds 95 %, JCGM 101 7.7 */
    PACKSPAN_SHORTEST95_HIGH,
    PACKSPAN_MIN,
    PACKSPAN_MAX,
    PACKSPAN_MEAN_ERROR, /* standard errors of the Monte Carlo: sd / sqrt(n), percentiles by */
    PACKSPAN_P05_ERROR,  /* order statistics; of Sobol' points by independent scramblings */
    PACKSPAN_P50_ERROR,
    PACKSPAN_P95_ERROR,
    PACKSPAN_STATISTIC_COUNT
} packspan_statistic;
/* The column name of summary.csv. */
const char *packspan_statistic_name(packspan_statistic statistic);
double packspan_results_value(const packspan_results *r, size_t i, packspan_statistic statistic);
/* Any percentile, p in [0, 1], type 7 of Hyndman and Fan (1996). The row's counts are added up for
 * each; NaN when there is no memory for that. */
double packspan_results_percentile(const packspan_results *r, size_t i, double p);

typedef struct packspan_bin {
    double low, high; /* low <= x < high; the last bin includes its high end */
    double count;     /* samples; with weights their share of the weight times the samples */
} packspan_bin;
#define PACKSPAN_BINS_MAX 128
/* Fills at most PACKSPAN_BINS_MAX bins and returns how many; the counts add up to the samples. */
size_t packspan_results_histogram(const packspan_results *r, size_t i, packspan_bin *bins);

uint64_t packspan_results_samples(const packspan_results *r); /* valid ones */
uint64_t packspan_results_invalid(const packspan_results *r);
/* With the setting stable: the digits that the run reached, 0 when it did not or was not asked to,
 * and the sequences of trials (JCGM 101, 7.9) that it is judged by. */
unsigned packspan_results_stable(const packspan_results *r);
uint64_t packspan_results_sequences(const packspan_results *r);
/* The number of equally weighted samples that tell as much: (sum w)^2 / sum w^2. Without evidence
 * and candidates it is the number of samples. */
double packspan_results_effective(const packspan_results *r);
double packspan_results_seconds(const packspan_results *r);
/* What a reader of the results must know: values outside their domain, assumptions, … */
size_t packspan_results_warning_count(const packspan_results *r);
const char *packspan_results_warning(const packspan_results *r, size_t i);

/* One row a claim; with candidates those of the mixture come first. */
typedef enum packspan_claim_field {
    PACKSPAN_CLAIM_CANDIDATE, /* as PACKSPAN_ROW_CANDIDATE */
    PACKSPAN_CLAIM_NAME,
    PACKSPAN_CLAIM_VEHICLE,
    PACKSPAN_CLAIM_QUANTITY,
    PACKSPAN_CLAIM_UNIT,      /* as the claim was written, for all its values */
    PACKSPAN_CLAIM_SENSE,     /* is, at_least, at_most */
    PACKSPAN_CLAIM_VERDICT,   /* understated, overstated, not contradicted; holds, fails, open */
    PACKSPAN_CLAIM_LIKELIHOOD /* of the claim being true, calibrated words of IPCC AR5 */
} packspan_claim_field;
typedef enum packspan_claim_value {
    PACKSPAN_CLAIM_VALUE,
    PACKSPAN_CLAIM_TOLERANCE,
    PACKSPAN_CLAIM_PERCENTILE,  /* where the claimed value stands in the distribution, 0 to 100 */
    PACKSPAN_CLAIM_PROBABILITY, /* that the claim is true: is: within value -+ tolerance;
                                   at_least: above value - tolerance; at_most: below value +
                                   tolerance */
    PACKSPAN_CLAIM_PROBABILITY_ERROR, /* one standard error (Wilson 1927 at z = 1;
                                         Sobol' points: by scramblings) */
    PACKSPAN_CLAIM_ABOVE,             /* P(quantity > value + tolerance) */
    PACKSPAN_CLAIM_BELOW,             /* P(quantity < value - tolerance) */
    PACKSPAN_CLAIM_MEDIAN_GAP,        /* median - value */
    PACKSPAN_CLAIM_GAP_P05,
    PACKSPAN_CLAIM_GAP_P10,
    PACKSPAN_CLAIM_GAP_P90,
    PACKSPAN_CLAIM_GAP_P95
} packspan_claim_value;
size_t packspan_claim_count(const packspan_results *r);
const char *packspan_claim_text(const packspan_results *r, size_t i, packspan_claim_field field);
double packspan_claim_number(const packspan_results *r, size_t i, packspan_claim_value value);

/* ---- The routes to usable energy, and what they agree on --------------------------------------
 */

typedef enum packspan_consensus_value {
    PACKSPAN_CONSENSUS_MEAN, /* kWh: generalised least squares with the routes' joint covariance */
    PACKSPAN_CONSENSUS_SD,   /* kWh */
    PACKSPAN_CONSENSUS_CHI_SQUARED, /* consistency test: Cox, Metrologia 39 (2002), procedure A */
    PACKSPAN_CONSENSUS_DEGREES_OF_FREEDOM,
    PACKSPAN_CONSENSUS_PROBABILITY,         /* of so large a chi-squared when the routes agree */
    PACKSPAN_CONSENSUS_RANDOM_EFFECTS_MEAN, /* kWh: DerSimonian and Laird, for routes that differ */
    PACKSPAN_CONSENSUS_RANDOM_EFFECTS_SD    /* kWh */
} packspan_consensus_value;
typedef enum packspan_consensus_route_value {
    PACKSPAN_ROUTE_WEIGHT,              /* they add up to 1; may be negative */
    PACKSPAN_ROUTE_NORMALISED_DEVIATION /* (mean - consensus) per twice its standard uncertainty */
} packspan_consensus_route_value;

/* One for each vehicle with a route; with candidates those of the mixture come first. A number is
 * NaN when the routes' covariance is not usable; those of the test, and the deviation of the only
 * route that is used, also when there is nothing to compare it with. */
size_t packspan_consensus_count(const packspan_results *r);
const char *packspan_consensus_candidate(const packspan_results *r, size_t i);
const char *packspan_consensus_vehicle(const packspan_results *r, size_t i);
double packspan_consensus_number(const packspan_results *r, size_t i,
                                 packspan_consensus_value value);
/* True when the probability is at least 0.05 and no dependent route disagrees. */
bool packspan_consensus_holds(const packspan_results *r, size_t i);
/* "consistent", "inconsistent", "one route" (or others that depend entirely on it: nothing is
 * tested) or "not tested" (the covariance is not usable). */
const char *packspan_consensus_verdict(const packspan_results *r, size_t i);
size_t packspan_consensus_route_count(const packspan_results *r, size_t i);
const char *packspan_consensus_route(const packspan_results *r, size_t i, size_t k);
double packspan_consensus_route_number(const packspan_results *r, size_t i, size_t k,
                                       packspan_consensus_route_value value);
/* Deviates by more than twice the standard uncertainty of its deviation. */
bool packspan_consensus_route_disagrees(const packspan_results *r, size_t i, size_t k);
/* "consistent" with the others, "stands apart" when it disagrees, "one route" or "not tested". */
const char *packspan_consensus_route_verdict(const packspan_results *r, size_t i, size_t k);
/* True for a route that depends entirely on others, and is left out: *other is the main one. */
bool packspan_consensus_route_rests_on(const packspan_results *r, size_t i, size_t k,
                                       size_t *other);

/* ---- Candidates and evidence ---------------------------------------------------------------- */

typedef enum packspan_candidate_value {
    PACKSPAN_CANDIDATE_PRIOR,
    PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD,       /* density of the observations in their own units; an
                                                 interval's probability */
    PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR, /* one standard error of the Monte Carlo */
    PACKSPAN_CANDIDATE_POSTERIOR,
    PACKSPAN_CANDIDATE_ODDS, /* posterior per the best candidate's */
    PACKSPAN_CANDIDATE_EFFECTIVE,
    PACKSPAN_CANDIDATE_TELLING_FACTOR /* of the observation that speaks most for (above 1) or
                                         against it: mean likelihood per that of all candidates */
} packspan_candidate_value;
/* By name; 0 without candidates.csv. */
size_t packspan_candidate_count(const packspan_results *r);
const char *packspan_candidate_name(const packspan_results *r, size_t i);
double packspan_candidate_number(const packspan_results *r, size_t i,
                                 packspan_candidate_value value);
/* Index of the observation behind PACKSPAN_CANDIDATE_TELLING_FACTOR; false without evidence. */
bool packspan_candidate_telling(const packspan_results *r, size_t i, size_t *observation);

typedef enum packspan_observation_value {
    PACKSPAN_OBSERVATION_VALUE, /* in the observation's unit; NaN of an interval */
    PACKSPAN_OBSERVATION_SD,
    PACKSPAN_OBSERVATION_LOW, /* NaN of a reading */
    PACKSPAN_OBSERVATION_HIGH,
    PACKSPAN_OBSERVATION_PRIOR_MEAN, /* of the quantity before any evidence */
    PACKSPAN_OBSERVATION_PRIOR_SD,
    PACKSPAN_OBSERVATION_PERCENTILE,   /* of the observed value in the prior predictive
                                          distribution, 0 to 100 */
    PACKSPAN_OBSERVATION_DISTANCE,     /* from its mean, in its standard deviations */
    PACKSPAN_OBSERVATION_ENERGY_SHIFT, /* of the subject's mean usable energy, kWh, when this
                                          observation alone is used; NaN where there is none */
    PACKSPAN_OBSERVATION_RANGE_SHIFT   /* of its mean label range, km */
} packspan_observation_value;
size_t packspan_observation_count(const packspan_results *r);
const char *packspan_observation_vehicle(const packspan_results *r, size_t i);
const char *packspan_observation_quantity(const packspan_results *r, size_t i);
const char *packspan_observation_unit(const packspan_results *r, size_t i);
double packspan_observation_number(const packspan_results *r, size_t i,
                                   packspan_observation_value value);

/* ---- Studies ------------------------------------------------------------------------------- */

/* The case of a study, at every point of its study.csv or points.csv. */
typedef struct packspan_study packspan_study;

/* True when it has a study.csv or points.csv. */
bool packspan_case_has_study(const packspan_case *c);

/* Makes the points of a case and checks what they give. PACKSPAN_BAD_CASE, and PACKSPAN_USAGE when
 * settings contradict each other or the tables: the case's problems then tell why. Of a case whose
 * tables are wrong (PACKSPAN_BAD_CASE again) the points are checked all the same, so that one pass
 * tells all. The case, and its settings as they are, must outlive the study. */
packspan_status packspan_study_open(packspan_case *c, packspan_study **out);
void packspan_study_free(packspan_study *s); /* NULL is fine */

/* Of the share, with the setting part; and of the whole study. */
uint64_t packspan_study_points(const packspan_study *s);
uint64_t packspan_study_all_points(const packspan_study *s);
uint64_t packspan_study_samples(const packspan_study *s); /* of each point */
unsigned packspan_study_threads(const packspan_study *s); /* that share the points */
/* Rows of study.csv and study_claims.csv for each point. */
size_t packspan_study_rows(const packspan_study *s);
/* What is needed on disk: the journal, and the tables, which a part has none of, within a tenth or
 * so after packspan_study_time(). */
uint64_t packspan_study_journal_bytes(const packspan_study *s);
uint64_t packspan_study_table_bytes(const packspan_study *s);
/* What a reader of the tables must know. */
size_t packspan_study_warning_count(const packspan_study *s);
const char *packspan_study_warning(const packspan_study *s, size_t i);
/* Works a few samples of the first point out, to tell what all points will take with one thread. */
packspan_status packspan_study_time(packspan_study *s, double *seconds);

typedef struct packspan_study_state {
    uint64_t done, points;
    double seconds;           /* since it was begun or gone on with */
    double points_per_second; /* meanwhile */
    double samples_per_second;
    double seconds_left; /* infinite while nobody knows */
} packspan_study_state;
/* Called before the first point that is to be worked out, and then now and then, by any thread but
 * one at a time; false stops the study. */
typedef bool packspan_study_watch(void *user, const packspan_study_state *state);

typedef struct packspan_study_report {
    uint64_t done;     /* points that are finished */
    uint64_t found;    /* of them, finished before and kept in the journal */
    uint64_t dropped;  /* damaged records of the journal, which were worked out again */
    bool mended;       /* the journal's header was damaged */
    bool was_complete; /* everything was there already, nothing was written */
    bool replaced;     /* tables in the folder were edited, or of another study */
    bool part_damaged; /* the file of the part was damaged, and is made again */
    bool out_of_time;  /* the setting hours stopped it */
    bool in_use;       /* by another packspan, which PACKSPAN_IO is then about */
    uint64_t refused;  /* points with more than 0.1 % invalid samples, or whose samples fit no
                          evidence: their rows have no numbers; told when all points are done */
    double seconds;
} packspan_study_report;

/* Works every point out that is not in `folder`/study.journal yet, then writes study.csv,
 * study_claims.csv, study_points.csv and study_run.csv. Points are worked out side by side with one
 * thread each, by the setting threads. The log `folder`/study.log gets a line a minute.
 * PACKSPAN_INTERRUPTED when the watch or the setting hours stopped it: the journal keeps what is
 * finished, and the same call goes on. PACKSPAN_BAD_CASE when the journal is that of another study,
 * or when there is no journal but tables that this study did not write. On these two, and on
 * PACKSPAN_IO, *report is filled as far as it is known; packspan_study_failure() tells the file and
 * the reason. PACKSPAN_USAGE when `folder` holds a case. */
packspan_status packspan_study_run(packspan_study *s, const char *folder,
                                   packspan_study_watch *watch, void *user,
                                   packspan_study_report *report);
/* Once all points are done, what is to be known of some: a sentence for each reason for which
 * points were refused, and for each warning, with their number and the first of them. */
size_t packspan_study_remark_count(const packspan_study *s);
const char *packspan_study_remark(const packspan_study *s, size_t i);
bool packspan_study_remark_is_refusal(const packspan_study *s, size_t i);
/* "" when there was none; several lines for what is of another study. */
const char *packspan_study_failure(const packspan_study *s);
/* A point's name, or its number from 1, and "AXIS = VALUE UNIT, …"; of the point asked last. */
const char *packspan_study_point_text(packspan_study *s, uint64_t point);

/* Parts may be of a study, too: packspan_study_run() with the setting part writes them, into
 * `folder`/part_K_of_N.part, and keeps its journal and its log beside it meanwhile. */
bool packspan_merge_is_study(const packspan_merge *m);
/* Writes the tables of the whole study, as packspan_study_run() does. PACKSPAN_BAD_CASE also when
 * there are tables that this study did not write. packspan_merge_problem() tells what is wrong,
 * also on PACKSPAN_IO, and on PACKSPAN_OK what packspan_study_remark() would. */
packspan_status packspan_merge_study(packspan_merge *m, const char *folder,
                                     packspan_study_report *report);

#ifdef __cplusplus
}
#endif
#endif
