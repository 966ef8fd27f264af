/* The normal and the beta distribution, with both tails kept to full relative precision. */
#ifndef PACKSPAN_DRAW_SPECIAL_H
#define PACKSPAN_DRAW_SPECIAL_H

#include <stddef.h>

/* P(X <= x) and P(X > x). */
struct tails {
    double lower, upper;
};

struct tails normal_tails(double z);
/* The same of many, to a relative error of 1e-15 (1 + z^2/2); beyond -37 and 37 as there. lower may
 * be the same array as z. */
void normal_both_tails(size_t n, const double *z, double *lower, double *upper);

/* z where the lower tail is p and the upper q = 1 - p; both are wanted, so that neither end loses
 * digits. Relative error about 1e-16. z may be the same array as p or q. */
void normal_quantiles(size_t n, const double *p, const double *q, double *z);
double normal_quantile(double p, double q);

/* Beta(a, b); log_beta = ln B(a, b). */
struct beta {
    double a, b, log_beta;
};

struct beta beta_make(double a, double b);
/* Beta(1/2, dof/2), the distribution of t^2/(dof + t^2) for Student's t, for any dof >= 1. */
struct beta beta_of_student(double dof);

/* Everything about a point x in (0, 1) is told by its logit ln(x/(1 - x)), which keeps digits at
 * both ends. */
struct tails beta_tails(const struct beta *beta, double logit);
/* d(lower tail)/d(logit). */
double beta_slope(const struct beta *beta, double logit);
/* The logit where the lower tail is p and the upper q, to about 1e-14; `start` is a guess. */
double beta_logit(const struct beta *beta, double p, double q, double start);

#endif
