#include "draw/shape.h"

#include "base/hot_loop.h"
#include "base/text.h"
#include "draw/law.h"

#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

static const double largest_cut = 0.05;

const char *const shape_field_names[SHAPE_FIELD_COUNT] = {
    [SHAPE_BEST] = "best", [SHAPE_LOW] = "low", [SHAPE_HIGH] = "high", [SHAPE_COVER] = "cover",
    [SHAPE_SD] = "sd",     [SHAPE_DOF] = "dof", [SHAPE_FILE] = "file",
};

const struct shape_info shape_infos[SHAPE_COUNT] = {
    [SHAPE_FIXED] = {"fixed", "best", "exactly known", SHAPE_BIT(SHAPE_BEST)},
    [SHAPE_NORMAL] = {"normal", "best, sd or low, high, cover",
                      "Gaussian, JCGM 101 6.4.7; cover is the probability between low and high, "
                      "0.95 unless given",
                      SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_SD) | SHAPE_BIT(SHAPE_LOW) |
                          SHAPE_BIT(SHAPE_HIGH) | SHAPE_BIT(SHAPE_COVER)},
    [SHAPE_SPLIT_NORMAL] = {"split_normal", "best, low, high, cover",
                            "two half normals joined at best, the mode; cover lies between low "
                            "and high, 0.95 unless given, with equal tails",
                            SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) |
                                SHAPE_BIT(SHAPE_COVER)},
    [SHAPE_LOGNORMAL] = {"lognormal", "best, sd or low, high, cover",
                         "best is the median and sd that of the natural logarithm; or cover, 0.95 "
                         "unless given, lies between low and high with equal tails",
                         SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_SD) | SHAPE_BIT(SHAPE_LOW) |
                             SHAPE_BIT(SHAPE_HIGH) | SHAPE_BIT(SHAPE_COVER)},
    [SHAPE_UNIFORM] = {"uniform", "low, high", "anywhere between the limits, JCGM 101 6.4.2",
                       SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH)},
    [SHAPE_VAGUE_UNIFORM] = {"vague_uniform", "low, high, sd",
                             "uniform between limits that are each unsure by sd either way "
                             "(curvilinear trapezoid), JCGM 101 6.4.3",
                             SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) | SHAPE_BIT(SHAPE_SD)},
    [SHAPE_TRAPEZOID] = {"trapezoid", "low, high, best, cover",
                         "symmetric trapezoid, JCGM 101 6.4.4; cover is the width of the top over "
                         "that of the base, best the centre and may be left empty",
                         SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) | SHAPE_BIT(SHAPE_BEST) |
                             SHAPE_BIT(SHAPE_COVER)},
    [SHAPE_TRIANGULAR] = {"triangular", "low, best, high",
                          "triangle from low to high, JCGM 101 6.4.5, its peak at best",
                          SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_HIGH)},
    [SHAPE_PERT] = {"pert", "low, best, high, cover",
                    "beta-PERT, lambda 4, its mode at best; low and high are the limits, or with "
                    "cover below 1 quantiles with equal tails",
                    SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_HIGH) |
                        SHAPE_BIT(SHAPE_COVER)},
    [SHAPE_ARCSINE] = {"arcsine", "low, high",
                       "something that swings as a sine between the limits, JCGM 101 6.4.6",
                       SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH)},
    [SHAPE_STUDENT] = {"student", "best, sd, dof",
                       "mean of a few repeated readings, its standard error and the number of "
                       "readings less 1, JCGM 101 6.4.9",
                       SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_SD) | SHAPE_BIT(SHAPE_DOF)},
    [SHAPE_OBSERVED] = {"observed", "file",
                        "drawn from readings: a CSV table with a column value and, if wanted, "
                        "weight",
                        SHAPE_BIT(SHAPE_FILE)},
};

static const struct law *const laws[SHAPE_COUNT] = {
    [SHAPE_FIXED] = &law_fixed,
    [SHAPE_NORMAL] = &law_normal,
    [SHAPE_SPLIT_NORMAL] = &law_split_normal,
    [SHAPE_LOGNORMAL] = &law_lognormal,
    [SHAPE_UNIFORM] = &law_uniform,
    [SHAPE_VAGUE_UNIFORM] = &law_vague_uniform,
    [SHAPE_TRAPEZOID] = &law_trapezoid,
    [SHAPE_TRIANGULAR] = &law_triangular,
    [SHAPE_PERT] = &law_pert,
    [SHAPE_ARCSINE] = &law_arcsine,
    [SHAPE_STUDENT] = &law_student,
    [SHAPE_OBSERVED] = &law_observed,
};

enum shape_kind shape_find(const char *name)
{
    enum shape_kind kind = 0;
    while (kind < SHAPE_COUNT && strcmp(name, shape_infos[kind].name) != 0)
        kind++;
    return kind;
}

packspan_status fault_set(struct shape_fault *fault, enum shape_field field, const char *remedy,
                          const char *what, ...)
{
    va_list arguments;
    fault->field = field;
    fault->of_all = false;
    text_print(fault->remedy, sizeof fault->remedy, "%s", remedy);
    va_start(arguments, what);
    text_vprint(fault->what, sizeof fault->what, what, arguments);
    va_end(arguments);
    return PACKSPAN_BAD_CASE;
}

/* The column file is not among the numbers of a row; the caller sees to it. */
static packspan_status check_columns(const struct shape_given *given, struct shape_fault *fault)
{
    const struct shape_info *info = &shape_infos[given->kind];
    char remedy[sizeof fault->remedy];
    for (enum shape_field f = 0; f < SHAPE_FILE; f++) {
        bool empty = isnan(given->field[f]);
        if (!empty && !(info->uses & SHAPE_BIT(f))) {
            text_print(remedy, sizeof remedy, "it uses %s", info->columns);
            return fault_set(fault, f, remedy, "is not used by shape '%s'", info->name);
        }
        if (empty && (laws[given->kind]->needs & SHAPE_BIT(f))) {
            text_print(remedy, sizeof remedy, "shape '%s' needs a number here", info->name);
            return fault_set(fault, f, remedy, "is empty");
        }
    }
    return PACKSPAN_OK;
}

static bool is_below(const struct shape_domain *domain, double value)
{
    return domain->low_open ? value <= domain->low : value < domain->low;
}

static bool is_above(const struct shape_domain *domain, double value)
{
    return domain->high_open ? value >= domain->high : value > domain->high;
}

int domain_side(const struct shape_domain *domain, double value)
{
    return is_above(domain, value) - is_below(domain, value);
}

/* Narrows the ends of the draws to the domain. */
static void narrow(struct shape *s, const struct shape_domain *domain)
{
    const double end = (double)INFINITY;
    bool low_open = domain->low_open || isinf(domain->low);
    bool high_open = domain->high_open || isinf(domain->high);
    s->low = fmax(s->low, low_open ? nextafter(domain->low, end) : domain->low);
    s->high = fmin(s->high, high_open ? nextafter(domain->high, -end) : domain->high);
}

static void cut(struct shape *s, const struct shape_domain *domain)
{
    s->cut_low = s->law->tails(s, domain->low).lower;
    s->cut_high = s->law->tails(s, domain->high).upper;
    narrow(s, domain);
}

static packspan_status fault_outside(const struct shape *s, const struct shape_given *given,
                                     const struct shape_domain *domain, struct shape_fault *fault)
{
    enum shape_field field = SHAPE_BEST;
    if (given->kind == SHAPE_OBSERVED)
        field = SHAPE_FILE;
    else if (!isnan(given->field[SHAPE_LOW]))
        field = s->cut_low >= s->cut_high ? SHAPE_LOW : SHAPE_HIGH;
    char remedy[sizeof fault->remedy];
    text_print(remedy, sizeof remedy, "the domain is %c%g, %g%c%s%s",
               domain->low_open || isinf(domain->low) ? '(' : '[', domain->low, domain->high,
               domain->high_open || isinf(domain->high) ? ')' : ']', given->unit ? " " : "",
               given->unit ? given->unit : "");
    packspan_status status =
        given->kind == SHAPE_FIXED
            ? fault_set(fault, field, remedy, "is outside the physical domain")
            : fault_set(fault, field, remedy,
                        "puts %.3g %% of the distribution outside the physical domain",
                        100.0 * shape_cut(s));
    fault->of_all = true;
    return status;
}

static packspan_status build(struct shape *s, const struct shape_given *given,
                             const struct shape_domain *domain, struct shape_fault *fault)
{
    packspan_status status = s->law->build(given, domain, s, fault);
    if (status != PACKSPAN_OK)
        return status;
    if (!s->law->drops_readings)
        cut(s, domain);
    if (!(shape_cut(s) <= largest_cut))
        return fault_outside(s, given, domain, fault);
    return PACKSPAN_OK;
}

double shape_cut(const struct shape *s)
{
    return s->cut_low + s->cut_high;
}

bool shape_is_fixed(const struct shape *s)
{
    return s->low == s->high;
}

/* What is left of the distribution lies between the tails cut_low and 1 - cut_high; readings have
 * been dropped already. */
static double kept_low(const struct shape *s)
{
    return s->law->drops_readings ? 0.0 : s->cut_low;
}

static double kept_high(const struct shape *s)
{
    return s->law->drops_readings ? 0.0 : s->cut_high;
}

HOT_LOOP static void block_quantiles(const struct shape *s, tail_quantiles *quantiles, size_t n,
                                     const double *lower, const double *upper, double *x)
{
    double p[LAW_BLOCK] = {0}, q[LAW_BLOCK] = {0};
    double cut_low = kept_low(s), cut_high = kept_high(s), share = 1.0 - cut_low - cut_high;
    for (size_t i = 0; i < n; i++) {
        p[i] = cut_low + lower[i] * share;
        q[i] = cut_high + upper[i] * share;
    }
    quantiles(s, n, p, q, x);
    for (size_t i = 0; i < n; i++) {
        double inside = x[i] < s->low ? s->low : x[i];
        x[i] = inside > s->high ? s->high : inside;
    }
}

static void all_quantiles(const struct shape *s, tail_quantiles *quantiles, size_t n,
                          const double *lower, const double *upper, double *x)
{
    for (size_t done = 0; done < n; done += LAW_BLOCK) {
        size_t count = n - done < LAW_BLOCK ? n - done : LAW_BLOCK;
        block_quantiles(s, quantiles, count, lower + done, upper + done, x + done);
    }
}

void shape_tail_quantiles(const struct shape *s, size_t n, const double *lower, const double *upper,
                          double *x)
{
    all_quantiles(s, s->law->quantiles, n, lower, upper, x);
}

static void exact_draws(const void *shape, size_t n, const double *lower, const double *upper,
                        double *x)
{
    shape_tail_quantiles(shape, n, lower, upper, x);
}

static bool is_drawn_by_table(const struct shape *s)
{
    return s->table && !s->law->draws;
}

void shape_tail_draws(const struct shape *s, size_t n, const double *lower, const double *upper,
                      double *x)
{
    if (is_drawn_by_table(s))
        quantile_table_draw(s->table, exact_draws, s, n, lower, upper, x);
    else
        all_quantiles(s, s->law->draws ? s->law->draws : s->law->quantiles, n, lower, upper, x);
}

HOT_LOOP static void upper_tails(size_t n, const double *restrict lower, double *restrict upper)
{
    for (size_t i = 0; i < n; i++)
        upper[i] = 1.0 - lower[i];
}

static void with_both_tails(const struct shape *s, tail_quantiles *f, size_t n, const double *u,
                            double *x)
{
    double upper[LAW_BLOCK];
    for (size_t done = 0; done < n; done += LAW_BLOCK) {
        size_t count = n - done < LAW_BLOCK ? n - done : LAW_BLOCK;
        upper_tails(count, u + done, upper);
        f(s, count, u + done, upper, x + done);
    }
}

void shape_quantiles(const struct shape *s, size_t n, const double *u, double *x)
{
    with_both_tails(s, shape_tail_quantiles, n, u, x);
}

void shape_draws(const struct shape *s, size_t n, const double *u, double *x)
{
    if (is_drawn_by_table(s))
        quantile_table_draw(s->table, exact_draws, s, n, u, NULL, x);
    else
        with_both_tails(s, shape_tail_draws, n, u, x);
}

/* ---- making ---- */

static packspan_status tabulate(struct shape *s)
{
    if (!s->law->join || shape_is_fixed(s))
        return PACKSPAN_OK;
    double join = (s->law->join(s) - s->cut_low) / (1.0 - s->cut_low - s->cut_high);
    return quantile_table_make(exact_draws, s, join, &s->table) ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

/* Everything but the table of draws. */
static packspan_status make_exact(const struct shape_given *given,
                                  const struct shape_domain *domain, struct shape **out,
                                  struct shape_fault *fault)
{
    packspan_status status = check_columns(given, fault);
    if (status != PACKSPAN_OK)
        return status;
    struct shape *s = calloc(1, sizeof *s);
    if (!s)
        return PACKSPAN_NO_MEMORY;
    s->law = laws[given->kind];
    s->low = -(double)INFINITY;
    s->high = (double)INFINITY;
    status = build(s, given, domain, fault);
    if (status == PACKSPAN_OK)
        *out = s;
    else
        shape_free(s);
    return status;
}

packspan_status shape_make(const struct shape_given *given, const struct shape_domain *domain,
                           struct shape **out, struct shape_fault *fault)
{
    struct shape *s = NULL;
    packspan_status status = make_exact(given, domain, &s, fault);
    if (status == PACKSPAN_OK)
        status = tabulate(s);
    if (status == PACKSPAN_OK)
        *out = s;
    else
        shape_free(s);
    return status;
}

packspan_status shape_check(const struct shape_given *given, const struct shape_domain *domain,
                            struct shape_fault *fault)
{
    struct shape *s = NULL;
    packspan_status status = make_exact(given, domain, &s, fault);
    shape_free(s);
    return status;
}

void shape_free(struct shape *s)
{
    if (s) {
        free(s->memory);
        quantile_table_free(s->table);
    }
    free(s);
}

double shape_distribution(const struct shape *s, double x)
{
    if (x < s->low)
        return 0.0;
    if (x >= s->high)
        return 1.0;
    double cut_low = kept_low(s), cut_high = kept_high(s), share = 1.0 - cut_low - cut_high;
    struct tails t = s->law->tails(s, x);
    double inside =
        t.lower < t.upper ? (t.lower - cut_low) / share : 1.0 - (t.upper - cut_high) / share;
    return fmax(0.0, fmin(1.0, inside));
}
