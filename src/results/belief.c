#include "results/belief.h"

#include <math.h>

#include "engine/replicates.h"
#include "results/row.h"

/* Mean likelihood of one observation alone. */
static double likelihood_alone(const struct candidate_outcome *o, size_t observation)
{
    return o->observations[observation].likelihood / o->evidence.samples;
}

/* The same over all candidates, by their priors. */
static double likelihood_over_all(const struct run_outcome *outcome, size_t observation)
{
    double sum = 0.0;
    for (size_t c = 0; c < outcome->set->count; c++)
        sum += outcome->set->priors[c] * likelihood_alone(&outcome->candidates[c], observation);
    return sum;
}

/* Of the mean weight: by the replicates' spread, or as that of independent samples. */
static double likelihood_error(const struct run_outcome *outcome, size_t c)
{
    const struct candidate_outcome *o = &outcome->candidates[c];
    double n = (double)o->samples, mean = o->weights.sum / n;
    double error =
        outcome->replicates ? replicates_likelihood_error(outcome->replicates, c) : (double)NAN;
    return isnan(error) ? sqrt(fmax(o->weights.squares / n - mean * mean, 0.0) / n) : error;
}

/* The observation whose factor is farthest from 1. */
static void find_telling(const struct run_outcome *outcome, size_t c, struct candidate_row *row)
{
    row->telling = SIZE_MAX;
    row->telling_factor = 1.0;
    double most = 0.0;
    for (size_t k = 0; k < outcome->set->source->observation_count; k++) {
        double factor =
            likelihood_alone(&outcome->candidates[c], k) / likelihood_over_all(outcome, k);
        double distance = fabs(log(factor));
        if (distance > most) {
            most = distance;
            row->telling = k;
            row->telling_factor = factor;
        }
    }
}

void belief_of_candidates(const struct run_outcome *outcome, struct candidate_row *rows)
{
    const struct plan_set *set = outcome->set;
    double log_scale = evidence_log_scale(set->source);
    double total = 0.0, best = 0.0;
    for (size_t c = 0; c < set->count; c++) {
        const struct candidate_outcome *o = &outcome->candidates[c];
        struct candidate_row *row = &rows[c];
        double n = (double)o->samples, mean = o->weights.sum / n;
        row->name = set->plans[c].candidate ? set->plans[c].candidate->name : "";
        row->prior = set->priors[c];
        double scale = exp(o->log_reference + log_scale - log(set->priors[c]));
        row->mean_likelihood = mean * scale;
        row->mean_likelihood_error = likelihood_error(outcome, c) * scale;
        row->posterior = mean * exp(o->log_reference - outcome->log_reference);
        row->effective = effective_samples(&o->weights);
        total += row->posterior;
        best = fmax(best, row->posterior);
        find_telling(outcome, c, row);
    }
    for (size_t c = 0; c < set->count; c++) {
        rows[c].odds = rows[c].posterior / best;
        rows[c].posterior /= total;
    }
}

/* Sums over candidates by their priors, before any evidence. */
static void observation_before(const struct run_outcome *outcome, size_t k,
                               struct observation_row *row)
{
    const struct plan_set *set = outcome->set;
    const struct observation *o = row->observation;
    double mean = 0.0, square = 0.0, below = 0.0, value, sd;
    for (size_t c = 0; c < set->count; c++) {
        const struct candidate_outcome *found = &outcome->candidates[c];
        const struct moments *m = &found->observations[k].values;
        mean += set->priors[c] * m->mean;
        below += set->priors[c] * found->observations[k].below / found->evidence.samples;
    }
    for (size_t c = 0; c < set->count; c++) {
        const struct moments *m = &outcome->candidates[c].observations[k].values;
        double gap = m->mean - mean;
        square += set->priors[c] * (m->squares / (double)m->count + gap * gap);
    }
    observation_reading(o, &value, &sd);
    row->prior_mean = from_si(mean, o->to_si);
    row->prior_sd = sqrt(square) / o->to_si.scale;
    row->percentile = 100.0 * below;
    row->distance = (value - mean) / sqrt(square + sd * sd);
}

/* Sums over all samples differ by this share from nothing but rounding. */
static const double sum_rounding = 1e-12;

/* What the observation alone moves the mean of a target by, table unit. */
static double shift_alone(const struct run_outcome *outcome, size_t k, enum evidence_target t)
{
    const struct plan_set *set = outcome->set;
    struct unit_factor unit;
    double before = 0.0, moved = 0.0, weight = 0.0;
    for (size_t c = 0; c < set->count; c++) {
        const struct candidate_outcome *o = &outcome->candidates[c];
        double share = set->priors[c] / o->evidence.samples;
        before += share * o->evidence.target[t];
        moved += share * o->observations[k].moved[t];
        weight += share * o->observations[k].likelihood;
    }
    double shift = moved / weight - before;
    if (!unit_of_tables(set->source->units, evidence_target_quantity(t), &unit))
        return (double)NAN;
    return fabs(shift) <= sum_rounding * fabs(before) ? 0.0 : shift / unit.scale;
}

bool belief_of_observations(const struct run_outcome *outcome, struct observation_row *rows)
{
    const struct case_data *source = outcome->set->source;
    for (size_t k = 0; k < source->observation_count; k++) {
        struct observation_row *row = &rows[k];
        row->observation = &source->observations[k];
        row->quantity =
            plan_label(&outcome->set->plans[0], row->observation->quantity, row->observation->trip);
        if (!row->quantity)
            return false;
        observation_before(outcome, k, row);
        for (int t = 0; t < TARGET_COUNT; t++)
            row->shift[t] = shift_alone(outcome, k, (enum evidence_target)t);
    }
    return true;
}
