#include "base/range.h"

#include "base/hot_loop.h"

HOT_LOOP struct range range_of(size_t n, const double *x)
{
    enum { LANES = 16 };
    double low[LANES], high[LANES];
    for (int l = 0; l < LANES; l++)
        low[l] = high[l] = x[0];
    size_t whole = n - n % LANES;
    for (size_t i = 0; i < whole; i += LANES) {
        for (size_t l = 0; l < LANES; l++) {
            double v = x[i + l];
            low[l] = v < low[l] ? v : low[l];
            high[l] = v > high[l] ? v : high[l];
        }
    }
    for (size_t i = whole; i < n; i++) {
        low[0] = x[i] < low[0] ? x[i] : low[0];
        high[0] = x[i] > high[0] ? x[i] : high[0];
    }
    struct range r = {low[0], high[0]};
    for (int l = 1; l < LANES; l++) {
        r.low = low[l] < r.low ? low[l] : r.low;
        r.high = high[l] > r.high ? high[l] : r.high;
    }
    return r;
}
