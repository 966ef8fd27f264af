/* From sample numbers to columns of values: draws, then relations, then the validity of each
 * sample. */
#ifndef PACKSPAN_ENGINE_SAMPLER_H
#define PACKSPAN_ENGINE_SAMPLER_H

#include "model/block.h"
#include "model/plan.h"

struct sampler;
/* With `twins` ([node], see struct plan_set; may be NULL) and another plan's sampler as `base`, the
 * columns of twins are base's own. */
packspan_status sampler_open(const struct plan *p, const size_t *twins, const struct sampler *base,
                             struct sampler **out);
void sampler_free(struct sampler *s);

/* Works out samples first .. first + n - 1 (n <= BLOCK_SAMPLES). drop[i] becomes 1 where a value is
 * NaN or infinite, else 0; returns how many are. invalid_by_node, when not NULL, counts what
 * spoiled them. Not `alone`: base has just been filled with the same samples. */
size_t sampler_fill(struct sampler *s, bool alone, uint64_t first, size_t n, uint64_t *drop,
                    uint64_t *invalid_by_node);
/* Closes the ranks: leaves only the samples with drop[i] == 0 (the others have 1), in their order,
 * in every column, and returns how many. Not `alone`: base has just done the same. */
size_t sampler_keep(struct sampler *s, bool alone, size_t n, const uint64_t *drop);
/* Puts 0 in the place of every value that is not finite. */
void sampler_blank(struct sampler *s, size_t n);
/* [node]: the columns, SI. */
const double *const *sampler_columns(const struct sampler *s);
/* How often a step of a speed trace was evaluated for a sample so far. */
uint64_t sampler_evaluated(const struct sampler *s);

#endif
