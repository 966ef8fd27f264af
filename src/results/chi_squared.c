#include "results/chi_squared.h"

#include <math.h>

/* M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 1964, 26.4.4 (odd) and 26.4.5
 * (even): for whole degrees of freedom the tail is a finite sum of positive terms, so that no digit
 * is lost, however far out. The exponential is applied as the square of its root, which does not
 * underflow before the result does. */
double chi_squared_upper(double x, unsigned dof)
{
    if (!(x >= 0.0) || dof > CHI_SQUARED_DOF_MAX)
        return NAN;
    if (x == 0.0)
        return 1.0;
    if (dof == 0 || isinf(x))
        return 0.0;
    unsigned odd = dof % 2;
    double term = odd ? sqrt(2.0 * x / M_PI) : 1.0, sum = 0.0;
    for (unsigned k = odd; k + 2 <= dof; k += 2) {
        sum += term;
        term *= x / (k + 2);
    }
    double root = exp(-0.25 * x);
    if (root == 0.0)
        return 0.0;
    double tail = sum * root * root;
    return odd ? erfc(sqrt(0.5 * x)) + tail : tail;
}
