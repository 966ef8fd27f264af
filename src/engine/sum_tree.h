/* Sums over blocks of samples, added in an order that is the same however the blocks are shared
 * out: a node covers 2^level blocks from a multiple of 2^level on and is the sum of its two halves.
 * A whole run keeps at most one node a level; one share of a run keeps the largest nodes that fit
 * into it, and the nodes of all shares, put side by side, add up to those of the whole. */
#ifndef PACKSPAN_ENGINE_SUM_TREE_H
#define PACKSPAN_ENGINE_SUM_TREE_H

#include "engine/worker.h"

struct sum_node {
    uint64_t index; /* covers blocks index * 2^level .. (index + 1) * 2^level - 1 */
    int level;
    struct block_part *parts; /* [candidate], without replicates */
    struct weight_sums joint;
};

struct sum_tree {
    const struct plan_set *set;
    struct sum_node *nodes; /* [count], rising; those up to `capacity` are spare */
    size_t count, capacity;
};

/* Sums over nothing, one a candidate; NULL when out of memory. */
struct block_part *sum_parts_open(const struct plan_set *set);
void sum_parts_close(const struct plan_set *set, struct block_part *parts); /* NULL is fine */

/* into += part: sums over blocks that follow those of `into`. */
void block_part_merge(const struct plan_set *set, struct block_part *into,
                      const struct block_part *part);
void weight_sums_merge(struct weight_sums *into, const struct weight_sums *part);

/* The parts, sums over the blocks of a node, are copied; `index` and `level` must come after all
 * that was added before. False when out of memory. */
bool sum_tree_add(struct sum_tree *t, uint64_t index, int level, const struct block_part *parts,
                  const struct weight_sums *joint);
void sum_tree_free(struct sum_tree *t);

#endif
