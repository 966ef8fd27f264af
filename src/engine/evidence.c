#include "engine/evidence.h"

#include <math.h>
#include <string.h>

enum quantity_id evidence_target_quantity(enum evidence_target target)
{
    return target == TARGET_USABLE_ENERGY ? Q_usable_energy : Q_label_range;
}

/* An observation in SI. */
struct reading_si {
    bool is_interval;
    double value, sd, low, high;
};

static struct reading_si to_si(const struct observation *o)
{
    double scale = o->to_si.scale, offset = o->to_si.offset;
    struct reading_si r = {.is_interval = o->is_interval,
                           .value = scale * o->value + offset,
                           .sd = scale * o->sd,
                           .low = scale * o->low + offset,
                           .high = scale * o->high + offset};
    if (r.is_interval) {
        r.value = 0.5 * (r.low + r.high);
        r.sd = (r.high - r.low) / sqrt(12.0);
    }
    return r;
}

static double log_likelihood(const struct reading_si *r, double x)
{
    if (r->is_interval)
        return x >= r->low && x <= r->high ? 0.0 : (double)-INFINITY;
    double z = (x - r->value) / r->sd;
    return -0.5 * z * z;
}

void evidence_log_weights(const struct plan *p, const double *const *columns, size_t n,
                          double *log_weights)
{
    memset(log_weights, 0, n * sizeof *log_weights);
    for (size_t k = 0; k < p->source->observation_count; k++) {
        struct reading_si r = to_si(&p->source->observations[k]);
        const double *x = columns[p->observation_nodes[k]];
        for (size_t i = 0; i < n; i++)
            log_weights[i] += log_likelihood(&r, x[i]);
    }
}

void evidence_sums_init(struct observation_sums *sums, size_t count, struct evidence_sums *all)
{
    for (size_t k = 0; k < count; k++) {
        sums[k] = (struct observation_sums){.best = (double)-INFINITY};
        moments_init(&sums[k].values);
    }
    *all = (struct evidence_sums){0};
}

void evidence_sum(const struct plan *p, const double *const *columns,
                  const double *const targets[TARGET_COUNT], size_t n,
                  struct observation_sums *sums, struct evidence_sums *all)
{
    evidence_sums_init(sums, p->source->observation_count, all);
    all->samples = (double)n;
    for (int t = 0; t < TARGET_COUNT; t++)
        for (size_t i = 0; i < n; i++)
            all->target[t] += targets[t] ? targets[t][i] : (double)NAN;
    for (size_t k = 0; k < p->source->observation_count; k++) {
        struct reading_si r = to_si(&p->source->observations[k]);
        struct observation_sums *sum = &sums[k];
        const double *x = columns[p->observation_nodes[k]];
        moments_of(n, x, &sum->values);
        for (size_t i = 0; i < n; i++) {
            double log_l = log_likelihood(&r, x[i]), l = exp(log_l);
            sum->below += 0.5 * erfc((x[i] - r.value) / (r.sd * M_SQRT2));
            sum->likelihood += l;
            sum->best = fmax(sum->best, log_l);
            for (int t = 0; t < TARGET_COUNT; t++)
                sum->moved[t] += l * (targets[t] ? targets[t][i] : (double)NAN);
        }
    }
}

void evidence_sums_merge(struct observation_sums *into, const struct observation_sums *part,
                         size_t count, struct evidence_sums *all, const struct evidence_sums *more)
{
    all->samples += more->samples;
    for (int t = 0; t < TARGET_COUNT; t++)
        all->target[t] += more->target[t];
    for (size_t k = 0; k < count; k++) {
        moments_merge(&into[k].values, &part[k].values);
        into[k].below += part[k].below;
        into[k].likelihood += part[k].likelihood;
        into[k].best = fmax(into[k].best, part[k].best);
        for (int t = 0; t < TARGET_COUNT; t++)
            into[k].moved[t] += part[k].moved[t];
    }
}

double evidence_log_scale(const struct case_data *c)
{
    double sum = 0.0;
    for (size_t k = 0; k < c->observation_count; k++)
        if (!c->observations[k].is_interval)
            sum -= log(c->observations[k].sd * sqrt(2.0 * M_PI));
    return sum;
}

void evidence_reading(const struct observation *o, double *value, double *sd)
{
    struct reading_si r = to_si(o);
    *value = r.value;
    *sd = r.sd;
}
