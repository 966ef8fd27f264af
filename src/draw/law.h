/* What each shape is made of: its parameters, how they are found from what a row gives, its
 * quantile function and its distribution function, all before truncation. */
#ifndef PACKSPAN_DRAW_LAW_H
#define PACKSPAN_DRAW_LAW_H

#include <stdint.h>

#include "draw/curve.h"
#include "draw/quantile_table.h"
#include "draw/shape.h"
#include "draw/special.h"

#define SHAPE_BIT(field) (1u << (field))

/* Most numbers that a quantile function is asked for at once. */
enum { LAW_BLOCK = 512 };

struct normal_law {
    double mean, sd;
};
/* Two halves with their own sd and share of the probability, joined at the mode. */
struct split_law {
    double mode, sd_low, sd_high, share_low, share_high;
};
struct lognormal_law {
    double median, log_sd;
};
struct limits_law {
    double low, high;
};
struct triangular_law {
    double low, best, high;
};
struct trapezoid_law {
    double low, high, centre, ramp, ramp_share, height;
};
/* Flat for `flat` on either side of the centre, then falling to zero at low and high; each falling
 * part holds tail_share. outer = (high - low)/2. */
struct vague_law {
    double low, high, centre, sd, flat, outer, flat_height, tail_share;
};
/* The curve gives the logit of (x - low)/(high - low) over the standard normal quantile. */
struct pert_law {
    double low, high;
    struct beta beta;
    struct curve curve;
};
/* The curve gives ln(t/z) over z >= 0, the standard normal quantile of the same probability. */
struct student_law {
    double best, sd, dof;
    struct beta beta;
    struct curve curve;
};
struct reading {
    double value, weight;
};
/* Rising values and the share of the weight up to and with each, the last of which is 1. guide[b]
 * is how many shares are below b/guides, 0 <= b <= guides, a power of two. */
struct observed_law {
    size_t count, guides;
    double *values, *shares;
    uint32_t *guide;
};

struct shape {
    const struct law *law;
    double low, high; /* every draw lies in [low, high] */
    double cut_low, cut_high;
    void *memory;                 /* what the law allocated; may be NULL */
    struct quantile_table *table; /* of the quantiles, or what law->draws uses; may be NULL */
    union {
        double value;
        struct normal_law normal;
        struct split_law split;
        struct lognormal_law lognormal;
        struct limits_law limits;
        struct triangular_law triangular;
        struct trapezoid_law trapezoid;
        struct vague_law vague;
        struct pert_law pert;
        struct student_law student;
        struct observed_law observed;
    } of;
};

/* x[i] where the lower tail is p[i] and the upper one q[i]. */
typedef void tail_quantiles(const struct shape *shape, size_t n, const double *p, const double *q,
                            double *x);

struct law {
    unsigned needs; /* SHAPE_BIT(field) for every column that must be filled */
    /* Fills shape->of, and shape->low and high where the law has ends of its own. `domain` may be
     * used to drop readings, whose share then goes to cut_low and cut_high. */
    packspan_status (*build)(const struct shape_given *given, const struct shape_domain *domain,
                             struct shape *shape, struct shape_fault *fault);
    /* n <= LAW_BLOCK. */
    tail_quantiles *quantiles;
    /* The same for draws, to the accuracy of quantile_table.h. NULL: by shape->table, or else
     * exactly. */
    tail_quantiles *draws;
    struct tails (*tails)(const struct shape *shape, double x);
    /* The lower tail where the two halves of a table meet, which need not be smooth there. NULL
     * where the quantiles are worked out quickly enough. */
    double (*join)(const struct shape *shape);
    bool drops_readings; /* build has already removed what lies outside the domain */
};

extern const struct law law_fixed, law_normal, law_split_normal, law_lognormal, law_uniform,
    law_vague_uniform, law_trapezoid, law_triangular, law_pert, law_arcsine, law_student,
    law_observed;

/* -1 below the domain, 0 inside, 1 above. */
int domain_side(const struct shape_domain *domain, double value);

/* Fills *fault and returns PACKSPAN_BAD_CASE. */
__attribute__((format(printf, 4, 5))) packspan_status fault_set(struct shape_fault *fault,
                                                                enum shape_field field,
                                                                const char *remedy,
                                                                const char *what, ...);

/* Checks of single columns; PACKSPAN_OK or a filled *fault. */
packspan_status given_check_order(const struct shape_given *given, struct shape_fault *fault);
packspan_status given_check_best(const struct shape_given *given, struct shape_fault *fault);
packspan_status given_check_sd(const struct shape_given *given, struct shape_fault *fault);
packspan_status given_check_cover(const struct shape_given *given, struct shape_fault *fault);

bool given_has(const struct shape_given *given, enum shape_field field);
double given_or(const struct shape_given *given, enum shape_field field, double fallback);

double law_is_smooth(const struct shape *shape); /* a join in the middle */

static inline struct tails from_lower(double p)
{
    return (struct tails){p, 1.0 - p};
}

static inline struct tails from_upper(double q)
{
    return (struct tails){1.0 - q, q};
}

#endif
