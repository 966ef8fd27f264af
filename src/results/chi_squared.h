/* The chi-squared distribution. */
#ifndef PACKSPAN_RESULTS_CHI_SQUARED_H
#define PACKSPAN_RESULTS_CHI_SQUARED_H

enum { CHI_SQUARED_DOF_MAX = 100 };

/* P(X > x) for chi-squared with `dof` degrees of freedom, 0 to CHI_SQUARED_DOF_MAX; x >= 0, may be
 * infinite. Relative error below 1e-12 down to where doubles end. With no degrees of freedom X is
 * always 0. NaN for anything else. */
double chi_squared_upper(double x, unsigned dof);

#endif
