#include "draw/copula.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "draw/correlation.h"
#include "draw/special.h"

/* ---- groups ---- */

struct grouping {
    size_t count, link_count;
    const size_t *order;
    const struct copula_link *links;
    size_t *label; /* [count]: the same for all inputs of a group */
    size_t *place; /* [count]: position inside the group */
};

static void label_groups(struct grouping *g)
{
    for (size_t i = 0; i < g->count; i++)
        g->label[i] = i;
    for (size_t k = 0; k < g->link_count; k++) {
        size_t kept = g->label[g->links[k].a], gone = g->label[g->links[k].b];
        if (g->links[k].rank_correlation == 0.0)
            continue;
        for (size_t i = 0; i < g->count; i++)
            if (g->label[i] == gone)
                g->label[i] = kept;
    }
}

static bool is_inside(const struct grouping *g, const struct copula_link *link, size_t label)
{
    return g->label[link->a] == label && g->label[link->b] == label;
}

static void count_group(const struct grouping *g, size_t label, struct copula_group *out)
{
    *out = (struct copula_group){0};
    for (size_t i = 0; i < g->count; i++)
        out->size += g->label[i] == label;
    for (size_t k = 0; k < g->link_count; k++)
        out->entry_count += is_inside(g, &g->links[k], label);
}

static void list_members(const struct grouping *g, size_t label, struct copula_group *out)
{
    size_t size = 0, entries = 0;
    for (size_t i = 0; i < g->count; i++) {
        size_t input = g->order[i];
        if (g->label[input] != label)
            continue;
        g->place[input] = size;
        out->members[size++] = input;
    }
    for (size_t k = 0; k < g->link_count; k++) {
        const struct copula_link *link = &g->links[k];
        if (!is_inside(g, link, label))
            continue;
        size_t a = g->place[link->a], b = g->place[link->b];
        out->entries[entries++] =
            (struct copula_entry){k, a > b ? a : b, a > b ? b : a, link->rank_correlation};
    }
}

/* The normal scores' correlation matrix with a rank correlation for each entry. */
static void fill_matrix(const struct copula_group *g, const double *rank_correlations,
                        double *matrix)
{
    memset(matrix, 0, g->size * g->size * sizeof *matrix);
    for (size_t i = 0; i < g->size; i++)
        matrix[i * g->size + i] = 1.0;
    for (size_t e = 0; e < g->entry_count; e++) {
        size_t row = g->entries[e].row, column = g->entries[e].column;
        double correlation = correlation_of_ranks(rank_correlations[e]);
        matrix[row * g->size + column] = correlation;
        matrix[column * g->size + row] = correlation;
    }
}

static void given_correlations(const struct copula_group *g, double *rank_correlations)
{
    for (size_t e = 0; e < g->entry_count; e++)
        rank_correlations[e] = g->entries[e].rank_correlation;
}

static packspan_status factorise(struct copula_group *g)
{
    double *matrix = calloc(g->size * g->size, sizeof *matrix);
    double *given = calloc(g->entry_count, sizeof *given);
    packspan_status status = matrix && given ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        given_correlations(g, given);
        fill_matrix(g, given, matrix);
        g->possible = correlation_factor(g->size, matrix, g->factor);
    }
    free(matrix);
    free(given);
    return status;
}

static packspan_status add_group(const struct grouping *g, size_t label, struct copula *out)
{
    struct copula_group group;
    count_group(g, label, &group);
    if (group.size < 2)
        return PACKSPAN_OK;
    size_t more = out->group_count + 1;
    struct copula_group *groups = reallocarray(out->groups, more, sizeof *groups);
    if (!groups)
        return PACKSPAN_NO_MEMORY;
    out->groups = groups;
    group.members = calloc(group.size, sizeof *group.members);
    group.entries = calloc(group.entry_count, sizeof *group.entries);
    group.factor = calloc(group.size * group.size, sizeof *group.factor);
    struct copula_group *added = &groups[out->group_count++];
    *added = group;
    if (!group.members || !group.entries || !group.factor)
        return PACKSPAN_NO_MEMORY;
    list_members(g, label, added);
    return factorise(added);
}

static packspan_status add_groups(struct grouping *g, struct copula *out)
{
    packspan_status status = PACKSPAN_OK;
    label_groups(g);
    for (size_t i = 0; i < g->count; i++)
        g->place[i] = SIZE_MAX;
    for (size_t i = 0; i < g->count && status == PACKSPAN_OK; i++)
        if (g->place[g->order[i]] == SIZE_MAX)
            status = add_group(g, g->label[g->order[i]], out);
    return status;
}

packspan_status copula_open(size_t count, const size_t *order, size_t link_count,
                            const struct copula_link *links, struct copula *out)
{
    *out = (struct copula){0};
    struct grouping g = {count, link_count, order, links, NULL, NULL};
    g.label = calloc(count + 1, sizeof *g.label);
    g.place = calloc(count + 1, sizeof *g.place);
    packspan_status status = g.label && g.place ? add_groups(&g, out) : PACKSPAN_NO_MEMORY;
    free(g.label);
    free(g.place);
    return status;
}

void copula_close(struct copula *c)
{
    for (size_t i = 0; i < c->group_count; i++) {
        free(c->groups[i].members);
        free(c->groups[i].entries);
        free(c->groups[i].factor);
    }
    free(c->groups);
    *c = (struct copula){0};
}

/* ---- what would be possible ---- */

/* Leaves room for the rounding, together with the step towards 0 below. */
static const double least_eigenvalue = 1e-3;

/* Rounds; from try to try a little nearer to 0, where every set is possible in the end. */
static void round_until_possible(const struct copula_group *g, double *nearest, double *rounded,
                                 double *matrix, double *factor)
{
    for (int try = 0; try <= 1000; try++) {
        for (size_t e = 0; e < g->entry_count; e++)
            rounded[e] = rint((1000.0 - try) * nearest[e]) / 1000.0;
        fill_matrix(g, rounded, matrix);
        if (correlation_factor(g->size, matrix, factor))
            return;
    }
}

static void mark_free(const struct copula_group *g, bool *free_pairs)
{
    for (size_t e = 0; e < g->entry_count; e++) {
        size_t row = g->entries[e].row, column = g->entries[e].column;
        free_pairs[row * g->size + column] = free_pairs[column * g->size + row] = true;
    }
}

packspan_status copula_nearest(const struct copula_group *g, double *rank_correlations)
{
    size_t size = g->size * g->size;
    double *matrix = calloc(2 * size, sizeof *matrix);
    double *nearest = calloc(g->entry_count, sizeof *nearest);
    bool *free_pairs = calloc(size, sizeof *free_pairs);
    packspan_status status = PACKSPAN_NO_MEMORY;
    if (matrix && nearest && free_pairs) {
        given_correlations(g, nearest);
        fill_matrix(g, nearest, matrix);
        mark_free(g, free_pairs);
        status = correlation_nearest(g->size, free_pairs, least_eigenvalue, matrix);
    }
    if (status == PACKSPAN_OK) {
        for (size_t e = 0; e < g->entry_count; e++)
            nearest[e] =
                ranks_of_correlation(matrix[g->entries[e].row * g->size + g->entries[e].column]);
        round_until_possible(g, nearest, rank_correlations, matrix, matrix + size);
    }
    free(matrix);
    free(nearest);
    free(free_pairs);
    return status;
}

/* ---- draws ---- */

/* From the last row up, as a row needs the scores before it unmixed. */
void copula_mix(const struct copula_group *g, size_t n, double *const *columns)
{
    for (size_t i = g->size; i-- > 0;) {
        const double *l = g->factor + i * g->size;
        double *restrict z = columns[g->members[i]];
        for (size_t s = 0; s < n; s++)
            z[s] *= l[i];
        for (size_t j = 0; j < i; j++) {
            const double *restrict other = columns[g->members[j]];
            double weight = l[j];
            for (size_t s = 0; s < n; s++)
                z[s] += weight * other[s];
        }
    }
}

void copula_scores(size_t n, const double *u, double *z)
{
    enum { BLOCK = 256 };
    double upper[BLOCK];
    for (size_t done = 0; done < n; done += BLOCK) {
        size_t count = n - done < BLOCK ? n - done : BLOCK;
        for (size_t i = 0; i < count; i++)
            upper[i] = 1.0 - u[done + i];
        normal_quantiles(count, u + done, upper, z + done);
    }
}

void copula_tails(size_t n, const double *z, double *lower, double *upper)
{
    normal_both_tails(n, z, lower, upper);
}
