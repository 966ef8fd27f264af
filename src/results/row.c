#include "results/row.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "engine/replicates.h"

const char *packspan_statistic_name(packspan_statistic statistic)
{
    static const char *const names[PACKSPAN_STATISTIC_COUNT] = {
        [PACKSPAN_MEAN] = "mean",
        [PACKSPAN_SD] = "sd",
        [PACKSPAN_P01] = "p01",
        [PACKSPAN_P05] = "p05",
        [PACKSPAN_P10] = "p10",
        [PACKSPAN_P25] = "p25",
        [PACKSPAN_P50] = "p50",
        [PACKSPAN_P75] = "p75",
        [PACKSPAN_P90] = "p90",
        [PACKSPAN_P95] = "p95",
        [PACKSPAN_P99] = "p99",
        [PACKSPAN_SHORTEST95_LOW] = "shortest95_low",
        [PACKSPAN_SHORTEST95_HIGH] = "shortest95_high",
        [PACKSPAN_MIN] = "min",
        [PACKSPAN_MAX] = "max",
        [PACKSPAN_MEAN_ERROR] = "mean_error",
        [PACKSPAN_P05_ERROR] = "p05_error",
        [PACKSPAN_P50_ERROR] = "p50_error",
        [PACKSPAN_P95_ERROR] = "p95_error",
    };
    return names[statistic];
}

/* The smallest value with at least the share p at or below it. */
static double spike_percentile(const struct result_row *row, double p)
{
    double total = 0.0, sum = 0.0;
    for (size_t i = 0; i < row->spike_count; i++)
        total += row->spikes[i].weight;
    for (size_t i = 0; i + 1 < row->spike_count; i++) {
        sum += row->spikes[i].weight;
        if (sum >= p * total)
            return row->spikes[i].value;
    }
    return row->spikes[row->spike_count - 1].value;
}

/* While the counts are there. */
static double percentile(const struct result_row *row, double p)
{
    return row->spikes ? spike_percentile(row, p) : distribution_percentile(&row->distribution, p);
}

static double percentile_error(const struct result_row *row, double p)
{
    if (!row->spikes)
        return distribution_percentile_error(&row->distribution, p);
    double reach = sqrt(p * (1.0 - p) / row->distribution.effective);
    return 0.5 * (spike_percentile(row, p + reach) - spike_percentile(row, p - reach));
}

/* Of spikes: the narrowest run of them that holds 95 %. */
static void shortest95(const struct result_row *row, double *low, double *high)
{
    if (!row->spikes) {
        distribution_shortest95(&row->distribution, low, high);
        return;
    }
    double total = 0.0;
    for (size_t i = 0; i < row->spike_count; i++)
        total += row->spikes[i].weight;
    *low = row->spikes[0].value;
    *high = row->spikes[row->spike_count - 1].value;
    for (size_t i = 0; i < row->spike_count; i++) {
        double sum = 0.0;
        for (size_t j = i; j < row->spike_count; j++) {
            sum += row->spikes[j].weight;
            if (sum >= 0.95 * total && row->spikes[j].value - row->spikes[i].value < *high - *low) {
                *low = row->spikes[i].value;
                *high = row->spikes[j].value;
            }
        }
    }
}

static size_t histogram(const struct result_row *row, struct histogram_bin *bins)
{
    if (!row->spikes)
        return distribution_histogram(&row->distribution, bins);
    size_t n = row->spike_count < HISTOGRAM_BINS_MAX ? row->spike_count : HISTOGRAM_BINS_MAX;
    for (size_t i = 0; i < n; i++)
        bins[i] = (struct histogram_bin){row->spikes[i].value, row->spikes[i].value,
                                         (uint64_t)row->spikes[i].weight};
    for (size_t i = n; i < row->spike_count; i++) /* more candidates than bins */
        bins[n - 1] = (struct histogram_bin){bins[n - 1].low, row->spikes[i].value,
                                             bins[n - 1].count + (uint64_t)row->spikes[i].weight};
    return n;
}

/* What the spread of the replicates tells takes the place of the errors of independent samples. */
static void take_replicates(const struct run_outcome *outcome, struct result_row *row)
{
    size_t from = row->from, to = row->to;
    static const struct {
        packspan_statistic statistic;
        enum mark mark;
        double p;
    } percentiles[] = {{PACKSPAN_P05_ERROR, MARK_P05, 0.05},
                       {PACKSPAN_P50_ERROR, MARK_P50, 0.50},
                       {PACKSPAN_P95_ERROR, MARK_P95, 0.95}};
    const struct replicates *r = outcome->replicates;
    double scale = row->table_to_si.scale, mean = replicates_mean_error(r, from, to, row->set_row);
    if (!isnan(mean))
        row->values[PACKSPAN_MEAN_ERROR] = mean / scale;
    for (size_t i = 0; i < sizeof percentiles / sizeof percentiles[0] && !row->spikes; i++) {
        double p = percentiles[i].p;
        double reach = replicates_share_error(r, from, to, row->set_row, percentiles[i].mark);
        if (!isnan(reach))
            row->values[percentiles[i].statistic] =
                0.5 * (percentile(row, p + reach) - percentile(row, p - reach)) / scale;
    }
}

/* What every row has; the percentiles stay in SI too. */
static void fill_brief(struct result_row *row)
{
    static const struct {
        packspan_statistic statistic;
        double p;
    } percentiles[ROW_PERCENTILES] = {
        [ROW_P05] = {PACKSPAN_P05, 0.05}, [ROW_P10] = {PACKSPAN_P10, 0.10},
        [ROW_P25] = {PACKSPAN_P25, 0.25}, [ROW_P50] = {PACKSPAN_P50, 0.50},
        [ROW_P75] = {PACKSPAN_P75, 0.75}, [ROW_P90] = {PACKSPAN_P90, 0.90},
        [ROW_P95] = {PACKSPAN_P95, 0.95}};
    const struct moments *m = &row->distribution.moments;
    struct unit_factor unit = row->table_to_si;
    double sd = distribution_sd(&row->distribution);
    for (int i = 0; i < PACKSPAN_STATISTIC_COUNT; i++)
        row->values[i] = (double)NAN;
    row->values[PACKSPAN_MEAN] = from_si(m->mean, unit);
    row->values[PACKSPAN_SD] = sd / unit.scale;
    row->values[PACKSPAN_MEAN_ERROR] = sd / sqrt(row->distribution.effective) / unit.scale;
    row->values[PACKSPAN_MIN] = from_si(m->min, unit);
    row->values[PACKSPAN_MAX] = from_si(m->max, unit);
    for (size_t i = 0; i < ROW_PERCENTILES; i++) {
        row->percentiles[i] = percentile(row, percentiles[i].p);
        row->values[percentiles[i].statistic] = from_si(row->percentiles[i], unit);
    }
}

static void fill_rest(const struct run_outcome *outcome, struct result_row *row)
{
    static const struct {
        packspan_statistic statistic;
        double p;
    } errors[] = {
        {PACKSPAN_P05_ERROR, 0.05}, {PACKSPAN_P50_ERROR, 0.50}, {PACKSPAN_P95_ERROR, 0.95}};
    struct unit_factor unit = row->table_to_si;
    double low, high;
    shortest95(row, &low, &high);
    row->values[PACKSPAN_P01] = from_si(percentile(row, 0.01), unit);
    row->values[PACKSPAN_P99] = from_si(percentile(row, 0.99), unit);
    row->values[PACKSPAN_SHORTEST95_LOW] = from_si(low, unit);
    row->values[PACKSPAN_SHORTEST95_HIGH] = from_si(high, unit);
    for (size_t i = 0; i < sizeof errors / sizeof errors[0]; i++)
        row->values[errors[i].statistic] = percentile_error(row, errors[i].p) / unit.scale;
    if (outcome->replicates)
        take_replicates(outcome, row);
}

static bool fill_histogram(struct result_row *row)
{
    struct histogram_bin bins[HISTOGRAM_BINS_MAX];
    row->bin_count = histogram(row, bins);
    row->bins = calloc(row->bin_count + 1, sizeof *row->bins);
    for (size_t i = 0; row->bins && i < row->bin_count; i++)
        row->bins[i] = bins[i];
    return row->bins;
}

static const char *kind_of(const struct plan_node *node)
{
    if (node->kind == NODE_INPUT || node->kind == NODE_FALLBACK)
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

static int compare_spikes(const void *a, const void *b)
{
    double x = ((const struct spike *)a)->value, y = ((const struct spike *)b)->value;
    return (x > y) - (x < y);
}

/* The values of candidates from .. to - 1, equal ones joined. */
static bool fill_spikes(const struct run_outcome *outcome, struct result_row *row)
{
    size_t set_row = row->set_row, from = row->from, to = row->to;
    row->spikes = calloc(to - from, sizeof *row->spikes);
    if (!row->spikes)
        return false;
    for (size_t c = from; c < to; c++) {
        const struct moments *m = &outcome->candidates[c].moments[set_row];
        if (m->count > 0)
            row->spikes[row->spike_count++] = (struct spike){m->mean, (double)m->count};
    }
    qsort(row->spikes, row->spike_count, sizeof *row->spikes, compare_spikes);
    size_t kept = 0;
    for (size_t i = 0; i < row->spike_count; i++) {
        if (kept > 0 && row->spikes[kept - 1].value == row->spikes[i].value)
            row->spikes[kept - 1].weight += row->spikes[i].weight;
        else
            row->spikes[kept++] = row->spikes[i];
    }
    row->spike_count = kept;
    return kept > 0;
}

/* ---- rows ---- */

bool row_describe(const struct run_outcome *outcome, size_t set_row, size_t group, double effective,
                  struct result_row *row)
{
    const struct plan_set *set = outcome->set;
    const struct set_row *about = &set->rows[set_row];
    const struct plan *some = &set->plans[0];
    row->set_row = set_row;
    row->from = group == GROUP_MIXTURE ? 0 : group;
    row->to = group == GROUP_MIXTURE ? set->count : group + 1;
    row->vehicle = plan_vehicle_name(some, about->vehicle);
    row->kind = kind_of(plan_set_some_node(set, set_row));
    row->quantity = plan_label(some, about->quantity, about->trip);
    row->measure = quantities[about->quantity].measure;
    row->screen_unit = set->source->settings.us_units ? row->measure->us : row->measure->metric;
    row->distribution.effective = effective;
    row->samples = (double)outcome->candidates[row->from].samples;
    for (size_t c = row->from; c < row->to; c++) /* the same samples under each candidate */
        row->samples = fmin(row->samples, (double)outcome->candidates[c].samples);
    return row->quantity;
}

static const struct bin_layout *layout_of(const struct run_outcome *outcome,
                                          const struct result_row *row)
{
    return row->to - row->from > 1 ? outcome->layouts[row->set_row]
                                   : run_layout(outcome, row->from, row->set_row);
}

bool row_room_open(const struct run_outcome *outcome, struct row_room *room)
{
    size_t most = 0;
    for (size_t k = 0; k < outcome->set->row_count; k++) {
        if (outcome->layouts[k])
            most = bin_layout_size(outcome->layouts[k]) > most
                       ? bin_layout_size(outcome->layouts[k])
                       : most;
        for (size_t c = 0; c < outcome->set->count; c++) {
            const struct bin_layout *layout = run_layout(outcome, c, k);
            most = layout && bin_layout_size(layout) > most ? bin_layout_size(layout) : most;
        }
    }
    *room = (struct row_room){.below = malloc((most + 1) * sizeof *room->below),
                              .pilot_below = malloc((most + 1) * sizeof *room->pilot_below)};
    return room->below && room->pilot_below;
}

void row_room_close(struct row_room *room)
{
    free(room->below);
    free(room->pilot_below);
}

/* The distribution with its counts, which lie in the room. */
static struct distribution cumulate(const struct run_outcome *outcome, const struct result_row *row,
                                    struct row_room *room)
{
    struct distribution d = row->distribution;
    run_cumulate(outcome, row->set_row, row->from, row->to, room->below);
    if (room->layout != d.layout)
        bin_layout_cumulate(d.layout, room->pilot_below);
    room->layout = d.layout;
    d.below = room->below;
    d.pilot_below = room->pilot_below;
    return d;
}

bool row_work_out(const struct run_outcome *outcome, enum row_detail detail, struct row_room *room,
                  struct result_row *row)
{
    struct distribution *d = &row->distribution;
    moments_init(&d->moments);
    for (size_t c = row->from; c < row->to; c++)
        moments_merge(&d->moments, &outcome->candidates[c].moments[row->set_row]);
    if (outcome->set->rows[row->set_row].fixed) {
        if (!fill_spikes(outcome, row))
            return false;
    } else {
        d->layout = layout_of(outcome, row);
        *d = cumulate(outcome, row, room);
    }
    fill_brief(row);
    if (detail == ROW_FULL)
        fill_rest(outcome, row);
    bool filled = detail != ROW_FULL || fill_histogram(row);
    d->below = NULL;
    d->pilot_below = NULL;
    return filled;
}

double row_percentile(const struct run_outcome *outcome, const struct result_row *row, double p)
{
    struct row_room room = {0};
    double value = (double)NAN;
    if (row->spikes)
        return spike_percentile(row, p);
    if (row_room_open(outcome, &room)) {
        struct distribution d = cumulate(outcome, row, &room);
        value = distribution_percentile(&d, p);
    }
    row_room_close(&room);
    return value;
}

void row_clear(struct result_row *row)
{
    free(row->quantity);
    free(row->spikes);
    free(row->bins);
}
