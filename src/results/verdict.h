/* Judging a published claim. */
#ifndef PACKSPAN_RESULTS_VERDICT_H
#define PACKSPAN_RESULTS_VERDICT_H

#include "case/case.h"
#include "engine/run.h"

/* A verdict is given from this probability on. */
#define VERDICT_PROBABILITY 0.9

struct verdict {
    double percentile;   /* 0 to 100 */
    double above, below; /* beyond value + tolerance, short of value - tolerance */
    double probability, probability_error; /* that the claim is true */
    const char *word; /* understated, overstated, not contradicted, holds, fails, open */
    const char *likelihood;
};

struct verdict verdict_of(enum claim_sense sense, const struct claim_count *count,
                          uint64_t samples);

/* Calibrated likelihood of IPCC AR5: Mastrandrea et al., Guidance Note for Lead Authors of the IPCC
 * Fifth Assessment Report on Consistent Treatment of Uncertainties, 2010, Table 1. */
const char *likelihood_word(double probability);

/* One standard error of a probability from `hits` of `n` samples, half the width of Wilson's
 * interval (J. Amer. Statist. Assoc. 22, 1927) at z = 1: not zero for 0 or n hits. */
double probability_error(uint64_t hits, uint64_t n);

const char *claim_sense_name(enum claim_sense sense);

#endif
