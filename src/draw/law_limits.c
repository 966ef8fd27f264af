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
                                .join = law_is_smooth};

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

HOT_LOOP static void triangular_quantiles(const struct shape *shape, size_t n, const double *p,
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

const struct law law_triangular = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_BEST) |
                                            SHAPE_BIT(SHAPE_HIGH),
                                   .build = triangular_build,
                                   .quantiles = triangular_quantiles,
                                   .tails = triangular_tails};

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

HOT_LOOP static void trapezoid_quantiles(const struct shape *shape, size_t n, const double *p,
                                         const double *q, double *x)
{
    const struct trapezoid_law law = shape->of.trapezoid;
    double square = 2.0 * law.ramp / law.height, per_height = 1.0 / law.height;
    for (size_t i = 0; i < n; i++) {
        bool left = p[i] < q[i];
        double tail = left ? p[i] : q[i];
        double away = sqrt(square * tail), inward = (0.5 - tail) * per_height;
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

const struct law law_trapezoid = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) |
                                           SHAPE_BIT(SHAPE_COVER),
                                  .build = trapezoid_build,
                                  .quantiles = trapezoid_quantiles,
                                  .tails = trapezoid_tails};

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

/* Newton's steps on convex functions stop when the error left, of the order of the square of the
 * last step, is below rounding. */
enum { VAGUE_STEPS_MAX = 20 };
static const double vague_last_step = 1e-9;

/* s with g(s) = integral < 1/2, from three terms of the reverted series. */
static double vague_inverse_outside(double integral)
{
    double h = sqrt(2.0 * integral);
    if (h == 0.0)
        return 0.0;
    double s = h * (1.0 - h * (1.0 / 6.0 + h / 72.0));
    for (int i = 0; i < VAGUE_STEPS_MAX; i++) {
        double step = (integral - vague_integral(s)) / -log1p(-s);
        s += step;
        if (fabs(step) <= vague_last_step * s)
            break;
    }
    return s;
}

/* s = 1 - exp(-v) with 1 - g(s) = (1 + v) exp(-v) = rest, or v - ln(1 + v) = -ln(rest) = l, for a
 * rest of 1/2 at most. v lies below l + sqrt(2 l) (I. Chatzigeorgiou, IEEE Communications Letters
 * 17 (2013) 1505-1508), from where Newton's steps fall onto it. */
static double vague_inverse_inside(double rest)
{
    double l = -log(rest), v = l + sqrt(2.0 * l);
    for (int i = 0; i < VAGUE_STEPS_MAX; i++) {
        double step = (l - v + log1p(v)) * (1.0 + v) / v;
        v += step;
        if (fabs(step) <= vague_last_step * v)
            break;
    }
    return -expm1(-v);
}

/* s with g(s) = lower[i] = 1 - upper[i]: the same for every shape, so that one table holds it. */
static void vague_inverses(const void *unused, size_t n, const double *lower, const double *upper,
                           double *s)
{
    (void)unused;
    for (size_t i = 0; i < n; i++)
        s[i] = lower[i] < 0.5 ? vague_inverse_outside(lower[i]) : vague_inverse_inside(upper[i]);
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
    bool made = quantile_table_make(vague_inverses, NULL, 0.5, &shape->table);
    return made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

/* g(s) at each tail in the falling parts; some value that the table holds elsewhere. */
HOT_LOOP static void vague_integrals(const struct vague_law *law, size_t n, const double *p,
                                     const double *q, double *integral, double *rest)
{
    double scale = 4.0 * law->sd / law->outer;
    for (size_t i = 0; i < n; i++) {
        double tail = p[i] < q[i] ? p[i] : q[i];
        integral[i] = tail < law->tail_share ? scale * tail : 0.5;
        rest[i] = 1.0 - integral[i];
    }
}

HOT_LOOP static void vague_places(const struct vague_law *law, size_t n, const double *p,
                                  const double *q, const double *s, double *x)
{
    double ramp = 2.0 * law->sd, per_height = 1.0 / law->flat_height;
    for (size_t i = 0; i < n; i++) {
        bool left = p[i] < q[i];
        double tail = left ? p[i] : q[i];
        double falling = law->outer * s[i], inward = falling < ramp ? falling : ramp;
        double outward = (0.5 - tail) * per_height;
        bool is_ramp = tail < law->tail_share;
        double from_low = is_ramp ? law->low + inward : law->centre - outward;
        double from_high = is_ramp ? law->high - inward : law->centre + outward;
        x[i] = left ? from_low : from_high;
    }
}

static void vague_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                            double *x)
{
    double integral[LAW_BLOCK] = {0}, rest[LAW_BLOCK] = {0}, s[LAW_BLOCK];
    vague_integrals(&shape->of.vague, n, p, q, integral, rest);
    vague_inverses(NULL, n, integral, rest, s);
    vague_places(&shape->of.vague, n, p, q, s, x);
}

static void vague_draws(const struct shape *shape, size_t n, const double *p, const double *q,
                        double *x)
{
    double integral[LAW_BLOCK] = {0}, rest[LAW_BLOCK] = {0}, s[LAW_BLOCK];
    vague_integrals(&shape->of.vague, n, p, q, integral, rest);
    quantile_table_draw(shape->table, vague_inverses, NULL, n, integral, rest, s);
    vague_places(&shape->of.vague, n, p, q, s, x);
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

const struct law law_vague_uniform = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_HIGH) |
                                               SHAPE_BIT(SHAPE_SD),
                                      .build = vague_build,
                                      .quantiles = vague_quantiles,
                                      .draws = vague_draws,
                                      .tails = vague_tails};
