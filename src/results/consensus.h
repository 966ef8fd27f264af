/* One value out of several estimates of the same quantity, and whether they agree.
 *
 * The value is the generalised least squares estimate, which takes the routes' common inputs into
 * account. Agreement is judged by procedure A of M. G. Cox, Metrologia 39 (2002) 589-595. When it
 * fails, the random-effects estimate allows for an unexplained scatter of the routes, by the
 * moments of R. DerSimonian and N. Laird, Controlled Clinical Trials 7 (1986) 177-188. */
#ifndef PACKSPAN_RESULTS_CONSENSUS_H
#define PACKSPAN_RESULTS_CONSENSUS_H

#include "packspan/packspan.h"

enum { CONSENSUS_ROUTES_MAX = 16 };

/* The routes are consistent from this probability on. */
#define CONSENSUS_PROBABILITY 0.05

/* A route is left out as dependent when, with it among the used routes, no more than this share of
 * its own or another one's variance would be left open by the rest: it then tells nothing within
 * 1e-4 of its standard uncertainty that they do not tell. Half the digits of a double remain for
 * the rest of the algebra. */
#define CONSENSUS_OWN_SHARE 1e-8

/* Values and uncertainties within this share of the value are told from nothing but rounding: a
 * route with a smaller standard uncertainty counts as exactly known. */
#define CONSENSUS_ROUNDING 1e-12

/* What the consensus makes of one route. Deviations compare the route with a consensus that the
 * route itself may have a part in; they and their uncertainties are in the unit of the means. */
struct consensus_route {
    bool used;  /* false: dependent on the used routes, weight 0 */
    bool exact; /* its uncertainty is zero */

    /* Of a route that is not used, else its own number and false: the used route that takes the
     * largest part (coefficient times standard uncertainty) in the combination that it is; and
     * whether that one alone determines it. */
    size_t depends_on;
    bool depends_alone;

    double weight; /* the weights add up to 1 */
    /* A weight below zero (beyond rounding, -1e-9) is no mistake: the route shares so much with a
     * more certain one that it serves to correct that one's error. But the consensus may then lie
     * outside the range of the means, and rests on the covariance more than on the values. */
    bool weight_negative;

    double deviation;   /* d = mean - consensus */
    double deviation_u; /* u(d) >= 0. u(d)^2 = var(mean - consensus), which is u^2 - u(y)^2 for a
                           used route; for one not used never taken to be less than its own share
                           of the variance or rounding could hide */
    double normalised;  /* d/U(d) with Cox's U(d) = 2 u(d): beyond +-1 means out of the 95 %
                           interval. 0 when d is 0, infinite when only u(d) is */
    bool disagrees;     /* |d| > U(d). Where the routes are consistent, it is what chance does to
                           about one in twenty */
};

struct consensus {
    size_t count, used;
    struct consensus_route route[CONSENSUS_ROUTES_MAX]; /* in the order given */

    double value, u; /* y and its standard uncertainty */

    /* Of the used routes: x - y in units of the joint covariance, infinite when two exact routes
     * differ; used - 1; P(chi-squared > observed), 1 for one route. */
    double chi_squared;
    unsigned dof;
    double probability;
    double birge;    /* sqrt(chi_squared/dof), 1 without degrees of freedom */
    bool consistent; /* probability >= CONSENSUS_PROBABILITY */

    size_t negative_weights;
    size_t disagreeing;         /* used routes that disagree */
    size_t dependent_disagrees; /* Routes not used that disagree. The test does not see them: where
                                   it is passed, such a route follows the others and yet stands
                                   apart from them, as one that differs by a constant does */

    /* The used routes with an effect of their own added, independent and of the same variance
     * tau_squared >= 0 for all. Where it is 0, value and u are those of the consensus. */
    struct {
        double tau_squared; /* in the squared unit of the means */
        double value, u;
    } random_effects;
};

/* Means and covariance of `count` routes, 1 to CONSENSUS_ROUTES_MAX; covariance[i * count + j] in
 * the squared unit of the means. Only ratios matter: the result scales with the unit.
 *
 * Of dependent routes those of smaller variance are used, in a tie that of the smaller mean, then
 * the one given first. A route that is known exactly is the consensus. Exact routes that agree
 * depend on each other; those that differ share the weight equally and are not consistent.
 *
 * PACKSPAN_USAGE, and *out as it was, when count is out of range, a number is not finite, or the
 * matrix is no covariance: not symmetric, or a combination of the routes with a variance clearly
 * below zero. */
packspan_status consensus_make(size_t count, const double *mean, const double *covariance,
                               struct consensus *out);

#endif
