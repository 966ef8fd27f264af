/* cmocka with the headers it needs, and assertions of our own. */
#ifndef PACKSPAN_TESTS_SUPPORT_H
#define PACKSPAN_TESTS_SUPPORT_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>

/* True when both are finite and |actual - expected| <= max(absolute, relative * |expected|). */
static inline bool is_close(double actual, double expected, double relative, double absolute)
{
    if (!isfinite(actual) || !isfinite(expected))
        return false;
    double allowed = fmax(absolute, relative * fabs(expected));
    return fabs(actual - expected) <= allowed;
}

/* cmocka's own float assertion lets NaN pass and rounds to float. */
#define assert_close(actual, expected, relative, absolute)                                         \
    do {                                                                                           \
        double got_ = (actual), want_ = (expected);                                                \
        if (!is_close(got_, want_, (relative), (absolute)))                                        \
            fail_msg("%s is %.17g, expected %.17g (relative %g, absolute %g)", #actual, got_,      \
                     want_, (double)(relative), (double)(absolute));                               \
    } while (0)

#endif
