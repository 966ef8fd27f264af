/* The run's first samples decide how the bins of the tallies are laid out. */
#ifndef PACKSPAN_ENGINE_PILOT_H
#define PACKSPAN_ENGINE_PILOT_H

#include "engine/run.h"

enum { PILOT_SAMPLES = 16384 }; /* a whole number of blocks */

/* The samplers of a thread, one for each plan. */
typedef struct sampler *const *sampler_lookup(const void *of, unsigned thread);

/* Who is asked now and then whether to go on; `progress` may be NULL. */
struct pilot_watch {
    run_progress *progress;
    void *user;
    bool stop;
};

/* Draws the pilot and lays out->layouts out for every row that is not fixed, and with several plans
 * each candidate's own layouts for what its samples show. Rows whose bins suit the candidates and
 * their mixture alike share them: out->shared. In a weighted run it draws `least` samples and on
 * until it holds enough that carry weight, and sets out->log_reference to the largest log weight,
 * prior included; it stays -infinity, and there are no layouts, when none of `requested` samples is
 * valid or carries any. PACKSPAN_INTERRUPTED when the watch has stopped it. */
packspan_status pilot_run(const struct plan_set *set, sampler_lookup *samplers_of, const void *of,
                          uint64_t least, struct pilot_watch *watch, struct run_outcome *out);

#endif
