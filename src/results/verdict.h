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

/* `effective` is the number of equally weighted samples that tell as much; without weights it is
 * count->total. */
struct verdict verdict_of(enum claim_sense sense, const struct claim_count *count,
                          double effective);

/* Calibrated likelihood of IPCC AR5: Mastrandrea et al., Guidance Note for Lead Authors of the IPCC
 * Fifth Assessment Report on Consistent Treatment of Uncertainties, 2010, Table 1. */
const char *likelihood_word(double probability);

/* One standard error of the probability p that n samples gave, half the width of Wilson's interval
 * (J. Amer. Statist. Assoc. 22, 1927) at z = 1: not zero for p = 0 or 1. */
double probability_error(double p, double n);

const char *claim_sense_name(enum claim_sense sense);

#endif
