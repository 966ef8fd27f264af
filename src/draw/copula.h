/* Linked inputs: a Gaussian copula over the uniform numbers of their own keyed streams. Pairs of
 * one group without a link have the correlation 0. */
#ifndef PACKSPAN_DRAW_COPULA_H
#define PACKSPAN_DRAW_COPULA_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>

struct copula_link {
    size_t a, b;             /* two inputs */
    double rank_correlation; /* Spearman's, in (-1, 1) */
};

/* A link inside its group: an element below the diagonal of the group's matrix. */
struct copula_entry {
    size_t link; /* index */
    size_t row, column;
    double rank_correlation;
};

/* Inputs that links, other than of correlation 0, connect. */
struct copula_group {
    size_t size, entry_count;
    size_t *members;              /* [size], in the order that was asked for */
    struct copula_entry *entries; /* [entry_count], in the order of the links */
    double *factor;               /* [size * size], row by row: lower triangle */
    bool possible;                /* false: no inputs are correlated like this; no factor */
};

struct copula {
    struct copula_group *groups;
    size_t group_count;
};

/* Groups of the inputs 0 .. count - 1; `order` lists them all and decides the order inside and
 * among the groups, on which the draws depend. No pair may be linked twice or an input to itself.
 * PACKSPAN_OK also when groups are not possible. copula_close() in every case. */
packspan_status copula_open(size_t count, const size_t *order, size_t link_count,
                            const struct copula_link *links, struct copula *out);
void copula_close(struct copula *c);

/* Rank correlations of the group's entries, rounded to three decimals, that are possible and near
 * to those given; pairs without a link stay at 0. */
packspan_status copula_nearest(const struct copula_group *g, double *rank_correlations);

/* Standard normal scores, independent in and correlated out; columns[member], n of each. */
void copula_mix(const struct copula_group *g, size_t n, double *const *columns);

/* Uniform numbers to scores and back to both tails. z may be the same array as u or lower. */
void copula_scores(size_t n, const double *u, double *z);
void copula_tails(size_t n, const double *z, double *lower, double *upper);

#endif
