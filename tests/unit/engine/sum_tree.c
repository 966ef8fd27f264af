/* However blocks are shared out, they add up to the same bits. */
#include "engine/sum_tree.h"
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

#include "api/case_handle.h"

enum { BLOCKS = 300, NODES_MAX = 2 * 9 };

static uint64_t state = 88172645463325252U;

/* xorshift64 (Marsaglia, J. Stat. Softw. 8(14), 2003). */
static uint64_t draw(void)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return state;
}

static double uniform(void)
{
    return (double)(draw() >> 11) * 0x1p-53;
}

struct block {
    struct block_part *parts;
    struct weight_sums joint;
};

static void fill_part(const struct plan_set *set, struct block_part *part)
{
    assert_true(block_part_open(set, false, part));
    part->weight_units = draw() >> 20;
    part->weights = (struct weight_sums){uniform(), uniform(), uniform()};
    part->heaviest = uniform();
    for (size_t r = 0; r < set->row_count; r++) {
        double mean = exp(20.0 * uniform() - 10.0);
        part->moments[r] =
            (struct moments){draw() % 1025, mean, uniform(), mean - uniform(), mean + uniform()};
    }
    for (size_t k = 0; k < set->route_set_count; k++) {
        part->routes[k].weight = uniform();
        for (size_t a = 0; a < ROUTES_MAX; a++) {
            part->routes[k].mean[a] = uniform();
            for (size_t b = 0; b <= a; b++)
                part->routes[k].products[a][b] = uniform();
        }
    }
    for (size_t k = 0; k < set->source->observation_count; k++)
        part->observations[k] = (struct observation_sums){
            {1024, uniform(), uniform(), 0.0, 1.0}, uniform(), uniform(), uniform(), {uniform()}};
    part->evidence.samples = 1024.0;
    part->evidence.target[0] = uniform();
}

static struct block *make_blocks(const struct plan_set *set)
{
    struct block *blocks = calloc(BLOCKS, sizeof *blocks);
    assert_non_null(blocks);
    for (size_t b = 0; b < BLOCKS; b++) {
        blocks[b].parts = calloc(set->count, sizeof *blocks[b].parts);
        assert_non_null(blocks[b].parts);
        for (size_t c = 0; c < set->count; c++)
            fill_part(set, &blocks[b].parts[c]);
        blocks[b].joint = (struct weight_sums){uniform(), uniform(), uniform()};
    }
    return blocks;
}

static void free_blocks(const struct plan_set *set, struct block *blocks)
{
    for (size_t b = 0; b < BLOCKS; b++) {
        for (size_t c = 0; c < set->count; c++)
            block_part_close(&blocks[b].parts[c]);
        free(blocks[b].parts);
    }
    free(blocks);
}

static struct sum_tree tree_of(const struct plan_set *set, const struct block *blocks, size_t from,
                               size_t to)
{
    struct sum_tree t = {.set = set};
    for (size_t b = from; b < to; b++)
        assert_true(sum_tree_add(&t, b, 0, blocks[b].parts, &blocks[b].joint));
    return t;
}

static void assert_same_bits(const struct sum_tree *a, const struct sum_tree *b)
{
    const struct plan_set *set = a->set;
    assert_int_equal(a->count, b->count);
    for (size_t k = 0; k < a->count; k++) {
        const struct sum_node *x = &a->nodes[k], *y = &b->nodes[k];
        assert_int_equal(x->index, y->index);
        assert_int_equal(x->level, y->level);
        assert_memory_equal(&x->joint, &y->joint, sizeof x->joint);
        for (size_t c = 0; c < set->count; c++) {
            const struct block_part *p = &x->parts[c], *q = &y->parts[c];
            assert_true(p->weight_units == q->weight_units);
            assert_memory_equal(&p->weights, &q->weights, sizeof p->weights);
            assert_memory_equal(&p->heaviest, &q->heaviest, sizeof p->heaviest);
            assert_memory_equal(&p->evidence, &q->evidence, sizeof p->evidence);
            assert_memory_equal(p->moments, q->moments, set->row_count * sizeof *p->moments);
            assert_memory_equal(p->routes, q->routes, set->route_set_count * sizeof *p->routes);
            assert_memory_equal(p->observations, q->observations,
                                set->source->observation_count * sizeof *p->observations);
        }
    }
}

static void append(struct sum_tree *into, const struct sum_tree *share)
{
    assert_true(share->count <= NODES_MAX);
    for (size_t k = 0; k < share->count; k++)
        assert_true(sum_tree_add(into, share->nodes[k].index, share->nodes[k].level,
                                 share->nodes[k].parts, &share->nodes[k].joint));
}

static void any_partition_gives_the_same_bits(void **unused)
{
    (void)unused;
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open(PROJECT_FOLDER "/configs/demo", &c), PACKSPAN_OK);
    assert_true(c->set.weighted && c->set.count > 1 && c->set.route_set_count > 0);
    struct block *blocks = make_blocks(&c->set);
    struct sum_tree whole = tree_of(&c->set, blocks, 0, BLOCKS);
    assert_int_equal(whole.count, 4); /* 256 + 32 + 8 + 4 blocks */
    for (int i = 0; i < 50; i++) {
        struct sum_tree merged = {.set = &c->set};
        for (size_t from = 0, to; from < BLOCKS; from = to) {
            to = from + 1 + draw() % (i < 25 ? 10 : BLOCKS);
            to = to < BLOCKS ? to : BLOCKS;
            struct sum_tree share = tree_of(&c->set, blocks, from, to);
            append(&merged, &share);
            sum_tree_free(&share);
        }
        assert_same_bits(&whole, &merged);
        sum_tree_free(&merged);
    }
    sum_tree_free(&whole);
    free_blocks(&c->set, blocks);
    packspan_case_free(c);
}

/* What is summed is the sum: of means by counts, in long double. */
static void the_nodes_hold_the_sums(void **unused)
{
    (void)unused;
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open(PROJECT_FOLDER "/configs/demo", &c), PACKSPAN_OK);
    struct block *blocks = make_blocks(&c->set);
    struct sum_tree t = tree_of(&c->set, blocks, 256, BLOCKS);
    for (size_t k = 0, b = 256; k < t.count; k++) {
        size_t end = b + ((size_t)1 << t.nodes[k].level);
        long double sum = 0.0L, count = 0.0L, joint = 0.0L;
        for (; b < end; b++) {
            const struct moments *m = &blocks[b].parts[0].moments[0];
            sum += (long double)m->count * (long double)m->mean;
            count += (long double)m->count;
            joint += (long double)blocks[b].joint.sum;
        }
        assert_close((double)t.nodes[k].parts[0].moments[0].count, (double)count, 0.0, 0.0);
        assert_close(t.nodes[k].parts[0].moments[0].mean, (double)(sum / count), 1e-13, 0.0);
        assert_close(t.nodes[k].joint.sum, (double)joint, 1e-14, 0.0);
    }
    sum_tree_free(&t);
    free_blocks(&c->set, blocks);
    packspan_case_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(any_partition_gives_the_same_bits),
        cmocka_unit_test(the_nodes_hold_the_sums),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
