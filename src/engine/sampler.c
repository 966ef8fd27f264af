#include "engine/sampler.h"

#include <float.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"
#include "draw/stream.h"
#include "engine/dimensions.h"

/* A block is all of one scrambling. */
_Static_assert(BLOCK_SAMPLES == SOBOL_BLOCK, "replicates take turns block by block");

struct sampler {
    const struct plan *plan;
    const size_t *twins;
    const struct sampler *base;
    struct stream *streams; /* [node_count]; only those of inputs are used */
    double *space;
    double **columns;       /* [node_count] */
    double **input_columns; /* [input_count], as the case's inputs */
};

static void open_stream(const struct case_data *c, const struct dimensions *dimensions,
                        const struct input *in, struct stream *s)
{
    uint64_t seed = c->settings.seed;
    struct draw_key key = draw_key_of(c, in);
    if (c->settings.sobol)
        stream_open_sobol(s, seed, key.kind, key.owner, key.quantity,
                          dimensions_find(dimensions, &key));
    else
        stream_open(s, seed, key.kind, key.owner, key.quantity);
}

static packspan_status open_streams(struct sampler *s)
{
    const struct plan *p = s->plan;
    struct dimensions dimensions = {0};
    packspan_status status =
        p->source->settings.sobol ? dimensions_make(p->source, &dimensions) : PACKSPAN_OK;
    for (size_t k = 0; k < p->node_count && status == PACKSPAN_OK; k++)
        if (p->nodes[k].kind == NODE_INPUT)
            open_stream(p->source, &dimensions, p->nodes[k].input, &s->streams[k]);
    dimensions_free(&dimensions);
    return status;
}

HOT_LOOP static void convert_to_si(const struct input *in, size_t n, double *x)
{
    struct unit_factor to_si = in->to_si;
    for (size_t i = 0; i < n; i++)
        x[i] = to_si.scale * x[i] + to_si.offset;
}

static void draw_input(const struct plan_node *node, const struct stream *s, uint64_t first,
                       size_t n, double *x)
{
    stream_uniforms(s, first, n, x);
    shape_draws(node->input->shape, n, x, x);
    convert_to_si(node->input, n, x);
}

static void draw_linked(struct sampler *s, const struct copula_group *g, uint64_t first, size_t n)
{
    const struct plan *p = s->plan;
    for (size_t k = 0; k < g->size; k++) {
        double *x = s->input_columns[g->members[k]];
        stream_uniforms(&s->streams[p->input_nodes[g->members[k]]], first, n, x);
        copula_scores(n, x, x);
    }
    copula_mix(g, n, s->input_columns);
    for (size_t k = 0; k < g->size; k++) {
        /* a candidate's row in the place of the linked one keeps the link */
        const struct input *in = p->nodes[p->input_nodes[g->members[k]]].input;
        double *x = s->input_columns[g->members[k]], upper[BLOCK_SAMPLES];
        copula_tails(n, x, x, upper);
        shape_tail_draws(in->shape, n, x, upper, x);
        convert_to_si(in, n, x);
    }
}

static void average(const struct sampler *s, const struct plan_node *node, size_t n, double *x)
{
    memcpy(x, s->columns[node->args[0]], n * sizeof *x);
    for (size_t a = 1; a < node->arg_count; a++)
        for (size_t i = 0; i < n; i++)
            x[i] += s->columns[node->args[a]][i];
    for (size_t i = 0; i < n; i++)
        x[i] /= (double)node->arg_count;
}

static void relate(const struct sampler *s, const struct plan_node *node, size_t n, double *x)
{
    const struct plan *p = s->plan;
    const double *in[2 * RELATION_NEEDS_MAX];
    for (size_t a = 0; a < node->arg_count; a++)
        in[a] = s->columns[node->args[a]];
    bool on_cycle = node->trip != TRIP_NONE && !p->source->trips[node->trip].steady;
    struct relation_call call = {
        .n = n,
        .in = in,
        .out = x,
        .city = &p->traces[0],
        .highway = &p->traces[1],
        .trip = on_cycle ? &p->traces[p->source->trips[node->trip].cycle] : NULL,
    };
    node->relation->work(&call);
}

static void fill_column(struct sampler *s, size_t k, uint64_t first, size_t n)
{
    const struct plan_node *node = &s->plan->nodes[k];
    double *x = s->columns[k];
    switch (node->kind) {
    case NODE_INPUT:
        if (!node->linked || node->fixed)
            draw_input(node, &s->streams[k], first, n, x);
        break;
    case NODE_FALLBACK:
        for (size_t i = 0; i < n; i++)
            x[i] = quantities[node->quantity].fallback;
        break;
    case NODE_RELATION:
        relate(s, node, n, x);
        break;
    case NODE_MEAN:
        average(s, node, n, x);
        break;
    }
}

static bool is_twin(const struct sampler *s, size_t node)
{
    return s->base && s->twins && s->twins[node] != NODE_NONE;
}

packspan_status sampler_open(const struct plan *p, const size_t *twins, const struct sampler *base,
                             struct sampler **out)
{
    struct sampler *s = calloc(1, sizeof *s);
    if (!s)
        return PACKSPAN_NO_MEMORY;
    s->plan = p;
    s->twins = twins;
    s->base = base;
    s->streams = calloc(p->node_count + 1, sizeof *s->streams);
    s->columns = calloc(p->node_count + 1, sizeof *s->columns);
    s->input_columns = calloc(p->source->input_count + 1, sizeof *s->input_columns);
    s->space = aligned_alloc(64, (p->node_count + 1) * BLOCK_SAMPLES * sizeof *s->space);
    bool made = s->streams && s->columns && s->input_columns && s->space;
    packspan_status status = made ? open_streams(s) : PACKSPAN_NO_MEMORY;
    if (status != PACKSPAN_OK) {
        sampler_free(s);
        return status;
    }
    for (size_t k = 0; k < p->node_count; k++) {
        s->columns[k] = is_twin(s, k) ? base->columns[twins[k]] : s->space + k * BLOCK_SAMPLES;
        if (p->nodes[k].fixed && !is_twin(s, k))
            fill_column(s, k, 0, BLOCK_SAMPLES);
    }
    for (size_t i = 0; i < p->source->input_count; i++)
        s->input_columns[i] = s->columns[p->input_nodes[i]];
    *out = s;
    return PACKSPAN_OK;
}

void sampler_free(struct sampler *s)
{
    if (!s)
        return;
    free(s->streams);
    free(s->columns);
    free(s->input_columns);
    free(s->space);
    free(s);
}

const double *const *sampler_columns(const struct sampler *s)
{
    return (const double *const *)s->columns;
}

/* An exponent of all ones, shifted to the top, is carried into the sign by one more. */
HOT_LOOP static bool is_all_finite(size_t n, const double *restrict x)
{
    uint64_t carried = 0;
    for (size_t i = 0; i < n; i++) {
        uint64_t bits;
        memcpy(&bits, &x[i], sizeof bits);
        carried |= (bits & 0x7ff0000000000000) + 0x0010000000000000;
    }
    return carried >> 63 == 0;
}

/* spoiled[i] |= 1 for NaN and infinity. */
static void mark_spoiled(size_t n, const double *x, uint64_t *spoiled)
{
    for (size_t i = 0; i < n; i++)
        spoiled[i] |= fabs(x[i]) <= DBL_MAX ? 0 : 1;
}

static void blame(const struct sampler *s, size_t n, const uint64_t *spoiled,
                  uint64_t *invalid_by_node)
{
    for (size_t i = 0; i < n; i++) {
        if (!spoiled[i])
            continue;
        size_t k = 0;
        while (isfinite(s->columns[k][i]))
            k++;
        invalid_by_node[k]++;
    }
}

static bool is_all_twins(const struct sampler *s, const struct copula_group *g)
{
    for (size_t k = 0; k < g->size; k++)
        if (!is_twin(s, s->plan->input_nodes[g->members[k]]))
            return false;
    return true;
}

size_t sampler_fill(struct sampler *s, bool alone, uint64_t first, size_t n, uint64_t *drop,
                    uint64_t *invalid_by_node)
{
    const struct plan *p = s->plan;
    const struct copula *copula = &p->source->copula;
    bool spoiled = false;
    memset(drop, 0, n * sizeof *drop);
    for (size_t g = 0; g < copula->group_count; g++)
        if (alone || !is_all_twins(s, &copula->groups[g]))
            draw_linked(s, &copula->groups[g], first, n);
    for (size_t k = 0; k < p->node_count; k++) {
        if (!p->nodes[k].fixed && (alone || !is_twin(s, k)))
            fill_column(s, k, first, n);
        if (p->nodes[k].kind == NODE_RELATION && !is_all_finite(n, s->columns[k])) {
            mark_spoiled(n, s->columns[k], drop);
            spoiled = true;
        }
    }
    size_t invalid = 0;
    for (size_t i = 0; spoiled && i < n; i++)
        invalid += drop[i] != 0;
    if (invalid && invalid_by_node)
        blame(s, n, drop, invalid_by_node);
    return invalid;
}

static void close_ranks(size_t n, const uint64_t *drop, double *x)
{
    size_t kept = 0;
    for (size_t i = 0; i < n; i++)
        if (!drop[i])
            x[kept++] = x[i];
}

HOT_LOOP static size_t count_kept(size_t n, const uint64_t *drop)
{
    size_t dropped = 0;
    for (size_t i = 0; i < n; i++)
        dropped += drop[i];
    return n - dropped;
}

size_t sampler_keep(struct sampler *s, bool alone, size_t n, const uint64_t *drop)
{
    const struct plan *p = s->plan;
    size_t kept = count_kept(n, drop);
    for (size_t k = 0; k < p->node_count && kept < n; k++)
        if (!p->nodes[k].fixed && (alone || !is_twin(s, k)))
            close_ranks(n, drop, s->columns[k]);
    return kept;
}

void sampler_blank(struct sampler *s, size_t n)
{
    for (size_t k = 0; k < s->plan->node_count; k++)
        for (size_t i = 0; i < n && !s->plan->nodes[k].fixed; i++)
            if (!isfinite(s->columns[k][i]))
                s->columns[k][i] = 0.0;
}
