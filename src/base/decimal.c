#include "base/decimal.h"

#include <math.h>
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "base/text.h"

enum {
    DIGITS = 10,
    HALF = 100000,
    POWERS = 23,
    EXPONENT_MIN = DIGITS - POWERS,
    EXPONENT_FIXED = -4
};

#define LOG10_2 0.30102999566398120

/* Those that a double holds exactly. */
static const double powers[POWERS] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                      1e8,  1e9,  1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
                                      1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* value = 0.d1d2...d10 * 10^(exponent + 1) to the nearest, the digits as one number. */
struct decimal {
    uint64_t digits;
    int exponent;
};

/* high + low is the value times a power of ten, exactly. Of a tie the even number is taken. */
static uint64_t nearest(double high, double low)
{
    uint64_t below = (uint64_t)high;
    double beyond = high - (double)below - 0.5;
    bool up = beyond > 0.0 || (beyond == 0.0 && (low > 0.0 || (low == 0.0 && below % 2 == 1)));
    return below + up;
}

/* False beyond the powers, where the product would not be exact. */
static bool take_digits(double value, struct decimal *out)
{
    int twos;
    frexp(value, &twos);
    int exponent = (int)floor((twos - 1) * LOG10_2); /* or one more */
    if (exponent < EXPONENT_MIN || exponent > DIGITS - 2)
        return false;
    double power = powers[DIGITS - 1 - exponent], high = value * power;
    if (high >= powers[DIGITS]) {
        exponent++;
        power = powers[DIGITS - 1 - exponent];
        high = value * power;
    }
    uint64_t digits = nearest(high, fma(value, power, -high));
    bool carried = digits == (uint64_t)powers[DIGITS];
    *out = (struct decimal){carried ? digits / 10 : digits, exponent + carried};
    return true;
}

/* `count` digits, the last ones of the number. */
static char *put_digits(char *at, uint32_t number, int count)
{
    for (int i = count - 1; i >= 0; i--) {
        at[i] = (char)('0' + number % 10);
        number /= 10;
    }
    return at + count;
}

static char *put_decimal(char *at, struct decimal d)
{
    char digits[DIGITS];
    int count = DIGITS, e = d.exponent;
    put_digits(digits, (uint32_t)(d.digits / HALF), DIGITS / 2);
    put_digits(digits + DIGITS / 2, (uint32_t)(d.digits % HALF), DIGITS / 2);
    while (count > 1 && digits[count - 1] == '0')
        count--;
    bool is_fixed = e >= EXPONENT_FIXED && e < DIGITS;
    int whole = !is_fixed ? 1 : e + 1; /* digits before the point */
    if (whole <= 0) {
        *at++ = '0';
        *at++ = '.';
        for (int i = whole; i < 0; i++)
            *at++ = '0';
    }
    for (int i = 0; i < count || i < whole; i++) {
        if (i == whole && whole > 0)
            *at++ = '.';
        *at++ = i < count ? digits[i] : '0';
    }
    if (!is_fixed) {
        *at++ = 'e';
        *at++ = e < 0 ? '-' : '+';
        at = put_digits(at, (uint32_t)(e < 0 ? -e : e), 2);
    }
    return at;
}

static size_t write_slowly(double value, char text[DECIMAL_SIZE])
{
    text_print(text, DECIMAL_SIZE, "%.10g", value);
    return strlen(text);
}

size_t decimal_write(double value, char text[DECIMAL_SIZE])
{
    struct decimal d = {0};
    char *at = text;
    if (value != 0.0 && !(isfinite(value) && take_digits(fabs(value), &d)))
        return write_slowly(value, text);
    if (signbit(value))
        *at++ = '-';
    if (value == 0.0)
        *at++ = '0';
    else
        at = put_decimal(at, d);
    *at = '\0';
    return (size_t)(at - text);
}
