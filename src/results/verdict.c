#include "results/verdict.h"

#include <math.h>

const char *claim_sense_name(enum claim_sense sense)
{
    static const char *const names[] = {"is", "at_least", "at_most"};
    return names[sense];
}

const char *likelihood_word(double probability)
{
    static const struct {
        double from;
        const char *word;
    } scale[] = {
        {0.99, "virtually certain"},
        {0.95, "extremely likely"},
        {0.90, "very likely"},
        {0.66, "likely"},
        {0.33, "about as likely as not"},
    };
    static const struct {
        double to;
        const char *word;
    } low_scale[] = {
        {0.01, "exceptionally unlikely"},
        {0.05, "extremely unlikely"},
        {0.10, "very unlikely"},
    };
    for (size_t i = 0; i < sizeof scale / sizeof scale[0]; i++)
        if (probability >= scale[i].from)
            return scale[i].word;
    for (size_t i = 0; i < sizeof low_scale / sizeof low_scale[0]; i++)
        if (probability <= low_scale[i].to)
            return low_scale[i].word;
    return "unlikely";
}

double probability_error(double p, double n)
{
    return sqrt(p * (1.0 - p) / n + 0.25 / (n * n)) / (1.0 + 1.0 / n);
}

static const char *verdict_word(enum claim_sense sense, const struct verdict *v)
{
    if (sense == CLAIM_IS) {
        if (v->above >= VERDICT_PROBABILITY)
            return "understated";
        return v->below >= VERDICT_PROBABILITY ? "overstated" : "not contradicted";
    }
    if (v->probability >= VERDICT_PROBABILITY)
        return "holds";
    double against = sense == CLAIM_AT_LEAST ? v->below : v->above;
    return against >= VERDICT_PROBABILITY ? "fails" : "open";
}

struct verdict verdict_of(enum claim_sense sense, const struct claim_count *count, double effective)
{
    double n = (double)count->total;
    uint64_t against = claim_count_against(count, sense);
    struct verdict v = {
        .percentile = 100.0 * ((double)count->under + 0.5 * (double)count->at) / n,
        .above = (double)count->above / n,
        .below = (double)count->below / n,
        .probability = (double)(count->total - against) / n,
    };
    v.probability_error = probability_error(v.probability, effective);
    v.word = verdict_word(sense, &v);
    v.likelihood = likelihood_word(v.probability);
    return v;
}
