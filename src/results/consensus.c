#include "results/consensus.h"

#include <math.h>

#include "results/chi_squared.h"

enum { MAX = CONSENSUS_ROUTES_MAX };

/* Roundings add up in the pivots; only what is far beyond them is an error of the caller. */
static const double variance_below_zero = -1e-4;
static const double weight_below_zero = -1e-9;

/* Estimates by rising variance, so that the result does not depend on the order given. */
struct estimates {
    size_t n;
    size_t route[MAX];
    double x[MAX], u[MAX]; /* u is 0 when exactly known */
    double v[MAX][MAX];
};

static bool is_exact(double x, double u)
{
    return u <= CONSENSUS_ROUNDING * fabs(x);
}

static bool comes_before(double x1, double u1, double x2, double u2)
{
    return u1 < u2 || (u1 == u2 && x1 < x2);
}

static bool is_covariance(double a, double b, double scale)
{
    return fabs(a - b) <= CONSENSUS_OWN_SHARE * scale &&
           fabs(a) <= (1.0 + CONSENSUS_OWN_SHARE) * scale;
}

static bool read_values(size_t n, const double *mean, const double *covariance, double *u,
                        double *scale)
{
    for (size_t i = 0; i < n; i++) {
        double variance = covariance[i * n + i];
        if (!isfinite(mean[i]) || !isfinite(variance) || variance < 0.0)
            return false;
        u[i] = sqrt(variance);
        scale[i] = fmax(u[i], CONSENSUS_ROUNDING * fabs(mean[i]));
        if (is_exact(mean[i], u[i]))
            u[i] = 0.0;
    }
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++)
            if (!is_covariance(covariance[i * n + j], covariance[j * n + i], scale[i] * scale[j]))
                return false;
    return true;
}

static bool estimates_read(size_t n, const double *mean, const double *covariance,
                           struct estimates *e)
{
    double u[MAX], scale[MAX];
    if (!read_values(n, mean, covariance, u, scale))
        return false;
    for (size_t i = 0; i < n; i++) {
        size_t at = i;
        for (; at > 0 && comes_before(mean[i], u[i], e->x[at - 1], e->u[at - 1]); at--) {
            e->route[at] = e->route[at - 1];
            e->x[at] = e->x[at - 1];
            e->u[at] = e->u[at - 1];
        }
        e->route[at] = i;
        e->x[at] = mean[i];
        e->u[at] = u[i];
    }
    e->n = n;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            size_t a = e->route[i], b = e->route[j];
            bool none = e->u[i] == 0.0 || e->u[j] == 0.0;
            e->v[i][j] = none ? 0.0 : 0.5 * (covariance[a * n + b] + covariance[b * n + a]);
        }
    return true;
}

/* Cholesky factor: a lower triangle. */
struct factor {
    double row[MAX][MAX];
};

/* b becomes L^-1 b, with the first n rows of L. */
static void solve_lower(size_t n, const struct factor *l, double *b)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t k = 0; k < i; k++)
            b[i] -= l->row[i][k] * b[k];
        b[i] /= l->row[i][i];
    }
}

/* b becomes L^-T b. */
static void solve_lower_transposed(size_t n, const struct factor *l, double *b)
{
    for (size_t i = n; i-- > 0;) {
        for (size_t k = i + 1; k < n; k++)
            b[i] -= l->row[k][i] * b[k];
        b[i] /= l->row[i][i];
    }
}

static double dot(size_t n, const double *a, const double *b)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* Row n of the factor, whose first n entries hold those of the matrix, `diagonal` the next. Returns
 * what is left of the diagonal: the variance given the rows before. */
static double next_row(size_t n, struct factor *l, double diagonal)
{
    double *row = l->row[n];
    solve_lower(n, l, row);
    double left = diagonal - dot(n, row, row);
    row[n] = sqrt(fmax(left, 0.0));
    return left;
}

/* ---- Which routes are used ---------------------------------------------------------------- */

/* The used ones among the sorted estimates, exact ones first. */
struct selection {
    size_t n, exact;
    size_t at[MAX];
};

static double correlation(const struct estimates *e, size_t i, size_t j)
{
    return i == j ? 1.0 : e->v[i][j] / e->u[i] / e->u[j];
}

static void set_dependent(struct consensus_route *route, size_t on, bool alone)
{
    route->used = false;
    route->depends_on = on;
    route->depends_alone = alone;
}

static void select_exact(const struct estimates *e, struct selection *s, struct consensus *out)
{
    for (size_t i = 0; i < e->n && e->u[i] == 0.0; i++) {
        struct consensus_route *route = &out->route[e->route[i]];
        route->exact = true;
        double x = e->x[i], last = s->n > 0 ? e->x[s->at[s->n - 1]] : 0.0;
        if (s->n > 0 && fabs(x - last) <= CONSENSUS_ROUNDING * fmax(fabs(x), fabs(last)))
            set_dependent(route, e->route[s->at[s->n - 1]], true);
        else
            s->at[s->n++] = i;
    }
    s->exact = s->n;
}

/* The routes `at` determine route i by the given coefficients, each in standard uncertainties. */
static void name_dependence(const struct estimates *e, size_t i, size_t m, const size_t *at,
                            const double *coefficient, struct consensus_route *route)
{
    size_t most = 0;
    for (size_t k = 1; k < m; k++)
        if (fabs(coefficient[k]) > fabs(coefficient[most]))
            most = k;
    double r = correlation(e, i, at[most]);
    set_dependent(route, e->route[at[most]], 1.0 - r * r <= CONSENSUS_OWN_SHARE);
}

/* own[k] is the share of a used route's variance that the other used ones leave open, one over the
 * k-th diagonal element of the inverse of their correlations. Takes one more route in, whose
 * regression on them has the coefficients and leaves `share`, unless a share becomes too small. */
static bool keep_apart(size_t m, double own[MAX], const double *coefficient, double share)
{
    if (share <= CONSENSUS_OWN_SHARE)
        return false;
    double next[MAX];
    for (size_t k = 0; k < m; k++) {
        next[k] = 1.0 / (1.0 / own[k] + coefficient[k] * coefficient[k] / share);
        if (next[k] <= CONSENSUS_OWN_SHARE)
            return false;
    }
    for (size_t k = 0; k < m; k++)
        own[k] = next[k];
    own[m] = share;
    return true;
}

/* Cholesky factor of the correlations, row by row by rising variance. */
static bool select_uncertain(const struct estimates *e, struct selection *s, struct consensus *out)
{
    struct factor l = {0};
    double own[MAX], coefficient[MAX];
    const size_t *at = s->at + s->exact;
    for (size_t i = 0; i < e->n; i++) {
        if (e->u[i] == 0.0)
            continue;
        size_t m = s->n - s->exact;
        for (size_t k = 0; k < m; k++)
            l.row[m][k] = correlation(e, i, at[k]);
        double share = next_row(m, &l, 1.0);
        if (share < variance_below_zero)
            return false;
        for (size_t k = 0; k < m; k++)
            coefficient[k] = l.row[m][k];
        solve_lower_transposed(m, &l, coefficient);
        if (keep_apart(m, own, coefficient, share))
            s->at[s->n++] = i;
        else
            name_dependence(e, i, m, at, coefficient, &out->route[e->route[i]]);
    }
    return true;
}

static void take(const struct estimates *e, const struct selection *s, struct estimates *used)
{
    used->n = s->n;
    for (size_t i = 0; i < s->n; i++) {
        size_t a = s->at[i];
        used->route[i] = e->route[a];
        used->x[i] = e->x[a];
        used->u[i] = e->u[a];
        for (size_t j = 0; j < s->n; j++)
            used->v[i][j] = e->v[a][s->at[j]];
    }
}

/* ---- Generalised least squares ------------------------------------------------------------ */

struct fit {
    double value, variance, chi_squared;
    double spread; /* tr P, see below */
    double weight[MAX];
};

/* tr(C^-1 D D'), where D D' = I + 1 1' for differences from one and the same estimate. */
static double spread_of(size_t n, const struct factor *l)
{
    double sum = 0.0;
    for (size_t k = 0; k <= n; k++) {
        double b[MAX];
        for (size_t i = 0; i < n; i++)
            b[i] = k == n || k == i ? 1.0 : 0.0;
        solve_lower(n, l, b);
        sum += dot(n, b, b);
    }
    return sum;
}

/* Least squares by way of the differences z from the most certain estimate, with covariance
 * C = D V D': y = x_0 - cov(x_0, z) C^-1 z, chi-squared = z' C^-1 z. It is the same as
 * (1' V^-1 x)/(1' V^-1 1) and (x - y 1)' V^-1 (x - y 1), but loses no digits when one estimate is
 * far more certain than the rest, and needs no limit when it is exact. Likewise
 * P = V^-1 - V^-1 1 1' V^-1/(1' V^-1 1) = D' C^-1 D. */
static void least_squares(const struct estimates *e, struct fit *f)
{
    size_t n = e->n - 1; /* differences */
    struct factor l = {0};
    double z[MAX], c[MAX];
    for (size_t i = 0; i < n; i++) {
        double with_first = e->v[i + 1][0] - e->v[0][0];
        for (size_t j = 0; j < i; j++)
            l.row[i][j] = (e->v[i + 1][j + 1] - e->v[0][j + 1]) - with_first;
        next_row(i, &l, (e->v[i + 1][i + 1] - e->v[0][i + 1]) - with_first);
        z[i] = e->x[i + 1] - e->x[0];
        c[i] = -with_first;
    }
    solve_lower(n, &l, c);
    solve_lower_transposed(n, &l, c); /* weights of all but the first */
    f->value = e->x[0] + dot(n, c, z);
    f->weight[0] = 1.0;
    for (size_t i = 0; i < n; i++) {
        f->weight[i + 1] = c[i];
        f->weight[0] -= c[i];
    }
    f->variance = 0.0;
    for (size_t i = 0; i < e->n; i++)
        f->variance += f->weight[i] * dot(e->n, f->weight, e->v[i]);
    f->variance = fmax(f->variance, 0.0);
    solve_lower(n, &l, z);
    f->chi_squared = dot(n, z, z);
    f->spread = spread_of(n, &l);
}

/* Exact estimates that differ: the limit of least squares when their variances go to zero
 * together. */
static void exact_and_different(const struct estimates *e, size_t exact, struct fit *f,
                                double *tau_squared)
{
    double count = (double)exact, sum = 0.0, squares = 0.0;
    for (size_t i = 0; i < exact; i++)
        sum += e->x[i] - e->x[0];
    for (size_t i = 0; i < exact; i++)
        squares += (e->x[i] - e->x[0] - sum / count) * (e->x[i] - e->x[0] - sum / count);
    *f = (struct fit){.value = e->x[0] + sum / count, .chi_squared = INFINITY};
    for (size_t i = 0; i < exact; i++)
        f->weight[i] = 1.0 / count;
    *tau_squared = squares / (count - 1.0);
}

/* Moments: the expectation of chi-squared is dof + tau^2 tr P when tau^2 I is added to V, whatever
 * the correlations in V, so this is DerSimonian's and Laird's estimate for V diagonal, where
 * tr P = sum w - sum w^2/sum w with w = 1/u^2. */
static double excess_variance(const struct fit *f, unsigned dof)
{
    return f->chi_squared > dof ? (f->chi_squared - dof) / f->spread : 0.0;
}

static void fit_random_effects(const struct estimates *used, double tau_squared,
                               struct consensus *out)
{
    out->random_effects.tau_squared = tau_squared;
    out->random_effects.value = out->value;
    out->random_effects.u = out->u;
    if (tau_squared == 0.0)
        return;
    struct estimates widened = *used;
    for (size_t i = 0; i < widened.n; i++)
        widened.v[i][i] += tau_squared;
    struct fit f;
    least_squares(&widened, &f);
    out->random_effects.value = f.value;
    out->random_effects.u = sqrt(f.variance);
}

/* ---- Deviations --------------------------------------------------------------------------- */

/* d = x - y is the weighted sum of the differences from the used routes, and its variance that of
 * this sum: so nothing cancels for a route that has nearly all the weight. */
static void set_deviation(const struct estimates *e, size_t i, const struct selection *s,
                          const double *weight, struct consensus_route *route)
{
    double d = 0.0, variance = 0.0;
    for (size_t j = 0; j < s->n; j++) {
        size_t a = s->at[j];
        d += weight[j] * (e->x[i] - e->x[a]);
        for (size_t k = 0; k < s->n; k++) {
            size_t b = s->at[k];
            double c = (e->v[i][i] - e->v[i][a]) + (e->v[a][b] - e->v[i][b]);
            variance += weight[j] * weight[k] * c;
        }
    }
    double u = sqrt(fmax(variance, 0.0));
    if (!route->used)
        u = fmax(u, fmax(sqrt(CONSENSUS_OWN_SHARE) * e->u[i], CONSENSUS_ROUNDING * fabs(e->x[i])));
    route->deviation = d;
    route->deviation_u = u;
    route->normalised = d == 0.0 ? 0.0 : d / (2.0 * u);
    route->disagrees = fabs(route->normalised) > 1.0;
}

static void judge_routes(const struct estimates *e, const struct selection *s, const double *weight,
                         struct consensus *out)
{
    for (size_t j = 0; j < s->n; j++) {
        struct consensus_route *route = &out->route[e->route[s->at[j]]];
        route->weight = weight[j];
        route->weight_negative = weight[j] < weight_below_zero;
        out->negative_weights += route->weight_negative;
    }
    for (size_t i = 0; i < e->n; i++) {
        struct consensus_route *route = &out->route[e->route[i]];
        set_deviation(e, i, s, weight, route);
        if (route->disagrees)
            (*(route->used ? &out->disagreeing : &out->dependent_disagrees))++;
    }
}

static void judge_agreement(struct consensus *out)
{
    out->dof = (unsigned)out->used - 1;
    out->probability = chi_squared_upper(out->chi_squared, out->dof);
    out->birge = out->dof > 0 ? sqrt(out->chi_squared / out->dof) : 1.0;
    out->consistent = out->probability >= CONSENSUS_PROBABILITY;
}

packspan_status consensus_make(size_t count, const double *mean, const double *covariance,
                               struct consensus *out)
{
    struct estimates all, used;
    if (count < 1 || count > MAX || !estimates_read(count, mean, covariance, &all))
        return PACKSPAN_USAGE;
    struct consensus c = {.count = count};
    for (size_t i = 0; i < count; i++)
        c.route[i] = (struct consensus_route){.used = true, .depends_on = i};
    struct selection s = {0};
    select_exact(&all, &s, &c);
    if (!select_uncertain(&all, &s, &c))
        return PACKSPAN_USAGE;
    take(&all, &s, &used);

    struct fit fit;
    double tau_squared;
    if (s.exact > 1) {
        exact_and_different(&used, s.exact, &fit, &tau_squared);
    } else {
        least_squares(&used, &fit);
        tau_squared = excess_variance(&fit, (unsigned)used.n - 1);
    }
    c.used = used.n;
    c.value = fit.value;
    c.u = sqrt(fit.variance);
    c.chi_squared = fit.chi_squared;
    judge_agreement(&c);
    judge_routes(&all, &s, fit.weight, &c);
    fit_random_effects(&used, tau_squared, &c);
    *out = c;
    return PACKSPAN_OK;
}
