/* How much is done for a run, counted and not timed. */
#include <stdlib.h>
#include <string.h>

#include <packspan/packspan.h>

#include "base/problems.h"
#include "case/case.h"
#include "model/block.h"
#include "model/trace.h"
#include "support/support.h"

/* The linker leads the library's calls here. */
static uint64_t allocations;
void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_aligned_alloc(size_t alignment, size_t size);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_aligned_alloc(size_t alignment, size_t size);

void *__wrap_malloc(size_t size)
{
    __atomic_add_fetch(&allocations, 1, __ATOMIC_RELAXED);
    return __real_malloc(size);
}

void *__wrap_calloc(size_t count, size_t size)
{
    __atomic_add_fetch(&allocations, 1, __ATOMIC_RELAXED);
    return __real_calloc(count, size);
}

void *__wrap_aligned_alloc(size_t alignment, size_t size)
{
    __atomic_add_fetch(&allocations, 1, __ATOMIC_RELAXED);
    return __real_aligned_alloc(alignment, size);
}

static uint64_t allocations_of_run(const char *folder, const char *samples)
{
    packspan_case *c = NULL;
    packspan_results *r = NULL;
    assert_int_equal(packspan_case_open(folder, &c), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "samples", samples), PACKSPAN_OK);
    assert_int_equal(packspan_case_set(c, "threads", "2"), PACKSPAN_OK);
    uint64_t before = allocations;
    assert_int_equal(packspan_run(c, NULL, NULL, &r), PACKSPAN_OK);
    uint64_t made = allocations - before;
    packspan_results_free(r);
    packspan_case_free(c);
    return made;
}

/* Each doubling of the blocks may need one more node of sums for each tree; between two of them
 * nothing grows, nor does the pilot of runs that are no shorter. */
static void a_longer_run_allocates_no_more(void **state)
{
    (void)state;
    static const char *const folders[] = {PROJECT_FOLDER "/configs/demo",
                                          PROJECT_FOLDER "/scripts/benchmark/case"};
    for (size_t i = 0; i < 2; i++) {
        uint64_t made = allocations_of_run(folders[i], "530000");
        assert_true(made > 0);
        assert_int_equal(allocations_of_run(folders[i], "1040000"), made);
    }
}

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005U + 1442695040888963407U;
    return (double)(*state >> 11) * 0x1p-53;
}

/* Steps of the city cycle that are evaluated for a sample, of a block whose coefficients lie within
 * -+ `spread` of a car's. */
static double steps_evaluated(const struct trace *t, double spread)
{
    static double column[4][BLOCK_SAMPLES], traction[BLOCK_SAMPLES];
    const double middle[4] = {145.0, 1.6, 0.375, 2100.0};
    uint64_t seed = 3;
    for (int k = 0; k < 4; k++)
        for (size_t i = 0; i < BLOCK_SAMPLES; i++)
            column[k][i] = middle[k] * (1.0 + spread * (2.0 * uniform(&seed) - 1.0));
    struct wheel_load load = {column[0], column[1], column[2], column[3], NULL};
    return (double)trace_traction(t, BLOCK_SAMPLES, &load, traction, NULL) / BLOCK_SAMPLES;
}

static void few_steps_are_evaluated_one_by_one(void **state)
{
    (void)state;
    struct problems problems = {0};
    struct cycle cycle = {0};
    struct trace t;
    assert_int_equal(
        cycle_read(PROJECT_FOLDER "/configs/cycles/udds.csv", "udds", &problems, &cycle),
        PACKSPAN_OK);
    assert_int_equal(trace_make(cycle.points, cycle.time, cycle.speed, &t), PACKSPAN_OK);
    /* of 1128 that move; there were 1, 18 and 20 when this was written */
    assert_true(steps_evaluated(&t, 0.01) < 5.0);
    assert_true(steps_evaluated(&t, 0.05) < 30.0);
    assert_true(steps_evaluated(&t, 0.20) < 40.0);
    assert_true(steps_evaluated(&t, 0.20) > 0.0);
    trace_free(&t);
    cycle_free(&cycle);
    problems_clear(&problems);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_longer_run_allocates_no_more),
        cmocka_unit_test(few_steps_are_evaluated_one_by_one),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
