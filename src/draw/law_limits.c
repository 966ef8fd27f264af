#include "draw/law.h"

#include <math.h>

#include "base/hot_loop.h"

/* uniform and arcsine */

static packspan_status limits_build(const struct shape_given *given,
                                    const struct shape_domain *domain, struct shape *shape,
                                    struct shape_fault *fault)
{
    (void)domain;
    packspan_status status = given_check_order(given, fault);
    if (status != PACKSPAN_OK)
        return status;
    shape->low = given->field[SHAPE_LOW];
    shape->high = given->field[SHAPE_HIGH];
    shape->of.limits = (struct limits_law){shape->low, shape->high};
    return PACKSPAN_OK;
}

HOT_LOOP static void uniform_quantiles(const struct shape *shape, size_t n, const double *p,
                                       const double *q, double *x)
{
    const struct limits_law law = shape->of.limits;
    double width = law.high - law.low;
    for (size_t i = 0; i < n; i++)
        x[i] = p[i] < q[i] ? law.low + p[i] * width : law.high - q[i] * width;
}

static struct tails uniform_tails(const struct shape *shape, double x)
{
    const struct limits_law *law = &shape->of.limits;
    double width = law->high - law->low;
    x = fmax(law->low, fmin(law->high, x));
    return (struct tails){(x - law->low) / width, (law->high - x) / width};
}

const struct law law_uniform = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH),
                                .build = limits_build,
                                .quantiles = uniform_quantiles,
                                .tails = uniform_tails};

static void arcsine_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                              double *x)
{
    const struct limits_law law = shape->of.limits;
    double width = law.high - law.low;
    for (size_t i = 0; i < n; i++) {
        double s = sin(M_PI_2 * fmin(p[i], q[i]));
        double away = width * s * s;
        x[i] = p[i] < q[i] ? law.low + away : law.high - away;
    }
}

static struct tails arcsine_tails(const struct shape *shape, double x)
{
    const struct limits_law *law = &shape->of.limits;
    double width = law->high - law->low;
    x = fmax(law->low, fmin(law->high, x));
    double left = x - law->low, right = law->high - x;
    if (left < right)
        return from_lower(M_2_PI * asin(sqrt(left / width)));
    return from_upper(M_2_PI * asin(sqrt(right / width)));
}

const struct law law_arcsine = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH),
                                .build = limits_build,
                                .quantiles = arcsine_quantiles,
                                .tails = arcsine_tails,
                                .kinks = law_is_smooth};

/* triangular */

static packspan_status triangular_build(const struct shape_given *given,
                                        const struct shape_domain *domain, struct shape *shape,
                                        struct shape_fault *fault)
{
    (void)domain;
    packspan_status status;
    if ((status = given_check_order(given, fault)) != PACKSPAN_OK ||
        (status = given_check_best(given, fault)) != PACKSPAN_OK)
        return status;
    shape->low = given->field[SHAPE_LOW];
    shape->high = given->field[SHAPE_HIGH];
    shape->of.triangular =
        (struct triangular_law){shape->low, given->field[SHAPE_BEST], shape->high};
    return PACKSPAN_OK;
}

static void triangular_quantiles(const struct shape *shape, size_t n, const double *p,
                                 const double *q, double *x)
{
    const struct triangular_law law = shape->of.triangular;
    double width = law.high - law.low;
    double rise = (law.best - law.low) / width, fall = (law.high - law.best) / width;
    for (size_t i = 0; i < n; i++) {
        bool left = p[i] < rise;
        double rising = p[i] * rise, falling = q[i] * fall;
        double away = width * sqrt(left ? rising : falling);
        x[i] = left ? law.low + away : law.high - away;
    }
}

static struct tails triangular_tails(const struct shape *shape, double x)
{
    const struct triangular_law *law = &shape->of.triangular;
    double width = law->high - law->low;
    if (x <= law->low)
        return from_lower(0.0);
    if (x >= law->high)
        return from_upper(0.0);
    double left = x - law->low, right = law->high - x;
    if (x < law->best)
        return from_lower(left / width * (left / (law->best - law->low)));
    return from_upper(right / width * (right / (law->high - law->best)));
}

static size_t triangular_kinks(const struct shape *shape, double p[2])
{
    const struct triangular_law *law = &shape->of.triangular;
    p[0] = (law->best - law->low) / (law->high - law->low);
    return p[0] > 0.0 && p[0] < 1.0;
}

const struct law law_triangular = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_BEST) |
                                            SHAPE_BIT(SHAPE_HIGH),
                                   .build = triangular_build,
                                   .quantiles = triangular_quantiles,
                                   .tails = triangular_tails,
                                   .kinks = triangular_kinks};

/* trapezoid */

static packspan_status trapezoid_build(const struct shape_given *given,
                                       const struct shape_domain *domain, struct shape *shape,
                                       struct shape_fault *fault)
{
    (void)domain;
    packspan_status status = given_check_order(given, fault);
    if (status != PACKSPAN_OK)
        return status;
    double top = given->field[SHAPE_COVER];
    if (!(top >= 0.0 && top <= 1.0))
        return fault_set(fault, SHAPE_COVER,
                         "cover of a trapezoid is the width of its top over that of its base, in "
                         "[0, 1]",
                         "is outside [0, 1]");
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double width = high - low, centre = low + 0.5 * width;
    if (fabs(given_or(given, SHAPE_BEST, centre) - centre) > 1e-9 * width)
        return fault_set(fault, SHAPE_BEST, "leave best empty, or use triangular or pert",
                         "is not the middle of low and high (%g)", centre);
    shape->low = low;
    shape->high = high;
    shape->of.trapezoid = (struct trapezoid_law){.low = low,
                                                 .high = high,
                                                 .centre = centre,
                                                 .ramp = 0.5 * (1.0 - top) * width,
                                                 .ramp_share = 0.5 * (1.0 - top) / (1.0 + top),
                                                 .height = 2.0 / (1.0 + top) / width};
    return PACKSPAN_OK;
}

static void trapezoid_quantiles(const struct shape *shape, size_t n, const double *p,
                                const double *q, double *x)
{
    const struct trapezoid_law law = shape->of.trapezoid;
    double square = 2.0 * law.ramp / law.height;
    for (size_t i = 0; i < n; i++) {
        bool left = p[i] < q[i];
        double tail = left ? p[i] : q[i];
        double away = sqrt(square * tail), inward = (0.5 - tail) / law.height;
        double ramp = left ? law.low + away : law.high - away;
        double top = left ? law.centre - inward : law.centre + inward;
        x[i] = tail < law.ramp_share ? ramp : top;
    }
}

static struct tails trapezoid_tails(const struct shape *shape, double x)
{
    const struct trapezoid_law *law = &shape->of.trapezoid;
    double left = fmax(0.0, x - law->low), right = fmax(0.0, law->high - x);
    if (left < law->ramp)
        return from_lower(0.5 * law->height * left * (left / law->ramp));
    if (right < law->ramp)
        return from_upper(0.5 * law->height * right * (right / law->ramp));
    double inward = fmax(-0.5, fmin(0.5, (x - law->centre) * law->height));
    return (struct tails){0.5 + inward, 0.5 - inward};
}

static size_t both_ends(double tail, double p[2])
{
    p[0] = tail;
    p[1] = 1.0 - tail;
    return tail > 0.0 && tail < 0.5 ? 2 : 0;
}

static size_t trapezoid_kinks(const struct shape *shape, double p[2])
{
    return both_ends(shape->of.trapezoid.ramp_share, p);
}

const struct law law_trapezoid = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) |
                                           SHAPE_BIT(SHAPE_COVER),
                                  .build = trapezoid_build,
                                  .quantiles = trapezoid_quantiles,
                                  .tails = trapezoid_tails,
                                  .kinks = trapezoid_kinks};

/* vague_uniform: the half-width W is uniform over half-width -+ sd, and x uniform over centre -+ W
 * (JCGM 101 6.4.3). The density at a distance y is ln(outer/max(y, flat))/(4 sd); its integral
 * from y = outer (1 - s) to outer is outer/(4 sd) g(s), g(s) = s + (1 - s) ln(1 - s). */

static double vague_integral(double s)
{
    if (s > 0.1)
        return s + (1.0 - s) * log1p(-s);
    double sum = 0.0; /* s^2/2 + s^3/6 + ... + s^k/(k(k - 1)), as the closed form cancels */
    for (int k = 16; k >= 2; k--)
        sum = sum * s + 1.0 / (k * (k - 1));
    return sum * s * s;
}

/* s with g(s) = integral: three terms of the reverted series, then Newton. */
static double vague_inverse(double integral, double largest)
{
    double h = sqrt(2.0 * integral);
    if (h == 0.0)
        return 0.0;
    double s = fmin(largest, h * (1.0 - h * (1.0 / 6.0 + h / 72.0)));
    for (int i = 0; i < 20; i++) {
        double step = (integral - vague_integral(s)) / -log1p(-s);
        s = fmin(largest, s + step);
        if (fabs(step) <= 1e-9 * s) /* the error left is of the order of its square */
            break;
    }
    return s;
}

static packspan_status vague_build(const struct shape_given *given,
                                   const struct shape_domain *domain, struct shape *shape,
                                   struct shape_fault *fault)
{
    (void)domain;
    packspan_status status;
    if ((status = given_check_order(given, fault)) != PACKSPAN_OK ||
        (status = given_check_sd(given, fault)) != PACKSPAN_OK)
        return status;
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double sd = given->field[SHAPE_SD], half = 0.5 * (high - low);
    if (!(sd < half))
        return fault_set(fault, SHAPE_SD,
                         "sd, by which each limit is unsure, must be below half of high - low",
                         "is not below half of high - low (%g)", half);
    shape->low = low - sd;
    shape->high = high + sd;
    double outer = half + sd, flat = half - sd;
    shape->of.vague =
        (struct vague_law){.low = shape->low,
                           .high = shape->high,
                           .centre = low + half,
                           .sd = sd,
                           .flat = flat,
                           .outer = outer,
                           .flat_height = log1p(2.0 * sd / flat) / (4.0 * sd),
                           .tail_share = 0.25 * (outer / sd) * vague_integral(2.0 * sd / outer)};
    return PACKSPAN_OK;
}

static void vague_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                            double *x)
{
    const struct vague_law law = shape->of.vague;
    double largest = 2.0 * law.sd / law.outer;
    for (size_t i = 0; i < n; i++) {
        bool left = p[i] < q[i];
        double tail = left ? p[i] : q[i];
        if (tail < law.tail_share) {
            double inward = law.outer * vague_inverse(2.0 * tail * largest, largest);
            x[i] = left ? law.low + inward : law.high - inward;
        } else {
            double outward = (0.5 - tail) / law.flat_height;
            x[i] = left ? law.centre - outward : law.centre + outward;
        }
    }
}

static struct tails vague_tails(const struct shape *shape, double x)
{
    const struct vague_law *law = &shape->of.vague;
    double inward = fmax(0.0, fmin(x - law->low, law->high - x));
    double tail = inward < law->outer - law->flat
                      ? 0.25 * (law->outer / law->sd) * vague_integral(inward / law->outer)
                      : 0.5 - fabs(x - law->centre) * law->flat_height;
    return x < law->centre ? from_lower(tail) : from_upper(tail);
}

static size_t vague_kinks(const struct shape *shape, double p[2])
{
    return both_ends(shape->of.vague.tail_share, p);
}

const struct law law_vague_uniform = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) |
                                               SHAPE_BIT(SHAPE_SD),
                                      .build = vague_build,
                                      .quantiles = vague_quantiles,
                                      .tails = vague_tails,
                                      .kinks = vague_kinks};
