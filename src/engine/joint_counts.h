/* Weights of the samples under every candidate, counted in bins that the candidates share: a row
 * with the same values under all of them is looked up once. */
#ifndef PACKSPAN_ENGINE_JOINT_COUNTS_H
#define PACKSPAN_ENGINE_JOINT_COUNTS_H

#include "engine/tally.h"

struct joint_counts;

struct joint_row {
    const struct bin_layout *layout; /* NULL: not counted */
    bool alike;                      /* the same values under every candidate */
};

/* Whether so many samples may wait until a row is asked for. */
bool joint_counts_may_wait(uint64_t samples);
/* `rows` is copied. With `waiting` > 0 no more samples than that are begun, and they wait: such
 * counts are for joint_counts_cumulate() only, by one thread. */
packspan_status joint_counts_open(size_t row_count, const struct joint_row *rows, size_t candidates,
                                  uint64_t waiting, struct joint_counts **out);
void joint_counts_close(struct joint_counts *j);

/* Begins n more samples with weights[candidate][sample], each at most 2^31. */
void joint_counts_begin(struct joint_counts *j, size_t n, const uint64_t *const *weights);
/* Their values; of a row that is alike for candidate 0 only, and not at all where a candidate does
 * not know the row. */
void joint_counts_values(struct joint_counts *j, size_t row, size_t candidate, const double *x);

/* Counts what still waits. */
void joint_counts_settle(struct joint_counts *j);
/* counts[bin] += what was counted for a row under a candidate until it was settled. */
void joint_counts_add(const struct joint_counts *j, size_t row, size_t candidate, uint64_t *counts);

/* The same of one bin, and more that was counted elsewhere. */
uint64_t joint_counts_at(const struct joint_counts *j, size_t row, size_t candidate, size_t bin);
void joint_counts_raise(struct joint_counts *j, size_t row, size_t candidate, size_t bin,
                        uint64_t more);

/* below[b] = what was counted in the bins before b, under candidates from .. to - 1 together, for
 * b = 0 .. the number of bins. */
void joint_counts_cumulate(struct joint_counts *j, size_t row, size_t from, size_t to,
                           uint64_t *below);

/* Settles, and gives back what only further counting needs: nothing more is counted. */
void joint_counts_finish(struct joint_counts *j);
/* What was counted of a row in `part`, of the same rows and candidates, is added; both are
 * finished. Threads may take different rows at the same time. */
void joint_counts_merge(struct joint_counts *j, const struct joint_counts *part, size_t row);

#endif
