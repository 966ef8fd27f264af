#include "engine/stability.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "draw/stream.h"

/* JCGM 101, 7.9.4 b): M = max(J, 10^4), J being the least number not below 100 / (1 - p). The
 * replicates of Sobol' points together shall have J each. */
enum { SEQUENCE_TRIALS = 10000, ENDS_TRIALS = 2000, ROUND_MIN = SOBOL_BLOCK * REPLICATES };

double numerical_tolerance(double u, unsigned digits)
{
    char text[64];
    if (!(u > 0.0) || digits == 0)
        return 0.0;
    snprintf(text, sizeof text, "%.*e", (int)digits - 1, u);
    long exponent = strtol(strchr(text, 'e') + 1, NULL, 10);
    return 0.5 * pow(10.0, (double)exponent - (double)digits + 1.0);
}

/* ---- the rows that matter ---- */

static bool is_result(const struct plan_set *set, size_t row)
{
    const struct set_row *about = &set->rows[row];
    const struct plan_node *node = plan_set_some_node(set, row);
    return about->vehicle == set->source->subject && node->kind != NODE_INPUT &&
           node->kind != NODE_FALLBACK && quantities[about->quantity].role != QUANTITY_STEP;
}

static bool is_claimed(const struct plan_set *set, size_t row)
{
    const struct set_row *about = &set->rows[row];
    for (size_t k = 0; k < set->source->claim_count; k++) {
        const struct claim *claim = &set->source->claims[k];
        if (claim->quantity == about->quantity && claim->trip == about->trip &&
            (claim->vehicle == about->vehicle || about->vehicle == VEHICLE_ALL))
            return true;
    }
    return false;
}

static bool matters(const struct plan_set *set, size_t row)
{
    const struct set_row *about = &set->rows[row];
    return about->everywhere && !about->fixed && (is_result(set, row) || is_claimed(set, row));
}

packspan_status stability_open(const struct plan_set *set, struct stability **out)
{
    const struct settings *settings = &set->source->settings;
    struct stability *s = calloc(1, sizeof *s);
    if (!s)
        return PACKSPAN_NO_MEMORY;
    *s = (struct stability){.set = set, .digits = settings->stable, .is_sobol = settings->sobol};
    s->sequences = s->is_sobol ? REPLICATES : 0;
    s->rows = calloc(set->row_count + 1, sizeof *s->rows);
    for (size_t row = 0; s->rows && row < set->row_count; row++) {
        struct unit_factor to_si = {1.0, 0.0};
        if (!matters(set, row))
            continue;
        if (!unit_of_tables(set->source->units, set->rows[row].quantity, &to_si)) {
            stability_free(s);
            return PACKSPAN_NO_MEMORY;
        }
        s->rows[s->count++] = (struct stable_row){.row = row, .unit = to_si.scale};
    }
    if (!s->rows) {
        stability_free(s);
        return PACKSPAN_NO_MEMORY;
    }
    *out = s;
    return PACKSPAN_OK;
}

void stability_free(struct stability *s)
{
    if (s)
        free(s->rows);
    free(s);
}

void stability_watch(const struct stability *s, struct replicates *r)
{
    memset(r->watched, 0, s->set->row_count * sizeof *r->watched);
    for (size_t i = 0; i < s->count; i++)
        r->watched[s->rows[i].row] = true;
}

/* ---- sequences ---- */

/* What one sequence gave: mean, standard deviation, and the shares below the pilot's ends. */
static void sequence_gives(const struct replicates *r, size_t replicate, size_t row,
                           double given[STABLE_COUNT])
{
    size_t all = r->set->count;
    struct moments m = replicates_moments(r, replicate, 0, all, row);
    given[STABLE_MEAN] = m.mean;
    given[STABLE_SD] = moments_sd(&m);
    given[STABLE_LOW] = replicates_share(r, replicate, 0, all, row, MARK_P025);
    given[STABLE_HIGH] = replicates_share(r, replicate, 0, all, row, MARK_P975);
}

/* Welford's update with the n-th value. */
static void spread_take(struct spread *s, double value, double n)
{
    double gap = value - s->mean;
    s->mean += gap / n;
    s->squares += gap * (value - s->mean);
}

static void close_sequence(struct stability *s, struct replicates *r)
{
    s->sequences++;
    for (size_t i = 0; i < s->count; i++) {
        double given[STABLE_COUNT];
        sequence_gives(r, 0, s->rows[i].row, given);
        for (int k = 0; k < STABLE_COUNT; k++)
            spread_take(&s->rows[i].spread[k], given[k], (double)s->sequences);
    }
    replicates_clear(r, 0);
    s->since = (struct weight_sums){0};
}

void stability_step(struct stability *s, struct replicates *r, const struct weight_sums *weights)
{
    s->since.sum += weights->sum;
    s->since.squares += weights->squares;
    if (effective_samples(&s->since) >= SEQUENCE_TRIALS)
        close_sequence(s, r);
}

bool stability_can_judge(const struct stability *s, double effective)
{
    return s->is_sobol ? effective >= (double)(ENDS_TRIALS * REPLICATES) : s->sequences >= 2;
}

/* Of Sobol' points at every doubling, when they are even. */
bool stability_is_due(const struct stability *s, uint64_t drawn)
{
    uint64_t points = drawn / ROUND_MIN;
    return !s->is_sobol || (drawn % ROUND_MIN == 0 && (points & (points - 1)) == 0);
}

/* ---- judging ---- */

/* Standard deviation of the mean of a statistic over h sequences. */
static double deviation_of_mean(const struct stability *s, const struct replicates *r,
                                const struct stable_row *row, enum stable_statistic k)
{
    struct spread spread = row->spread[k];
    double h = (double)s->sequences;
    if (s->is_sobol) {
        spread = (struct spread){0};
        for (size_t i = 0; i < r->count; i++) {
            double given[STABLE_COUNT];
            sequence_gives(r, i, row->row, given);
            spread_take(&spread, given[k], (double)i + 1.0);
        }
    }
    return sqrt(spread.squares / (h * (h - 1.0)));
}

static void note(struct stable_row *row, enum stable_statistic k, double twice)
{
    bool worse = !(twice <= row->twice);
    row->worst = worse ? k : row->worst;
    row->twice = worse ? twice : row->twice;
}

bool stability_judge_moments(struct stability *s, const struct replicates *r, size_t i,
                             const struct moments *all)
{
    struct stable_row *row = &s->rows[i];
    row->tolerance = numerical_tolerance(moments_sd(all) / row->unit, s->digits);
    row->twice = 0.0;
    row->worst = STABLE_MEAN;
    for (int k = STABLE_MEAN; k <= STABLE_SD; k++)
        note(row, (enum stable_statistic)k,
             2.0 * deviation_of_mean(s, r, row, (enum stable_statistic)k) / row->unit);
    return row->twice <= row->tolerance;
}

bool stability_judge(struct stability *s, const struct replicates *r, size_t i,
                     const struct distribution *all)
{
    static const struct {
        enum stable_statistic statistic;
        double p;
    } ends[] = {{STABLE_LOW, 0.025}, {STABLE_HIGH, 0.975}};
    struct stable_row *row = &s->rows[i];
    stability_judge_moments(s, r, i, &all->moments);
    for (size_t k = 0; k < sizeof ends / sizeof ends[0]; k++) {
        double p = ends[k].p, reach = deviation_of_mean(s, r, row, ends[k].statistic);
        double width =
            distribution_percentile(all, p + reach) - distribution_percentile(all, p - reach);
        note(row, ends[k].statistic, width / row->unit);
    }
    return row->twice <= row->tolerance;
}
