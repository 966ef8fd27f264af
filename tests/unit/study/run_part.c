/* Shares of a run, cut anywhere, against the run as a whole: the same bytes. */
#include "study/run_part.h"
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

#include "api/case_handle.h"
#include "engine/replicates.h"

/* Not a whole number of rounds of 64 blocks, nor of blocks. */
static const char samples[] = "70000";
enum { BLOCKS = 69 };

static packspan_case *open_case(const char *folder, const char *sequence)
{
    packspan_case *c = NULL;
    assert_int_equal(packspan_case_open(folder, &c), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "samples", samples), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "sequence", sequence), PACKSPAN_OK);
    return c;
}

static void assert_same_candidate(const struct run_outcome *a, const struct run_outcome *b,
                                  size_t c)
{
    const struct plan_set *set = a->set;
    const struct candidate_outcome *x = &a->candidates[c], *y = &b->candidates[c];
    assert_int_equal(x->samples, y->samples);
    assert_int_equal(x->invalid, y->invalid);
    assert_true(x->weight_units == y->weight_units);
    assert_memory_equal(&x->weights, &y->weights, sizeof x->weights);
    assert_memory_equal(&x->heaviest, &y->heaviest, sizeof x->heaviest);
    assert_memory_equal(&x->evidence, &y->evidence, sizeof x->evidence);
    assert_memory_equal(x->moments, y->moments, set->row_count * sizeof *x->moments);
    assert_memory_equal(x->routes, y->routes, set->route_set_count * sizeof *x->routes);
    assert_memory_equal(x->outside, y->outside, set->row_count * sizeof *x->outside);
    assert_memory_equal(x->claims, y->claims, set->source->claim_count * sizeof *x->claims);
    assert_memory_equal(x->observations, y->observations,
                        set->source->observation_count * sizeof *x->observations);
    for (size_t r = 0; r < set->row_count; r++) {
        const struct bin_layout *layout = run_layout(a, c, r);
        if (layout && x->counts[r])
            assert_memory_equal(x->counts[r], y->counts[r],
                                bin_layout_size(layout) * sizeof *x->counts[r]);
    }
}

static void assert_same(const struct run_outcome *a, const struct run_outcome *b)
{
    const struct plan_set *set = a->set;
    assert_int_equal(a->drawn, b->drawn);
    assert_memory_equal(&a->joint, &b->joint, sizeof a->joint);
    for (size_t c = 0; c < set->count; c++)
        assert_same_candidate(a, b, c);
    for (size_t r = 0; r < set->row_count; r++)
        if (a->counts[r])
            assert_memory_equal(a->counts[r], b->counts[r],
                                bin_layout_size(a->layouts[r]) * sizeof *a->counts[r]);
    assert_true((a->replicates == NULL) == (b->replicates == NULL));
    for (size_t i = 0; a->replicates && i < a->replicates->count * set->count; i++) {
        const struct replicate *x = &a->replicates->list[i], *y = &b->replicates->list[i];
        assert_memory_equal(x->moments, y->moments, set->row_count * sizeof *x->moments);
        assert_memory_equal(x->shares, y->shares, set->row_count * sizeof *x->shares);
        assert_memory_equal(x->claims, y->claims, set->source->claim_count * sizeof *x->claims);
        assert_true(x->samples == y->samples);
        assert_memory_equal(&x->likelihood, &y->likelihood, sizeof x->likelihood);
    }
}

/* One share through its bytes into the whole. */
static void add_share(const struct plan_set *set, uint64_t from, uint64_t to,
                      struct run_outcome *into)
{
    struct run_outcome share;
    struct byte_writer w = {0};
    uint64_t pilot = 1, longer = 1;
    assert_int_equal(run_share(set, from, to, NULL, NULL, &pilot, &share), PACKSPAN_OK);
    assert_int_equal(pilot, 0);
    run_part_put(&share, pilot, &w);
    assert_false(w.no_memory);
    struct byte_reader r = {w.bytes, w.bytes + w.length, false};
    assert_int_equal(run_part_take(&r, from, to, &longer, into), PACKSPAN_OK);
    assert_int_equal(longer, 0);
    run_free(&share);
    free(w.bytes);
}

static void check_cuts(packspan_case *c, const uint64_t *ends, size_t shares)
{
    static const char *const threads[] = {"1", "2", "3"};
    struct run_outcome whole, merged;
    assert_int_equal(packspan_case_set(c, "threads", "2"), PACKSPAN_OK);
    assert_int_equal(run_block_count(&c->set), BLOCKS);
    assert_int_equal(run_plans(&c->set, NULL, NULL, &whole), PACKSPAN_OK);
    assert_int_equal(run_open(&c->set, NULL, NULL, &merged), PACKSPAN_OK);
    uint64_t from = 0;
    for (size_t i = 0; i < shares; i++) {
        assert_int_equal(packspan_case_set(c, "threads", threads[i % 3]), PACKSPAN_OK);
        add_share(&c->set, from, ends[i], &merged);
        from = ends[i];
    }
    assert_int_equal(run_finish(&merged), PACKSPAN_OK);
    assert_same(&whole, &merged);
    run_free(&whole);
    run_free(&merged);
}

static void shares_without_weights_add_up(void **state)
{
    (void)state;
    static const uint64_t cut[] = {1, 2, 17, 63, 65, 68, 69};
    static const char *const sequences[] = {"pcg", "sobol"};
    for (size_t i = 0; i < 2; i++) {
        packspan_case *c = open_case(PROJECT_FOLDER "/scripts/benchmark/case", sequences[i]);
        check_cuts(c, cut, 7);
        packspan_case_free(c);
    }
}

static void shares_with_evidence_and_candidates_add_up(void **state)
{
    (void)state;
    static const uint64_t early[] = {1, 66, 69}, late[] = {35, 69};
    packspan_case *c = open_case(PROJECT_FOLDER "/configs/demo", "pcg");
    check_cuts(c, early, 3);
    packspan_case_free(c);
    c = open_case(PROJECT_FOLDER "/configs/demo", "sobol");
    check_cuts(c, late, 2);
    packspan_case_free(c);
}

static void parts_cover_all_blocks_once(void **state)
{
    (void)state;
    static const uint64_t blocks[] = {1, 7, 977, 976562500};
    static const uint64_t parts[] = {1, 3, 7, 1000000};
    for (size_t i = 0; i < 4; i++)
        for (size_t k = 0; k < 4; k++) {
            uint64_t end = 0, from, to, least = UINT64_MAX, most = 0;
            if (parts[k] > blocks[i])
                continue;
            for (uint64_t p = 1; p <= parts[k]; p++) {
                part_share((struct part_of){p, parts[k]}, blocks[i], &from, &to);
                assert_true(from == end && to > from);
                least = to - from < least ? to - from : least;
                most = to - from > most ? to - from : most;
                end = to;
            }
            assert_true(end == blocks[i]);
            assert_true(most - least <= 1);
        }
}

/* Cut off, too long, or of other blocks. */
static void bytes_that_do_not_fit_are_refused(void **state)
{
    (void)state;
    packspan_case *c = open_case(PROJECT_FOLDER "/scripts/benchmark/case", "pcg");
    struct run_outcome share;
    struct byte_writer w = {0};
    uint64_t pilot = 0;
    assert_int_equal(run_share(&c->set, 0, 4, NULL, NULL, &pilot, &share), PACKSPAN_OK);
    run_part_put(&share, 0, &w);
    run_free(&share);
    size_t length = w.length;
    put_whole(&w, 0);
    const struct {
        size_t length;
        uint64_t from, to;
        packspan_status expected;
    } cases[] = {
        {length, 0, 4, PACKSPAN_OK},           {length, 0, 5, PACKSPAN_BAD_CASE},
        {length, 1, 5, PACKSPAN_BAD_CASE},     {length, 0, 3, PACKSPAN_BAD_CASE},
        {length + 1, 0, 4, PACKSPAN_BAD_CASE}, {length - 1, 0, 4, PACKSPAN_BAD_CASE},
        {length / 2, 0, 4, PACKSPAN_BAD_CASE}, {3, 0, 4, PACKSPAN_BAD_CASE},
        {0, 0, 4, PACKSPAN_BAD_CASE},
    };
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        struct run_outcome into;
        assert_int_equal(run_open(&c->set, NULL, NULL, &into), PACKSPAN_OK);
        struct byte_reader r = {w.bytes, w.bytes + cases[i].length, false};
        assert_int_equal(run_part_take(&r, cases[i].from, cases[i].to, &pilot, &into),
                         cases[i].expected);
        run_free(&into);
    }
    free(w.bytes);
    packspan_case_free(c);
}

/* Every part draws the pilot, by one thread: however few samples come near the evidence, it ends at
 * 2^24 of them (DEVELOPERS.md). */
static void a_pilot_of_hopeless_evidence_ends(void **state)
{
    (void)state;
    packspan_case *c = open_case(PROJECT_FOLDER "/tests/cli/cases/evidence_misfit/case", "pcg");
    struct run_outcome share;
    uint64_t pilot = 1;
    assert_int_equal(packspan_case_set(c, "samples", "1e11"), PACKSPAN_OK);
    assert_int_equal(run_share(&c->set, 0, 1, NULL, NULL, &pilot, &share), PACKSPAN_OK);
    assert_in_range(share.piloted, 1, 1 << 24);
    run_free(&share);
    packspan_case_free(c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(shares_without_weights_add_up),
        cmocka_unit_test(shares_with_evidence_and_candidates_add_up),
        cmocka_unit_test(parts_cover_all_blocks_once),
        cmocka_unit_test(bytes_that_do_not_fit_are_refused),
        cmocka_unit_test(a_pilot_of_hopeless_evidence_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
