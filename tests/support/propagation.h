/* Propagates a small model's inputs through packspan's own draws, copula, shapes and tallies. */
#ifndef PACKSPAN_TESTS_PROPAGATION_H
#define PACKSPAN_TESTS_PROPAGATION_H

#include <stdlib.h>

#include "draw/copula.h"
#include "draw/shape.h"
#include "draw/stream.h"
#include "engine/tally.h"
#include "model/block.h"
#include "support/support.h"

enum { SAMPLES = 489 * 2048, PILOT = 16384, INPUTS_MAX = 5 };

struct model {
    size_t inputs;
    struct shape_given given[INPUTS_MAX];
    double (*work)(const double *x);
    size_t links;
    struct copula_link link[INPUTS_MAX];
    double inside_low, inside_high; /* an interval whose share of the samples is wanted */
};

struct summary {
    struct moments moments;
    double low, high;                   /* probabilistically symmetric 95 % */
    double low_error, high_error;       /* one standard error */
    double shortest_low, shortest_high; /* 95 % */
    double inside;                      /* share */
};

/* ---- Inputs ---- */

struct drawn_inputs {
    size_t count;
    struct shape *shapes[INPUTS_MAX];
    struct stream streams[INPUTS_MAX];
    struct copula copula;
    double columns[INPUTS_MAX][BLOCK_SAMPLES];
};

static inline void open_inputs(const struct model *m, struct drawn_inputs *d)
{
    static const char *const names[INPUTS_MAX] = {"x1", "x2", "x3", "x4", "x5"};
    static const size_t order[INPUTS_MAX] = {0, 1, 2, 3, 4};
    struct shape_domain everything = {-INFINITY, INFINITY, true, true};
    struct shape_fault fault;
    d->count = m->inputs;
    for (size_t k = 0; k < m->inputs; k++) {
        stream_open(&d->streams[k], 20081231, "vehicle", "example", names[k]);
        assert_int_equal(shape_make(&m->given[k], &everything, &d->shapes[k], &fault), PACKSPAN_OK);
    }
    assert_int_equal(copula_open(m->inputs, order, m->links, m->link, &d->copula), PACKSPAN_OK);
    for (size_t g = 0; g < d->copula.group_count; g++)
        assert_true(d->copula.groups[g].possible);
}

static inline void close_inputs(struct drawn_inputs *d)
{
    for (size_t k = 0; k < d->count; k++)
        shape_free(d->shapes[k]);
    copula_close(&d->copula);
}

static inline void draw_inputs(struct drawn_inputs *d, uint64_t first)
{
    double *columns[INPUTS_MAX], scores[INPUTS_MAX][BLOCK_SAMPLES], upper[BLOCK_SAMPLES];
    for (size_t k = 0; k < d->count; k++) {
        columns[k] = scores[k];
        stream_uniforms(&d->streams[k], first, BLOCK_SAMPLES, d->columns[k]);
        copula_scores(BLOCK_SAMPLES, d->columns[k], scores[k]);
        shape_quantiles(d->shapes[k], BLOCK_SAMPLES, d->columns[k], d->columns[k]);
    }
    for (size_t g = 0; g < d->copula.group_count; g++) {
        const struct copula_group *group = &d->copula.groups[g];
        copula_mix(group, BLOCK_SAMPLES, columns);
        for (size_t i = 0; i < group->size; i++) {
            size_t k = group->members[i];
            copula_tails(BLOCK_SAMPLES, scores[k], scores[k], upper);
            shape_tail_quantiles(d->shapes[k], BLOCK_SAMPLES, scores[k], upper, d->columns[k]);
        }
    }
}

/* ---- The model ---- */

static inline int compare_values(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static inline void fill(const struct model *m, struct drawn_inputs *d, uint64_t first, double *y)
{
    draw_inputs(d, first);
    for (size_t i = 0; i < BLOCK_SAMPLES; i++) {
        double one[INPUTS_MAX];
        for (size_t k = 0; k < m->inputs; k++)
            one[k] = d->columns[k][i];
        y[i] = m->work(one);
    }
}

static inline struct bin_layout *lay_out(const struct model *m, struct drawn_inputs *d)
{
    double *pilot = malloc(PILOT * sizeof *pilot);
    assert_non_null(pilot);
    for (size_t first = 0; first < PILOT; first += BLOCK_SAMPLES)
        fill(m, d, first, pilot + first);
    qsort(pilot, PILOT, sizeof *pilot, compare_values);
    struct bin_layout *layout = NULL;
    assert_int_equal(bin_layout_make(pilot, PILOT, &layout), PACKSPAN_OK);
    free(pilot);
    return layout;
}

static inline struct summary propagate(const struct model *m)
{
    struct drawn_inputs inputs;
    open_inputs(m, &inputs);
    struct bin_layout *layout = lay_out(m, &inputs);
    size_t bins = bin_layout_size(layout);
    uint64_t *counts = calloc(bins + 1, sizeof *counts);
    uint32_t *pilot_below = calloc(bins + 1, sizeof *pilot_below);
    assert_true(counts && pilot_below);
    struct bin_counter counter = {0};
    assert_int_equal(bin_counter_open(layout, &counter), PACKSPAN_OK);
    struct summary s;
    size_t inside = 0;
    moments_init(&s.moments);
    for (uint64_t first = 0; first < SAMPLES; first += BLOCK_SAMPLES) {
        double y[BLOCK_SAMPLES];
        struct moments part;
        fill(m, &inputs, first, y);
        moments_init(&part);
        moments_of(BLOCK_SAMPLES, y, &part);
        moments_merge(&s.moments, &part);
        bin_count(layout, BLOCK_SAMPLES, y, &counter);
        for (size_t i = 0; i < BLOCK_SAMPLES; i++)
            inside += y[i] >= m->inside_low && y[i] <= m->inside_high;
    }
    bin_counters_drain(layout, 1, &(struct bin_counter *){&counter}, counts);
    bin_counter_close(&counter);
    bin_counts_cumulate(bins, counts, counts);
    bin_layout_cumulate(layout, pilot_below);
    struct distribution d = {layout, counts, pilot_below, s.moments, (double)s.moments.count};
    s.low = distribution_percentile(&d, 0.025);
    s.high = distribution_percentile(&d, 0.975);
    s.low_error = distribution_percentile_error(&d, 0.025);
    s.high_error = distribution_percentile_error(&d, 0.975);
    s.inside = (double)inside / SAMPLES;
    distribution_shortest95(&d, &s.shortest_low, &s.shortest_high);
    free(counts);
    free(pilot_below);
    bin_layout_free(layout);
    close_inputs(&inputs);
    return s;
}

/* ---- Shapes and checks ---- */

static inline struct shape_given given(enum shape_kind kind, double best, double low, double high,
                                       double sd)
{
    return (struct shape_given){.kind = kind, .field = {best, low, high, NAN, sd, NAN, NAN}};
}

static inline struct shape_given normal(double mean, double sd)
{
    return given(SHAPE_NORMAL, mean, NAN, NAN, sd);
}

static inline struct shape_given rectangular(double low, double high)
{
    return given(SHAPE_UNIFORM, NAN, low, high, NAN);
}

/* Within four standard errors. `kurtosis` (not excess) sets the standard error of the sd:
 * u sqrt((kurtosis - 1)/(4 n)). */
static inline void check_summary(const struct summary *s, double mean, double sd, double kurtosis,
                                 double low, double high)
{
    double n = SAMPLES;
    assert_close(s->moments.mean, mean, 0.0, 4.0 * sd / sqrt(n));
    assert_close(moments_sd(&s->moments), sd, 0.0, 4.0 * sd * sqrt((kurtosis - 1.0) / (4.0 * n)));
    assert_close(s->low, low, 0.0, 4.0 * s->low_error);
    assert_close(s->high, high, 0.0, 4.0 * s->high_error);
}

#endif
