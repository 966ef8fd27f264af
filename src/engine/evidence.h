/* What observations make of the samples: likelihoods, and sums that tell where each observation
 * stood and what it moved. */
#ifndef PACKSPAN_ENGINE_EVIDENCE_H
#define PACKSPAN_ENGINE_EVIDENCE_H

#include "draw/curve.h"
#include "engine/tally.h"
#include "model/plan_set.h"

/* What an observation may move. */
enum evidence_target { TARGET_USABLE_ENERGY, TARGET_LABEL_RANGE, TARGET_COUNT };
enum quantity_id evidence_target_quantity(enum evidence_target target);

/* Sums over valid samples that are not weighted yet (the prior predictive distribution). A
 * likelihood here is that of the observation alone, relative to a perfect fit. */
struct observation_sums {
    struct moments values;      /* of the observed quantity */
    double below;               /* samples under the observed value (an interval's middle) */
    double likelihood;          /* sum */
    double best;                /* largest logarithm */
    double moved[TARGET_COUNT]; /* sum of likelihood times target */
};

struct evidence_sums {
    double samples;
    double target[TARGET_COUNT]; /* sums of the targets' values; NaN where there is none */
};

/* log_weights[i] = sum over the observations of log(likelihood relative to a perfect fit): -z^2/2
 * for a reading, 0 inside and -infinity outside an interval. `columns` are [node]. */
void evidence_log_weights(const struct plan *p, const double *const *columns, size_t n,
                          double *log_weights);

/* The normal distribution function as a curve, for evidence_sum(). False when out of memory; free
 * its knots. */
bool evidence_curve_open(struct curve *below);
/* Sums over one block; `sums` has one entry an observation, whose quantity's column is
 * observed[observation]. targets[k] is a column or NULL. */
void evidence_sum(const struct case_data *c, const struct curve *below,
                  const double *const *observed, const double *const targets[TARGET_COUNT],
                  size_t n, struct observation_sums *sums, struct evidence_sums *all);
void evidence_sums_init(struct observation_sums *sums, size_t count, struct evidence_sums *all);
void evidence_sums_merge(struct observation_sums *into, const struct observation_sums *part,
                         size_t count, struct evidence_sums *all, const struct evidence_sums *more);

/* log of the likelihood of a perfect fit, in the rows' own units: -log(sd sqrt(2 pi)) for a
 * reading, 0 for an interval (the probability of falling into it), summed. */
double evidence_log_scale(const struct case_data *c);

#endif
