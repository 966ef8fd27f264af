#include "model/trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"
#include "model/block.h"

packspan_status trace_make(size_t points, const double *time, const double *speed,
                           struct trace *out)
{
    struct trace t = {0};
    size_t bytes = points * sizeof(double);
    t.speed = malloc(bytes);
    t.acceleration = malloc(bytes);
    t.distance = malloc(bytes);
    if (!t.speed || !t.acceleration || !t.distance) {
        trace_free(&t);
        return PACKSPAN_NO_MEMORY;
    }
    for (size_t i = 1; i < points; i++) {
        double dt = time[i] - time[i - 1];
        double v = 0.5 * (speed[i] + speed[i - 1]);
        double a = (speed[i] - speed[i - 1]) / dt;
        double d = v * dt;
        t.duration += dt;
        if (d <= 0.0)
            continue;
        t.speed[t.steps] = v;
        t.acceleration[t.steps] = a;
        t.distance[t.steps] = d;
        t.steps++;
        t.total_distance += d;
        t.per_a += d;
        t.per_b += d * v;
        t.per_c += d * v * v;
        t.per_mass += d * a;
    }
    *out = t;
    return PACKSPAN_OK;
}

void trace_free(struct trace *t)
{
    free(t->speed);
    free(t->acceleration);
    free(t->distance);
    *t = (struct trace){0};
}

struct range {
    double low, high;
};

static struct range range_of(size_t n, const double *x)
{
    struct range r = {x[0], x[0]};
    for (size_t i = 1; i < n; i++) {
        r.low = x[i] < r.low ? x[i] : r.low;
        r.high = x[i] > r.high ? x[i] : r.high;
    }
    return r;
}

static struct range scaled(struct range r, double k)
{
    return k >= 0.0 ? (struct range){k * r.low, k * r.high} : (struct range){k * r.high, k * r.low};
}

/* Steps of undecided sign, gathered until the group is full. */
enum { GROUP_STEPS = 128, LANES = 16 };

struct step_group {
    size_t count;
    double per_a[GROUP_STEPS], per_b[GROUP_STEPS], per_c[GROUP_STEPS], per_mass[GROUP_STEPS];
};

HOT_LOOP static void add_undecided(const struct step_group *g, size_t n, const double *restrict a,
                                   const double *restrict b, const double *restrict c,
                                   const double *restrict mass, double *restrict traction,
                                   double *restrict road)
{
    for (size_t start = 0; start < n; start += LANES) {
        size_t lanes = n - start < LANES ? n - start : LANES;
        double la[LANES] = {0}, lb[LANES] = {0}, lc[LANES] = {0}, lm[LANES] = {0};
        double sum[LANES] = {0}, sum_road[LANES] = {0};
        memcpy(la, a + start, lanes * sizeof(double));
        memcpy(lb, b + start, lanes * sizeof(double));
        memcpy(lc, c + start, lanes * sizeof(double));
        memcpy(lm, mass + start, lanes * sizeof(double));
        for (size_t j = 0; j < g->count; j++) {
            for (int l = 0; l < LANES; l++) {
                double r = la[l] * g->per_a[j] + lb[l] * g->per_b[j] + lc[l] * g->per_c[j];
                double w = r + lm[l] * g->per_mass[j];
                sum[l] += w > 0.0 ? w : 0.0;
                sum_road[l] += w > 0.0 ? r : 0.0;
            }
        }
        for (size_t l = 0; l < lanes; l++) {
            traction[start + l] += sum[l];
            road[start + l] += sum_road[l];
        }
    }
}

/* Steps on which a tailwind may be faster than the vehicle: the aerodynamic force changes sign
 * there and is no longer the quadratic of v that the other steps share. */
static void add_overtaken(const struct trace *t, size_t step, size_t n,
                          const struct wheel_load *load, double *traction, double *road)
{
    double v = t->speed[step], d = t->distance[step], inertia = t->acceleration[step] * d;
    for (size_t i = 0; i < n; i++) {
        double air = v + load->headwind[i];
        double r = d * (load->a[i] + load->b[i] * v + load->c[i] * air * fabs(air));
        double w = r + load->mass[i] * inertia;
        traction[i] += w > 0.0 ? w : 0.0;
        road[i] += w > 0.0 ? r : 0.0;
    }
}

/* C (v + u)^2 = C u^2 + 2 C u v + C v^2: a headwind only shifts A and B, unless it is overtaken. */
struct calm_load {
    double a_space[BLOCK_SAMPLES], b_space[BLOCK_SAMPLES];
    const double *a, *b;
    double slowest; /* steps slower than this are overtaken by some sample's tailwind */
};

static void calm_down(size_t n, const struct wheel_load *load, struct calm_load *calm)
{
    calm->a = load->a;
    calm->b = load->b;
    calm->slowest = 0.0;
    if (!load->headwind)
        return;
    for (size_t i = 0; i < n; i++) {
        double u = load->headwind[i];
        calm->a_space[i] = load->a[i] + load->c[i] * u * u;
        calm->b_space[i] = load->b[i] + 2.0 * load->c[i] * u;
    }
    calm->a = calm->a_space;
    calm->b = calm->b_space;
    calm->slowest = -range_of(n, load->headwind).low;
}

void trace_traction(const struct trace *t, size_t n, const struct wheel_load *load,
                    double *traction, double *road)
{
    struct calm_load calm;
    calm_down(n, load, &calm);
    struct range a = range_of(n, calm.a), b = range_of(n, calm.b);
    struct range c = range_of(n, load->c), m = range_of(n, load->mass);
    struct step_group group;
    group.count = 0;
    double per_a = 0.0, per_b = 0.0, per_c = 0.0, per_mass = 0.0;

    memset(traction, 0, n * sizeof(double));
    memset(road, 0, n * sizeof(double));
    for (size_t j = 0; j < t->steps; j++) {
        double v = t->speed[j], d = t->distance[j], acceleration = t->acceleration[j];
        if (v < calm.slowest) {
            add_overtaken(t, j, n, load, traction, road);
            continue;
        }
        struct range inertia = scaled(m, acceleration);
        double lowest = a.low + b.low * v + c.low * v * v + inertia.low;
        double highest = a.high + b.high * v + c.high * v * v + inertia.high;
        if (highest <= 0.0)
            continue;
        if (lowest >= 0.0) {
            per_a += d;
            per_b += d * v;
            per_c += d * v * v;
            per_mass += d * acceleration;
            continue;
        }
        group.per_a[group.count] = d;
        group.per_b[group.count] = d * v;
        group.per_c[group.count] = d * v * v;
        group.per_mass[group.count] = d * acceleration;
        if (++group.count == GROUP_STEPS) {
            add_undecided(&group, n, calm.a, calm.b, load->c, load->mass, traction, road);
            group.count = 0;
        }
    }
    add_undecided(&group, n, calm.a, calm.b, load->c, load->mass, traction, road);
    for (size_t i = 0; i < n; i++) {
        double r = per_a * calm.a[i] + per_b * calm.b[i] + per_c * load->c[i];
        traction[i] += r + per_mass * load->mass[i];
        road[i] += r;
    }
}

void trace_net_work(const struct trace *t, size_t n, const struct wheel_load *load, double *net)
{
    struct calm_load calm;
    calm_down(n, load, &calm);
    for (size_t i = 0; i < n; i++)
        net[i] = t->per_a * calm.a[i] + t->per_b * calm.b[i] + t->per_c * load->c[i] +
                 t->per_mass * load->mass[i];
    for (size_t j = 0; j < t->steps; j++) {
        double v = t->speed[j];
        if (v >= calm.slowest)
            continue;
        for (size_t i = 0; i < n; i++) {
            double air = v + load->headwind[i];
            net[i] += t->distance[j] * load->c[i] * (air * fabs(air) - air * air);
        }
    }
}
