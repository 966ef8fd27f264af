#include "support/support.h"

#include <locale.h>
#include <stdlib.h>
#include <string.h>

#include "registry/units.h"
#include "unit/base/comma_locale.h"

static struct unit_system *units;

static int open_units(void **state)
{
    (void)state;
    return unit_system_open(&units) == PACKSPAN_OK ? 0 : -1;
}

static int close_units(void **state)
{
    (void)state;
    unit_system_free(units);
    return 0;
}

/* Exact definitions: NIST SP 811 (2008) appendix B.8 and SI brochure. */
#define HOUR 3600.0                   /* s */
#define WATT_HOUR 3600.0              /* J */
#define MILE 1609.344                 /* m */
#define FOOT 0.3048                   /* m */
#define INCH 0.0254                   /* m */
#define POUND 0.45359237              /* kg */
#define GRAVITY 9.80665               /* m/s2 */
#define POUND_FORCE (POUND * GRAVITY) /* N */
#define MPH (MILE / HOUR)             /* m/s */
#define KMH (1000.0 / HOUR)           /* m/s */
#define LITRE 1e-3                    /* m3 */

struct conversion {
    const char *unit, *target;
    double scale;
};

static void assert_conversions(const struct conversion *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        struct unit_factor factor = {NAN, NAN};
        enum unit_verdict verdict = unit_convert(units, rows[i].unit, rows[i].target, &factor);
        if (verdict != UNIT_FITS)
            fail_msg("'%s' does not fit '%s' (%d)", rows[i].unit, rows[i].target, (int)verdict);
        if (!is_close(factor.scale, rows[i].scale, 1e-14, 0.0) || factor.offset != 0.0)
            fail_msg("'%s' is %.17g x + %.17g, expected %.17g x", rows[i].unit, factor.scale,
                     factor.offset, rows[i].scale);
    }
}

#define CHECK(rows) assert_conversions(rows, sizeof(rows) / sizeof((rows)[0]))

static void energy_and_power(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"Wh", "J", WATT_HOUR},
        {"kWh", "J", 1e3 * WATT_HOUR},
        {"MWh", "J", 1e6 * WATT_HOUR},
        {"mWh", "J", 1e-3 * WATT_HOUR},
        {"W h", "J", WATT_HOUR},
        {"W.h", "J", WATT_HOUR},
        {"W*h", "J", WATT_HOUR},
        {"W·h", "J", WATT_HOUR},
        {"kW h", "J", 1e3 * WATT_HOUR},
        {"watt_hour", "J", WATT_HOUR},
        {"watt_hours", "J", WATT_HOUR},
        {"kilowatt_hours", "J", 1e3 * WATT_HOUR},
        {"J", "J", 1.0},
        {"MJ", "J", 1e6},
        {"kJ", "Wh", 1e3 / WATT_HOUR},
        {"W", "W", 1.0},
        {"kW", "W", 1e3},
        {"kWh", "Wh", 1e3},
    };
    CHECK(rows);
    struct unit_factor factor;
    assert_int_equal(unit_convert(units, "hp", "W", &factor), UNIT_FITS);
    assert_close(factor.scale, 745.6999, 1e-7, 0.0); /* NIST SP 811 B.8, 550 ft lbf/s, rounded */
}

static void energy_per_distance(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"Wh/km", "J/m", WATT_HOUR / 1e3},
        {"Wh/mi", "J/m", WATT_HOUR / MILE},
        {"Wh/mile", "J/m", WATT_HOUR / MILE},
        {"kWh/mi", "J/m", 1e3 * WATT_HOUR / MILE},
        {"kWh/100km", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/100 km", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh / 100 km", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/(100 km)", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/(100km)", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/1e2km", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/100.0km", "J/m", 1e3 * WATT_HOUR / 1e5},
        {"kWh/100mi", "J/m", 1e3 * WATT_HOUR / (100.0 * MILE)},
        {"kWh/100 mi", "J/m", 1e3 * WATT_HOUR / (100.0 * MILE)},
        {"Wh/mi", "Wh/km", 1.0 / 1.609344},
        {"MJ/km", "J/m", 1e3},
        {"N", "J/m", 1.0},
    };
    CHECK(rows);
}

/* The number binds to the unit behind it and to that unit's exponent, and to nothing else. */
static void numbers_in_denominators(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"g/100km", "kg/m", 1e-3 / 1e5},
        {"g/100km^2", "kg/m2", 1e-3 / (100.0 * 1e6)},
        {"g/100km2", "kg/m2", 1e-3 / (100.0 * 1e6)},
        {"g/100km²", "kg/m2", 1e-3 / (100.0 * 1e6)},
        {"g/100m^-2", "kg m2", 1e-3 / 100.0},
        {"g/100m-2", "kg m2", 1e-3 / 100.0},
        {"g/100m/s", "kg/m/s", 1e-3 / 100.0},
        {"g/100m s", "kg s/m", 1e-3 / 100.0},
        {"g/100m·s", "kg s/m", 1e-3 / 100.0},
        {"g/100m.s", "kg s/m", 1e-3 / 100.0},
        {"g/100m-s", "kg s/m", 1e-3 / 100.0},
        {"g/(100m)", "kg/m", 1e-3 / 100.0},
        {"g/100", "kg", 1e-3 / 100.0},
        {"g/10/10", "kg", 1e-3 / 100.0},
        {"g/2m/5s", "kg/m/s", 1e-3 / 10.0},
        {"g/10^2", "kg", 1e-3 / 100.0},
    };
    CHECK(rows);
}

static void charge_and_voltage(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"Ah", "C", HOUR},
        {"mAh", "C", 1e-3 * HOUR},
        {"kAh", "C", 1e3 * HOUR},
        {"A h", "C", HOUR},
        {"ampere_hour", "C", HOUR},
        {"milliampere_hours", "C", 3.6},
        {"C", "C", 1.0},
        {"V", "V", 1.0},
        {"mV", "V", 1e-3},
        {"kV", "V", 1e3},
        {"Ah V", "Wh", 1.0},
    };
    CHECK(rows);
}

static void masses_and_forces(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"kg", "kg", 1.0},     {"g", "kg", 1e-3},         {"t", "kg", 1e3},
        {"lb", "kg", POUND},   {"lbs", "kg", POUND},      {"N", "N", 1.0},
        {"kN", "N", 1e3},      {"lbf", "N", POUND_FORCE}, {"pound_force", "N", POUND_FORCE},
        {"kgf", "N", GRAVITY},
    };
    CHECK(rows);
}

static void road_load_coefficients(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"lbf/mph", "N/(m/s)", POUND_FORCE / MPH},
        {"lbf/mph^2", "N/(m/s)^2", POUND_FORCE / (MPH * MPH)},
        {"lbf/mph2", "N/(m/s)^2", POUND_FORCE / (MPH * MPH)},
        {"lbf/mph²", "N/(m/s)^2", POUND_FORCE / (MPH * MPH)},
        {"lbf/mph**2", "N/(m/s)^2", POUND_FORCE / (MPH * MPH)},
        {"lbf/(mi/h)^2", "N/(m/s)^2", POUND_FORCE / (MPH * MPH)},
        {"N/(km/h)", "N/(m/s)", 1.0 / KMH},
        {"N/(km/h)^2", "N/(m/s)^2", 1.0 / (KMH * KMH)},
        {"N/(km/h)²", "N/(m/s)^2", 1.0 / (KMH * KMH)},
        {"N/kph^2", "N/(m/s)^2", 1.0 / (KMH * KMH)},
        {"N s/m", "N/(m/s)", 1.0},
        {"N*s/m", "N/(m/s)", 1.0},
        {"N·s/m", "N/(m/s)", 1.0},
        {"N s^2/m^2", "N/(m/s)^2", 1.0},
        {"N·s²/m²", "N/(m/s)^2", 1.0},
        {"kg/m", "N/(m/s)^2", 1.0},
    };
    CHECK(rows);
    /* The same two as plain numbers, worked out from the definitions with exact fractions. */
    struct unit_factor factor;
    assert_int_equal(unit_convert(units, "lbf/mph", "N/(m/s)", &factor), UNIT_FITS);
    assert_close(factor.scale, 9.950388366277, 1e-12, 0.0);
    assert_int_equal(unit_convert(units, "lbf/mph^2", "N/(m/s)^2", &factor), UNIT_FITS);
    assert_close(factor.scale, 22.258384856561, 1e-12, 0.0);
}

static void speeds_times_and_lengths(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"mph", "m/s", 0.44704}, {"mi/h", "m/s", MPH}, {"miles_per_hour", "m/s", MPH},
        {"km/h", "m/s", KMH},    {"kph", "m/s", KMH},  {"m/s", "m/s", 1.0},
        {"mph/s", "m/s2", MPH},  {"h", "s", HOUR},     {"min", "s", 60.0},
        {"s", "s", 1.0},         {"mi", "m", MILE},    {"miles", "m", MILE},
        {"nmi", "m", 1852.0},    {"km", "m", 1e3},     {"m", "m", 1.0},
        {"ft", "m", FOOT},       {"in", "m", INCH},    {"cm", "m", 1e-2},
        {"mm", "m", 1e-3},
    };
    CHECK(rows);
}

static void areas_and_volumes(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"m2", "m2", 1.0},    {"m^2", "m2", 1.0},         {"m²", "m2", 1.0},
        {"cm2", "m2", 1e-4},  {"ft2", "m2", FOOT * FOOT}, {"ft^2", "m2", FOOT * FOOT},
        {"m3", "m3", 1.0},    {"mm3", "m3", 1e-9},        {"cm3", "m3", 1e-6},
        {"cm^3", "m3", 1e-6}, {"cm³", "m3", 1e-6},        {"L", "m3", LITRE},
        {"l", "m3", LITRE},   {"mL", "m3", 1e-3 * LITRE},
    };
    CHECK(rows);
}

static void energy_and_mass_densities(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"Wh/kg", "J/kg", WATT_HOUR},
        {"kWh/kg", "J/kg", 1e3 * WATT_HOUR},
        {"Wh/L", "J/m3", WATT_HOUR / LITRE},
        {"Wh/l", "J/m3", WATT_HOUR / LITRE},
        {"Wh/lb", "J/kg", WATT_HOUR / POUND},
        {"kg/m3", "kg/m3", 1.0},
        {"g/cm3", "kg/m3", 1e3},
        {"kg/m^3", "kg/m3", 1.0},
    };
    CHECK(rows);
}

static void ratios(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {"%", "1", 1e-2}, {"percent", "1", 1e-2}, {"1", "1", 1.0},     {"", "1", 1.0},
        {"  ", "1", 1.0}, {"1", "%", 100.0},      {"Wh/Wh", "1", 1.0},
    };
    CHECK(rows);
}

static void surrounding_blanks_do_not_matter(void **state)
{
    (void)state;
    static const struct conversion rows[] = {
        {" kWh", "J", 3.6e6}, {"kWh\t", "J", 3.6e6}, {"  kWh/100km  ", " J/m ", 36.0}};
    CHECK(rows);
}

/* ITS-90 and NIST SP 811 B.8: T/K = t/degC + 273.15 = (t/degF + 459.67)/1.8. */
static void temperatures_have_an_offset(void **state)
{
    (void)state;
    static const struct {
        const char *unit;
        double scale, offset;
    } rows[] = {
        {"K", 1.0, 0.0},
        {"degC", 1.0, 273.15},
        {"°C", 1.0, 273.15},
        {"celsius", 1.0, 273.15},
        {"degF", 1.0 / 1.8, 459.67 / 1.8},
        {"°F", 1.0 / 1.8, 459.67 / 1.8},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++) {
        struct unit_factor factor = {NAN, NAN};
        assert_int_equal(unit_convert(units, rows[i].unit, "K", &factor), UNIT_FITS);
        assert_close(factor.scale, rows[i].scale, 1e-14, 0.0);
        assert_close(factor.offset, rows[i].offset, 1e-14, 0.0);
    }
    struct unit_factor factor;
    assert_int_equal(unit_convert(units, "K", "degC", &factor), UNIT_FITS);
    assert_close(factor.scale, 1.0, 1e-14, 0.0);
    assert_close(factor.offset, -273.15, 1e-14, 0.0);
}

static void assert_refused(const char *unit, const char *target, enum unit_verdict expected)
{
    struct unit_factor factor = {7.0, 8.0};
    enum unit_verdict verdict = unit_convert(units, unit, target, &factor);
    if (verdict != expected)
        fail_msg("'%s' for '%s' gives %d, expected %d", unit, target, (int)verdict, (int)expected);
    assert_close(factor.scale, 7.0, 0.0, 0.0);
    assert_close(factor.offset, 8.0, 0.0, 0.0);
}

static void units_of_something_else_do_not_fit(void **state)
{
    (void)state;
    static const struct {
        const char *unit, *target;
    } rows[] = {
        {"kWh", "kg"},
        {"kW", "J"},
        {"kW/h", "J"},
        {"Ah", "J"},
        {"A", "C"},
        {"h", "A"},
        {"lb", "N"},
        {"lbf", "kg"},
        {"lb/mph", "N/(m/s)"},
        {"lbf/mph", "N/(m/s)^2"},
        {"t", "N"},
        {"C", "K"},
        {"F", "K"},
        {"m", "s"},
        {"%", "m"},
        {"1", "J"},
        {"", "J"},
        {"phot", "m/s"},
        {"gal", "m3"},
        {"PS", "W"},
        {"Wh/kg", "J/m3"},
        {"kWh/100", "J/m"},
        {"days since 2000-01-01", "s"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_refused(rows[i].unit, rows[i].target, UNIT_OTHER_KIND);
}

/* UDUNITS-2 converts a reciprocal without a word, as 1/x. */
static void reciprocals_do_not_fit(void **state)
{
    (void)state;
    static const struct {
        const char *unit, *target;
    } rows[] = {
        {"mi/kWh", "J/m"}, {"km/kWh", "J/m"}, {"mi/kWh", "Wh/km"},    {"s/m", "m/s"},
        {"1/K", "K"},      {"kg/Wh", "J/kg"}, {"mph/lbf", "N/(m/s)"},
    };
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        assert_refused(rows[i].unit, rows[i].target, UNIT_OTHER_KIND);
}

static void logarithms_do_not_fit(void **state)
{
    (void)state;
    assert_refused("dBm", "W", UNIT_OTHER_KIND);
    assert_refused("lg(re 1 mW)", "W", UNIT_OTHER_KIND);
    assert_refused("ln(re 1 J)", "J", UNIT_OTHER_KIND);
    assert_refused("lb(re 1)", "1", UNIT_OTHER_KIND);
}

static void texts_that_are_no_unit_are_unknown(void **state)
{
    (void)state;
    static const char *const texts[] = {
        "kwh",  "KWh",   "kw",       "Kg",     "MPH",  "mpg",    "flurbs", "wh",     "k Wh",
        "kWh/", "/",     "(",        "()",     "kWh)", "m^",     "m^^2",   "kWh,mi", "kWh mi!",
        "0 kg", "-1 kg", "1e400 kg", "kg\xff", "\xff", "kg\x01", "-",      "×",
    };
    for (size_t i = 0; i < sizeof texts / sizeof texts[0]; i++)
        assert_refused(texts[i], strchr(texts[i], 'g') ? "kg" : "J", UNIT_UNKNOWN);
    assert_refused("kg", "no_such_unit", UNIT_UNKNOWN);

    char longest[102];
    memset(longest, '(', 100);
    longest[100] = '\0';
    assert_refused(longest, "J", UNIT_UNKNOWN);
    memset(longest, ' ', 101);
    longest[101] = '\0';
    longest[0] = 'J';
    struct unit_factor factor;
    assert_int_equal(unit_convert(units, longest, "J", &factor), UNIT_FITS);
    memset(longest, '/', 101);
    assert_refused(longest, "J", UNIT_UNKNOWN);
}

/* 99 characters in which every '/' is followed by a number and a unit. */
static void a_long_chain_of_denominators_is_read(void **state)
{
    (void)state;
    char chain[100] = "J";
    while (strlen(chain) + 3 < sizeof chain)
        strcat(chain, "/1m");
    struct unit_factor factor;
    assert_int_equal(unit_convert(units, chain, "kg m-30 s-2", &factor), UNIT_FITS);
    assert_close(factor.scale, 1.0, 1e-14, 0.0);
}

static void a_missing_system_is_not_touched(void **state)
{
    (void)state;
    unit_system_free(NULL);
}

static void two_systems_can_be_open(void **state)
{
    (void)state;
    struct unit_system *second = NULL;
    assert_int_equal(unit_system_open(&second), PACKSPAN_OK);
    struct unit_factor factor;
    assert_int_equal(unit_convert(second, "mph", "m/s", &factor), UNIT_FITS);
    unit_system_free(second);
    assert_int_equal(unit_convert(units, "mph", "m/s", &factor), UNIT_FITS);
    assert_close(factor.scale, 0.44704, 1e-14, 0.0);
}

static void the_locale_does_not_matter(void **state)
{
    (void)state;
    if (!comma_locale_enter())
        skip();
    struct unit_system *here = NULL;
    struct unit_factor foot = {NAN, NAN}, half = {NAN, NAN};
    packspan_status status = unit_system_open(&here);
    bool fits = status == PACKSPAN_OK && unit_convert(here, "ft", "m", &foot) == UNIT_FITS &&
                unit_convert(here, "2.5 kWh", "kWh", &half) == UNIT_FITS;
    bool kept = strcmp(localeconv()->decimal_point, ",") == 0;
    comma_locale_leave();
    unit_system_free(here);
    assert_true(fits);
    assert_true(kept);
    assert_close(foot.scale, FOOT, 1e-14, 0.0);
    assert_close(half.scale, 2.5, 1e-14, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(energy_and_power),
        cmocka_unit_test(energy_per_distance),
        cmocka_unit_test(numbers_in_denominators),
        cmocka_unit_test(charge_and_voltage),
        cmocka_unit_test(masses_and_forces),
        cmocka_unit_test(road_load_coefficients),
        cmocka_unit_test(speeds_times_and_lengths),
        cmocka_unit_test(areas_and_volumes),
        cmocka_unit_test(energy_and_mass_densities),
        cmocka_unit_test(ratios),
        cmocka_unit_test(surrounding_blanks_do_not_matter),
        cmocka_unit_test(temperatures_have_an_offset),
        cmocka_unit_test(units_of_something_else_do_not_fit),
        cmocka_unit_test(reciprocals_do_not_fit),
        cmocka_unit_test(logarithms_do_not_fit),
        cmocka_unit_test(texts_that_are_no_unit_are_unknown),
        cmocka_unit_test(a_long_chain_of_denominators_is_read),
        cmocka_unit_test(a_missing_system_is_not_touched),
        cmocka_unit_test(two_systems_can_be_open),
        cmocka_unit_test(the_locale_does_not_matter),
    };
    return cmocka_run_group_tests(tests, open_units, close_units);
}
