/* Steps of a speed trace whose sign is not the same in all samples of a block. */
#ifndef PACKSPAN_MODEL_UNDECIDED_H
#define PACKSPAN_MODEL_UNDECIDED_H

#include <stddef.h>
#include <stdint.h>

/* Work per unit of A, B, C and effective mass M, of one step or of several. */
struct step_sums {
    double per_a, per_b, per_c, per_mass;
};

static inline struct step_sums step_sums_add(struct step_sums x, struct step_sums y)
{
    return (struct step_sums){x.per_a + y.per_a, x.per_b + y.per_b, x.per_c + y.per_c,
                              x.per_mass + y.per_mass};
}

/* Some steps that are dealt with together. */
enum { BATCH_STEPS = 512 };
struct step_batch {
    size_t count;
    double speed[BATCH_STEPS], acceleration[BATCH_STEPS];
    struct step_sums step[BATCH_STEPS];
};

/* Columns of n <= BLOCK_SAMPLES samples: loads without wind, and what they do. */
struct wheel_work {
    size_t n;
    const double *a, *b, *c, *mass;
    double *traction, *road; /* road may be NULL */
};

/* Adds max(work, 0) of every step of the batch to the traction of every sample, and what A, B and C
 * have in it to road. Returns how many works of one step and sample were evaluated for that: where
 * there are many steps, the samples are put in order, so that neighbours leave few steps
 * undecided. */
uint64_t add_undecided(const struct step_batch *batch, const struct wheel_work *w);

#endif
