/* When a run may stop: the adaptive procedure of JCGM 101:2008, 7.9, on the rows of the mixture
 * that matter. Its sequences of trials are the replicates of Sobol' points, or as many blocks of
 * pseudo-random samples as it takes for 10^4 trials. A sequence's end of the probabilistically
 * symmetric 95 % interval is told by its share of weight below the pilot's end, and the spread of
 * these shares is turned into that of the end by the distribution of all samples. */
#ifndef PACKSPAN_ENGINE_STABILITY_H
#define PACKSPAN_ENGINE_STABILITY_H

#include "engine/replicates.h"

enum stable_statistic { STABLE_MEAN, STABLE_SD, STABLE_LOW, STABLE_HIGH, STABLE_COUNT };

/* Mean and squared deviations of what the sequences gave. */
struct spread {
    double mean, squares;
};

struct stable_row {
    size_t row;
    double unit; /* of the tables, in SI: the tolerance is decimal */
    struct spread spread[STABLE_COUNT];
    /* The statistic that is farthest from being stable: twice the standard deviation of its mean
     * over the sequences, and the tolerance, table unit. */
    enum stable_statistic worst;
    double twice, tolerance;
};

struct stability {
    const struct plan_set *set;
    unsigned digits;
    bool is_sobol;
    uint64_t sequences;
    struct weight_sums since; /* of the sequence that is going on */
    struct stable_row *rows;
    size_t count;
    bool judged, reached; /* false: there are too few samples yet to tell */
};

/* The rows that matter are those of the subject that are results and no mere steps, and every row
 * that a claim is about; fixed ones are stable anyway. */
packspan_status stability_open(const struct plan_set *set, struct stability **out);
void stability_free(struct stability *s);
/* replicates->watched becomes what stability needs. */
void stability_watch(const struct stability *s, struct replicates *r);

/* After each block that was added to replicate 0: closes the sequence, and clears the replicate,
 * when it is long enough. `weights` are those of the block's samples. */
void stability_step(struct stability *s, struct replicates *r, const struct weight_sums *weights);

/* True when the samples, being worth so many independent ones, are enough to judge. */
bool stability_can_judge(const struct stability *s, double effective);
/* True when their number is one at which to judge. */
bool stability_is_due(const struct stability *s, uint64_t drawn);

/* Judges the mean and the standard deviation of a row, `all` being those of all samples. */
bool stability_judge_moments(struct stability *s, const struct replicates *r, size_t i,
                             const struct moments *all);
/* The same and the ends of the interval; of `all`, whose counts are needed here. */
bool stability_judge(struct stability *s, const struct replicates *r, size_t i,
                     const struct distribution *all);

/* JCGM 101, 7.9.2: u = c 10^l with c a whole number of so many digits; half of 10^l. 0 for u = 0.
 */
double numerical_tolerance(double u, unsigned digits);

#endif
