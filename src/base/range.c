#include "base/range.h"

#include "base/hot_loop.h"

HOT_LOOP struct range range_of(size_t n, const double *restrict x)
{
    double low[SUM_LANES], high[SUM_LANES];
    for (int l = 0; l < SUM_LANES; l++)
        low[l] = high[l] = x[0];
    size_t whole = n - n % SUM_LANES;
    for (size_t i = 0; i < whole; i += SUM_LANES) {
#pragma omp simd /* gcc 12 would else take one value at a time */
        for (size_t l = 0; l < SUM_LANES; l++) {
            double v = x[i + l];
            low[l] = v < low[l] ? v : low[l];
            high[l] = v > high[l] ? v : high[l];
        }
    }
    for (size_t i = whole; i < n; i++) {
        low[0] = x[i] < low[0] ? x[i] : low[0];
        high[0] = x[i] > high[0] ? x[i] : high[0];
    }
    return range_of_lanes(low, high);
}
