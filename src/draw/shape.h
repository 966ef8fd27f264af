/* Shapes: the distributions a case can give an input, as quantile functions of one uniform number,
 * so that any sequence of points and any correlation can drive them. */
#ifndef PACKSPAN_DRAW_SHAPE_H
#define PACKSPAN_DRAW_SHAPE_H

#include <packspan/packspan.h>
#include <stdbool.h>
#include <stddef.h>

enum shape_kind {
    SHAPE_FIXED,
    SHAPE_NORMAL,
    SHAPE_SPLIT_NORMAL,
    SHAPE_LOGNORMAL,
    SHAPE_UNIFORM,
    SHAPE_VAGUE_UNIFORM,
    SHAPE_TRAPEZOID,
    SHAPE_TRIANGULAR,
    SHAPE_PERT,
    SHAPE_ARCSINE,
    SHAPE_STUDENT,
    SHAPE_OBSERVED,
    SHAPE_COUNT
};

/* The columns of inputs.csv that a shape can use. */
enum shape_field {
    SHAPE_BEST,
    SHAPE_LOW,
    SHAPE_HIGH,
    SHAPE_COVER,
    SHAPE_SD,
    SHAPE_DOF,
    SHAPE_FILE,
    SHAPE_FIELD_COUNT
};
extern const char *const shape_field_names[SHAPE_FIELD_COUNT];

/* One row a shape: what the parser, the help and the manual say of it. */
struct shape_info {
    const char *name;
    const char *columns; /* the columns it uses, in words, e.g. "best, sd or low, high, cover" */
    const char *meaning; /* with the clause of JCGM 101 where there is one */
    unsigned uses;       /* bit (1u << field) for every column that may be filled */
};
extern const struct shape_info shape_infos[SHAPE_COUNT];

/* SHAPE_COUNT when there is no such shape. */
enum shape_kind shape_find(const char *name);

/* What a row gives; an empty field is NaN. Values are in the row's own unit. */
struct shape_given {
    enum shape_kind kind;
    const char *unit;                /* for messages; NULL: of a pure number */
    double field[SHAPE_FIELD_COUNT]; /* SHAPE_FILE is not used here */
    const double *values, *weights;  /* observed only; weights may be NULL (all equal) */
    size_t readings;
};

/* The physical domain in the row's own unit. */
struct shape_domain {
    double low, high;
    bool low_open, high_open;
};

/* Why a row makes no shape. */
struct shape_fault {
    enum shape_field field; /* the column at fault */
    bool of_all;            /* or any other one: it is what the shape as a whole comes to */
    char what[160];         /* e.g. "is above high (3)" without the text itself */
    char remedy[160];       /* e.g. "low must be below high" */
};

struct shape; /* opaque, immutable once made; threads may share it */

/* Makes a shape truncated to `domain` and renormalised. PACKSPAN_BAD_CASE fills *fault;
 * PACKSPAN_NO_MEMORY does not. A share of more than 5 % cut off is a fault. */
packspan_status shape_make(const struct shape_given *given, const struct shape_domain *domain,
                           struct shape **out, struct shape_fault *fault);
/* The same faults, without a shape: quicker. */
packspan_status shape_check(const struct shape_given *given, const struct shape_domain *domain,
                            struct shape_fault *fault);
void shape_free(struct shape *s);

/* Share of the untruncated distribution that lies outside the domain, [0, 0.05]. */
double shape_cut(const struct shape *s);
/* True when every draw is the same value. */
bool shape_is_fixed(const struct shape *s);

/* x[i] = quantile of the truncated shape at u[i] in (0, 1). x and u may be the same array.
 * Monotone in u to the last digit, finite, inside the domain. No allocation. */
void shape_quantiles(const struct shape *s, size_t n, const double *u, double *x);
/* The same where u is told by both its tails, lower[i] = u and upper[i] = 1 - u, so that neither
 * end loses digits. x may be the same array as one of them. */
void shape_tail_quantiles(const struct shape *s, size_t n, const double *lower, const double *upper,
                          double *x);
/* The same two for draws: within 1e-10 of them (see quantile_table.h) at a few nanoseconds each. */
void shape_draws(const struct shape *s, size_t n, const double *u, double *x);
void shape_tail_draws(const struct shape *s, size_t n, const double *lower, const double *upper,
                      double *x);

/* The truncated distribution function at x, in [0, 1]. */
double shape_distribution(const struct shape *s, double x);

#endif
