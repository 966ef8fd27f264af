#include "draw/law.h"

#include <math.h>

#include "base/exponential.h"

/* The standard normal quantile above which `tail` lies. */
static double normal_above(double tail)
{
    return normal_quantile(1.0 - tail, tail);
}

static double tail_of_cover(const struct shape_given *given)
{
    return 0.5 * (1.0 - given_or(given, SHAPE_COVER, 0.95));
}

/* normal and lognormal can be given in two ways: by best and sd, or by low, high and cover. */
static packspan_status choose_way(const struct shape_given *given, struct shape_fault *fault,
                                  bool *by_limits)
{
    static const char ways[] = "give best and sd, or low, high and cover";
    bool low = given_has(given, SHAPE_LOW), high = given_has(given, SHAPE_HIGH);
    packspan_status status;
    if (low || high) {
        if (given_has(given, SHAPE_SD))
            return fault_set(fault, SHAPE_SD, ways, "is given beside low and high");
        if (!low || !high)
            return fault_set(fault, low ? SHAPE_HIGH : SHAPE_LOW, ways, "is empty");
        if ((status = given_check_order(given, fault)) != PACKSPAN_OK ||
            (status = given_check_cover(given, fault)) != PACKSPAN_OK)
            return status;
    } else {
        if (!given_has(given, SHAPE_BEST))
            return fault_set(fault, SHAPE_BEST, ways, "is empty");
        if (!given_has(given, SHAPE_SD))
            return fault_set(fault, SHAPE_SD, ways, "is empty");
        if (given_has(given, SHAPE_COVER))
            return fault_set(fault, SHAPE_COVER, ways, "is given beside best and sd");
        if ((status = given_check_sd(given, fault)) != PACKSPAN_OK)
            return status;
    }
    *by_limits = low;
    return PACKSPAN_OK;
}

/* normal */

static packspan_status normal_build(const struct shape_given *given,
                                    const struct shape_domain *domain, struct shape *shape,
                                    struct shape_fault *fault)
{
    (void)domain;
    bool by_limits;
    packspan_status status = choose_way(given, fault, &by_limits);
    if (status != PACKSPAN_OK)
        return status;
    if (!by_limits) {
        shape->of.normal = (struct normal_law){given->field[SHAPE_BEST], given->field[SHAPE_SD]};
        return PACKSPAN_OK;
    }
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double middle = low + 0.5 * (high - low);
    double best = given_or(given, SHAPE_BEST, middle);
    if (fabs(best - middle) > 1e-9 * fmax(fabs(middle), high - low))
        return fault_set(fault, SHAPE_BEST,
                         "leave best empty, or use split_normal, whose best is the mode",
                         "is not the middle of low and high (%g)", middle);
    double z = normal_above(tail_of_cover(given));
    shape->of.normal = (struct normal_law){middle, 0.5 * (high - low) / z};
    return PACKSPAN_OK;
}

static void normal_law_quantiles(const struct shape *shape, size_t n, const double *p,
                                 const double *q, double *x)
{
    const struct normal_law law = shape->of.normal;
    normal_quantiles(n, p, q, x);
    for (size_t i = 0; i < n; i++)
        x[i] = law.mean + law.sd * x[i];
}

static struct tails normal_law_tails(const struct shape *shape, double x)
{
    return normal_tails((x - shape->of.normal.mean) / shape->of.normal.sd);
}

const struct law law_normal = {.needs = 0,
                               .build = normal_build,
                               .quantiles = normal_law_quantiles,
                               .tails = normal_law_tails,
                               .join = law_is_smooth};

/* split_normal */

/* The share of the lower half. With t beyond each limit, a = mode - low and b = high - mode, a
 * share w needs sd_low = a/z(t/2w) and sd_high = b/z(t/2(1 - w)); the densities join at the mode
 * when w sd_high = (1 - w) sd_low. The difference rises with w from t to 1 - t. */
static double split_share(double a, double b, double t)
{
    double from = t, to = 1.0 - t;
    for (int i = 0; i < 200; i++) {
        double w = from + 0.5 * (to - from);
        if (w <= from || w >= to)
            break;
        double difference =
            w * b * normal_above(0.5 * t / w) - (1.0 - w) * a * normal_above(0.5 * t / (1.0 - w));
        if (difference < 0.0)
            from = w;
        else
            to = w;
    }
    return from + 0.5 * (to - from);
}

static packspan_status split_build(const struct shape_given *given,
                                   const struct shape_domain *domain, struct shape *shape,
                                   struct shape_fault *fault)
{
    (void)domain;
    packspan_status status;
    if ((status = given_check_order(given, fault)) != PACKSPAN_OK ||
        (status = given_check_cover(given, fault)) != PACKSPAN_OK)
        return status;
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double mode = given->field[SHAPE_BEST];
    if (!(low < mode && mode < high))
        return fault_set(fault, SHAPE_BEST, "best, the mode, must lie inside low and high",
                         "is not inside low and high (%g to %g)", low, high);
    double t = tail_of_cover(given);
    double a = mode - low, b = high - mode;
    struct split_law *law = &shape->of.split;
    law->mode = mode;
    law->share_low = split_share(a, b, t);
    law->share_high = 1.0 - law->share_low;
    if (law->share_low > 0.5) {
        law->sd_low = a / normal_above(0.5 * t / law->share_low);
        law->sd_high = law->sd_low * law->share_high / law->share_low;
    } else {
        law->sd_high = b / normal_above(0.5 * t / law->share_high);
        law->sd_low = law->sd_high * law->share_low / law->share_high;
    }
    return PACKSPAN_OK;
}

static void split_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                            double *x)
{
    const struct split_law law = shape->of.split;
    double *lower = x, upper[LAW_BLOCK] = {0};
    for (size_t i = 0; i < n; i++) {
        lower[i] = p[i] < law.share_low ? 0.5 * p[i] / law.share_low : 0.5 * q[i] / law.share_high;
        upper[i] = 1.0 - lower[i];
    }
    normal_quantiles(n, lower, upper, x);
    for (size_t i = 0; i < n; i++)
        x[i] = law.mode + x[i] * (p[i] < law.share_low ? law.sd_low : -law.sd_high);
}

static struct tails split_tails(const struct shape *shape, double x)
{
    const struct split_law *law = &shape->of.split;
    double away = x - law->mode;
    if (away < 0.0)
        return from_lower(2.0 * law->share_low * normal_tails(away / law->sd_low).lower);
    return from_upper(2.0 * law->share_high * normal_tails(away / law->sd_high).upper);
}

static double split_join(const struct shape *shape)
{
    return shape->of.split.share_low;
}

const struct law law_split_normal = {.needs = SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_LOW) |
                                              SHAPE_BIT(SHAPE_HIGH),
                                     .build = split_build,
                                     .quantiles = split_quantiles,
                                     .tails = split_tails,
                                     .join = split_join};

/* lognormal */

static packspan_status check_positive(const struct shape_given *given, enum shape_field field,
                                      struct shape_fault *fault)
{
    if (given_has(given, field) && !(given->field[field] > 0.0))
        return fault_set(fault, field, "a lognormal quantity has values above 0 only",
                         "is not above 0");
    return PACKSPAN_OK;
}

static packspan_status lognormal_build(const struct shape_given *given,
                                       const struct shape_domain *domain, struct shape *shape,
                                       struct shape_fault *fault)
{
    (void)domain;
    bool by_limits;
    packspan_status status;
    if ((status = choose_way(given, fault, &by_limits)) != PACKSPAN_OK ||
        (status = check_positive(given, SHAPE_BEST, fault)) != PACKSPAN_OK ||
        (status = check_positive(given, SHAPE_LOW, fault)) != PACKSPAN_OK)
        return status;
    shape->low = 0.0;
    if (!by_limits) {
        shape->of.lognormal =
            (struct lognormal_law){given->field[SHAPE_BEST], given->field[SHAPE_SD]};
        return PACKSPAN_OK;
    }
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double median = sqrt(low) * sqrt(high);
    double best = given_or(given, SHAPE_BEST, median);
    if (fabs(best - median) > 1e-9 * median)
        return fault_set(fault, SHAPE_BEST, "leave best empty, or give best and sd",
                         "is not the median that low and high make (%g)", median);
    double z = normal_above(tail_of_cover(given));
    shape->of.lognormal = (struct lognormal_law){median, 0.5 * log(high / low) / z};
    return PACKSPAN_OK;
}

/* Within what exponentials() neither ends at zero nor stops rising. */
static const double exponentials_reach = 700.0;

static void lognormal_quantiles(const struct shape *shape, size_t n, const double *p,
                                const double *q, double *x)
{
    const struct lognormal_law law = shape->of.lognormal;
    double power[LAW_BLOCK];
    normal_quantiles(n, p, q, x);
    for (size_t i = 0; i < n; i++)
        x[i] *= law.log_sd;
    exponentials(n, x, power);
    for (size_t i = 0; i < n; i++)
        x[i] = law.median * (fabs(x[i]) < exponentials_reach ? power[i] : exp(x[i]));
}

static struct tails lognormal_tails(const struct shape *shape, double x)
{
    if (x <= 0.0)
        return from_lower(0.0);
    return normal_tails(log(x / shape->of.lognormal.median) / shape->of.lognormal.log_sd);
}

const struct law law_lognormal = {.needs = 0,
                                  .build = lognormal_build,
                                  .quantiles = lognormal_quantiles,
                                  .tails = lognormal_tails,
                                  .join = law_is_smooth};
