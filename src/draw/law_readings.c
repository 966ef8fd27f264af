#include "draw/law.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

/* fixed */

static packspan_status fixed_build(const struct shape_given *given,
                                   const struct shape_domain *domain, struct shape *shape,
                                   struct shape_fault *fault)
{
    (void)fault;
    double value = given->field[SHAPE_BEST];
    int side = domain_side(domain, value);
    shape->of.value = shape->low = shape->high = value;
    shape->cut_low = side < 0 ? 1.0 : 0.0;
    shape->cut_high = side > 0 ? 1.0 : 0.0;
    return PACKSPAN_OK;
}

static void fixed_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                            double *x)
{
    (void)p, (void)q;
    for (size_t i = 0; i < n; i++)
        x[i] = shape->of.value;
}

static struct tails fixed_tails(const struct shape *shape, double x)
{
    return from_lower(x < shape->of.value ? 0.0 : 1.0);
}

const struct law law_fixed = {.needs = SHAPE_BIT(SHAPE_BEST),
                              .build = fixed_build,
                              .quantiles = fixed_quantiles,
                              .tails = fixed_tails,
                              .drops_readings = true};

/* observed: the inverse of the weighted empirical distribution (type 1 of R. J. Hyndman and
 * Y. Fan, The American Statistician 50 (1996) 361-365). */

static int compare_doubles(double a, double b)
{
    return (a > b) - (a < b);
}

/* Equal values are put in the order of their weights, so that the order of the rows plays no part
 * in rounding either. */
static int compare_readings(const void *left, const void *right)
{
    const struct reading *a = left, *b = right;
    int by_value = compare_doubles(a->value, b->value);
    return by_value ? by_value : compare_doubles(a->weight, b->weight);
}

static packspan_status check_readings(const struct shape_given *given, struct shape_fault *fault)
{
    double sum = 0.0;
    for (size_t i = 0; i < given->readings; i++) {
        double weight = given->weights ? given->weights[i] : 1.0;
        if (!isfinite(given->values[i]))
            return fault_set(fault, SHAPE_FILE, "every value must be a finite number",
                             "has no finite value in reading %zu", i + 1);
        if (!(weight >= 0.0 && isfinite(weight)))
            return fault_set(fault, SHAPE_FILE, "a weight is a finite number, 0 or more",
                             "has a wrong weight (%g) in reading %zu", weight, i + 1);
        sum += weight;
    }
    if (given->readings == 0)
        return fault_set(fault, SHAPE_FILE, "it needs one reading or more", "holds no readings");
    if (!(sum > 0.0 && isfinite(sum)))
        return fault_set(fault, SHAPE_FILE, "the sum of the weights must be above 0 and finite",
                         "has weights that add up to %g", sum);
    return PACKSPAN_OK;
}

/* Moves what lies inside the domain and weighs something to the front, in rising order. */
static void keep_readings(struct shape *shape, struct reading *readings, size_t count,
                          const struct shape_domain *domain)
{
    double sum = 0.0, below = 0.0, above = 0.0, kept = 0.0;
    struct observed_law *law = &shape->of.observed;
    qsort(readings, count, sizeof *readings, compare_readings);
    for (size_t i = 0; i < count; i++) {
        int side = domain_side(domain, readings[i].value);
        double weight = readings[i].weight;
        sum += weight;
        if (side < 0) {
            below += weight;
        } else if (side > 0) {
            above += weight;
        } else if (weight > 0.0) {
            kept += weight;
            law->values[law->count] = readings[i].value;
            law->shares[law->count++] = kept;
        }
    }
    for (size_t i = 0; i < law->count; i++)
        law->shares[i] /= kept;
    shape->cut_low = below / sum;
    shape->cut_high = above / sum;
}

/* One block of memory for all: values, shares and the guide, twice as fine as the readings. */
static bool allocate(size_t count, struct shape *shape)
{
    size_t guides = 16;
    while (guides / 2 < count)
        guides *= 2;
    if (guides > UINT32_MAX)
        return false;
    double *columns = calloc(1, 2 * count * sizeof(double) + (guides + 1) * sizeof(uint32_t));
    if (!columns)
        return false;
    shape->memory = columns;
    shape->of.observed = (struct observed_law){.guides = guides,
                                               .values = columns,
                                               .shares = columns + count,
                                               .guide = (uint32_t *)(columns + 2 * count)};
    return true;
}

static void fill_guide(struct observed_law *law)
{
    size_t below = 0;
    for (size_t b = 0; b <= law->guides; b++) {
        double start = (double)b / (double)law->guides;
        while (below < law->count && law->shares[below] < start)
            below++;
        law->guide[b] = (uint32_t)below;
    }
}

static packspan_status observed_build(const struct shape_given *given,
                                      const struct shape_domain *domain, struct shape *shape,
                                      struct shape_fault *fault)
{
    packspan_status status = check_readings(given, fault);
    if (status != PACKSPAN_OK)
        return status;
    size_t count = given->readings;
    struct reading *readings = calloc(count, sizeof *readings);
    if (!readings || !allocate(count, shape)) {
        free(readings);
        return PACKSPAN_NO_MEMORY;
    }
    for (size_t i = 0; i < count; i++)
        readings[i] = (struct reading){given->values[i], given->weights ? given->weights[i] : 1.0};
    struct observed_law *law = &shape->of.observed;
    keep_readings(shape, readings, count, domain);
    free(readings);
    if (law->count > 0) {
        shape->low = law->values[0];
        shape->high = law->values[law->count - 1];
        fill_guide(law);
    }
    return PACKSPAN_OK;
}

/* The number of keys (values or shares, rising) that are below x, as it lies in [from, to]. */
static size_t count_below(const double *keys, size_t from, size_t to, double x)
{
    while (from < to) {
        size_t middle = from + (to - from) / 2;
        if (keys[middle] < x)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

/* Puts right what lies two readings or more beyond the start of its piece of the guide. */
static void search_crowds(const struct observed_law *law, size_t n, const double *p, double *x)
{
    for (size_t i = 0; i < n; i++) {
        const uint32_t *piece = law->guide + (size_t)(p[i] * (double)law->guides);
        size_t k = piece[0];
        if (law->shares[k] < p[i] && law->shares[k + 1] < p[i])
            x[i] = law->values[count_below(law->shares, k + 2, piece[1], p[i])];
    }
}

/* The guide tells the first reading to look at; of most pieces the next two are enough. */
static void observed_quantiles(const struct shape *shape, size_t n, const double *p,
                               const double *q, double *x)
{
    (void)q;
    const struct observed_law *law = &shape->of.observed;
    const double *shares = law->shares, guides = (double)law->guides;
    unsigned farther = 0;
    for (size_t i = 0; i < n; i++) {
        size_t k = law->guide[(size_t)(p[i] * guides)];
        k += shares[k] < p[i];
        k += shares[k] < p[i];
        farther |= shares[k] < p[i];
        x[i] = law->values[k];
    }
    if (farther)
        search_crowds(law, n, p, x);
}

static struct tails observed_tails(const struct shape *shape, double x)
{
    const struct observed_law *law = &shape->of.observed;
    size_t up_to = count_below(law->values, 0, law->count, nextafter(x, (double)INFINITY));
    return from_lower(up_to > 0 ? law->shares[up_to - 1] : 0.0);
}

const struct law law_observed = {.needs = 0,
                                 .build = observed_build,
                                 .quantiles = observed_quantiles,
                                 .tails = observed_tails,
                                 .drops_readings = true};
