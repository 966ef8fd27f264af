#include "draw/law.h"

#include <math.h>

/* Tables over the standard normal quantile z: in it the tails of both pert and student are smooth
 * as logarithms. With |z| <= 9 they hold all that a double's u can ask near 1, and 1e-19 near 0;
 * beyond, the equation is solved on the spot. */
static const double table_reach = 9.0;
enum { PERT_STEPS = 1152, STUDENT_STEPS = 576 };

static double normal_density(double z)
{
    return exp(-0.5 * z * z) * 0.39894228040143267794;
}

/* pert */

static struct beta pert_beta(double mode_share)
{
    return beta_make(1.0 + 4.0 * mode_share, 1.0 + 4.0 * (1.0 - mode_share));
}

static double share_of_logit(double logit)
{
    return 1.0 / (1.0 + exp(-logit));
}

/* Limits for which low and high hold `cover` with equal tails, the mode staying where it is: only
 * the mode's share of the width is unknown, as it alone settles the form. */
static struct limits_law pert_limits(double low, double best, double high, double cover)
{
    double tail = 0.5 * (1.0 - cover), wanted = (best - low) / (high - low);
    double from = 0.0, to = 1.0, share = 0.5, width = 0.0;
    for (int i = 0; i < 100; i++) {
        share = 0.5 * (from + to);
        struct beta beta = pert_beta(share);
        double first = share_of_logit(beta_logit(&beta, tail, 1.0 - tail, 0.0));
        double last = share_of_logit(beta_logit(&beta, 1.0 - tail, tail, 0.0));
        width = (high - low) / (last - first);
        if (share <= from || share >= to)
            break;
        if ((share - first) / (last - first) < wanted)
            from = share;
        else
            to = share;
    }
    return (struct limits_law){best - share * width, best + (1.0 - share) * width};
}

static bool pert_tabulate(struct pert_law *law)
{
    if (!curve_open(&law->curve, -table_reach, table_reach, PERT_STEPS))
        return false;
    double logit = 0.0;
    for (size_t i = 0; i <= PERT_STEPS; i++) {
        double z = curve_place(&law->curve, i);
        struct tails t = normal_tails(z);
        logit = beta_logit(&law->beta, t.lower, t.upper, logit);
        curve_set(&law->curve, i, logit, normal_density(z) / beta_slope(&law->beta, logit));
    }
    return true;
}

static packspan_status pert_build(const struct shape_given *given,
                                  const struct shape_domain *domain, struct shape *shape,
                                  struct shape_fault *fault)
{
    (void)domain;
    packspan_status status;
    if ((status = given_check_order(given, fault)) != PACKSPAN_OK ||
        (status = given_check_best(given, fault)) != PACKSPAN_OK)
        return status;
    double cover = given_or(given, SHAPE_COVER, 1.0);
    if (!(cover > 0.0 && cover <= 1.0))
        return fault_set(fault, SHAPE_COVER,
                         "cover is the probability between low and high, in (0, 1]; 1 makes them "
                         "the limits",
                         "is outside (0, 1]");
    double best = given->field[SHAPE_BEST];
    struct limits_law limits = {given->field[SHAPE_LOW], given->field[SHAPE_HIGH]};
    if (cover < 1.0)
        limits = pert_limits(limits.low, best, limits.high, cover);
    shape->low = limits.low;
    shape->high = limits.high;
    struct pert_law *law = &shape->of.pert;
    law->low = limits.low;
    law->high = limits.high;
    law->beta = pert_beta((best - limits.low) / (limits.high - limits.low));
    if (!pert_tabulate(law))
        return PACKSPAN_NO_MEMORY;
    shape->memory = law->curve.knots;
    return PACKSPAN_OK;
}

static void pert_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                           double *x)
{
    const struct pert_law *law = &shape->of.pert;
    double width = law->high - law->low;
    normal_quantiles(n, p, q, x);
    for (size_t i = 0; i < n; i++) {
        double z = x[i], logit;
        if (fabs(z) <= table_reach)
            logit = curve_at(&law->curve, z);
        else
            logit =
                beta_logit(&law->beta, p[i], q[i], curve_at(&law->curve, copysign(table_reach, z)));
        x[i] = logit < 0.0 ? law->low + width * share_of_logit(logit)
                           : law->high - width * share_of_logit(-logit);
    }
}

static struct tails pert_tails(const struct shape *shape, double x)
{
    const struct pert_law *law = &shape->of.pert;
    if (x <= law->low)
        return from_lower(0.0);
    if (x >= law->high)
        return from_upper(0.0);
    return beta_tails(&law->beta, log((x - law->low) / (law->high - x)));
}

const struct law law_pert = {.needs = SHAPE_BIT(SHAPE_LOW) | SHAPE_BIT(SHAPE_BEST) |
                                      SHAPE_BIT(SHAPE_HIGH),
                             .build = pert_build,
                             .quantiles = pert_quantiles,
                             .tails = pert_tails,
                             .join = law_is_smooth};

/* student: t^2/(dof + t^2) has a beta distribution, and its logit is ln(t^2/dof). */

static bool student_tabulate(struct student_law *law)
{
    if (!curve_open(&law->curve, 0.0, table_reach, STUDENT_STEPS))
        return false;
    double log_dof = log(law->dof);
    /* At z = 0 the ratio t/z is that of the two densities. */
    double ratio = 0.5 * log(law->dof * 0.5 * M_1_PI) + law->beta.log_beta;
    curve_set(&law->curve, 0, ratio, 0.0);
    for (size_t i = 1; i <= STUDENT_STEPS; i++) {
        double z = curve_place(&law->curve, i);
        double p = erf(z * M_SQRT1_2), q = erfc(z * M_SQRT1_2);
        double logit = beta_logit(&law->beta, p, q, 2.0 * (ratio + log(z)) - log_dof);
        ratio = 0.5 * (logit + log_dof) - log(z);
        curve_set(&law->curve, i, ratio,
                  normal_density(z) / beta_slope(&law->beta, logit) - 1.0 / z);
    }
    return true;
}

static packspan_status student_build(const struct shape_given *given,
                                     const struct shape_domain *domain, struct shape *shape,
                                     struct shape_fault *fault)
{
    (void)domain;
    packspan_status status = given_check_sd(given, fault);
    if (status != PACKSPAN_OK)
        return status;
    double dof = given->field[SHAPE_DOF];
    if (!(dof >= 1.0))
        return fault_set(fault, SHAPE_DOF, "dof is the number of readings less 1, and at least 1",
                         "is below 1");
    struct student_law *law = &shape->of.student;
    law->best = given->field[SHAPE_BEST];
    law->sd = given->field[SHAPE_SD];
    law->dof = dof;
    law->beta = beta_of_student(dof);
    if (!student_tabulate(law))
        return PACKSPAN_NO_MEMORY;
    shape->memory = law->curve.knots;
    return PACKSPAN_OK;
}

static double student_far(const struct student_law *law, double tail)
{
    double start = 2.0 * (curve_at(&law->curve, table_reach) + log(table_reach)) - log(law->dof);
    double logit = beta_logit(&law->beta, 1.0 - 2.0 * tail, 2.0 * tail, start);
    return exp(0.5 * (logit + log(law->dof)));
}

static void student_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                              double *x)
{
    const struct student_law *law = &shape->of.student;
    normal_quantiles(n, p, q, x);
    for (size_t i = 0; i < n; i++) {
        double z = x[i], size = fabs(z), t;
        if (size <= table_reach)
            t = z * exp(curve_at(&law->curve, size));
        else
            t = copysign(student_far(law, fmin(p[i], q[i])), z);
        x[i] = law->best + law->sd * t;
    }
}

static struct tails student_tails(const struct shape *shape, double x)
{
    const struct student_law *law = &shape->of.student;
    double t = (x - law->best) / law->sd;
    double tail = 0.5 * beta_tails(&law->beta, 2.0 * log(fabs(t)) - log(law->dof)).upper;
    return t < 0.0 ? from_lower(tail) : from_upper(tail);
}

const struct law law_student = {.needs = SHAPE_BIT(SHAPE_BEST) | SHAPE_BIT(SHAPE_SD) |
                                         SHAPE_BIT(SHAPE_DOF),
                                .build = student_build,
                                .quantiles = student_quantiles,
                                .tails = student_tails,
                                .join = law_is_smooth};
