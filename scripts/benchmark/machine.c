/* What the machine can do at most: billions a second of fused multiply-adds on doubles in the
 * widest vectors that it has, of counts into bins that are drawn at random, and of bytes to and
 * from memory.
 *
 *     machine THREADS SECONDS MEGABYTES
 *
 * MEGABYTES is the size of each of the three arrays of the triad; it must be well above the caches.
 * Prints the three rates. */
#include <omp.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#if defined(__AVX512F__)
enum { LANES = 8 };
#elif defined(__AVX__)
enum { LANES = 4 };
#else
enum { LANES = 2 };
#endif
typedef double vector __attribute__((vector_size(LANES * sizeof(double))));

/* As many chains as hide the latency of a multiply-add, and still fit the registers. */
enum { CHAINS = 12, TURNS = 100000 };

static vector multiply_add(vector start)
{
    const vector factor = start * 0.0 + 0.999, term = start * 0.0 + 0.001;
    vector x[CHAINS];
    for (int k = 0; k < CHAINS; k++)
        x[k] = start + (double)k;
    for (int i = 0; i < TURNS; i++)
#pragma GCC unroll 12
        for (int k = 0; k < CHAINS; k++)
            x[k] = x[k] * factor + term;
    for (int k = 1; k < CHAINS; k++)
        x[0] += x[k];
    return x[0];
}

/* The fastest of many short stretches, added up over the threads. */
static double measure_multiply_adds(int threads, double seconds)
{
    double rate = 0.0, kept = 0.0;
#pragma omp parallel num_threads(threads) reduction(+ : rate, kept)
    {
        double best = 0.0, end = omp_get_wtime() + seconds;
        vector x = {0};
        for (double start = omp_get_wtime(); start < end; start = omp_get_wtime()) {
            x = multiply_add(x);
            double now = (double)CHAINS * TURNS * LANES / (omp_get_wtime() - start);
            best = now > best ? now : best;
        }
        rate += best;
        kept += x[0];
    }
    return kept < 1e300 ? rate : 0.0; /* so that the sums are needed */
}

/* Bins that stay in the first-level cache. */
enum { BINS = 4096, VALUES = 4096, PASSES = 100 };

static double measure_counts(int threads, double seconds)
{
    double rate = 0.0, kept = 0.0;
#pragma omp parallel num_threads(threads) reduction(+ : rate, kept)
    {
        uint16_t bin[VALUES];
        uint32_t counts[BINS] = {0}, state = 1;
        for (int i = 0; i < VALUES; i++) {
            state = state * 1664525u + 1013904223u;
            bin[i] = (uint16_t)(state >> 20);
        }
        double best = 0.0, end = omp_get_wtime() + seconds;
        for (double start = omp_get_wtime(); start < end; start = omp_get_wtime()) {
            for (int pass = 0; pass < PASSES; pass++)
                for (int i = 0; i < VALUES; i++)
                    counts[bin[i]]++;
            double now = (double)PASSES * VALUES / (omp_get_wtime() - start);
            best = now > best ? now : best;
        }
        rate += best;
        kept += counts[bin[0]];
    }
    return kept > 0.0 ? rate : 0.0;
}

static double measure_triad(int threads, double seconds, size_t n)
{
    double *a = malloc(n * sizeof *a), *b = malloc(n * sizeof *b), *c = malloc(n * sizeof *c);
    if (!a || !b || !c) {
        fprintf(stderr, "machine: no memory\n");
        exit(EXIT_FAILURE);
    }
    double best = 0.0;
#pragma omp parallel for num_threads(threads) schedule(static)
    for (size_t i = 0; i < n; i++) {
        a[i] = 0.0;
        b[i] = 1.0;
        c[i] = 2.0;
    }
    double start = omp_get_wtime(), end = start + seconds;
    for (double factor = 1.0; start < end; factor += 1.0) {
#pragma omp parallel for num_threads(threads) schedule(static)
        for (size_t i = 0; i < n; i++)
            a[i] = b[i] + factor * c[i];
        double now = omp_get_wtime(), rate = 3.0 * (double)(n * sizeof *a) / (now - start);
        best = rate > best ? rate : best;
        start = now;
    }
    best = a[n / 2] > 0.0 ? best : 0.0;
    free(a);
    free(b);
    free(c);
    return best;
}

int main(int count, char **words)
{
    if (count != 4) {
        fprintf(stderr, "machine THREADS SECONDS MEGABYTES\n");
        return EXIT_FAILURE;
    }
    int threads = atoi(words[1]);
    double seconds = atof(words[2]);
    size_t doubles = (size_t)atol(words[3]) * 1000000 / sizeof(double);
    printf("%.4g %.4g %.4g\n", measure_multiply_adds(threads, seconds) / 1e9,
           measure_counts(threads, seconds) / 1e9, measure_triad(threads, seconds, doubles) / 1e9);
    return EXIT_SUCCESS;
}
