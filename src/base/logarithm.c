#include "base/logarithm.h"

#include <stdint.h>
#include <string.h>

#include "base/hot_loop.h"

/* ln(x) = k ln 2 + ln(m), sqrt(1/2) <= m < sqrt(2). With f = m - 1 and s = f/(2 + f), ln(m) is
 * 2 artanh(s) = 2 (s + s^3/3 + s^5/5 + ...), and as 2 s = f - s f, the sum but for its first term
 * is a small correction to f. ln 2 is taken in two parts, of which the first times k is exact. */
static const double ln2_high = 0x1.62e42fefap-1, ln2_low = 0x1.cf79abc9e3b39p-40;

HOT_LOOP void logarithms(size_t n, const double *x, double *y)
{
    const uint64_t one = 0x3ff0000000000000, root_half = 0x3fe6a09e667f3bcd;
    const uint64_t two_to_52 = 0x4330000000000000;
    for (size_t i = 0; i < n; i++) {
        uint64_t bits;
        memcpy(&bits, &x[i], sizeof bits);
        uint64_t power = (bits + (one - root_half)) >> 52; /* k + 1023 */
        uint64_t rest = bits - (power << 52) + one, whole = power | two_to_52;
        double m, k;
        memcpy(&m, &rest, sizeof m);
        memcpy(&k, &whole, sizeof k);
        k -= 0x1p52 + 1023.0;
        double f = m - 1.0, s = f / (2.0 + f), square = s * s;
        double sum = 2.0 / 21.0;
        sum = sum * square + 2.0 / 19.0;
        sum = sum * square + 2.0 / 17.0;
        sum = sum * square + 2.0 / 15.0;
        sum = sum * square + 2.0 / 13.0;
        sum = sum * square + 2.0 / 11.0;
        sum = sum * square + 2.0 / 9.0;
        sum = sum * square + 2.0 / 7.0;
        sum = sum * square + 2.0 / 5.0;
        sum = sum * square + 2.0 / 3.0;
        sum *= square;
        y[i] = k * ln2_high - ((s * (f - sum) - k * ln2_low) - f);
    }
}
