#include "model/trace.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/range.h"
#include "model/block.h"
#include "model/undecided.h"

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

static struct range scaled(struct range r, double k)
{
    return k >= 0.0 ? (struct range){k * r.low, k * r.high} : (struct range){k * r.high, k * r.low};
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
        if (road)
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

static struct step_sums sums_of_step(const struct trace *t, size_t j)
{
    double v = t->speed[j], d = t->distance[j];
    return (struct step_sums){d, d * v, d * v * v, d * t->acceleration[j]};
}

/* Empties a full batch first. Returns what add_undecided() does. */
static uint64_t gather(struct step_batch *batch, const struct trace *t, size_t j,
                       const struct wheel_work *w)
{
    uint64_t evaluated = 0;
    if (batch->count == BATCH_STEPS) {
        evaluated = add_undecided(batch, w);
        batch->count = 0;
    }
    batch->speed[batch->count] = t->speed[j];
    batch->acceleration[batch->count] = t->acceleration[j];
    batch->step[batch->count++] = sums_of_step(t, j);
    return evaluated;
}

uint64_t trace_traction(const struct trace *t, size_t n, const struct wheel_load *load,
                        double *traction, double *road)
{
    struct calm_load calm;
    calm_down(n, load, &calm);
    struct range a = range_of(n, calm.a), b = range_of(n, calm.b);
    struct range c = range_of(n, load->c), m = range_of(n, load->mass);
    struct wheel_work w = {n, calm.a, calm.b, load->c, load->mass, traction, road};
    struct step_batch batch;
    batch.count = 0;
    struct step_sums sure = {0};
    uint64_t evaluated = 0;

    memset(traction, 0, n * sizeof(double));
    if (road)
        memset(road, 0, n * sizeof(double));
    for (size_t j = 0; j < t->steps; j++) {
        double v = t->speed[j];
        if (v < calm.slowest) {
            add_overtaken(t, j, n, load, traction, road);
            evaluated += n;
            continue;
        }
        struct range inertia = scaled(m, t->acceleration[j]);
        double lowest = a.low + b.low * v + c.low * v * v + inertia.low;
        double highest = a.high + b.high * v + c.high * v * v + inertia.high;
        if (lowest >= 0.0)
            sure = step_sums_add(sure, sums_of_step(t, j));
        else if (!(highest <= 0.0))
            evaluated += gather(&batch, t, j, &w);
    }
    if (batch.count > 0)
        evaluated += add_undecided(&batch, &w);
    for (size_t i = 0; i < n; i++) {
        double r = sure.per_a * calm.a[i] + sure.per_b * calm.b[i] + sure.per_c * load->c[i];
        traction[i] += r + sure.per_mass * load->mass[i];
        if (road)
            road[i] += r;
    }
    return evaluated;
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
