#include "engine/sum_tree.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

void weight_sums_merge(struct weight_sums *into, const struct weight_sums *part)
{
    into->sum += part->sum;
    into->squares += part->squares;
    into->largest = fmax(into->largest, part->largest);
}

void block_part_merge(const struct plan_set *set, struct block_part *into,
                      const struct block_part *part)
{
    for (size_t r = 0; r < set->row_count; r++)
        moments_merge(&into->moments[r], &part->moments[r]);
    for (size_t k = 0; k < set->route_set_count; k++)
        route_moments_merge(&into->routes[k], &part->routes[k], set->routes[k].count);
    into->weight_units += part->weight_units;
    if (!set->weighted)
        return;
    weight_sums_merge(&into->weights, &part->weights);
    into->heaviest = fmax(into->heaviest, part->heaviest);
    evidence_sums_merge(into->observations, part->observations, set->source->observation_count,
                        &into->evidence, &part->evidence);
}

static void copy_part(const struct plan_set *set, struct block_part *into,
                      const struct block_part *part)
{
    size_t observations = set->source->observation_count;
    memcpy(into->moments, part->moments, set->row_count * sizeof *part->moments);
    memcpy(into->routes, part->routes, set->route_set_count * sizeof *part->routes);
    memcpy(into->observations, part->observations, observations * sizeof *part->observations);
    into->weight_units = part->weight_units;
    into->weights = part->weights;
    into->heaviest = part->heaviest;
    into->evidence = part->evidence;
}

void sum_parts_close(const struct plan_set *set, struct block_part *parts)
{
    for (size_t c = 0; parts && c < set->count; c++)
        block_part_close(&parts[c]);
    free(parts);
}

struct block_part *sum_parts_open(const struct plan_set *set)
{
    struct block_part *parts = calloc(set->count, sizeof *parts);
    bool made = parts;
    for (size_t c = 0; c < set->count && made; c++)
        made = block_part_open(set, false, &parts[c]);
    if (made)
        return parts;
    sum_parts_close(set, parts);
    return NULL;
}

static bool make_room(struct sum_tree *t)
{
    if (t->count < t->capacity)
        return true;
    struct sum_node *longer = reallocarray(t->nodes, t->capacity + 1, sizeof *longer);
    if (!longer)
        return false;
    t->nodes = longer;
    longer[t->capacity] = (struct sum_node){.parts = sum_parts_open(t->set)};
    if (!longer[t->capacity].parts)
        return false;
    t->capacity++;
    return true;
}

static bool are_halves(const struct sum_node *left, uint64_t index, int level)
{
    return left->level == level && left->index % 2 == 0 && left->index + 1 == index;
}

/* Into the node of which both are halves. */
static void merge_halves(const struct plan_set *set, struct sum_node *left,
                         const struct block_part *parts, const struct weight_sums *joint)
{
    for (size_t c = 0; c < set->count; c++)
        block_part_merge(set, &left->parts[c], &parts[c]);
    weight_sums_merge(&left->joint, joint);
    left->index /= 2;
    left->level++;
}

bool sum_tree_add(struct sum_tree *t, uint64_t index, int level, const struct block_part *parts,
                  const struct weight_sums *joint)
{
    struct sum_node *last = t->count > 0 ? &t->nodes[t->count - 1] : NULL;
    if (last && are_halves(last, index, level)) {
        merge_halves(t->set, last, parts, joint);
        while (t->count > 1 && are_halves(last - 1, last->index, last->level)) {
            merge_halves(t->set, last - 1, last->parts, &last->joint);
            last--;
            t->count--;
        }
        return true;
    }
    if (!make_room(t))
        return false;
    struct sum_node *node = &t->nodes[t->count++];
    for (size_t c = 0; c < t->set->count; c++)
        copy_part(t->set, &node->parts[c], &parts[c]);
    node->joint = *joint;
    node->index = index;
    node->level = level;
    return true;
}

void sum_tree_free(struct sum_tree *t)
{
    for (size_t i = 0; i < t->capacity; i++)
        sum_parts_close(t->set, t->nodes[i].parts);
    free(t->nodes);
    *t = (struct sum_tree){0};
}
