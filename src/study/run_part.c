#include "study/run_part.h"

#include <inttypes.h>
#include <stdlib.h>

#include "base/text.h"
#include "engine/joint_counts.h"
#include "engine/replicates.h"
#include "engine/sum_tree.h"

void part_share(struct part_of part, uint64_t count, uint64_t *from, uint64_t *to)
{
    *from = (part.part - 1) * count / part.parts;
    *to = part.part * count / part.parts;
}

char *part_stem(const char *folder, struct part_of part)
{
    return text_format("%s/part_%" PRIu64 "_of_%" PRIu64, folder, part.part, part.parts);
}

char *run_part_path(const char *folder, struct part_of part)
{
    char *stem = part_stem(folder, part);
    char *path = stem ? text_format("%s.part", stem) : NULL;
    free(stem);
    return path;
}

/* One description of the payload for both directions: numbers are written, or read and, being whole
 * ones, added. */
struct exchange {
    struct byte_writer *to; /* NULL when reading */
    struct byte_reader *from;
};

static void whole(struct exchange *x, uint64_t *value)
{
    if (x->to)
        put_whole(x->to, *value);
    else
        *value += take_whole(x->from);
}

static void wholes(struct exchange *x, size_t n, uint64_t *values)
{
    for (size_t i = 0; i < n; i++)
        whole(x, &values[i]);
}

static void real(struct exchange *x, double *value)
{
    if (x->to)
        put_real(x->to, *value);
    else
        *value = take_real(x->from);
}

static void reals(struct exchange *x, size_t n, double *values)
{
    for (size_t i = 0; i < n; i++)
        real(x, &values[i]);
}

static void claims(struct exchange *x, size_t n, struct claim_count *counts)
{
    for (size_t i = 0; i < n; i++) {
        whole(x, &counts[i].above);
        whole(x, &counts[i].below);
        whole(x, &counts[i].under);
        whole(x, &counts[i].at);
        whole(x, &counts[i].total);
    }
}

/* ---- sums ---- */

static void weight_sums(struct exchange *x, struct weight_sums *w)
{
    real(x, &w->sum);
    real(x, &w->squares);
    real(x, &w->largest);
}

static void moments(struct exchange *x, struct moments *m)
{
    whole(x, &m->count);
    real(x, &m->mean);
    real(x, &m->squares);
    real(x, &m->min);
    real(x, &m->max);
}

static void routes(struct exchange *x, size_t count, struct route_moments *m)
{
    real(x, &m->weight);
    reals(x, count, m->mean);
    for (size_t a = 0; a < count; a++)
        reals(x, a + 1, m->products[a]);
}

static void observation(struct exchange *x, struct observation_sums *o)
{
    moments(x, &o->values);
    real(x, &o->below);
    real(x, &o->likelihood);
    real(x, &o->best);
    reals(x, TARGET_COUNT, o->moved);
}

static void block_part(struct exchange *x, const struct plan_set *set, struct block_part *part)
{
    whole(x, &part->weight_units);
    for (size_t r = 0; r < set->row_count; r++)
        moments(x, &part->moments[r]);
    for (size_t k = 0; k < set->route_set_count; k++)
        routes(x, set->routes[k].count, &part->routes[k]);
    if (!set->weighted)
        return;
    weight_sums(x, &part->weights);
    real(x, &part->heaviest);
    real(x, &part->evidence.samples);
    reals(x, TARGET_COUNT, part->evidence.target);
    for (size_t k = 0; k < set->source->observation_count; k++)
        observation(x, &part->observations[k]);
}

static void node(struct exchange *x, const struct plan_set *set, struct sum_node *n)
{
    uint64_t level = (uint64_t)n->level;
    whole(x, &n->index);
    whole(x, &level);
    n->level = level < 64 ? (int)level : 64;
    weight_sums(x, &n->joint);
    for (size_t c = 0; c < set->count; c++)
        block_part(x, set, &n->parts[c]);
}

static void put_tree(struct exchange *x, const struct sum_tree *t)
{
    put_whole(x->to, t->count);
    for (size_t k = 0; k < t->count; k++)
        node(x, t->set, &t->nodes[k]);
}

/* Where the next node has to begin; false when this one does not, or goes beyond `end`. */
static bool follows(const struct sum_node *n, uint64_t *place, uint64_t end)
{
    if (n->level >= 40 || n->index >> (63 - n->level) > 0 || n->index << n->level != *place)
        return false;
    *place += (uint64_t)1 << n->level;
    return *place <= end;
}

static packspan_status take_node(struct exchange *x, struct sum_tree *t, uint64_t *place,
                                 uint64_t end)
{
    struct sum_node n = {.parts = sum_parts_open(t->set)};
    packspan_status status = n.parts ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        node(x, t->set, &n);
        if (x->from->failed || !follows(&n, place, end))
            status = PACKSPAN_BAD_CASE;
        else if (!sum_tree_add(t, n.index, n.level, n.parts, &n.joint))
            status = PACKSPAN_NO_MEMORY;
    }
    sum_parts_close(t->set, n.parts);
    return status;
}

static packspan_status take_tree(struct exchange *x, struct sum_tree *t, uint64_t place,
                                 uint64_t end)
{
    uint64_t count = take_whole(x->from);
    packspan_status status = PACKSPAN_OK;
    for (uint64_t k = 0; k < count && status == PACKSPAN_OK; k++)
        status = take_node(x, t, &place, end);
    return status == PACKSPAN_OK && place != end ? PACKSPAN_BAD_CASE : status;
}

static packspan_status take_trees(struct exchange *x, uint64_t from, uint64_t to,
                                  struct run_outcome *o)
{
    packspan_status status = PACKSPAN_OK;
    for (size_t i = 0; i < o->tree_count && status == PACKSPAN_OK; i++)
        status = take_tree(x, &o->trees[i], run_tree_share(o, i, from), run_tree_share(o, i, to));
    return status;
}

/* ---- whole numbers ---- */

static void replicate(struct exchange *x, const struct plan_set *set, struct replicate *p)
{
    uint64_t samples = (uint64_t)p->samples;
    whole(x, &samples);
    p->samples = (double)samples;
    for (size_t r = 0; r < set->row_count; r++) {
        wholes(x, MARK_COUNT, p->shares[r].own);
        wholes(x, MARK_COUNT, p->shares[r].joint);
    }
    claims(x, set->source->claim_count, p->claims);
}

static void bins(struct exchange *x, const struct bin_layout *layout, uint64_t *counts)
{
    if (layout && counts)
        wholes(x, bin_layout_size(layout), counts);
}

static void shared_bins(struct exchange *x, struct run_outcome *o, size_t c, size_t row)
{
    for (size_t b = 0; b < bin_layout_size(o->layouts[row]); b++) {
        uint64_t before = joint_counts_at(o->shared_counts, row, c, b), after = before;
        whole(x, &after);
        joint_counts_raise(o->shared_counts, row, c, b, after - before);
    }
}

static void candidate(struct exchange *x, struct run_outcome *o, size_t c)
{
    const struct plan_set *set = o->set;
    struct candidate_outcome *found = &o->candidates[c];
    whole(x, &found->invalid);
    whole(x, &found->steps);
    wholes(x, set->row_count, found->outside);
    wholes(x, set->plans[c].node_count, found->invalid_by_node);
    claims(x, set->source->claim_count, found->claims);
    for (size_t r = 0; r < set->row_count && set->weighted; r++) {
        if (o->shared[r])
            shared_bins(x, o, c, r);
        else
            bins(x, run_layout(o, c, r), found->counts[r]);
    }
}

static void whole_numbers(struct exchange *x, struct run_outcome *o)
{
    const struct plan_set *set = o->set;
    whole(x, &o->drawn);
    for (size_t c = 0; c < set->count; c++)
        candidate(x, o, c);
    for (size_t r = 0; r < set->row_count; r++) {
        if (!o->shared[r])
            bins(x, o->layouts[r], o->counts[r]);
        for (int shift = 0; shift < BIN_SHIFTS; shift++)
            if (o->row_counts[r].joined[shift])
                wholes(x, bin_joined_size(o->layouts[r], shift), o->row_counts[r].joined[shift]);
    }
    for (size_t i = 0; o->replicates && i < o->replicates->count * set->count; i++)
        replicate(x, set, &o->replicates->list[i]);
}

/* ---- the payload ---- */

void run_part_put(struct run_outcome *share, uint64_t pilot, struct byte_writer *w)
{
    struct exchange x = {.to = w};
    put_whole(w, pilot);
    put_real(w, share->seconds);
    if (pilot > 0)
        return;
    for (size_t i = 0; i < share->tree_count; i++)
        put_tree(&x, &share->trees[i]);
    whole_numbers(&x, share);
}

packspan_status run_part_take(struct byte_reader *r, uint64_t from, uint64_t to, uint64_t *pilot,
                              struct run_outcome *into)
{
    struct exchange x = {.from = r};
    packspan_status status = PACKSPAN_OK;
    uint64_t longer = take_whole(r);
    into->seconds += take_real(r);
    if (longer == 0) {
        status = take_trees(&x, from, to, into);
        if (status == PACKSPAN_OK)
            whole_numbers(&x, into);
    }
    for (size_t c = 0; c < into->set->count; c++)
        into->candidates[c].samples = into->drawn - into->candidates[c].invalid;
    if (status == PACKSPAN_OK && (r->failed || r->at != r->end))
        status = PACKSPAN_BAD_CASE;
    if (status == PACKSPAN_OK)
        *pilot = longer;
    return status;
}
