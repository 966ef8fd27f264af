#include "engine/evidence.h"

#include <math.h>
#include <string.h>

#include "base/exponential.h"
#include "base/hot_loop.h"
#include "base/range.h"
#include "base/sums.h"
#include "model/block.h"

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
                           .low = scale * o->low + offset,
                           .high = scale * o->high + offset};
    observation_reading(o, &r.value, &r.sd);
    return r;
}

/* out[i] += log likelihood relative to a perfect fit. */
HOT_LOOP static void add_log_likelihoods(const struct reading_si *r, size_t n,
                                         const double *restrict x, double *restrict out)
{
    for (size_t i = 0; i < n; i++) {
        double z = (x[i] - r->value) / r->sd;
        bool inside = x[i] >= r->low && x[i] <= r->high;
        double in_interval = inside ? 0.0 : (double)-INFINITY, read = -0.5 * z * z;
        out[i] += r->is_interval ? in_interval : read;
    }
}

void evidence_log_weights(const struct plan *p, const double *const *columns, size_t n,
                          double *log_weights)
{
    memset(log_weights, 0, n * sizeof *log_weights);
    for (size_t k = 0; k < p->source->observation_count; k++) {
        struct reading_si r = to_si(&p->source->observations[k]);
        add_log_likelihoods(&r, n, columns[p->observation_nodes[k]], log_weights);
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

/* Beyond, the distribution function is 0 or 1 to the last digit or nearly so. */
static const double curve_reach = 9.0;

bool evidence_curve_open(struct curve *below)
{
    enum { STEPS = 4608 };
    if (!curve_open(below, -curve_reach, curve_reach, STEPS))
        return false;
    for (size_t i = 0; i <= STEPS; i++) {
        double z = curve_place(below, i);
        curve_set(below, i, 0.5 * erfc(-z * M_SQRT1_2), exp(-0.5 * z * z) / sqrt(2.0 * M_PI));
    }
    return true;
}

/* Sum of the probabilities that a reading of x lies under the observed value. */
static double sum_below(const struct reading_si *r, const struct curve *below, size_t n,
                        const double *x)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++) {
        double z = (r->value - x[i]) / r->sd;
        z = z > -curve_reach ? z : -curve_reach;
        sum += curve_at(below, z < curve_reach ? z : curve_reach);
    }
    return sum;
}

static double largest(size_t n, const double *x)
{
    return n > 0 ? range_of(n, x).high : (double)-INFINITY;
}

void evidence_sum(const struct case_data *c, const struct curve *below,
                  const double *const *observed, const double *const targets[TARGET_COUNT],
                  size_t n, struct observation_sums *sums, struct evidence_sums *all)
{
    evidence_sums_init(sums, c->observation_count, all);
    all->samples = (double)n;
    for (int t = 0; t < TARGET_COUNT; t++)
        all->target[t] = targets[t] ? sum_of(n, targets[t]) : (double)NAN;
    for (size_t k = 0; k < c->observation_count; k++) {
        struct reading_si r = to_si(&c->observations[k]);
        struct observation_sums *sum = &sums[k];
        double likelihood[BLOCK_SAMPLES] = {0.0};
        moments_of(n, observed[k], &sum->values);
        add_log_likelihoods(&r, n, observed[k], likelihood);
        sum->best = largest(n, likelihood);
        exponentials(n, likelihood, likelihood);
        sum->likelihood = sum_of(n, likelihood);
        sum->below = sum_below(&r, below, n, observed[k]);
        for (int t = 0; t < TARGET_COUNT; t++)
            sum->moved[t] = targets[t] ? sum_of_products(n, likelihood, targets[t]) : (double)NAN;
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
