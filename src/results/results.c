#include "results/results.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

static double from_si(double si, struct unit_factor to_si)
{
    return (si - to_si.offset) / to_si.scale;
}

const char *packspan_statistic_name(packspan_statistic statistic)
{
    static const char *const names[PACKSPAN_STATISTIC_COUNT] = {"mean",
                                                                "sd",
                                                                "p01",
                                                                "p05",
                                                                "p10",
                                                                "p25",
                                                                "p50",
                                                                "p75",
                                                                "p90",
                                                                "p95",
                                                                "p99",
                                                                "shortest95_low",
                                                                "shortest95_high",
                                                                "min",
                                                                "max",
                                                                "mean_error",
                                                                "p05_error",
                                                                "p50_error",
                                                                "p95_error"};
    return names[statistic];
}

static double percentile_si(const struct result_row *row, double p)
{
    if (row->fixed)
        return row->distribution.moments.mean;
    return distribution_percentile(&row->distribution, p);
}

static double percentile_error_si(const struct result_row *row, double p)
{
    return row->fixed ? 0.0 : distribution_percentile_error(&row->distribution, p);
}

static void fill_values(struct result_row *row)
{
    static const struct {
        packspan_statistic statistic;
        double p;
    } percentiles[] = {{PACKSPAN_P01, 0.01}, {PACKSPAN_P05, 0.05}, {PACKSPAN_P10, 0.10},
                       {PACKSPAN_P25, 0.25}, {PACKSPAN_P50, 0.50}, {PACKSPAN_P75, 0.75},
                       {PACKSPAN_P90, 0.90}, {PACKSPAN_P95, 0.95}, {PACKSPAN_P99, 0.99}};
    static const struct {
        packspan_statistic statistic;
        double p;
    } errors[] = {
        {PACKSPAN_P05_ERROR, 0.05}, {PACKSPAN_P50_ERROR, 0.50}, {PACKSPAN_P95_ERROR, 0.95}};
    const struct moments *m = &row->distribution.moments;
    struct unit_factor unit = row->table_to_si;
    double shortest[2] = {m->mean, m->mean};
    if (!row->fixed)
        distribution_shortest95(&row->distribution, &shortest[0], &shortest[1]);

    double sd = moments_sd(m);
    row->values[PACKSPAN_MEAN] = from_si(m->mean, unit);
    row->values[PACKSPAN_SD] = sd / unit.scale;
    row->values[PACKSPAN_MEAN_ERROR] = sd / sqrt((double)m->count) / unit.scale;
    row->values[PACKSPAN_MIN] = from_si(m->min, unit);
    row->values[PACKSPAN_MAX] = from_si(m->max, unit);
    row->values[PACKSPAN_SHORTEST95_LOW] = from_si(shortest[0], unit);
    row->values[PACKSPAN_SHORTEST95_HIGH] = from_si(shortest[1], unit);
    for (size_t i = 0; i < sizeof percentiles / sizeof percentiles[0]; i++)
        row->values[percentiles[i].statistic] = from_si(percentile_si(row, percentiles[i].p), unit);
    for (size_t i = 0; i < sizeof errors / sizeof errors[0]; i++)
        row->values[errors[i].statistic] = percentile_error_si(row, errors[i].p) / unit.scale;
}

static const char *kind_of(const struct plan_node *node)
{
    if (node->kind == NODE_INPUT)
        return "input";
    switch (quantities[node->quantity].role) {
    case QUANTITY_ROUTE:
        return "route";
    case QUANTITY_TRIP_RESULT:
        return "trip";
    case QUANTITY_VEHICLE:
    case QUANTITY_STEP:
    case QUANTITY_CONDITION:
        break;
    }
    return "worked_out";
}

static bool fill_row(const struct run_outcome *outcome, size_t r, struct result_row *row)
{
    const struct plan *p = outcome->plan;
    const struct plan_node *node = &p->nodes[p->results[r]];
    const struct unit_system *units = p->source->units;
    row->vehicle = plan_vehicle_name(p, node->vehicle);
    row->kind = kind_of(node);
    row->quantity = plan_label(p, node->quantity, node->trip);
    row->measure = quantities[node->quantity].measure;
    row->screen_unit = p->source->settings.us_units ? row->measure->us : row->measure->metric;
    row->distribution = run_distribution(outcome, r);
    row->fixed = node->fixed;
    if (!row->quantity)
        return false;
    if (unit_convert(units, row->measure->table, row->measure->si, &row->table_to_si) !=
            UNIT_FITS ||
        unit_convert(units, row->screen_unit, row->measure->si, &row->screen_to_si) != UNIT_FITS)
        return false;
    fill_values(row);
    return true;
}

const struct result_row *results_row_of(const struct packspan_results *r, size_t node)
{
    const struct plan *p = r->outcome.plan;
    for (size_t k = 0; k < p->result_count; k++)
        if (p->results[k] == node)
            return &r->rows[k];
    return NULL;
}

static bool fill_claim(const struct packspan_results *r, size_t k, struct claim_row *row)
{
    const struct plan *p = r->outcome.plan;
    const struct claim *claim = &p->source->claims[k];
    const struct plan_node *node = &p->nodes[p->claim_nodes[k]];
    const struct result_row *source = results_row_of(r, p->claim_nodes[k]);
    double fallback = quantities[node->quantity].fallback;
    double at[3];
    for (int i = 0; i < 3; i++) {
        static const double p_of[3] = {0.05, 0.50, 0.95};
        double si = source ? percentile_si(source, p_of[i]) : fallback;
        at[i] = from_si(si, claim->to_si) - claim->value;
    }
    row->claim = claim;
    row->quantity = plan_label(p, claim->quantity, claim->trip);
    row->verdict = verdict_of(claim->sense, &r->outcome.claims[k], r->outcome.samples);
    row->gap_p05 = at[0];
    row->median_gap = at[1];
    row->gap_p95 = at[2];
    return row->quantity != NULL;
}

static bool add_warning(struct packspan_results *r, char *text)
{
    char **warnings = realloc(r->warnings, (r->warning_count + 1) * sizeof *warnings);
    if (warnings)
        r->warnings = warnings;
    if (!warnings || !text) {
        free(text);
        return false;
    }
    warnings[r->warning_count++] = text;
    return true;
}

static bool take_warnings_of(struct packspan_results *r, const struct problems *list)
{
    for (size_t i = 0; i < list->count; i++)
        if (!add_warning(r, problem_text(&list->items[i])))
            return false;
    return true;
}

static bool warn_of_domain(struct packspan_results *r)
{
    for (size_t k = 0; k < r->row_count; k++) {
        uint64_t outside = r->outcome.outside[k];
        if (outside == 0)
            continue;
        double share = 100.0 * (double)outside / (double)r->outcome.samples;
        if (!add_warning(r, text_format("%s of '%s' leaves its physical domain in %.3g %% of the "
                                        "samples: the inputs disagree",
                                        r->rows[k].quantity, r->rows[k].vehicle, share)))
            return false;
    }
    return true;
}

static bool warn_of_invalid(struct packspan_results *r)
{
    const struct plan *p = r->outcome.plan;
    for (size_t k = 0; k < p->node_count; k++) {
        uint64_t invalid = r->outcome.invalid_by_node[k];
        if (invalid == 0)
            continue;
        char *label = plan_label(p, p->nodes[k].quantity, p->nodes[k].trip);
        char *text = label ? text_format("%llu samples were left out because %s of '%s' was not "
                                         "positive or not finite",
                                         (unsigned long long)invalid, label,
                                         plan_vehicle_name(p, p->nodes[k].vehicle))
                           : NULL;
        free(label);
        if (!add_warning(r, text))
            return false;
    }
    return true;
}

packspan_status results_make(struct run_outcome *outcome, struct packspan_results **out)
{
    struct packspan_results *r = calloc(1, sizeof *r);
    if (!r) {
        run_free(outcome);
        return PACKSPAN_NO_MEMORY;
    }
    r->outcome = *outcome;
    const struct plan *p = r->outcome.plan;
    r->rows = calloc(p->result_count + 1, sizeof *r->rows);
    r->claims = calloc(p->source->claim_count + 1, sizeof *r->claims);
    bool ok = r->rows && r->claims;
    for (size_t k = 0; ok && k < p->result_count; k++) {
        r->row_count = k + 1;
        ok = fill_row(&r->outcome, k, &r->rows[k]);
    }
    for (size_t k = 0; ok && k < p->source->claim_count; k++) {
        r->claim_count = k + 1;
        ok = fill_claim(r, p->claim_order[k], &r->claims[k]);
    }
    ok = ok && warn_of_invalid(r) && warn_of_domain(r) &&
         take_warnings_of(r, &p->source->problems) && take_warnings_of(r, &p->problems);
    if (!ok) {
        packspan_results_free(r);
        return PACKSPAN_NO_MEMORY;
    }
    *out = r;
    return PACKSPAN_OK;
}

void packspan_results_free(packspan_results *r)
{
    if (!r)
        return;
    for (size_t k = 0; k < r->row_count; k++)
        free(r->rows[k].quantity);
    for (size_t k = 0; k < r->claim_count; k++)
        free(r->claims[k].quantity);
    for (size_t k = 0; k < r->warning_count; k++)
        free(r->warnings[k]);
    free(r->rows);
    free(r->claims);
    free(r->warnings);
    free(r->failure);
    run_free(&r->outcome);
    free(r);
}

size_t packspan_results_count(const packspan_results *r)
{
    return r->row_count;
}

const char *packspan_results_text(const packspan_results *r, size_t i, packspan_row_field field)
{
    const struct result_row *row = &r->rows[i];
    switch (field) {
    case PACKSPAN_ROW_VEHICLE:
        return row->vehicle;
    case PACKSPAN_ROW_QUANTITY:
        return row->quantity;
    case PACKSPAN_ROW_UNIT:
        return row->measure->table;
    case PACKSPAN_ROW_KIND:
        return row->kind;
    case PACKSPAN_ROW_SCREEN_UNIT:
        return row->screen_unit;
    }
    return "";
}

bool packspan_results_is_step(const packspan_results *r, size_t i)
{
    const struct plan *p = r->outcome.plan;
    return quantities[p->nodes[p->results[i]].quantity].role == QUANTITY_STEP;
}

double packspan_results_screen(const packspan_results *r, size_t i, double value)
{
    const struct result_row *row = &r->rows[i];
    return from_si(row->table_to_si.scale * value + row->table_to_si.offset, row->screen_to_si);
}

bool packspan_results_find(const packspan_results *r, const char *vehicle, const char *quantity,
                           size_t *i)
{
    for (size_t k = 0; k < r->row_count; k++) {
        if (strcmp(r->rows[k].vehicle, vehicle) == 0 &&
            strcmp(r->rows[k].quantity, quantity) == 0) {
            *i = k;
            return true;
        }
    }
    return false;
}

double packspan_results_value(const packspan_results *r, size_t i, packspan_statistic statistic)
{
    return r->rows[i].values[statistic];
}

double packspan_results_percentile(const packspan_results *r, size_t i, double p)
{
    return from_si(percentile_si(&r->rows[i], p), r->rows[i].table_to_si);
}

size_t packspan_results_histogram(const packspan_results *r, size_t i, packspan_bin *bins)
{
    const struct result_row *row = &r->rows[i];
    struct histogram_bin si[HISTOGRAM_BINS_MAX];
    size_t n = 1;
    if (row->fixed)
        si[0] =
            (struct histogram_bin){row->distribution.moments.mean, row->distribution.moments.mean,
                                   row->distribution.moments.count};
    else
        n = distribution_histogram(&row->distribution, si);
    for (size_t k = 0; k < n; k++)
        bins[k] = (packspan_bin){from_si(si[k].low, row->table_to_si),
                                 from_si(si[k].high, row->table_to_si), si[k].count};
    return n;
}

uint64_t packspan_results_samples(const packspan_results *r)
{
    return r->outcome.samples;
}

uint64_t packspan_results_invalid(const packspan_results *r)
{
    return r->outcome.invalid;
}

double packspan_results_seconds(const packspan_results *r)
{
    return r->outcome.seconds;
}

size_t packspan_results_warning_count(const packspan_results *r)
{
    return r->warning_count;
}

const char *packspan_results_warning(const packspan_results *r, size_t i)
{
    return r->warnings[i];
}

const char *packspan_results_failure(const packspan_results *r)
{
    return r->failure ? r->failure : "";
}

size_t packspan_claim_count(const packspan_results *r)
{
    return r->claim_count;
}

const char *packspan_claim_text(const packspan_results *r, size_t i, packspan_claim_field field)
{
    const struct claim_row *row = &r->claims[i];
    switch (field) {
    case PACKSPAN_CLAIM_NAME:
        return row->claim->name;
    case PACKSPAN_CLAIM_VEHICLE:
        return plan_vehicle_name(r->outcome.plan, row->claim->vehicle);
    case PACKSPAN_CLAIM_QUANTITY:
        return row->quantity;
    case PACKSPAN_CLAIM_UNIT:
        return row->claim->unit;
    case PACKSPAN_CLAIM_SENSE:
        return claim_sense_name(row->claim->sense);
    case PACKSPAN_CLAIM_VERDICT:
        return row->verdict.word;
    case PACKSPAN_CLAIM_LIKELIHOOD:
        return row->verdict.likelihood;
    }
    return "";
}

double packspan_claim_number(const packspan_results *r, size_t i, packspan_claim_value value)
{
    const struct claim_row *row = &r->claims[i];
    switch (value) {
    case PACKSPAN_CLAIM_VALUE:
        return row->claim->value;
    case PACKSPAN_CLAIM_TOLERANCE:
        return row->claim->tolerance;
    case PACKSPAN_CLAIM_PERCENTILE:
        return row->verdict.percentile;
    case PACKSPAN_CLAIM_PROBABILITY:
        return row->verdict.probability;
    case PACKSPAN_CLAIM_PROBABILITY_ERROR:
        return row->verdict.probability_error;
    case PACKSPAN_CLAIM_ABOVE:
        return row->verdict.above;
    case PACKSPAN_CLAIM_BELOW:
        return row->verdict.below;
    case PACKSPAN_CLAIM_MEDIAN_GAP:
        return row->median_gap;
    case PACKSPAN_CLAIM_GAP_P05:
        return row->gap_p05;
    case PACKSPAN_CLAIM_GAP_P95:
        return row->gap_p95;
    }
    return NAN;
}
