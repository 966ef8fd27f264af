/* The run's first samples decide how the bins of the tallies are laid out. */
#ifndef PACKSPAN_ENGINE_PILOT_H
#define PACKSPAN_ENGINE_PILOT_H

#include "engine/run.h"

enum { PILOT_SAMPLES = 16384 }; /* a whole number of blocks */

/* Draws the pilot with one sampler for each plan and lays out->layouts out for every row that is
 * not fixed, and with several plans each candidate's own layouts for what its samples show. In a
 * weighted run it draws `least` samples and on until it holds enough that carry weight, and sets
 * out->log_reference to the largest log weight, prior included; it stays -infinity, and there are
 * no layouts, when none of `requested` samples is valid or carries any. */
packspan_status pilot_run(const struct plan_set *set, struct sampler *const *samplers,
                          uint64_t least, struct run_outcome *out);

#endif
