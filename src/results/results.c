#include "results/results.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "draw/stream.h"
#include "engine/replicates.h"
#include "engine/stability.h"
#include "results/belief.h"
#include "results/row.h"

enum { EFFECTIVE_FEW = 1000 }; /* fewer effective samples than this are warned about */
#define HEAVIEST_SHARE 0.01    /* and one sample that carries more than this */

/* ---- groups ---- */

static double group_effective(const struct run_outcome *o, size_t group)
{
    if (!o->set->weighted)
        return (double)o->candidates[0].samples;
    return effective_samples(group == GROUP_MIXTURE ? &o->joint : &o->candidates[group].weights);
}

static bool is_known(const struct run_outcome *o, size_t set_row, size_t group)
{
    if (group == GROUP_MIXTURE)
        return o->set->rows[set_row].everywhere;
    return plan_set_node(o->set, group, set_row) != NODE_NONE;
}

/* UDUNITS is slow and not for several threads: each measure is looked up once, before the rows are
 * worked out. */
static bool take_units(const struct packspan_results *r, struct result_row *row)
{
    const struct unit_system *units = r->outcome.set->source->units;
    for (const struct result_row *earlier = r->rows; earlier < row; earlier++) {
        if (earlier->measure != row->measure)
            continue;
        row->table_to_si = earlier->table_to_si;
        row->screen_to_si = earlier->screen_to_si;
        return true;
    }
    const char *si = row->measure->si;
    return unit_of_tables(units, r->outcome.set->rows[row->set_row].quantity, &row->table_to_si) &&
           unit_convert(units, row->screen_unit, si, &row->screen_to_si) == UNIT_FITS;
}

static bool describe_rows(struct packspan_results *r, size_t group, struct result_group *g)
{
    const struct run_outcome *o = &r->outcome;
    g->first_row = r->row_count;
    for (size_t k = 0; k < o->set->row_count; k++) {
        if (!is_known(o, k, group))
            continue;
        struct result_row *row = &r->rows[r->row_count++];
        row->candidate = g->candidate;
        if (!row_describe(o, k, group, g->effective, row) || !take_units(r, row))
            return false;
    }
    g->row_count = r->row_count - g->first_row;
    return true;
}

static int compare_set_rows(const void *set_row, const void *row)
{
    size_t a = *(const size_t *)set_row, b = ((const struct result_row *)row)->set_row;
    return (a > b) - (a < b);
}

/* NULL where the group does not know it. */
static struct result_row *row_of(const struct packspan_results *r, const struct result_group *g,
                                 size_t set_row)
{
    return bsearch(&set_row, r->rows + g->first_row, g->row_count, sizeof *r->rows,
                   compare_set_rows);
}

/* A quantity under all groups, whose counts lie together. */
static bool work_out_set_row(struct packspan_results *r, enum row_detail detail, size_t set_row,
                             struct row_room *room)
{
    bool done = true;
    for (size_t i = 0; i < r->group_count && done; i++) {
        struct result_row *row = row_of(r, &r->groups[i], set_row);
        done = !row || row_work_out(&r->outcome, detail, room, row);
    }
    return done;
}

/* By several threads, of which each holds the counts of one row at a time. */
static bool work_out_rows(struct packspan_results *r, enum row_detail detail)
{
    const struct run_outcome *o = &r->outcome;
    bool failed = false;
#pragma omp parallel num_threads(o->threads)
    {
        struct row_room room;
        bool done = row_room_open(o, &room);
#pragma omp for schedule(dynamic)
        for (size_t k = 0; k < o->set->row_count; k++)
            done = done && work_out_set_row(r, detail, k, &room);
        row_room_close(&room);
        if (!done) {
#pragma omp atomic write
            failed = true;
        }
    }
    return !failed;
}

static const struct result_row *row_in_group(const struct packspan_results *r,
                                             const struct result_group *g, size_t vehicle,
                                             enum quantity_id quantity, size_t trip)
{
    const struct plan_set *set = r->outcome.set;
    for (size_t k = g->first_row; k < g->first_row + g->row_count; k++) {
        const struct set_row *row = &set->rows[r->rows[k].set_row];
        if (row->vehicle == vehicle && row->quantity == quantity && row->trip == trip)
            return &r->rows[k];
    }
    return NULL;
}

/* The row of what a claim is about, which may be a quantity that all vehicles share; NULL where it
 * is a default. */
static const struct result_row *claim_row(const struct packspan_results *r,
                                          const struct result_group *g, const struct claim *claim)
{
    const struct result_row *row = row_in_group(r, g, claim->vehicle, claim->quantity, claim->trip);
    return row ? row : row_in_group(r, g, VEHICLE_ALL, claim->quantity, claim->trip);
}

/* A percentile of what the claim is about, less the claimed value, in the claim's unit. */
static double claim_gap(const struct result_row *row, const struct claim *claim,
                        enum row_percentile p)
{
    double si = row ? row->percentiles[p] : quantities[claim->quantity].fallback;
    return from_si(si, claim->to_si) - claim->value;
}

/* From the spread of the replicates, unless they all say the same. */
static void take_claim_error(const struct run_outcome *o, size_t group, size_t claim,
                             struct verdict *v)
{
    bool is_mixture = group == GROUP_MIXTURE;
    double error = replicates_claim_error(o->replicates, is_mixture ? 0 : group,
                                          is_mixture ? o->set->count : group + 1, claim);
    if (error > 0.0)
        v->probability_error = error;
}

static bool fill_claim(struct packspan_results *r, size_t group, const struct result_group *g,
                       size_t claim_index)
{
    const struct run_outcome *o = &r->outcome;
    const struct claim *claim = &o->set->source->claims[claim_index];
    const struct result_row *about = claim_row(r, g, claim);
    struct claim_row *row = &r->claims[r->claim_count++];
    struct claim_count count = {0};
    for (size_t c = 0; c < o->set->count; c++)
        if (group == GROUP_MIXTURE || c == group)
            claim_count_add(&count, &o->candidates[c].claims[claim_index]);
    row->candidate = g->candidate;
    row->claim = claim;
    row->quantity = plan_label(&o->set->plans[0], claim->quantity, claim->trip);
    row->verdict = verdict_of(claim->sense, &count, g->effective);
    if (o->replicates)
        take_claim_error(o, group, claim_index, &row->verdict);
    row->gap_p05 = claim_gap(about, claim, ROW_P05);
    row->gap_p10 = claim_gap(about, claim, ROW_P10);
    row->median_gap = claim_gap(about, claim, ROW_P50);
    row->gap_p90 = claim_gap(about, claim, ROW_P90);
    row->gap_p95 = claim_gap(about, claim, ROW_P95);
    return row->quantity != NULL;
}

/* Generalised least squares over the routes with their joint covariance from the same samples. */
static void fill_consensus(struct packspan_results *r, size_t group, const struct result_group *g,
                           size_t k)
{
    const struct run_outcome *o = &r->outcome;
    struct consensus_row *row = &r->consensus[r->consensus_count++];
    row->candidate = g->candidate;
    row->routes = &o->set->routes[k];
    size_t n = row->routes->count;
    struct route_moments m = {0};
    for (size_t c = 0; c < o->set->count; c++)
        if (group == GROUP_MIXTURE || c == group)
            route_moments_merge(&m, &o->candidates[c].routes[k], n);
    double covariance[ROUTES_MAX * ROUTES_MAX];
    double bias = g->effective > 1.0 ? g->effective / (g->effective - 1.0) : 1.0;
    for (size_t a = 0; a < n; a++)
        for (size_t b = 0; b <= a; b++)
            covariance[a * n + b] = covariance[b * n + a] = m.products[a][b] / m.weight * bias;
    row->known = consensus_make(n, m.mean, covariance, &row->consensus) == PACKSPAN_OK;
}

static bool describe_group(struct packspan_results *r, size_t group, const char *candidate)
{
    const struct run_outcome *o = &r->outcome;
    if (group != GROUP_MIXTURE && run_is_weightless(o, group))
        return true;
    struct result_group *g = &r->groups[r->group_count++];
    g->candidate = candidate;
    g->index = group;
    g->effective = group_effective(o, group);
    return describe_rows(r, group, g);
}

/* What rests on the rows. */
static bool fill_group(struct packspan_results *r, const struct result_group *g)
{
    const struct run_outcome *o = &r->outcome;
    bool ok = true;
    for (size_t k = 0; ok && k < o->set->source->claim_count; k++)
        ok = fill_claim(r, g->index, g, o->set->plans[0].claim_order[k]);
    for (size_t k = 0; ok && k < o->set->route_set_count; k++)
        fill_consensus(r, g->index, g, k);
    return ok;
}

static bool fill_groups(struct packspan_results *r, enum row_detail detail)
{
    const struct plan_set *set = r->outcome.set;
    const struct case_data *source = set->source;
    size_t groups = source->candidate_count + 1;
    r->groups = calloc(groups, sizeof *r->groups);
    r->rows = calloc(groups * (set->row_count + 1), sizeof *r->rows);
    r->claims = calloc(groups * (source->claim_count + 1), sizeof *r->claims);
    r->consensus = calloc(groups * (set->route_set_count + 1), sizeof *r->consensus);
    r->candidates = calloc(set->count, sizeof *r->candidates);
    r->observations = calloc(source->observation_count + 1, sizeof *r->observations);
    if (!r->groups || !r->rows || !r->claims || !r->consensus || !r->candidates || !r->observations)
        return false;
    bool ok = describe_group(r, GROUP_MIXTURE, source->candidate_count ? "mixture" : "");
    for (size_t c = 0; ok && c < source->candidate_count; c++)
        ok = describe_group(r, c, source->candidates[c].name);
    ok = ok && work_out_rows(r, detail);
    for (size_t i = 0; ok && i < r->group_count; i++)
        ok = fill_group(r, &r->groups[i]);
    if (set->weighted)
        belief_of_candidates(&r->outcome, r->candidates);
    return ok && belief_of_observations(&r->outcome, r->observations);
}

/* ---- warnings ---- */

const char *caution_text(enum caution c)
{
    static const char *const texts[CAUTIONS] = {
        [CAUTION_TRUNCATED] = "a distribution was cut off at the limits of its physical domain",
        [CAUTION_OUTSIDE] = "a result leaves its physical domain: the inputs disagree",
        [CAUTION_FEW] = "few effective samples: the evidence fits few",
        [CAUTION_HEAVY] = "one sample carries much of the weight",
        [CAUTION_INVALID] = "invalid samples were left out",
        [CAUTION_DEPENDENT] =
            "a route depends entirely on another and is left out of the consensus",
        [CAUTION_NEGATIVE] = "a route has a negative weight in the consensus",
        [CAUTION_WEIGHTLESS] = "a candidate carries next to no weight",
    };
    return texts[c];
}

static bool add_warning(struct packspan_results *r, char *text)
{
    for (size_t i = 0; text && i < r->warning_count; i++) {
        if (strcmp(r->warnings[i], text) == 0) { /* the same under another candidate */
            free(text);
            return true;
        }
    }
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

static bool add_caution(struct packspan_results *r, enum caution caution, char *text)
{
    r->cautions |= 1U << caution;
    return add_warning(r, text);
}

/* The design of a study is nothing to a run. */
static bool take_warnings_of(struct packspan_results *r, const struct problems *list)
{
    for (size_t i = 0; i < list->count; i++)
        if (!case_problem_is_of_design(r->outcome.set->source, &list->items[i]) &&
            !add_warning(r, problem_text(&list->items[i])))
            return false;
    return true;
}

/* "" or " under candidate 'NAME'"; malloc'd. */
static char *candidate_phrase(const struct plan *p)
{
    return p->candidate ? text_format(" under candidate '%s'", p->candidate->name) : text_copy("");
}

/* The candidate under which the row leaves its domain most often speaks for all. */
static bool warn_of_domain(struct packspan_results *r)
{
    const struct run_outcome *o = &r->outcome;
    const struct plan *p = &o->set->plans[0];
    for (size_t k = 0; k < o->set->row_count; k++) {
        double share = 0.0;
        for (size_t c = 0; c < o->set->count; c++)
            if (o->candidates[c].weight_units > 0)
                share = fmax(share, (double)o->candidates[c].outside[k] /
                                        (double)o->candidates[c].weight_units);
        if (share == 0.0)
            continue;
        const struct set_row *row = &o->set->rows[k];
        char *label = plan_label(p, row->quantity, row->trip);
        char *text = label
                         ? text_format("%s of '%s' leaves its physical domain in %s%.3g %% of the "
                                       "samples: the inputs disagree",
                                       label, plan_vehicle_name(p, row->vehicle),
                                       o->set->count > 1 ? "up to " : "", 100.0 * share)
                         : NULL;
        free(label);
        if (!add_caution(r, CAUTION_OUTSIDE, text))
            return false;
    }
    return true;
}

static bool warn_of_invalid(struct packspan_results *r, size_t c)
{
    const struct plan *p = &r->outcome.set->plans[c];
    for (size_t k = 0; k < p->node_count; k++) {
        uint64_t invalid = r->outcome.candidates[c].invalid_by_node[k];
        if (invalid == 0)
            continue;
        char *label = plan_label(p, p->nodes[k].quantity, p->nodes[k].trip),
             *where = candidate_phrase(p);
        char *text = label && where
                         ? text_format("%llu samples were left out because %s of '%s' was not "
                                       "positive or not finite%s",
                                       (unsigned long long)invalid, label,
                                       plan_vehicle_name(p, p->nodes[k].vehicle), where)
                         : NULL;
        free(label);
        free(where);
        if (!add_caution(r, CAUTION_INVALID, text))
            return false;
    }
    return true;
}

static bool warn_of_weights(struct packspan_results *r)
{
    const struct weight_sums *joint = &r->outcome.joint;
    if (!r->outcome.set->weighted)
        return true;
    double effective = effective_samples(joint), share = joint->largest / joint->sum;
    bool by_evidence = r->outcome.set->source->observation_count > 0;
    if (by_evidence && effective < EFFECTIVE_FEW &&
        !add_caution(r, CAUTION_FEW,
                     text_format("only %.0f effective samples: the evidence fits few; raise "
                                 "samples",
                                 effective)))
        return false;
    return !by_evidence || share <= HEAVIEST_SHARE ||
           add_caution(r, CAUTION_HEAVY,
                       text_format("one sample carries %.3g %% of the weight; raise samples",
                                   100.0 * share));
}

char *results_samples_advice(const struct settings *settings, uint64_t samples, bool *no_memory)
{
    uint64_t even = stream_even_samples(samples);
    if (!settings->sobol || samples == even)
        return NULL;
    char *text = text_format("Sobol' points are most even when samples is %d times a power of "
                             "two: take %llu instead of %llu",
                             SOBOL_BLOCK * REPLICATES, (unsigned long long)even,
                             (unsigned long long)samples);
    *no_memory = *no_memory || !text;
    return text;
}

static bool warn_of_sequence(struct packspan_results *r)
{
    const struct run_outcome *o = &r->outcome;
    bool no_memory = false;
    if (o->drawn < o->requested)
        return true;
    char *text = results_samples_advice(&o->set->source->settings, o->drawn, &no_memory);
    return text ? add_warning(r, text) : !no_memory;
}

static char *describe_unstable(const struct packspan_results *r, const struct stable_row *s)
{
    static const char *const names[STABLE_COUNT] = {
        [STABLE_MEAN] = "mean", [STABLE_SD] = "sd", [STABLE_LOW] = "p2.5", [STABLE_HIGH] = "p97.5"};
    const struct plan *p = &r->outcome.set->plans[0];
    const struct set_row *row = &r->outcome.set->rows[s->row];
    const char *unit = quantities[row->quantity].measure->table;
    unsigned digits = r->outcome.stability->digits;
    bool has_unit = strcmp(unit, "1") != 0;
    char *label = plan_label(p, row->quantity, row->trip);
    char *text = label ? text_format("%s of '%s' is not stable to %u digit%s yet: its %s is known "
                                     "to %.2g%s%s, and %.2g is wanted",
                                     label, plan_vehicle_name(p, row->vehicle), digits,
                                     digits == 1 ? "" : "s", names[s->worst], s->twice,
                                     has_unit ? " " : "", has_unit ? unit : "", s->tolerance)
                       : NULL;
    free(label);
    return text;
}

static bool warn_of_stability(struct packspan_results *r)
{
    const struct stability *s = r->outcome.stability;
    if (!s || s->reached)
        return true;
    if (!s->judged)
        return add_warning(r, text_copy("too few samples to tell whether the results are stable"));
    for (size_t i = 0; i < s->count; i++)
        if (!(s->rows[i].twice <= s->rows[i].tolerance) &&
            !add_warning(r, describe_unstable(r, &s->rows[i])))
            return false;
    return true;
}

static bool warn_of_consensus(struct packspan_results *r)
{
    for (size_t i = 0; i < r->consensus_count; i++) {
        const struct consensus_row *row = &r->consensus[i];
        const char *vehicle = packspan_consensus_vehicle(r, i);
        if (*row->candidate && strcmp(row->candidate, "mixture") != 0)
            continue;
        for (size_t k = 0; row->known && k < row->routes->count; k++) {
            const struct consensus_route *route = &row->consensus.route[k];
            char *text = NULL;
            enum caution caution = route->used ? CAUTION_NEGATIVE : CAUTION_DEPENDENT;
            if (!route->used)
                text = text_format("%s of '%s' depends entirely on %s and is left out of the "
                                   "consensus",
                                   packspan_consensus_route(r, i, k), vehicle,
                                   packspan_consensus_route(r, i, route->depends_on));
            else if (route->weight_negative)
                text = text_format("%s of '%s' has a negative weight in the consensus: it is less "
                                   "sure than a route that it is strongly correlated with",
                                   packspan_consensus_route(r, i, k), vehicle);
            else
                continue;
            if (!add_caution(r, caution, text))
                return false;
        }
    }
    return true;
}

static bool warn_of_weightless(struct packspan_results *r, size_t c)
{
    const struct plan *p = &r->outcome.set->plans[c];
    return !p->candidate || !run_is_weightless(&r->outcome, c) ||
           add_caution(r, CAUTION_WEIGHTLESS,
                       text_format("candidate '%s' carries next to no weight: the tables have "
                                   "no rows of its own",
                                   p->candidate->name));
}

static bool collect_warnings(struct packspan_results *r)
{
    const struct plan_set *set = r->outcome.set;
    bool ok =
        warn_of_sequence(r) && warn_of_stability(r) && warn_of_weights(r) && warn_of_consensus(r);
    for (size_t c = 0; ok && c < set->count; c++)
        ok = warn_of_weightless(r, c) && warn_of_invalid(r, c);
    ok = ok && warn_of_domain(r);
    ok = ok && take_warnings_of(r, &set->source->problems);
    for (size_t c = 0; ok && c < set->count; c++)
        ok = take_warnings_of(r, &set->plans[c].problems);
    return ok;
}

packspan_status results_make(struct run_outcome *outcome, enum row_detail detail,
                             struct packspan_results **out)
{
    struct packspan_results *r = calloc(1, sizeof *r);
    if (!r) {
        run_free(outcome);
        return PACKSPAN_NO_MEMORY;
    }
    r->outcome = *outcome;
    if (!fill_groups(r, detail) || !collect_warnings(r)) {
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
        row_clear(&r->rows[k]);
    for (size_t k = 0; k < r->claim_count; k++)
        free(r->claims[k].quantity);
    for (size_t k = 0; r->observations && k < r->outcome.set->source->observation_count; k++)
        free(r->observations[k].quantity);
    for (size_t k = 0; k < r->warning_count; k++)
        free(r->warnings[k]);
    free(r->groups);
    free(r->rows);
    free(r->claims);
    free(r->consensus);
    free(r->candidates);
    free(r->observations);
    free(r->warnings);
    free(r->failure);
    run_free(&r->outcome);
    free(r);
}

/* ---- the public functions ---- */

size_t packspan_results_count(const packspan_results *r)
{
    return r->row_count;
}

const char *packspan_results_text(const packspan_results *r, size_t i, packspan_row_field field)
{
    const struct result_row *row = &r->rows[i];
    switch (field) {
    case PACKSPAN_ROW_CANDIDATE:
        return row->candidate;
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
    return quantities[r->outcome.set->rows[r->rows[i].set_row].quantity].role == QUANTITY_STEP;
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
    return from_si(row_percentile(&r->outcome, &r->rows[i], p), r->rows[i].table_to_si);
}

size_t packspan_results_histogram(const packspan_results *r, size_t i, packspan_bin *bins)
{
    const struct result_row *row = &r->rows[i];
    _Static_assert((int)HISTOGRAM_BINS_MAX <= (int)PACKSPAN_BINS_MAX, "the caller has room");
    double total = (double)row->distribution.moments.count;
    bool weighted = r->outcome.set->weighted;
    for (size_t k = 0; k < row->bin_count; k++) {
        double count = (double)row->bins[k].count;
        bins[k] = (packspan_bin){from_si(row->bins[k].low, row->table_to_si),
                                 from_si(row->bins[k].high, row->table_to_si),
                                 weighted ? count / total * row->samples : count};
    }
    return row->bin_count;
}

/* Valid under every candidate. */
uint64_t packspan_results_samples(const packspan_results *r)
{
    uint64_t samples = r->outcome.drawn;
    for (size_t c = 0; c < r->outcome.set->count; c++)
        if (r->outcome.candidates[c].samples < samples)
            samples = r->outcome.candidates[c].samples;
    return samples;
}

unsigned packspan_results_stable(const packspan_results *r)
{
    const struct stability *s = r->outcome.stability;
    return s && s->reached ? s->digits : 0;
}

uint64_t packspan_results_sequences(const packspan_results *r)
{
    return r->outcome.stability ? r->outcome.stability->sequences : 0;
}

uint64_t packspan_results_invalid(const packspan_results *r)
{
    return r->outcome.drawn - packspan_results_samples(r);
}

double packspan_results_effective(const packspan_results *r)
{
    return r->groups[0].effective;
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
    case PACKSPAN_CLAIM_CANDIDATE:
        return row->candidate;
    case PACKSPAN_CLAIM_NAME:
        return row->claim->name;
    case PACKSPAN_CLAIM_VEHICLE:
        return plan_vehicle_name(&r->outcome.set->plans[0], row->claim->vehicle);
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
    case PACKSPAN_CLAIM_GAP_P10:
        return row->gap_p10;
    case PACKSPAN_CLAIM_GAP_P90:
        return row->gap_p90;
    case PACKSPAN_CLAIM_GAP_P95:
        return row->gap_p95;
    }
    return NAN;
}

size_t packspan_candidate_count(const packspan_results *r)
{
    return r->outcome.set->source->candidate_count;
}

const char *packspan_candidate_name(const packspan_results *r, size_t i)
{
    return r->candidates[i].name;
}

double packspan_candidate_number(const packspan_results *r, size_t i,
                                 packspan_candidate_value value)
{
    const struct candidate_row *row = &r->candidates[i];
    switch (value) {
    case PACKSPAN_CANDIDATE_PRIOR:
        return row->prior;
    case PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD:
        return row->mean_likelihood;
    case PACKSPAN_CANDIDATE_MEAN_LIKELIHOOD_ERROR:
        return row->mean_likelihood_error;
    case PACKSPAN_CANDIDATE_POSTERIOR:
        return row->posterior;
    case PACKSPAN_CANDIDATE_ODDS:
        return row->odds;
    case PACKSPAN_CANDIDATE_EFFECTIVE:
        return row->effective;
    case PACKSPAN_CANDIDATE_TELLING_FACTOR:
        return row->telling_factor;
    }
    return (double)NAN;
}

bool packspan_candidate_telling(const packspan_results *r, size_t i, size_t *observation)
{
    if (r->candidates[i].telling == SIZE_MAX)
        return false;
    *observation = r->candidates[i].telling;
    return true;
}

size_t packspan_observation_count(const packspan_results *r)
{
    return r->outcome.set->source->observation_count;
}

const char *packspan_observation_vehicle(const packspan_results *r, size_t i)
{
    return plan_vehicle_name(&r->outcome.set->plans[0], r->observations[i].observation->vehicle);
}

const char *packspan_observation_quantity(const packspan_results *r, size_t i)
{
    return r->observations[i].quantity;
}

const char *packspan_observation_unit(const packspan_results *r, size_t i)
{
    return r->observations[i].observation->unit;
}

double packspan_observation_number(const packspan_results *r, size_t i,
                                   packspan_observation_value value)
{
    const struct observation_row *row = &r->observations[i];
    switch (value) {
    case PACKSPAN_OBSERVATION_VALUE:
        return row->observation->value;
    case PACKSPAN_OBSERVATION_SD:
        return row->observation->sd;
    case PACKSPAN_OBSERVATION_LOW:
        return row->observation->low;
    case PACKSPAN_OBSERVATION_HIGH:
        return row->observation->high;
    case PACKSPAN_OBSERVATION_PRIOR_MEAN:
        return row->prior_mean;
    case PACKSPAN_OBSERVATION_PRIOR_SD:
        return row->prior_sd;
    case PACKSPAN_OBSERVATION_PERCENTILE:
        return row->percentile;
    case PACKSPAN_OBSERVATION_DISTANCE:
        return row->distance;
    case PACKSPAN_OBSERVATION_ENERGY_SHIFT:
        return row->shift[TARGET_USABLE_ENERGY];
    case PACKSPAN_OBSERVATION_RANGE_SHIFT:
        return row->shift[TARGET_LABEL_RANGE];
    }
    return (double)NAN;
}

size_t packspan_consensus_count(const packspan_results *r)
{
    return r->consensus_count;
}

static const struct consensus_row *consensus_row(const packspan_results *r, size_t i)
{
    return &r->consensus[i];
}

const char *packspan_consensus_vehicle(const packspan_results *r, size_t i)
{
    return plan_vehicle_name(&r->outcome.set->plans[0], consensus_row(r, i)->routes->vehicle);
}

const char *packspan_consensus_candidate(const packspan_results *r, size_t i)
{
    return consensus_row(r, i)->candidate;
}

/* J in the tables' unit. */
static double energy_in_table(const packspan_results *r, double joules)
{
    struct unit_factor unit;
    if (!unit_of_tables(r->outcome.set->source->units, Q_usable_energy, &unit))
        return (double)NAN;
    return joules / unit.scale;
}

double packspan_consensus_number(const packspan_results *r, size_t i,
                                 packspan_consensus_value value)
{
    const struct consensus_row *row = consensus_row(r, i);
    const struct consensus *c = &row->consensus;
    bool tested = c->dof > 0;
    if (!row->known)
        return (double)NAN;
    switch (value) {
    case PACKSPAN_CONSENSUS_MEAN:
        return energy_in_table(r, c->value);
    case PACKSPAN_CONSENSUS_SD:
        return energy_in_table(r, c->u);
    case PACKSPAN_CONSENSUS_CHI_SQUARED:
        return tested ? c->chi_squared : (double)NAN;
    case PACKSPAN_CONSENSUS_DEGREES_OF_FREEDOM:
        return tested ? (double)c->dof : (double)NAN;
    case PACKSPAN_CONSENSUS_PROBABILITY:
        return tested ? c->probability : (double)NAN;
    case PACKSPAN_CONSENSUS_RANDOM_EFFECTS_MEAN:
        return energy_in_table(r, c->random_effects.value);
    case PACKSPAN_CONSENSUS_RANDOM_EFFECTS_SD:
        return energy_in_table(r, c->random_effects.u);
    }
    return (double)NAN;
}

bool packspan_consensus_holds(const packspan_results *r, size_t i)
{
    const struct consensus *c = &consensus_row(r, i)->consensus;
    return consensus_row(r, i)->known && c->consistent && c->dependent_disagrees == 0;
}

const char *packspan_consensus_verdict(const packspan_results *r, size_t i)
{
    const struct consensus_row *row = consensus_row(r, i);
    if (row->routes->count == 1)
        return "one route";
    if (!row->known)
        return "not tested";
    if (!packspan_consensus_holds(r, i))
        return "inconsistent";
    return row->consensus.dof > 0 ? "consistent" : "one route";
}

size_t packspan_consensus_route_count(const packspan_results *r, size_t i)
{
    return consensus_row(r, i)->routes->count;
}

const char *packspan_consensus_route(const packspan_results *r, size_t i, size_t k)
{
    const struct consensus_row *row = consensus_row(r, i);
    return quantities[r->outcome.set->rows[row->routes->rows[k]].quantity].name;
}

/* There is no other route, or none that does not depend on it. */
static bool is_only_route(const struct consensus_row *row, size_t k)
{
    const struct consensus *c = &row->consensus;
    return row->routes->count == 1 || (row->known && c->dof == 0 && c->route[k].used);
}

double packspan_consensus_route_number(const packspan_results *r, size_t i, size_t k,
                                       packspan_consensus_route_value value)
{
    const struct consensus_row *row = consensus_row(r, i);
    const struct consensus_route *route = &row->consensus.route[k];
    if (!row->known)
        return (double)NAN;
    if (value == PACKSPAN_ROUTE_WEIGHT)
        return route->weight;
    return is_only_route(row, k) ? (double)NAN : route->normalised;
}

bool packspan_consensus_route_disagrees(const packspan_results *r, size_t i, size_t k)
{
    return consensus_row(r, i)->known && consensus_row(r, i)->consensus.route[k].disagrees;
}

const char *packspan_consensus_route_verdict(const packspan_results *r, size_t i, size_t k)
{
    const struct consensus_row *row = consensus_row(r, i);
    if (is_only_route(row, k))
        return "one route";
    if (!row->known)
        return "not tested";
    return row->consensus.route[k].disagrees ? "stands apart" : "consistent";
}

bool packspan_consensus_route_rests_on(const packspan_results *r, size_t i, size_t k, size_t *other)
{
    const struct consensus_row *row = consensus_row(r, i);
    if (!row->known || row->consensus.route[k].used)
        return false;
    *other = row->consensus.route[k].depends_on;
    return true;
}
