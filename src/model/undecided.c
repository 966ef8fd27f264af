#include "model/undecided.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "base/hot_loop.h"
#include "base/range.h"
#include "model/block.h"

/* Samples that are worked on together. */
enum { GROUP = 32 };

struct group {
    double a[GROUP], b[GROUP], c[GROUP], mass[GROUP], traction[GROUP], road[GROUP];
};

static inline void evaluate(size_t steps, const struct step_sums *restrict step,
                            struct group *restrict g, bool with_road)
{
    for (size_t j = 0; j < steps; j++) {
        struct step_sums s = step[j];
        for (int l = 0; l < GROUP; l++) {
            double road = g->a[l] * s.per_a + g->b[l] * s.per_b + g->c[l] * s.per_c;
            double work = road + g->mass[l] * s.per_mass;
            g->traction[l] += work > 0.0 ? work : 0.0;
            if (with_road)
                g->road[l] += work > 0.0 ? road : 0.0;
        }
    }
}

HOT_LOOP static void evaluate_both(size_t steps, const struct step_sums *restrict step,
                                   struct group *restrict g)
{
    evaluate(steps, step, g, true);
}

HOT_LOOP static void evaluate_traction(size_t steps, const struct step_sums *restrict step,
                                       struct group *restrict g)
{
    evaluate(steps, step, g, false);
}

static void evaluate_group(size_t steps, const struct step_sums *step, const struct wheel_work *w,
                           struct group *g)
{
    if (w->road)
        evaluate_both(steps, step, g);
    else
        evaluate_traction(steps, step, g);
}

/* ---- samples as they come ---- */

static uint64_t add_directly(const struct step_batch *batch, const struct wheel_work *w)
{
    for (size_t first = 0; first < w->n; first += GROUP) {
        struct group g = {0};
        size_t lanes = w->n - first < GROUP ? w->n - first : GROUP;
        memcpy(g.a, w->a + first, lanes * sizeof(double));
        memcpy(g.b, w->b + first, lanes * sizeof(double));
        memcpy(g.c, w->c + first, lanes * sizeof(double));
        memcpy(g.mass, w->mass + first, lanes * sizeof(double));
        evaluate_group(batch->count, batch->step, w, &g);
        for (size_t l = 0; l < lanes; l++)
            w->traction[first + l] += g.traction[l];
        for (size_t l = 0; l < lanes && w->road; l++)
            w->road[first + l] += g.road[l];
    }
    return (uint64_t)batch->count * w->n;
}

/* ---- samples in order ---- */

/* With g(v) = (A + B v + C v^2)/M, a step's work is positive where g(v) + acceleration > 0. About a
 * common g and the speed `pivot`, a sample's g differs by level + slope (v - pivot) +
 * bend (v - pivot)^2. */
struct deviations {
    double a, b, c, pivot; /* the common g */
    double level[BLOCK_SAMPLES], slope[BLOCK_SAMPLES], bend[BLOCK_SAMPLES];
};

HOT_LOOP static void divide_by_mass(const struct wheel_work *w, struct deviations *d)
{
    for (size_t i = 0; i < w->n; i++) {
        double inverse = 1.0 / w->mass[i];
        d->level[i] = w->a[i] * inverse;
        d->slope[i] = w->b[i] * inverse;
        d->bend[i] = w->c[i] * inverse;
    }
}

HOT_LOOP static void move_to_pivot(size_t n, struct deviations *d)
{
    double a = d->a, b = d->b, c = d->c, v = d->pivot;
    for (size_t i = 0; i < n; i++) {
        double level = d->level[i] - a, slope = d->slope[i] - b, bend = d->bend[i] - c;
        d->level[i] = level + slope * v + bend * v * v;
        d->slope[i] = slope + 2.0 * bend * v;
        d->bend[i] = bend;
    }
}

/* False when the samples cannot be put in order: a value is not finite, or a mass not positive. */
static bool find_deviations(const struct step_batch *batch, const struct wheel_work *w,
                            struct deviations *d)
{
    double speeds = 0.0, all = 0.0;
    for (size_t j = 0; j < batch->count; j++)
        speeds += batch->speed[j];
    d->pivot = speeds / (double)batch->count;
    divide_by_mass(w, d);
    size_t middle = w->n / 2;
    d->a = d->level[middle];
    d->b = d->slope[middle];
    d->c = d->bend[middle];
    move_to_pivot(w->n, d);
    for (size_t i = 0; i < w->n; i++) /* finite only if all terms are */
        all += fabs(d->level[i]) + fabs(d->slope[i]) + fabs(d->bend[i]);
    return isfinite(all) && range_of(w->n, w->mass).low > 0.0;
}

/* Steps in order of speed, roughly: in sections; and in each section in order of the key, which is
 * the common g at the step's speed plus the acceleration, roughly: in buckets. */
enum { SECTIONS = 8, BUCKETS = 32 };

struct ordered_steps {
    struct range speed[SECTIONS], key[SECTIONS];
    double key_scale[SECTIONS]; /* buckets per unit of the key */
    size_t first[SECTIONS * BUCKETS + 1];
    struct step_sums step[BATCH_STEPS];
    struct step_sums before[BATCH_STEPS + 1]; /* sums of the steps before this one */
};

/* 0 to BUCKETS - 1, and never less for a greater key. */
static size_t bucket_of(const struct ordered_steps *o, size_t section, double key)
{
    double b = (key - o->key[section].low) * o->key_scale[section];
    b = b > 0.0 ? b : 0.0;
    return b < BUCKETS - 1 ? (size_t)b : BUCKETS - 1;
}

static void widen(struct range *r, double x)
{
    r->low = fmin(r->low, x);
    r->high = fmax(r->high, x);
}

static void order_steps(const struct step_batch *batch, const struct deviations *d,
                        struct ordered_steps *o)
{
    double key[BATCH_STEPS];
    size_t place[BATCH_STEPS];
    struct range all = range_of(batch->count, batch->speed);
    double per_speed = all.high > all.low ? SECTIONS / (all.high - all.low) : 0.0;
    for (size_t k = 0; k < SECTIONS; k++)
        o->speed[k] = o->key[k] = (struct range){INFINITY, -INFINITY};
    for (size_t j = 0; j < batch->count; j++) {
        double v = batch->speed[j], section = (v - all.low) * per_speed;
        place[j] = section < SECTIONS - 1 ? (size_t)section : SECTIONS - 1;
        key[j] = d->a + d->b * v + d->c * v * v + batch->acceleration[j];
        widen(&o->speed[place[j]], v);
        widen(&o->key[place[j]], key[j]);
    }
    for (size_t k = 0; k < SECTIONS; k++)
        o->key_scale[k] =
            o->key[k].high > o->key[k].low ? BUCKETS / (o->key[k].high - o->key[k].low) : 0.0;
    memset(o->first, 0, sizeof o->first);
    for (size_t j = 0; j < batch->count; j++) {
        place[j] = place[j] * BUCKETS + bucket_of(o, place[j], key[j]);
        o->first[place[j] + 1]++;
    }
    for (size_t k = 0; k < SECTIONS * BUCKETS; k++)
        o->first[k + 1] += o->first[k];
    size_t next[SECTIONS * BUCKETS];
    memcpy(next, o->first, sizeof next);
    for (size_t j = 0; j < batch->count; j++)
        o->step[next[place[j]]++] = batch->step[j];
    o->before[0] = (struct step_sums){0};
    for (size_t j = 0; j < batch->count; j++)
        o->before[j + 1] = step_sums_add(o->before[j], o->step[j]);
}

/* Puts order[0 .. n) in order of the key, roughly. */
static void sort_roughly(size_t n, const double *key, uint16_t *order)
{
    enum { PILES = 64 };
    uint16_t given[BLOCK_SAMPLES];
    uint8_t pile[BLOCK_SAMPLES];
    uint32_t start[PILES + 1] = {0};
    struct range r = {key[order[0]], key[order[0]]};
    for (size_t i = 0; i < n; i++) {
        double x = key[order[i]];
        r.low = x < r.low ? x : r.low;
        r.high = x > r.high ? x : r.high;
    }
    double scale = r.high > r.low ? PILES / (r.high - r.low) : 0.0;
    for (size_t i = 0; i < n; i++) {
        double p = (key[order[i]] - r.low) * scale;
        pile[i] = (uint8_t)(p < PILES - 1 ? p : PILES - 1);
        start[pile[i] + 1]++;
    }
    for (int k = 0; k < PILES; k++)
        start[k + 1] += start[k];
    memcpy(given, order, n * sizeof *given);
    for (size_t i = 0; i < n; i++)
        order[start[pile[i]]++] = given[i];
}

/* Samples by level, and among some of like level by slope. */
static void order_samples(size_t n, const struct deviations *d, uint16_t *order)
{
    enum { ALIKE = 8 * GROUP };
    for (size_t i = 0; i < n; i++)
        order[i] = (uint16_t)i;
    sort_roughly(n, d->level, order);
    for (size_t first = 0; first < n; first += ALIKE)
        sort_roughly(n - first < ALIKE ? n - first : ALIKE, d->slope, order + first);
}

static struct range product(struct range x, struct range y)
{
    double a = x.low * y.low, b = x.low * y.high, c = x.high * y.low, d = x.high * y.high;
    return (struct range){fmin(fmin(a, b), fmin(c, d)), fmax(fmax(a, b), fmax(c, d))};
}

/* By how much g may differ from the common one in a group of samples on a section. */
static struct range bounds(struct range level, struct range slope, struct range bend,
                           struct range speed, double pivot)
{
    struct range off = {speed.low - pivot, speed.high - pivot};
    struct range sloped = product(slope, off), bent = product(bend, off);
    bent = product(bent, off);
    return (struct range){level.low + sloped.low + bent.low, level.high + sloped.high + bent.high};
}

static inline struct range range_of_group(double x[GROUP])
{
    double high[GROUP];
    memcpy(high, x, sizeof high);
    for (int half = GROUP / 2; half > 0; half /= 2) {
        for (int l = 0; l < half; l++) {
            x[l] = x[l] < x[l + half] ? x[l] : x[l + half];
            high[l] = high[l] > high[l + half] ? high[l] : high[l + half];
        }
    }
    return (struct range){x[0], high[0]};
}

/* Returns how many steps were evaluated. */
HOT_LOOP static uint64_t add_group(const struct ordered_steps *o, const struct deviations *d,
                                   const struct wheel_work *w, const uint16_t order[GROUP],
                                   struct group *g)
{
    double level_of[GROUP], slope_of[GROUP], bend_of[GROUP];
    struct step_sums sure = {0};
    uint64_t evaluated = 0;
    for (int l = 0; l < GROUP; l++) {
        g->a[l] = w->a[order[l]];
        g->b[l] = w->b[order[l]];
        g->c[l] = w->c[order[l]];
        g->mass[l] = w->mass[order[l]];
        g->traction[l] = g->road[l] = 0.0;
        level_of[l] = d->level[order[l]];
        slope_of[l] = d->slope[order[l]];
        bend_of[l] = d->bend[order[l]];
    }
    struct range level = range_of_group(level_of), slope = range_of_group(slope_of),
                 bend = range_of_group(bend_of);
    for (size_t k = 0; k < SECTIONS; k++) {
        const size_t *first = o->first + k * BUCKETS;
        if (first[0] == first[BUCKETS])
            continue;
        struct range off = bounds(level, slope, bend, o->speed[k], d->pivot);
        size_t from = first[bucket_of(o, k, -off.high)];
        size_t to = first[bucket_of(o, k, -off.low) + 1], end = first[BUCKETS];
        evaluate_group(to - from, o->step + from, w, g);
        evaluated += to - from;
        const struct step_sums *x = &o->before[to], *y = &o->before[end];
        sure.per_a += y->per_a - x->per_a;
        sure.per_b += y->per_b - x->per_b;
        sure.per_c += y->per_c - x->per_c;
        sure.per_mass += y->per_mass - x->per_mass;
    }
    for (int l = 0; l < GROUP; l++) {
        double road = g->a[l] * sure.per_a + g->b[l] * sure.per_b + g->c[l] * sure.per_c;
        g->road[l] += road;
        g->traction[l] += road + g->mass[l] * sure.per_mass;
    }
    return evaluated;
}

static uint64_t add_in_order(const struct step_batch *batch, const struct deviations *d,
                             const struct wheel_work *w)
{
    struct ordered_steps steps;
    uint16_t order[BLOCK_SAMPLES + GROUP];
    uint64_t evaluated = 0;
    order_steps(batch, d, &steps);
    order_samples(w->n, d, order);
    for (size_t l = 0; l < GROUP; l++) /* fills up the last group */
        order[w->n + l] = order[w->n - 1];
    for (size_t first = 0; first < w->n; first += GROUP) {
        struct group g;
        size_t lanes = w->n - first < GROUP ? w->n - first : GROUP;
        evaluated += lanes * add_group(&steps, d, w, order + first, &g);
        for (size_t l = 0; l < lanes; l++)
            w->traction[order[first + l]] += g.traction[l];
        for (size_t l = 0; l < lanes && w->road; l++)
            w->road[order[first + l]] += g.road[l];
    }
    return evaluated;
}

uint64_t add_undecided(const struct step_batch *batch, const struct wheel_work *w)
{
    enum { STEPS_MIN = 32, SAMPLES_MIN = 256 }; /* less is not worth the order */
    struct deviations d;
    if (batch->count < STEPS_MIN || w->n < SAMPLES_MIN || !find_deviations(batch, w, &d))
        return add_directly(batch, w);
    return add_in_order(batch, &d, w);
}
