#include "draw/correlation.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* K. Pearson, On further methods of determining correlation, Drapers' Company Research Memoirs
 * IV (1907). */
double correlation_of_ranks(double rank_correlation)
{
    return 2.0 * sin(M_PI / 6.0 * rank_correlation);
}

double ranks_of_correlation(double correlation)
{
    return 6.0 * M_1_PI * asin(0.5 * correlation);
}

/* ---- Cholesky ---- */

static const double pivot_error = 1e-10;

/* a[i][k] less what the first k columns of L make of it. */
static double remainder_at(size_t n, const double *a, const double *l, size_t i, size_t k)
{
    double sum = a[i * n + k];
    for (size_t j = 0; j < k; j++)
        sum -= l[i * n + j] * l[k * n + j];
    return sum;
}

bool correlation_factor(size_t n, const double *a, double *l)
{
    memset(l, 0, n * n * sizeof *l);
    for (size_t k = 0; k < n; k++) {
        double pivot = remainder_at(n, a, l, k, k);
        if (!(pivot >= -pivot_error))
            return false;
        double root = pivot > pivot_error ? sqrt(pivot) : 0.0;
        l[k * n + k] = root;
        for (size_t i = k + 1; i < n; i++) {
            double rest = remainder_at(n, a, l, i, k);
            if (root > 0.0)
                l[i * n + k] = rest / root;
            else if (fabs(rest) > sqrt(pivot_error))
                return false;
        }
    }
    return true;
}

/* ---- Eigenvalues ---- */

/* Turns the plane of p and q so that a[p][q] vanishes (C. G. J. Jacobi, 1846). */
static void turn(size_t n, double *a, double *vectors, size_t p, size_t q)
{
    double apart = 0.5 * (a[q * n + q] - a[p * n + p]) / a[p * n + q];
    double tangent = copysign(1.0, apart) / (fabs(apart) + hypot(1.0, apart));
    double c = 1.0 / hypot(1.0, tangent), s = tangent * c;
    for (size_t i = 0; i < n; i++) {
        double x = a[i * n + p], y = a[i * n + q];
        a[i * n + p] = c * x - s * y;
        a[i * n + q] = s * x + c * y;
    }
    for (size_t i = 0; i < n; i++) {
        double x = a[p * n + i], y = a[q * n + i];
        a[p * n + i] = c * x - s * y;
        a[q * n + i] = s * x + c * y;
        x = vectors[p * n + i], y = vectors[q * n + i];
        vectors[p * n + i] = c * x - s * y;
        vectors[q * n + i] = s * x + c * y;
    }
}

/* The diagonal of `a` becomes its eigenvalues, the rows of `vectors` their eigenvectors. */
static void find_eigenvectors(size_t n, double *a, double *vectors)
{
    enum { SWEEPS_MAX = 50 };
    static const double small = 1e-14;
    memset(vectors, 0, n * n * sizeof *vectors);
    for (size_t i = 0; i < n; i++)
        vectors[i * n + i] = 1.0;
    bool turned = true;
    for (int sweep = 0; sweep < SWEEPS_MAX && turned; sweep++) {
        turned = false;
        for (size_t p = 0; p + 1 < n; p++)
            for (size_t q = p + 1; q < n; q++)
                if (fabs(a[p * n + q]) > small) {
                    turn(n, a, vectors, p, q);
                    turned = true;
                }
    }
}

/* ---- The nearest correlation matrix ---- */

/* Raises eigenvalues of `a` to `least`; `space` takes two matrices. */
static void raise_eigenvalues(size_t n, double least, double *a, double *space)
{
    double *values = space, *vectors = space + n * n;
    memcpy(values, a, n * n * sizeof *a);
    find_eigenvectors(n, values, vectors);
    for (size_t k = 0; k < n; k++) {
        double lack = least - values[k * n + k];
        const double *v = vectors + k * n;
        for (size_t i = 0; i < n && lack > 0.0; i++)
            for (size_t j = 0; j < n; j++)
                a[i * n + j] += lack * v[i] * v[j];
    }
}

/* Sets what is known of y; returns the largest change of an element. */
static double set_known(size_t n, const bool *free, double *y)
{
    double change = 0.0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            double known = i == j ? 1.0 : !free || free[i * n + j] ? y[i * n + j] : 0.0;
            change = fmax(change, fabs(known - y[i * n + j]));
            y[i * n + j] = known;
        }
    return change;
}

/* Alternating projections with Dykstra's correction: N. J. Higham, IMA J. Numer. Anal. 22 (2002)
 * 329-343, algorithm 3.3. The pairs that are held are one more plane, so it needs no correction
 * either. */
packspan_status correlation_nearest(size_t n, const bool *free_pairs, double least, double *a)
{
    enum { STEPS_MAX = 1000 };
    static const double small = 1e-6;
    size_t size = n * n;
    double *space = calloc(3 * size + 1, sizeof *space);
    if (!space)
        return PACKSPAN_NO_MEMORY;
    double *correction = space + 2 * size, left = INFINITY;
    set_known(n, free_pairs, a);
    for (int step = 0; step < STEPS_MAX && left > small; step++) {
        for (size_t i = 0; i < size; i++) {
            a[i] -= correction[i];
            correction[i] = -a[i];
        }
        raise_eigenvalues(n, least, a, space);
        for (size_t i = 0; i < size; i++)
            correction[i] += a[i];
        left = set_known(n, free_pairs, a);
    }
    free(space);
    return PACKSPAN_OK;
}
