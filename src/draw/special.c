#include "draw/special.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "base/exponential.h"
#include "base/hot_loop.h"
#include "base/logarithm.h"

struct tails normal_tails(double z)
{
    return (struct tails){.lower = 0.5 * erfc(-z * M_SQRT1_2), .upper = 0.5 * erfc(z * M_SQRT1_2)};
}

enum { NORMAL_BLOCK = 256 };

/* The tail beyond a >= 0 is exp(-a^2/2)/(1 + a) times a polynomial of (a - 4)/(a + 4): the way of
 * M. M. Shepherd and J. G. Laframboise, Mathematics of Computation 36 (1981) 249-253. Ours, of
 * degree 21, meets the tail, worked out to 400 digits, at Chebyshev's points from 0 to
 * farthest_score. Coefficients by rising power. */
static const double farthest_score = 37.0;
static const double even_powers[11] = {
    4.72053206509844669e-01,  1.39996347244314007e-02,  -3.21978374284028757e-02,
    -5.00237858441232152e-03, 6.94897032406887379e-04,  -8.78527189160337581e-05,
    1.36249769137532194e-05,  -2.60789397407567435e-06, 5.43369257846082079e-07,
    -1.01679099732363806e-07, 1.19022475424833237e-08};
static const double odd_powers[11] = {
    -9.67034773265256359e-02, 2.86003640535313249e-02,  1.79360974803067716e-02,
    -2.85623106971965126e-04, -9.44301871811161630e-05, 2.12497740751212785e-05,
    -3.43159055777769721e-06, 4.04008183517395520e-07,  6.32822773087762270e-10,
    -1.74936256778963601e-08, 3.96623974636357679e-09};

static inline double polynomial10(const double c[11], double r)
{
    double high = ((((c[10] * r + c[9]) * r + c[8]) * r + c[7]) * r + c[6]) * r + c[5];
    return ((((high * r + c[4]) * r + c[3]) * r + c[2]) * r + c[1]) * r + c[0];
}

HOT_LOOP static void scaled_tails(size_t n, const double *z, double *scaled, double *exponent)
{
    for (size_t i = 0; i < n; i++) {
        double size = fabs(z[i]), a = size < farthest_score ? size : farthest_score;
        double t = (a - 4.0) / (a + 4.0), square = t * t;
        double sum = polynomial10(even_powers, square) + t * polynomial10(odd_powers, square);
        scaled[i] = sum / (1.0 + a);
        exponent[i] = -0.5 * a * a;
    }
}

HOT_LOOP static void place_tails(size_t n, const double *z, const double *scaled,
                                 const double *power, double *lower, double *upper)
{
    for (size_t i = 0; i < n; i++) {
        double tail = scaled[i] * power[i];
        double near = tail < 0.5 ? tail : 0.5, far = 1.0 - near;
        bool left = z[i] < 0.0;
        lower[i] = left ? near : far;
        upper[i] = left ? far : near;
    }
}

void normal_both_tails(size_t n, const double *z, double *lower, double *upper)
{
    double scaled[NORMAL_BLOCK], power[NORMAL_BLOCK];
    for (size_t done = 0; done < n; done += NORMAL_BLOCK) {
        size_t count = n - done < NORMAL_BLOCK ? n - done : NORMAL_BLOCK;
        scaled_tails(count, z + done, scaled, power);
        exponentials(count, power, power);
        place_tails(count, z + done, scaled, power, lower + done, upper + done);
    }
}

/* Algorithm AS 241 (PPND16), M. J. Wichura, Applied Statistics 37 (1988) 477-484: three ratios of
 * polynomials of degree 7, coefficients by rising power. */
struct ratio {
    double above[8], below[8];
};

static const struct ratio centre = {
    {3.3871328727963666080e0, 1.3314166789178437745e2, 1.9715909503065514427e3,
     1.3731693765509461125e4, 4.5921953931549871457e4, 6.7265770927008700853e4,
     3.3430575583588128105e4, 2.5090809287301226727e3},
    {1.0, 4.2313330701600911252e1, 6.8718700749205790830e2, 5.3941960214247511077e3,
     2.1213794301586595867e4, 3.9307895800092710610e4, 2.8729085735721942674e4,
     5.2264952788528545610e3}};

static const struct ratio tail = {
    {1.42343711074968357734e0, 4.63033784615654529590e0, 5.76949722146069140550e0,
     3.64784832476320460504e0, 1.27045825245236838258e0, 2.41780725177450611770e-1,
     2.27238449892691845833e-2, 7.74545014278341407640e-4},
    {1.0, 2.05319162663775882187e0, 1.67638483018380384940e0, 6.89767334985100004550e-1,
     1.48103976427480074590e-1, 1.51986665636164571966e-2, 5.47593808499534494600e-4,
     1.05075007164441684324e-9}};

static const struct ratio far_tail = {
    {6.65790464350110377720e0, 5.46378491116411436990e0, 1.78482653991729133580e0,
     2.96560571828504891230e-1, 2.65321895265761230930e-2, 1.24266094738807843860e-3,
     2.71155556874348757815e-5, 2.01033439929228813265e-7},
    {1.0, 5.99832206555887937690e-1, 1.36929880922735805310e-1, 1.48753612908506148525e-2,
     7.86869131145613259100e-4, 1.84631831751005468180e-5, 1.42151175831644588870e-7,
     2.04426310338993978564e-15}};

static inline double polynomial(const double c[8], double r)
{
    return ((((((c[7] * r + c[6]) * r + c[5]) * r + c[4]) * r + c[3]) * r + c[2]) * r + c[1]) * r +
           c[0];
}

static inline double ratio_at(const struct ratio *c, double r)
{
    return polynomial(c->above, r) / polynomial(c->below, r);
}

/* Distance from the middle, p - 1/2, from whichever tail is the smaller one. */
static inline double from_middle(double p, double q)
{
    return p < q ? p - 0.5 : 0.5 - q;
}

static inline double centre_quantile(double d)
{
    return d * ratio_at(&centre, 0.180625 - d * d);
}

/* Tails below which the other two ratios hold; the last is exp(-25). */
static const double tail_from = 0.075, far_tail_from = 1.3887943864964021e-11;

HOT_LOOP static void centre_quantiles(size_t n, const double *p, const double *q, double *z)
{
    for (size_t i = 0; i < n; i++)
        z[i] = centre_quantile(from_middle(p[i], q[i]));
}

/* Which are outside of the centre; returns how many. */
static size_t list_tails(size_t n, const double *p, const double *q, uint32_t *places)
{
    size_t count = 0;
    for (size_t i = 0; i < n; i++) {
        places[count] = (uint32_t)i;
        count += (p[i] < tail_from) | (q[i] < tail_from);
    }
    return count;
}

HOT_LOOP static void outer_quantiles(size_t n, const double *logarithm, double *z)
{
    for (size_t i = 0; i < n; i++)
        z[i] = ratio_at(&tail, sqrt(-logarithm[i]) - 1.6);
}

static double far_tail_quantile(double p)
{
    return ratio_at(&far_tail, sqrt(-log(p)) - 5.0);
}

/* All go through the loop for the middle 85 %, and the tails, gathered, through another. */
static void normal_block(size_t n, const double *p, const double *q, double *z)
{
    double middle[NORMAL_BLOCK], smaller[NORMAL_BLOCK] = {0}, away[NORMAL_BLOCK];
    uint32_t places[NORMAL_BLOCK];
    centre_quantiles(n, p, q, middle);
    size_t count = list_tails(n, p, q, places);
    for (size_t k = 0; k < count; k++) {
        size_t i = places[k];
        smaller[k] = p[i] < q[i] ? p[i] : q[i];
    }
    logarithms(count, smaller, away);
    outer_quantiles(count, away, away);
    for (size_t k = 0; k < count; k++) {
        size_t i = places[k];
        double size = smaller[k] < far_tail_from ? far_tail_quantile(smaller[k]) : away[k];
        middle[i] = copysign(size, p[i] - q[i]);
    }
    memcpy(z, middle, n * sizeof *z);
}

void normal_quantiles(size_t n, const double *p, const double *q, double *z)
{
    for (size_t done = 0; done < n; done += NORMAL_BLOCK) {
        size_t count = n - done < NORMAL_BLOCK ? n - done : NORMAL_BLOCK;
        normal_block(count, p + done, q + done, z + done);
    }
}

double normal_quantile(double p, double q)
{
    double z;
    normal_quantiles(1, &p, &q, &z);
    return z;
}

static double log_gamma(double x)
{
    int sign;
    return lgamma_r(x, &sign); /* unlike lgamma(), writes no global */
}

struct beta beta_make(double a, double b)
{
    return (struct beta){a, b, log_gamma(a) + log_gamma(b) - log_gamma(a + b)};
}

/* ln(Gamma(x + 1/2)/Gamma(x)); for large x, where the logarithms would cancel, the asymptotic
 * series of Tricomi and Erdelyi, Pacific J. Math. 1 (1951) 133-142. */
static double log_gamma_half_step(double x)
{
    if (x < 200.0)
        return log_gamma(x + 0.5) - log_gamma(x);
    double r = 1.0 / x;
    double series =
        r * (-1.0 / 8 +
             r * (1.0 / 128 + r * (5.0 / 1024 + r * (-21.0 / 32768 + r * (-399.0 / 262144)))));
    return 0.5 * log(x) + log1p(series);
}

struct beta beta_of_student(double dof)
{
    double b = 0.5 * dof;
    return (struct beta){0.5, b, log_gamma(0.5) - log_gamma_half_step(b)};
}

/* ln x for the point whose logit is given. */
static double log_point(double logit)
{
    return logit < 0 ? logit - log1p(exp(logit)) : -log1p(exp(-logit));
}

static double point(double logit)
{
    return logit < 0 ? exp(logit) / (1.0 + exp(logit)) : 1.0 / (1.0 + exp(-logit));
}

double beta_slope(const struct beta *beta, double logit)
{
    return exp(beta->a * log_point(logit) + beta->b * log_point(-logit) - beta->log_beta);
}

/* I_x(a, b) / (x^a y^b / B(a, b)), y = 1 - x, for x <= a/(a + b): the continued fraction of
 * A. R. DiDonato and A. H. Morris, ACM Trans. Math. Software 18 (1992) 360-373, worked out by the
 * modified Lentz method. Its terms do not cancel, however large a or b is. */
static double beta_fraction(double a, double b, double x, double y)
{
    double lead = 1.0 + (a <= b ? a - (a + b) * x : (a + b) * y - b);
    double denominator = a / (a + 1.0) * lead;
    double value = denominator, above = denominator, below = 0.0;
    for (int k = 1; k <= 1000; k++) {
        double n = k, s = a + 2.0 * n - 1.0;
        double numerator = (a + n - 1.0) / s * ((a + b + n - 1.0) / s) * n * (b - n) * x * x;
        denominator = n + n * (b - n) * x / s + (a + n) / (s + 2.0) * (lead + n * (1.0 + y));
        below = 1.0 / (denominator + numerator * below);
        above = denominator + numerator / above;
        double change = above * below;
        value *= change;
        if (fabs(change - 1.0) < 1e-16)
            break;
    }
    return 1.0 / value;
}

struct tails beta_tails(const struct beta *beta, double logit)
{
    double x = point(logit), y = point(-logit);
    double slope = beta_slope(beta, logit);
    struct tails t;
    if (x * beta->b <= y * beta->a) {
        t.lower = slope > 0 ? slope * beta_fraction(beta->a, beta->b, x, y) : 0.0;
        t.upper = 1.0 - t.lower;
    } else {
        t.upper = slope > 0 ? slope * beta_fraction(beta->b, beta->a, y, x) : 0.0;
        t.lower = 1.0 - t.upper;
    }
    return t;
}

/* Newton on the logarithm of the smaller tail, which is concave in the logit and straight in the
 * far tail, so that it settles from any sensible start. */
double beta_logit(const struct beta *beta, double p, double q, double start)
{
    double logit = start;
    for (int i = 0; i < 100; i++) {
        struct tails t = beta_tails(beta, logit);
        double slope = beta_slope(beta, logit);
        double step =
            p < q ? log(p / t.lower) * t.lower / slope : log(t.upper / q) * t.upper / slope;
        logit += fmax(-20.0, fmin(20.0, step));
        if (fabs(step) <= 1e-9) /* the error left is of the order of its square */
            break;
    }
    return logit;
}
