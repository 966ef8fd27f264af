/* Sums of a run apart for each of its replicates: independent scramblings of Sobol' points, whose
 * spread tells the error of what they give together; or, one after the other, the sequences of
 * trials of the adaptive procedure (engine/stability.h). */
#ifndef PACKSPAN_ENGINE_REPLICATES_H
#define PACKSPAN_ENGINE_REPLICATES_H

#include "engine/run.h"

/* Where the weight below is summed: at these percentiles of the pilot. */
enum mark { MARK_P025, MARK_P05, MARK_P50, MARK_P95, MARK_P975, MARK_COUNT };

/* Weight of a row's values below the marks: those of the candidate and those of all together, which
 * stay 0 where there is one candidate only. */
struct row_shares {
    uint64_t own[MARK_COUNT], joint[MARK_COUNT];
};

/* What one block adds under one candidate. */
struct replicate_part {
    struct row_shares *shares;  /* [rows] */
    struct claim_count *claims; /* [claims] */
    double samples;             /* valid ones */
};
bool replicate_part_open(const struct plan_set *set, struct replicate_part *part);
void replicate_part_close(struct replicate_part *part);

/* Sums of one replicate under one candidate. */
struct replicate {
    struct moments *moments;    /* [rows] */
    struct row_shares *shares;  /* [rows] */
    struct claim_count *claims; /* [claims] */
    double samples, likelihood; /* valid samples; sum of their weights relative to the reference */
};

struct row_marks {
    double own[MARK_COUNT], joint[MARK_COUNT];
};

struct replicates {
    const struct plan_set *set;
    size_t count;
    bool *watched;           /* [rows]: whose moments and shares are summed */
    struct row_marks *marks; /* [candidate * rows + row] */
    struct replicate *list;  /* [replicate * candidates + candidate] */
};
/* All rows are watched. */
packspan_status replicates_open(const struct plan_set *set, size_t count, struct replicates **out);
void replicates_free(struct replicates *r);
/* Sets the marks, when the pilot has laid the bins out and they are not shared yet. */
void replicates_mark(struct replicates *r, const struct run_outcome *o);

/* Sums n samples of one block into part->shares; `weights` may be NULL. */
void replicates_tally(const struct replicates *r, size_t candidate, size_t n,
                      const double *const *columns, const uint64_t *weights,
                      struct replicate_part *part);
/* Adds a block's whole numbers, in any order. */
void replicates_add(struct replicates *r, size_t replicate, size_t candidate,
                    const struct replicate_part *part);
/* Adds sums of one block or more; the order of adding is part of the result. `moments` are [rows].
 */
void replicates_add_sums(struct replicates *r, size_t replicate, size_t candidate,
                         const struct moments *moments, double likelihood);
void replicates_clear_sums(struct replicates *r, size_t replicate);
void replicates_clear(struct replicates *r, size_t replicate);

/* ---- what they tell, of candidates from .. to - 1 together ---- */

struct moments replicates_moments(const struct replicates *r, size_t replicate, size_t from,
                                  size_t to, size_t row);
/* Share of the weight below a mark; NaN where there is no weight. */
double replicates_share(const struct replicates *r, size_t replicate, size_t from, size_t to,
                        size_t row, enum mark mark);

/* Standard errors of what all replicates give together; NaN when fewer than two have weight. */
double replicates_mean_error(const struct replicates *r, size_t from, size_t to, size_t row);
double replicates_share_error(const struct replicates *r, size_t from, size_t to, size_t row,
                              enum mark mark);
double replicates_claim_error(const struct replicates *r, size_t from, size_t to, size_t claim);
/* Of the mean weight per sample, relative to the candidate's reference. */
double replicates_likelihood_error(const struct replicates *r, size_t candidate);

/* The error of sum(a) / sum(b) over n independent replicates, by linearising the ratio:
 * sqrt(n / (n - 1) sum (a - ratio b)^2) / sum(b); where all b are the same it is the standard
 * deviation of a / b over sqrt(n). Replicates with b = 0 are left out; NaN with fewer than two. */
double ratio_error(size_t n, const double *a, const double *b);

#endif
