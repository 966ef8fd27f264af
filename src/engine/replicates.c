#include "engine/replicates.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/hot_loop.h"
#include "draw/stream.h"

static const double levels[MARK_COUNT] = {0.025, 0.05, 0.50, 0.95, 0.975};

/* ---- memory ---- */

bool replicate_part_open(const struct plan_set *set, struct replicate_part *part)
{
    part->shares = calloc(set->row_count + 1, sizeof *part->shares);
    part->claims = calloc(set->source->claim_count + 1, sizeof *part->claims);
    return part->shares && part->claims;
}

void replicate_part_close(struct replicate_part *part)
{
    free(part->shares);
    free(part->claims);
    *part = (struct replicate_part){0};
}

static bool open_replicate(const struct plan_set *set, struct replicate *p)
{
    p->moments = calloc(set->row_count + 1, sizeof *p->moments);
    p->shares = calloc(set->row_count + 1, sizeof *p->shares);
    p->claims = calloc(set->source->claim_count + 1, sizeof *p->claims);
    return p->moments && p->shares && p->claims;
}

packspan_status replicates_open(const struct plan_set *set, size_t count, struct replicates **out)
{
    struct replicates *r = calloc(1, sizeof *r);
    if (!r)
        return PACKSPAN_NO_MEMORY;
    *r = (struct replicates){.set = set, .count = count};
    r->watched = calloc(set->row_count + 1, sizeof *r->watched);
    r->marks = calloc(set->count * set->row_count + 1, sizeof *r->marks);
    r->list = calloc(count * set->count, sizeof *r->list);
    bool made = r->watched && r->marks && r->list;
    for (size_t i = 0; i < count * set->count && made; i++)
        made = open_replicate(set, &r->list[i]);
    if (!made) {
        replicates_free(r);
        return PACKSPAN_NO_MEMORY;
    }
    for (size_t row = 0; row < set->row_count; row++)
        r->watched[row] = true;
    for (size_t i = 0; i < count; i++)
        replicates_clear(r, i);
    *out = r;
    return PACKSPAN_OK;
}

void replicates_free(struct replicates *r)
{
    if (!r)
        return;
    for (size_t i = 0; r->list && i < r->count * r->set->count; i++) {
        free(r->list[i].moments);
        free(r->list[i].shares);
        free(r->list[i].claims);
    }
    free(r->watched);
    free(r->marks);
    free(r->list);
    free(r);
}

void replicates_clear_sums(struct replicates *r, size_t replicate)
{
    const struct plan_set *set = r->set;
    for (size_t c = 0; c < set->count; c++) {
        struct replicate *p = &r->list[replicate * set->count + c];
        for (size_t row = 0; row < set->row_count; row++)
            moments_init(&p->moments[row]);
        p->likelihood = 0.0;
    }
}

void replicates_clear(struct replicates *r, size_t replicate)
{
    const struct plan_set *set = r->set;
    replicates_clear_sums(r, replicate);
    for (size_t c = 0; c < set->count; c++) {
        struct replicate *p = &r->list[replicate * set->count + c];
        memset(p->shares, 0, set->row_count * sizeof *p->shares);
        memset(p->claims, 0, set->source->claim_count * sizeof *p->claims);
        p->samples = 0.0;
    }
}

/* ---- summing ---- */

void replicates_mark(struct replicates *r, const struct run_outcome *o)
{
    const struct plan_set *set = r->set;
    for (size_t c = 0; c < set->count; c++)
        for (size_t row = 0; row < set->row_count; row++) {
            const struct bin_layout *own = run_layout(o, c, row), *joint = o->layouts[row];
            struct row_marks *marks = &r->marks[c * set->row_count + row];
            for (int k = 0; k < MARK_COUNT; k++) {
                marks->own[k] = own ? bin_layout_percentile(own, levels[k]) : (double)NAN;
                marks->joint[k] = joint ? bin_layout_percentile(joint, levels[k]) : (double)NAN;
            }
        }
}

HOT_LOOP static void count_below(size_t n, const double *restrict x, const double marks[MARK_COUNT],
                                 uint64_t *restrict below)
{
    for (int k = 0; k < MARK_COUNT; k++) {
        double mark = marks[k];
        uint64_t count = 0;
        for (size_t i = 0; i < n; i++)
            count += x[i] < mark;
        below[k] = count;
    }
}

HOT_LOOP static void weigh_below(size_t n, const double *restrict x,
                                 const uint64_t *restrict weights, const double marks[MARK_COUNT],
                                 uint64_t *restrict below)
{
    for (int k = 0; k < MARK_COUNT; k++) {
        double mark = marks[k];
        uint64_t sum = 0;
        for (size_t i = 0; i < n; i++)
            sum += x[i] < mark ? weights[i] : 0;
        below[k] = sum;
    }
}

static void sum_below(size_t n, const double *x, const uint64_t *weights,
                      const double marks[MARK_COUNT], uint64_t below[MARK_COUNT])
{
    if (weights)
        weigh_below(n, x, weights, marks, below);
    else
        count_below(n, x, marks, below);
}

void replicates_tally(const struct replicates *r, size_t candidate, size_t n,
                      const double *const *columns, const uint64_t *weights,
                      struct replicate_part *part)
{
    const struct plan_set *set = r->set;
    memset(part->shares, 0, set->row_count * sizeof *part->shares);
    for (size_t row = 0; row < set->row_count; row++) {
        size_t node = plan_set_node(set, candidate, row);
        const struct row_marks *marks = &r->marks[candidate * set->row_count + row];
        if (!r->watched[row] || set->rows[row].fixed || node == NODE_NONE)
            continue;
        sum_below(n, columns[node], weights, marks->own, part->shares[row].own);
        if (set->count > 1)
            sum_below(n, columns[node], weights, marks->joint, part->shares[row].joint);
    }
}

void replicates_add(struct replicates *r, size_t replicate, size_t candidate,
                    const struct replicate_part *part)
{
    const struct plan_set *set = r->set;
    struct replicate *p = &r->list[replicate * set->count + candidate];
    for (size_t row = 0; row < set->row_count; row++) {
        for (int k = 0; k < MARK_COUNT && r->watched[row]; k++) {
            p->shares[row].own[k] += part->shares[row].own[k];
            p->shares[row].joint[k] += part->shares[row].joint[k];
        }
    }
    for (size_t k = 0; k < set->source->claim_count; k++)
        claim_count_add(&p->claims[k], &part->claims[k]);
    p->samples += part->samples;
}

void replicates_add_sums(struct replicates *r, size_t replicate, size_t candidate,
                         const struct moments *moments, double likelihood)
{
    struct replicate *p = &r->list[replicate * r->set->count + candidate];
    for (size_t row = 0; row < r->set->row_count; row++)
        if (r->watched[row])
            moments_merge(&p->moments[row], &moments[row]);
    p->likelihood += likelihood;
}

/* ---- what they tell ---- */

static const struct replicate *replicate_of(const struct replicates *r, size_t replicate,
                                            size_t candidate)
{
    return &r->list[replicate * r->set->count + candidate];
}

struct moments replicates_moments(const struct replicates *r, size_t replicate, size_t from,
                                  size_t to, size_t row)
{
    struct moments sum;
    moments_init(&sum);
    for (size_t c = from; c < to; c++)
        moments_merge(&sum, &replicate_of(r, replicate, c)->moments[row]);
    return sum;
}

/* Weight below the mark, and all weight. */
static void weigh_share(const struct replicates *r, size_t replicate, size_t from, size_t to,
                        size_t row, enum mark mark, double *below, double *all)
{
    *below = *all = 0.0;
    for (size_t c = from; c < to; c++) {
        const struct replicate *p = replicate_of(r, replicate, c);
        const struct row_shares *s = &p->shares[row];
        *below += (double)(to - from > 1 ? s->joint : s->own)[mark];
        *all += (double)p->moments[row].count;
    }
}

double replicates_share(const struct replicates *r, size_t replicate, size_t from, size_t to,
                        size_t row, enum mark mark)
{
    double below, all;
    weigh_share(r, replicate, from, to, row, mark, &below, &all);
    return below / all;
}

double ratio_error(size_t n, const double *a, const double *b)
{
    double above = 0.0, below = 0.0, squares = 0.0, used = 0.0;
    for (size_t i = 0; i < n; i++) {
        above += a[i];
        below += b[i];
        used += b[i] > 0.0;
    }
    for (size_t i = 0; i < n; i++) {
        double rest = a[i] - above / below * b[i];
        squares += rest * rest;
    }
    return used < 2.0 ? (double)NAN : sqrt(used / (used - 1.0) * squares) / below;
}

/* Means are taken from that of the first replicate, against cancellation. */
double replicates_mean_error(const struct replicates *r, size_t from, size_t to, size_t row)
{
    double a[REPLICATES], b[REPLICATES], origin = 0.0;
    for (size_t i = 0; i < r->count; i++) {
        struct moments m = replicates_moments(r, i, from, to, row);
        if (i == 0)
            origin = m.mean;
        b[i] = (double)m.count;
        a[i] = b[i] * (m.mean - origin);
    }
    return ratio_error(r->count, a, b);
}

double replicates_share_error(const struct replicates *r, size_t from, size_t to, size_t row,
                              enum mark mark)
{
    double a[REPLICATES], b[REPLICATES];
    for (size_t i = 0; i < r->count; i++)
        weigh_share(r, i, from, to, row, mark, &a[i], &b[i]);
    return ratio_error(r->count, a, b);
}

double replicates_claim_error(const struct replicates *r, size_t from, size_t to, size_t claim)
{
    double a[REPLICATES], b[REPLICATES];
    enum claim_sense sense = r->set->source->claims[claim].sense;
    for (size_t i = 0; i < r->count; i++) {
        struct claim_count count = {0};
        for (size_t c = from; c < to; c++)
            claim_count_add(&count, &replicate_of(r, i, c)->claims[claim]);
        a[i] = (double)claim_count_against(&count, sense);
        b[i] = (double)count.total;
    }
    return ratio_error(r->count, a, b);
}

double replicates_likelihood_error(const struct replicates *r, size_t candidate)
{
    double a[REPLICATES], b[REPLICATES];
    for (size_t i = 0; i < r->count; i++) {
        a[i] = replicate_of(r, i, candidate)->likelihood;
        b[i] = replicate_of(r, i, candidate)->samples;
    }
    return ratio_error(r->count, a, b);
}
