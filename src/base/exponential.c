#include "base/exponential.h"

#include <stdint.h>
#include <string.h>

#include "base/hot_loop.h"

/* exp(x) = 2^k exp(r), |r| <= ln(2)/2: ln 2 is taken in two parts, of which the first times k is
 * exact, and exp(r) is its Taylor sum. */
static const double per_octave = 1.4426950408889634; /* 1/ln 2 */
static const double ln2_high = 0x1.62e42fefap-1, ln2_low = 0x1.cf79abc9e3b39p-40;

HOT_LOOP void exponentials(size_t n, const double *x, double *y)
{
    const double to_whole = 0x1.8p52; /* the last bits of the sum are the whole number */
    for (size_t i = 0; i < n; i++) {
        double v = x[i] > -708.0 ? x[i] : -708.0;
        v = v < 709.0 ? v : 709.0;
        double shifted = v * per_octave + to_whole, k = shifted - to_whole;
        double r = (v - k * ln2_high) - k * ln2_low;
        double sum = 1.0 / 6227020800.0;
        sum = sum * r + 1.0 / 479001600.0;
        sum = sum * r + 1.0 / 39916800.0;
        sum = sum * r + 1.0 / 3628800.0;
        sum = sum * r + 1.0 / 362880.0;
        sum = sum * r + 1.0 / 40320.0;
        sum = sum * r + 1.0 / 5040.0;
        sum = sum * r + 1.0 / 720.0;
        sum = sum * r + 1.0 / 120.0;
        sum = sum * r + 1.0 / 24.0;
        sum = sum * r + 1.0 / 6.0;
        sum = sum * r + 0.5;
        sum = sum * r * r + r + 1.0;
        uint64_t bits;
        memcpy(&bits, &shifted, sizeof bits);
        bits = (bits + 1023) << 52; /* 2^k */
        double power;
        memcpy(&power, &bits, sizeof power);
        y[i] = x[i] < -708.0 ? 0.0 : sum * power;
    }
}
