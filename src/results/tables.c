/* The result tables on disk. */
#include <csv.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/decimal.h"
#include "base/file.h"
#include "base/text.h"
#include "model/block.h"
#include "results/results.h"
#include "results/row.h"

/* RFC 4180: quoted only where it must be. */
static void put_text(FILE *f, const char *text)
{
    if (strpbrk(text, ",\"\r\n"))
        csv_fwrite(f, text, strlen(text));
    else
        fputs(text, f);
}

/* What never needs quotes. */
static void put_field(FILE *f, const char *text)
{
    fputs(text, f);
    fputc(',', f);
}

static void put_number(FILE *f, double value)
{
    char text[DECIMAL_SIZE];
    decimal_write(value, text);
    fputc(',', f);
    fputs(text, f);
}

static bool has_candidates(const struct packspan_results *r)
{
    return r->outcome.set->source->candidate_count > 0;
}

/* Tables have the column `candidate` only when there are candidates. */
static void put_candidate(FILE *f, const struct packspan_results *r, const char *candidate)
{
    if (has_candidates(r))
        put_field(f, candidate);
}

static void put_row_start(FILE *f, const struct packspan_results *r, const struct result_row *row)
{
    put_candidate(f, r, row->candidate);
    put_text(f, row->vehicle);
    fputc(',', f);
    put_field(f, row->quantity);
    fputs(row->measure->table, f);
}

static void write_summary(FILE *f, const struct packspan_results *r)
{
    put_candidate(f, r, "candidate");
    fputs("vehicle,quantity,unit,kind,samples", f);
    for (int s = 0; s < PACKSPAN_STATISTIC_COUNT; s++)
        fprintf(f, ",%s", packspan_statistic_name((packspan_statistic)s));
    fputc('\n', f);
    for (size_t k = 0; k < r->row_count; k++) {
        const struct result_row *row = &r->rows[k];
        put_row_start(f, r, row);
        fprintf(f, ",%s,%.0f", row->kind, row->samples);
        for (int s = 0; s < PACKSPAN_STATISTIC_COUNT; s++)
            put_number(f, row->values[s]);
        fputc('\n', f);
    }
}

static void write_histogram(FILE *f, const struct packspan_results *r)
{
    put_candidate(f, r, "candidate");
    fputs("vehicle,quantity,unit,bin,low,high,count,share,density,cumulative\n", f);
    for (size_t k = 0; k < r->row_count; k++) {
        packspan_bin bins[PACKSPAN_BINS_MAX];
        size_t n = packspan_results_histogram(r, k, bins);
        double samples = r->rows[k].samples, below = 0.0;
        for (size_t b = 0; b < n; b++) {
            double share = bins[b].count / samples, width = bins[b].high - bins[b].low;
            below += bins[b].count;
            put_row_start(f, r, &r->rows[k]);
            put_number(f, (double)(b + 1));
            put_number(f, bins[b].low);
            put_number(f, bins[b].high);
            put_number(f, bins[b].count);
            put_number(f, share);
            if (width > 0.0)
                put_number(f, share / width);
            else
                fputc(',', f); /* all these samples are one value: no density */
            put_number(f, below / samples);
            fputc('\n', f);
        }
    }
}

static void write_claims(FILE *f, const struct packspan_results *r)
{
    put_candidate(f, r, "candidate");
    fputs("claim,vehicle,quantity,unit,sense,value,tolerance,percentile_of_claim,probability,"
          "probability_error,median_gap,gap_p05,gap_p95,verdict,likelihood\n",
          f);
    static const packspan_claim_value numbers[] = {PACKSPAN_CLAIM_VALUE,
                                                   PACKSPAN_CLAIM_TOLERANCE,
                                                   PACKSPAN_CLAIM_PERCENTILE,
                                                   PACKSPAN_CLAIM_PROBABILITY,
                                                   PACKSPAN_CLAIM_PROBABILITY_ERROR,
                                                   PACKSPAN_CLAIM_MEDIAN_GAP,
                                                   PACKSPAN_CLAIM_GAP_P05,
                                                   PACKSPAN_CLAIM_GAP_P95};
    for (size_t k = 0; k < r->claim_count; k++) {
        const struct claim_row *row = &r->claims[k];
        put_candidate(f, r, row->candidate);
        put_text(f, row->claim->name);
        fprintf(f, ",%s,%s,", packspan_claim_text(r, k, PACKSPAN_CLAIM_VEHICLE), row->quantity);
        put_text(f, row->claim->unit);
        fprintf(f, ",%s", claim_sense_name(row->claim->sense));
        for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
            put_number(f, packspan_claim_number(r, k, numbers[i]));
        fprintf(f, ",%s,%s\n", row->verdict.word, row->verdict.likelihood);
    }
}

/* A number that may be missing, or that constants which contradict one another make infinite. */
static void put_known_number(FILE *f, double value)
{
    if (!isfinite(value))
        fputc(',', f);
    else
        put_number(f, value);
}

static const packspan_statistic route_columns[] = {
    PACKSPAN_MEAN, PACKSPAN_SD,  PACKSPAN_P01, PACKSPAN_P05, PACKSPAN_P10, PACKSPAN_P25,
    PACKSPAN_P50,  PACKSPAN_P75, PACKSPAN_P90, PACKSPAN_P95, PACKSPAN_P99};
enum { ROUTE_COLUMNS = sizeof route_columns / sizeof route_columns[0] };

static const struct result_row *route_row(const struct packspan_results *r,
                                          const struct consensus_row *about, size_t k)
{
    size_t row = 0;
    while (r->rows[row].set_row != about->routes->rows[k] ||
           strcmp(r->rows[row].candidate, about->candidate) != 0)
        row++;
    return &r->rows[row];
}

static void write_route(FILE *f, const struct packspan_results *r, size_t i, size_t k)
{
    const struct result_row *row = route_row(r, &r->consensus[i], k);
    size_t other;
    put_row_start(f, r, row);
    for (int s = 0; s < ROUTE_COLUMNS; s++)
        put_number(f, row->values[route_columns[s]]);
    put_known_number(f, packspan_consensus_route_number(r, i, k, PACKSPAN_ROUTE_WEIGHT));
    put_known_number(f,
                     packspan_consensus_route_number(r, i, k, PACKSPAN_ROUTE_NORMALISED_DEVIATION));
    fputs(",,,,", f);
    if (packspan_consensus_route_rests_on(r, i, k, &other))
        fprintf(f, "left out: depends on %s%s", packspan_consensus_route(r, i, other),
                packspan_consensus_route_disagrees(r, i, k) ? " and stands apart" : "");
    else
        fputs(packspan_consensus_route_verdict(r, i, k), f);
    fputc('\n', f);
}

/* A row of the consensus itself: mean and sd, then the test. */
static void write_agreement(FILE *f, const struct packspan_results *r, size_t i, const char *name,
                            packspan_consensus_value mean, packspan_consensus_value sd,
                            const char *verdict)
{
    put_candidate(f, r, r->consensus[i].candidate);
    fprintf(f, "%s,%s,%s", packspan_consensus_vehicle(r, i), name,
            quantities[Q_usable_energy].measure->table);
    put_known_number(f, packspan_consensus_number(r, i, mean));
    put_known_number(f, packspan_consensus_number(r, i, sd));
    for (int s = 2; s < ROUTE_COLUMNS + 2; s++)
        fputc(',', f);
    put_known_number(f, packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_CHI_SQUARED));
    put_known_number(f, packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_DEGREES_OF_FREEDOM));
    put_known_number(f, packspan_consensus_number(r, i, PACKSPAN_CONSENSUS_PROBABILITY));
    fprintf(f, ",%s\n", verdict);
}

static void write_routes(FILE *f, const struct packspan_results *r)
{
    put_candidate(f, r, "candidate");
    fputs("vehicle,route,unit", f);
    for (int s = 0; s < ROUTE_COLUMNS; s++)
        fprintf(f, ",%s", packspan_statistic_name(route_columns[s]));
    fputs(",weight,normalised_deviation,chi_squared,degrees_of_freedom,probability,verdict\n", f);
    for (size_t i = 0; i < r->consensus_count; i++) {
        for (size_t k = 0; k < r->consensus[i].routes->count; k++)
            write_route(f, r, i, k);
        write_agreement(f, r, i, "usable_energy_consensus", PACKSPAN_CONSENSUS_MEAN,
                        PACKSPAN_CONSENSUS_SD, packspan_consensus_verdict(r, i));
        if (r->consensus[i].known && !packspan_consensus_holds(r, i))
            write_agreement(f, r, i, "usable_energy_random_effects",
                            PACKSPAN_CONSENSUS_RANDOM_EFFECTS_MEAN,
                            PACKSPAN_CONSENSUS_RANDOM_EFFECTS_SD, packspan_consensus_verdict(r, i));
    }
}

static void write_candidates(FILE *f, const struct packspan_results *r)
{
    static const packspan_candidate_value numbers[] = {PACKSPAN_CANDIDATE_PRIOR,
                                                       PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD,
                                                       PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR,
                                                       PACKSPAN_CANDIDATE_POSTERIOR,
                                                       PACKSPAN_CANDIDATE_ODDS,
                                                       PACKSPAN_CANDIDATE_EFFECTIVE};
    fputs("candidate,prior,mean_likelihood,mean_likelihood_error,posterior,odds_against_best,"
          "effective_samples,telling_vehicle,telling_quantity,telling_factor\n",
          f);
    for (size_t c = 0; c < packspan_candidate_count(r); c++) {
        size_t k;
        fputs(packspan_candidate_name(r, c), f);
        for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
            put_number(f, packspan_candidate_number(r, c, numbers[i]));
        if (packspan_candidate_telling(r, c, &k)) {
            fprintf(f, ",%s,%s", packspan_observation_vehicle(r, k),
                    packspan_observation_quantity(r, k));
            put_number(f, packspan_candidate_number(r, c, PACKSPAN_CANDIDATE_TELLING_FACTOR));
            fputc('\n', f);
        } else {
            fputs(",,,\n", f);
        }
    }
}

static void write_evidence(FILE *f, const struct packspan_results *r)
{
    static const packspan_observation_value numbers[] = {
        PACKSPAN_OBSERVATION_VALUE,        PACKSPAN_OBSERVATION_SD,
        PACKSPAN_OBSERVATION_LOW,          PACKSPAN_OBSERVATION_HIGH,
        PACKSPAN_OBSERVATION_PRIOR_MEAN,   PACKSPAN_OBSERVATION_PRIOR_SD,
        PACKSPAN_OBSERVATION_PERCENTILE,   PACKSPAN_OBSERVATION_DISTANCE,
        PACKSPAN_OBSERVATION_ENERGY_SHIFT, PACKSPAN_OBSERVATION_RANGE_SHIFT};
    fprintf(f,
            "vehicle,quantity,unit,value,sd,low,high,prior_mean,prior_sd,percentile,distance,"
            "usable_energy_shift (%s),label_range_shift (%s),source\n",
            quantities[Q_usable_energy].measure->table, quantities[Q_label_range].measure->table);
    for (size_t k = 0; k < packspan_observation_count(r); k++) {
        fprintf(f, "%s,%s,", packspan_observation_vehicle(r, k),
                packspan_observation_quantity(r, k));
        put_text(f, packspan_observation_unit(r, k));
        for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
            put_known_number(f, packspan_observation_number(r, k, numbers[i]));
        fputc(',', f);
        put_text(f, r->observations[k].observation->source);
        fputc('\n', f);
    }
}

/* [rows], from table unit to SI; NULL when out of memory. */
static struct unit_factor *sample_units(const struct plan_set *set)
{
    struct unit_factor *units = calloc(set->row_count + 1, sizeof *units);
    for (size_t k = 0; units && k < set->row_count; k++) {
        if (!unit_of_tables(set->source->units, set->rows[k].quantity, &units[k])) {
            free(units);
            return NULL;
        }
    }
    return units;
}

/* So that reading it gives the same number again. */
static void put_exactly(FILE *f, double value)
{
    char text[32];
    text_print(text, sizeof text, "%.17g", value);
    fputs(text, f);
}

static void put_sample(FILE *f, const struct packspan_results *r, size_t c,
                       const struct unit_factor *units, const double *const *columns, size_t i,
                       double weight)
{
    const struct plan_set *set = r->outcome.set;
    put_candidate(f, r, set->plans[c].candidate ? set->plans[c].candidate->name : "");
    if (set->weighted) {
        put_exactly(f, weight);
        fputc(',', f);
    }
    for (size_t k = 0; k < set->row_count; k++) {
        size_t node = plan_set_node(set, c, k);
        if (k > 0)
            fputc(',', f);
        if (node != NODE_NONE)
            put_exactly(f, from_si(columns[node][i], units[k]));
    }
    fputc('\n', f);
}

/* The first joint samples of one candidate, drawn again, so that a run need not hold them. */
static packspan_status write_samples_of(FILE *f, const struct packspan_results *r, size_t c,
                                        const struct unit_factor *units)
{
    const struct plan_set *set = r->outcome.set;
    uint64_t wanted = set->source->settings.keep, first = 0;
    if (wanted > r->outcome.candidates[c].samples)
        wanted = r->outcome.candidates[c].samples;
    struct sampler *s = NULL;
    packspan_status status = sampler_open(&set->plans[c], NULL, NULL, &s);
    if (status != PACKSPAN_OK)
        return status;
    for (; wanted > 0 && !ferror(f); first += BLOCK_SAMPLES) {
        uint64_t drop[BLOCK_SAMPLES];
        double log_weights[BLOCK_SAMPLES];
        sampler_fill(s, true, first, BLOCK_SAMPLES, drop, NULL);
        size_t valid = sampler_keep(s, true, BLOCK_SAMPLES, drop);
        evidence_log_weights(&set->plans[c], sampler_columns(s), valid, log_weights);
        for (size_t i = 0; i < valid && wanted > 0; i++, wanted--)
            put_sample(f, r, c, units, sampler_columns(s), i,
                       set->priors[c] * exp(log_weights[i] - r->outcome.log_reference));
    }
    sampler_free(s);
    return PACKSPAN_OK;
}

/* Columns VEHICLE.QUANTITY (UNIT), fixed ones included; before them, where samples do not all count
 * the same, the candidate and the sample's relative weight. */
static packspan_status write_samples(FILE *f, const struct packspan_results *r)
{
    const struct plan_set *set = r->outcome.set;
    struct unit_factor *units = sample_units(set);
    packspan_status status = units ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    put_candidate(f, r, "candidate");
    if (set->weighted)
        fputs("weight,", f);
    for (size_t k = 0; k < set->row_count && status == PACKSPAN_OK; k++) {
        const struct set_row *row = &set->rows[k];
        char *label = plan_label(&set->plans[0], row->quantity, row->trip);
        if (!label)
            status = PACKSPAN_NO_MEMORY;
        else
            fprintf(f, "%s%s.%s (%s)", k ? "," : "",
                    plan_vehicle_name(&set->plans[0], row->vehicle), label,
                    quantities[row->quantity].measure->table);
        free(label);
    }
    fputc('\n', f);
    for (size_t c = 0; c < set->count && status == PACKSPAN_OK; c++)
        status = write_samples_of(f, r, c, units);
    free(units);
    return status;
}

/* Keeps in words what could not be written, and why; returns the status. */
static packspan_status keep_failure(struct packspan_results *r, const char *path,
                                    packspan_status status)
{
    int reason = errno;
    free(r->failure);
    r->failure = status == PACKSPAN_NO_MEMORY ? text_copy("out of memory")
                                              : text_format("%s: %s", path, strerror(reason));
    return status;
}

struct table_writer {
    const char *name;
    void (*write)(FILE *f, const struct packspan_results *r); /* NULL: samples.csv */
    bool wanted;
};

static packspan_status write_table(struct packspan_results *r, const char *folder,
                                   const struct table_writer *table)
{
    char *path = text_format("%s/%s", folder, table->name);
    struct file_draft draft;
    if (!path)
        return keep_failure(r, "", PACKSPAN_NO_MEMORY);
    packspan_status status = file_begin(&draft, path);
    if (status == PACKSPAN_OK) {
        if (table->write)
            table->write(draft.stream, r);
        else
            status = write_samples(draft.stream, r);
        if (status == PACKSPAN_OK)
            status = file_commit(&draft);
        else
            file_abandon(&draft);
    }
    if (status != PACKSPAN_OK)
        keep_failure(r, path, status);
    free(path);
    return status;
}

static const char record_name[] = "run.csv"; /* of the run; written last */

static void put_item(FILE *f, const char *item, const char *value)
{
    put_text(f, item);
    fputc(',', f);
    put_text(f, value);
    fputc('\n', f);
}

static void put_item_number(FILE *f, const char *item, double value)
{
    fputs(item, f);
    put_number(f, value);
    fputc('\n', f);
}

static void put_item_count(FILE *f, const char *item, uint64_t value)
{
    fprintf(f, "%s,%llu\n", item, (unsigned long long)value);
}

static packspan_status put_checksum(FILE *f, const char *what, const char *name,
                                    const char checksum[CHECKSUM_SIZE])
{
    char *item = text_format("%s %s", what, name);
    if (!item)
        return PACKSPAN_NO_MEMORY;
    put_item(f, item, checksum);
    free(item);
    return PACKSPAN_OK;
}

static packspan_status put_table_checksum(FILE *f, const char *folder, const char *name)
{
    char *path = text_format("%s/%s", folder, name), checksum[CHECKSUM_SIZE];
    packspan_status status = path ? file_checksum(path, checksum) : PACKSPAN_NO_MEMORY;
    free(path);
    return status == PACKSPAN_OK ? put_checksum(f, "checksum", name, checksum) : status;
}

/* Of the case's files as they were read, and of the tables as they were written. */
static packspan_status put_checksums(FILE *f, const struct packspan_results *r, const char *folder,
                                     const struct table_writer *tables, size_t table_count)
{
    const struct case_data *c = r->outcome.set->source;
    const struct case_files *files = &c->files;
    packspan_status status = PACKSPAN_OK;
    for (size_t i = 0; i < files->count && status == PACKSPAN_OK; i++)
        if (!case_file_is_design(c, files->file[i].name))
            status = put_checksum(f, "case_checksum", files->file[i].name, files->file[i].checksum);
    for (size_t i = 0; i < table_count && status == PACKSPAN_OK; i++)
        if (tables[i].wanted)
            status = put_table_checksum(f, folder, tables[i].name);
    return status;
}

/* Of speed traces, under all candidates. */
static double steps_per_sample(const struct run_outcome *o)
{
    double steps = 0.0;
    for (size_t c = 0; c < o->set->count; c++)
        steps += (double)o->candidates[c].steps;
    return steps / (double)o->drawn;
}

static void put_run_items(FILE *f, const struct packspan_results *r)
{
    const struct run_outcome *o = &r->outcome;
    const struct settings *s = &o->set->source->settings;
    put_item(f, "version", PACKSPAN_VERSION);
    put_item(f, "case", o->set->source->name);
    put_item_count(f, "seed", s->seed);
    put_item_count(f, "samples_requested", settings_samples(s));
    if (s->effective > 0)
        put_item_count(f, "effective_requested", s->effective);
    if (s->keep > 0)
        put_item_count(f, "keep", s->keep);
    put_item_count(f, "samples", packspan_results_samples(r));
    put_item_number(f, "effective_samples", packspan_results_effective(r));
    put_item_count(f, "invalid_samples", packspan_results_invalid(r));
    put_item(f, "interrupted", o->interrupted ? "yes" : "no");
    put_item(f, "sequence", s->sobol ? "sobol" : "pcg");
    if (o->parts > 0)
        put_item_count(f, "parts", o->parts); /* whose seconds are added up */
    else
        put_item_count(f, "threads", o->threads);
    put_item_number(f, "seconds", o->seconds);
    put_item_number(f, "rate", (double)o->drawn / o->seconds);
    put_item_number(f, "steps_evaluated_per_sample", steps_per_sample(o));
    put_item(f, "percentile_errors", s->sobol ? "independent scramblings" : "order statistics");
    if (s->stable > 0) {
        put_item_count(f, "stable", s->stable);
        put_item(f, "stable_reached", packspan_results_stable(r) ? "yes" : "no");
        put_item_count(f, "sequences", packspan_results_sequences(r));
    }
}

/* So that a run and its parts, merged wherever, say the same. */
static packspan_status put_warnings(FILE *f, const struct packspan_results *r)
{
    for (size_t i = 0; i < r->warning_count; i++) {
        char *text = text_without_folder(r->warnings[i], r->outcome.set->source->folder);
        if (!text)
            return PACKSPAN_NO_MEMORY;
        put_item(f, "warning", text);
        free(text);
    }
    return PACKSPAN_OK;
}

static packspan_status write_record(struct packspan_results *r, const char *folder,
                                    const struct table_writer *tables, size_t table_count)
{
    char *path = text_format("%s/%s", folder, record_name);
    struct file_draft draft;
    if (!path)
        return keep_failure(r, "", PACKSPAN_NO_MEMORY);
    packspan_status status = file_begin(&draft, path);
    if (status == PACKSPAN_OK) {
        fputs("item,value\n", draft.stream);
        put_run_items(draft.stream, r);
        status = put_checksums(draft.stream, r, folder, tables, table_count);
        if (status == PACKSPAN_OK)
            status = put_warnings(draft.stream, r);
        if (status == PACKSPAN_OK)
            status = file_commit(&draft);
        else
            file_abandon(&draft);
    }
    if (status != PACKSPAN_OK)
        keep_failure(r, path, status);
    free(path);
    return status;
}

bool results_would_spoil_case(const char *folder)
{
    static const char *const marks[] = {"vehicles.csv", "inputs.csv"};
    bool found = false;
    for (size_t i = 0; i < sizeof marks / sizeof marks[0] && !found; i++) {
        char *path = text_format("%s/%s", folder, marks[i]);
        found = !path || access(path, F_OK) == 0;
        free(path);
    }
    return found;
}

static packspan_status remove_table(struct packspan_results *r, const char *folder,
                                    const char *name)
{
    char *path = text_format("%s/%s", folder, name);
    if (!path)
        return keep_failure(r, "", PACKSPAN_NO_MEMORY);
    bool gone = unlink(path) == 0 || errno == ENOENT;
    packspan_status status = gone ? PACKSPAN_OK : keep_failure(r, path, PACKSPAN_IO);
    free(path);
    return status;
}

/* The record of an earlier run, and tables of it that this run does not write, would not belong to
 * the tables that are written now. */
static packspan_status remove_earlier(struct packspan_results *r, const char *folder,
                                      const struct table_writer *tables, size_t table_count)
{
    packspan_status status = remove_table(r, folder, record_name);
    for (size_t i = 0; i < table_count && status == PACKSPAN_OK; i++)
        if (!tables[i].wanted)
            status = remove_table(r, folder, tables[i].name);
    return status;
}

packspan_status packspan_results_write(packspan_results *r, const char *folder)
{
    const struct case_data *c = r->outcome.set->source;
    const struct table_writer tables[] = {
        {"summary.csv", write_summary, true},
        {"histogram.csv", write_histogram, true},
        {"claims.csv", write_claims, true},
        {"routes.csv", write_routes, true},
        {"candidates.csv", write_candidates, c->candidate_count > 0},
        {"evidence.csv", write_evidence, c->observation_count > 0},
        {"samples.csv", NULL, c->settings.keep > 0},
    };
    enum { TABLES = sizeof tables / sizeof tables[0] };
    if (results_would_spoil_case(folder)) {
        errno = EEXIST;
        return keep_failure(r, folder, PACKSPAN_USAGE);
    }
    packspan_status status = file_make_folder(folder);
    if (status != PACKSPAN_OK)
        return keep_failure(r, folder, status);
    status = remove_earlier(r, folder, tables, TABLES);
    for (size_t i = 0; i < TABLES && status == PACKSPAN_OK; i++)
        if (tables[i].wanted)
            status = write_table(r, folder, &tables[i]);
    if (status == PACKSPAN_OK)
        status = write_record(r, folder, tables, TABLES);
    return status;
}
