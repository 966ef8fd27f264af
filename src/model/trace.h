/* A speed trace prepared for the work at the wheels.
 *
 * Over each step, v is the mean of the end speeds, a = dv/dt, d = v dt the distance, and
 * F = A + B v + C v^2 + M a the force, M being the effective mass. The step's work F d is linear
 * in A, B, C and M; traction is the sum of max(F d, 0), braking of max(-F d, 0). */
#ifndef PACKSPAN_MODEL_TRACE_H
#define PACKSPAN_MODEL_TRACE_H

#include <packspan/packspan.h>
#include <stddef.h>
#include <stdint.h>

struct trace {
    size_t steps; /* those with d > 0; a standstill does no work */
    double *speed, *acceleration, *distance;
    double duration;       /* s, standstills included */
    double total_distance; /* m */
    /* Work of all steps together per unit of A, B, C and M. */
    double per_a, per_b, per_c, per_mass;
};

/* `time` strictly increasing (s), `speed` (m/s) not negative. */
packspan_status trace_make(size_t points, const double *time, const double *speed,
                           struct trace *out);
void trace_free(struct trace *t);

/* Columns of n <= BLOCK_SAMPLES samples, SI. */
struct wheel_load {
    const double *a, *b, *c;
    const double *mass;     /* effective mass, kg */
    const double *headwind; /* m/s; NULL when calm. C acts on v + headwind, with its sign. */
};

/* traction[i] = sum of max(F d, 0), J; road[i] (road may be NULL) = the part of it that A, B and C
 * do. Both exact for every sample: a step whose sign is the same over the whole block, or over the
 * samples that are most alike, is added through its sums, and only the others are evaluated one by
 * one. Returns how often a step was evaluated for a sample. */
uint64_t trace_traction(const struct trace *t, size_t n, const struct wheel_load *load,
                        double *traction, double *road);

/* net[i] = traction - braking, J. */
void trace_net_work(const struct trace *t, size_t n, const struct wheel_load *load, double *net);

#endif
