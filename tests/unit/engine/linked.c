/* Linked inputs of whole cases, as a run draws them. */
#include "support/support.h"

#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/text.h"
#include "engine/run.h"
#include "model/block.h"
#include "unit/base/scratch.h"

enum { SAMPLES = 1 << 15 };

static FILE *create(const char *path)
{
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    return f;
}

static void put(const char *path, const char *text)
{
    FILE *f = create(path);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static int enter_scratch(void **state)
{
    if (scratch_enter(state) || mkdir("c", 0700))
        return 1;
    put("c/vehicles.csv", "vehicle,role\nvan,subject\nold_van,reference\n");
    return 0;
}

/* ---- drawn inputs ---- */

struct drawn {
    struct case_data c;
    struct plan plan;
    double *columns; /* [input_count][SAMPLES], SI */
};

static double *column(const struct drawn *d, size_t input)
{
    return d->columns + input * SAMPLES;
}

static void draw(struct drawn *d)
{
    struct sampler *s = NULL;
    assert_int_equal(case_data_read("c", &d->c), PACKSPAN_OK);
    assert_int_equal(plan_make(&d->c, NULL, &d->plan), PACKSPAN_OK);
    assert_int_equal(sampler_open(&d->plan, NULL, NULL, &s), PACKSPAN_OK);
    d->columns = calloc(d->c.input_count * SAMPLES, sizeof *d->columns);
    assert_non_null(d->columns);
    for (size_t first = 0; first < SAMPLES; first += BLOCK_SAMPLES) {
        uint64_t invalid[BLOCK_SAMPLES];
        assert_int_equal(sampler_fill(s, true, first, BLOCK_SAMPLES, invalid, NULL), 0);
        for (size_t i = 0; i < d->c.input_count; i++)
            memcpy(column(d, i) + first, sampler_columns(s)[d->plan.input_nodes[i]],
                   BLOCK_SAMPLES * sizeof *d->columns);
    }
    sampler_free(s);
}

static void drop(struct drawn *d)
{
    free(d->columns);
    plan_free(&d->plan);
    case_data_free(&d->c);
}

static size_t find(const struct drawn *d, const char *vehicle, const char *quantity)
{
    for (size_t i = 0; i < d->c.input_count; i++) {
        const struct input *in = &d->c.inputs[i];
        if (strcmp(plan_vehicle_name(&d->plan, in->vehicle), vehicle) == 0 &&
            strcmp(quantities[in->quantity].name, quantity) == 0)
            return i;
    }
    fail_msg("no input %s of %s", quantity, vehicle);
    return 0;
}

/* ---- rank correlation of a sample ---- */

static int compare_by_value(const void *a, const void *b, void *values)
{
    const double *x = values;
    double p = x[*(const size_t *)a], q = x[*(const size_t *)b];
    return (p > q) - (p < q);
}

/* Equal values share the mean of their ranks. */
static void find_ranks(const double *x, double *ranks)
{
    static size_t order[SAMPLES];
    for (size_t i = 0; i < SAMPLES; i++)
        order[i] = i;
    qsort_r(order, SAMPLES, sizeof *order, compare_by_value, (void *)(uintptr_t)x);
    for (size_t i = 0, end; i < SAMPLES; i = end) {
        for (end = i + 1; end < SAMPLES && x[order[end]] == x[order[i]];)
            end++;
        for (size_t k = i; k < end; k++)
            ranks[order[k]] = 0.5 * (double)(i + end - 1) - 0.5 * (SAMPLES - 1);
    }
}

static double rank_correlation(const double *x, const double *y)
{
    static double a[SAMPLES], b[SAMPLES];
    double ab = 0.0, aa = 0.0, bb = 0.0;
    find_ranks(x, a);
    find_ranks(y, b);
    for (size_t i = 0; i < SAMPLES; i++) {
        ab += a[i] * b[i];
        aa += a[i] * a[i];
        bb += b[i] * b[i];
    }
    return ab / sqrt(aa * bb);
}

/* D. G. Bonett and T. A. Wright, Psychometrika 65 (2000) 23-28. */
static double rank_correlation_error(double r)
{
    return (1.0 - r * r) * sqrt((1.0 + 0.5 * r * r) / (SAMPLES - 3.0));
}

/* ---- every shape ---- */

/* Each stands against a normal partner, the same quantity of the old van. */
static const struct {
    const char *quantity, *unit, *shape, *fields, *partner; /* best,low,high,cover,sd,dof,file */
    double correlation;
} pairs[] = {
    {"cell_charge", "Ah", "normal", "100,,,,30,,", "100,,,,1,,", 0.8}, /* cut at 0 */
    {"cell_mass", "g", "split_normal", "100,90,130,0.9,,,", "100,,,,1,,", -0.6},
    {"cell_diameter", "mm", "lognormal", "100,,,,0.3,,", "100,,,,1,,", 0.9},
    {"cell_height", "mm", "uniform", ",90,110,,,,", "100,,,,1,,", 0.5},
    {"cell_length", "mm", "vague_uniform", ",90,110,,3,,", "100,,,,1,,", -0.97},
    {"cell_width", "mm", "trapezoid", ",90,110,0.5,,,", "100,,,,1,,", 0.3},
    {"cell_thickness", "mm", "triangular", "92,90,110,,,,", "100,,,,1,,", -0.2},
    {"cell_energy", "Wh", "pert", "92,90,110,,,,", "100,,,,1,,", 0.7},
    {"pack_mass", "kg", "arcsine", ",90,110,,,,", "100,,,,1,,", 0.6},
    {"stated_curb_mass", "kg", "student", "1000,,,,5,3,", "1000,,,,1,,", -0.85},
    {"stated_range", "mi", "observed", ",,,,,,readings.csv", "100,,,,1,,", 0.95},
};
enum { PAIRS = sizeof pairs / sizeof pairs[0] };

static void put_pairs(void)
{
    FILE *inputs = create("c/inputs.csv"), *links = create("c/links.csv");
    FILE *readings = create("c/readings.csv");
    fputs("vehicle,quantity,unit,shape,best,low,high,cover,sd,dof,file,source\n", inputs);
    fputs("vehicle_a,quantity_a,vehicle_b,quantity_b,rank_correlation,source\n", links);
    fputs("value\n", readings);
    for (size_t i = 0; i < PAIRS; i++) {
        fprintf(inputs, "van,%s,%s,%s,%s,x\n", pairs[i].quantity, pairs[i].unit, pairs[i].shape,
                pairs[i].fields);
        fprintf(inputs, "old_van,%s,%s,normal,%s,x\n", pairs[i].quantity, pairs[i].unit,
                pairs[i].partner);
        fprintf(links, "van,%s,old_van,%s,%g,x\n", pairs[i].quantity, pairs[i].quantity,
                pairs[i].correlation);
    }
    for (int i = 0; i < 1000; i++)
        fprintf(readings, "%g\n", 90.0 + 0.02 * i);
    assert_int_equal(fclose(inputs) | fclose(links) | fclose(readings), 0);
}

static void every_shape_takes_its_rank_correlation(void **state)
{
    (void)state;
    struct drawn d;
    put_pairs();
    draw(&d);
    for (size_t i = 0; i < PAIRS; i++) {
        double r = pairs[i].correlation;
        double got = rank_correlation(column(&d, find(&d, "van", pairs[i].quantity)),
                                      column(&d, find(&d, "old_van", pairs[i].quantity)));
        if (!is_close(got, r, 0.0, 4.0 * rank_correlation_error(r)))
            fail_msg("%s: rank correlation %g, expected %g", pairs[i].shape, got, r);
    }
    double apart = rank_correlation(column(&d, find(&d, "van", "cell_charge")),
                                    column(&d, find(&d, "van", "cell_mass")));
    assert_close(apart, 0.0, 0.0, 4.0 * rank_correlation_error(0.0));
    drop(&d);
}

/* Kolmogorov's distance; beyond 2.2/sqrt n only once in 8000. */
static double distance(const struct input *in, double *x)
{
    double largest = 0.0;
    static size_t order[SAMPLES];
    for (size_t i = 0; i < SAMPLES; i++)
        order[i] = i;
    qsort_r(order, SAMPLES, sizeof *order, compare_by_value, x);
    for (size_t i = 0; i < SAMPLES; i++) {
        double own = (x[order[i]] - in->to_si.offset) / in->to_si.scale;
        double p = shape_distribution(in->shape, own);
        largest = fmax(largest, fabs(p - ((double)i + 0.5) / SAMPLES));
    }
    return largest;
}

static void a_linked_input_keeps_its_distribution(void **state)
{
    (void)state;
    struct drawn d;
    put_pairs();
    draw(&d);
    for (size_t i = 0; i < d.c.input_count; i++) {
        const struct input *in = &d.c.inputs[i];
        if (in->given.kind == SHAPE_OBSERVED) /* steps of 1/1000 are wider than the bound */
            continue;
        double got = distance(in, column(&d, i)), bound = 2.2 / sqrt(SAMPLES);
        if (!(got < bound))
            fail_msg("%s: distance %g, bound %g", shape_infos[in->given.kind].name, got, bound);
    }
    drop(&d);
}

/* ---- what is not linked, and the order of rows ---- */

static const char *const names[][2] = {{"van", "cell_charge"},     {"van", "cell_mass"},
                                       {"van", "cell_energy"},     {"old_van", "cell_mass"},
                                       {"old_van", "cell_charge"}, {"all", "regen_efficiency"}};
enum { NAMES = sizeof names / sizeof names[0] };

/* The same columns by name; `first` and `last` limit the list. */
static void assert_same(const struct drawn *a, const struct drawn *b, size_t first, size_t last)
{
    for (size_t i = first; i < last; i++)
        assert_memory_equal(column(a, find(a, names[i][0], names[i][1])),
                            column(b, find(b, names[i][0], names[i][1])), SAMPLES * sizeof(double));
}

static void put_inputs(void)
{
    FILE *f = create("c/inputs.csv");
    static const char *const units[NAMES] = {"Ah", "kg", "kWh", "kg", "Ah", "1"};
    fputs("vehicle,quantity,unit,shape,low,high,source\n", f);
    for (size_t i = 0; i < NAMES; i++)
        fprintf(f, "%s,%s,%s,uniform,0.1,0.9,x\n", names[i][0], names[i][1], units[i]);
    assert_int_equal(fclose(f), 0);
}

static void inputs_without_a_link_keep_their_draws(void **state)
{
    (void)state;
    struct drawn with, without;
    put_inputs();
    draw(&without);
    put("c/links.csv", "vehicle_a,quantity_a,vehicle_b,quantity_b,rank_correlation,source\n"
                       "van,cell_charge,van,cell_mass,0.5,x\n"
                       "van,cell_mass,van,cell_energy,-0.3,x\n"
                       "old_van,cell_mass,van,cell_mass,0,says that they are not linked\n");
    draw(&with);
    assert_same(&with, &without, 3, NAMES);
    for (size_t i = 1; i < 3; i++) /* the first of a group keeps its scores */
        assert_true(memcmp(column(&with, i), column(&without, i), SAMPLES * sizeof(double)) != 0);
    drop(&with);
    drop(&without);
}

static void the_order_of_rows_plays_no_part(void **state)
{
    (void)state;
    struct drawn one, other;
    put_inputs();
    put("c/links.csv", "vehicle_a,quantity_a,vehicle_b,quantity_b,rank_correlation,source\n"
                       "van,cell_charge,van,cell_mass,0.5,x\n"
                       "van,cell_mass,van,cell_energy,-0.3,x\n"
                       "van,cell_mass,old_van,cell_mass,0.4,x\n"
                       "all,regen_efficiency,old_van,cell_charge,0.9,x\n");
    draw(&one);
    put("c/links.csv", "vehicle_a,quantity_a,vehicle_b,quantity_b,rank_correlation,source\n"
                       "old_van,cell_charge,all,regen_efficiency,0.9,x\n"
                       "old_van,cell_mass,van,cell_mass,0.4,x\n"
                       "van,cell_energy,van,cell_mass,-0.3,x\n"
                       "van,cell_mass,van,cell_charge,0.5,x\n");
    put("c/vehicles.csv", "vehicle,role\nold_van,reference\nvan,subject\n");
    put("c/inputs.csv", "vehicle,quantity,unit,shape,low,high,source\n"
                        "all,regen_efficiency,1,uniform,0.1,0.9,x\n"
                        "old_van,cell_charge,Ah,uniform,0.1,0.9,x\n"
                        "old_van,cell_mass,kg,uniform,0.1,0.9,x\n"
                        "van,cell_energy,kWh,uniform,0.1,0.9,x\n"
                        "van,cell_mass,kg,uniform,0.1,0.9,x\n"
                        "van,cell_charge,Ah,uniform,0.1,0.9,x\n");
    draw(&other);
    assert_same(&one, &other, 0, NAMES);
    drop(&one);
    drop(&other);
}

/* A block that starts elsewhere gives the same samples. */
static void the_split_into_blocks_plays_no_part(void **state)
{
    (void)state;
    struct drawn d;
    struct sampler *s = NULL;
    put_pairs();
    draw(&d);
    assert_int_equal(sampler_open(&d.plan, NULL, NULL, &s), PACKSPAN_OK);
    uint64_t invalid[BLOCK_SAMPLES];
    assert_int_equal(sampler_fill(s, true, 777, 300, invalid, NULL), 0);
    for (size_t i = 0; i < d.c.input_count; i++)
        assert_memory_equal(sampler_columns(s)[d.plan.input_nodes[i]], column(&d, i) + 777,
                            300 * sizeof(double));
    sampler_free(s);
    drop(&d);
}

#define IN_SCRATCH(test) cmocka_unit_test_setup_teardown(test, enter_scratch, scratch_leave)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_SCRATCH(every_shape_takes_its_rank_correlation),
        IN_SCRATCH(a_linked_input_keeps_its_distribution),
        IN_SCRATCH(inputs_without_a_link_keep_their_draws),
        IN_SCRATCH(the_order_of_rows_plays_no_part),
        IN_SCRATCH(the_split_into_blocks_plays_no_part),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
