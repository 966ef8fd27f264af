/* Air density on trips against the US Standard Atmosphere 1976 and the ideal gas. */
#include "support/support.h"

#include "model/relation.h"
#include "registry/constants.h"

static double density(double temperature, double elevation)
{
    const struct relation *r = relation_find(Q_trip_air_density, 0);
    const double *in[] = {&temperature, &elevation};
    double out = NAN;
    struct relation_call call = {.n = 1, .in = in, .out = &out};
    r->work(&call);
    return out;
}

/* US Standard Atmosphere, 1976 (NOAA-S/T 76-1562): temperature and density at geometric
 * elevations, recomputed from its constants to the digits shown. */
static void standard_atmosphere_table(void **state)
{
    (void)state;
    static const double table[][3] = {
        {0.0, 288.150, 1.2250},     {500.0, 284.900, 1.16727},  {1000.0, 281.651, 1.11166},
        {1500.0, 278.402, 1.05810}, {2000.0, 275.154, 1.00655}, {3000.0, 268.659, 0.90925},
    };
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        assert_close(density(table[i][1], table[i][0]), table[i][2], 0.0, 1e-5);
}

/* The pressure's power law by the C library, for the whole domain of elevations and many at once.
 */
static void power_law_of_the_pressure(void **state)
{
    (void)state;
    enum { COUNT = 951 };
    double temperature[COUNT], elevation[COUNT], out[COUNT];
    const double *in[] = {temperature, elevation};
    for (int i = 0; i < COUNT; i++) {
        elevation[i] = -500.0 + 10.0 * i;
        temperature[i] = 200.0 + 0.1 * i;
    }
    struct relation_call call = {.n = COUNT, .in = in, .out = out};
    relation_find(Q_trip_air_density, 0)->work(&call);
    for (int i = 0; i < COUNT; i++) {
        double h = 6356766.0 * elevation[i] / (6356766.0 + elevation[i]);
        double gas = 8314.32 / 28.9644, ratio = (288.15 - 0.0065 * h) / 288.15;
        double pressure = 101325.0 * pow(ratio, 9.80665 / (gas * 0.0065));
        assert_close(out[i], pressure / (gas * temperature[i]), 5e-15, 0.0);
    }
}

/* Dry air at 98.21 kPa, the pressure of 40 CFR 1066.305(a), with R = 287.053 J/(kg K). */
static void reference_pressure(void **state)
{
    (void)state;
    assert_close(density(293.15, REFERENCE_ELEVATION), 1.16709, 0.0, 5e-6);
    assert_close(density(266.15, REFERENCE_ELEVATION), 1.28549, 0.0, 5e-6);
    assert_close(density(308.15, REFERENCE_ELEVATION), 1.11028, 0.0, 5e-6);
    assert_close(density(293.15, REFERENCE_ELEVATION), REFERENCE_AIR_DENSITY, 1e-14, 0.0);
    assert_close(quantities[Q_elevation].fallback, REFERENCE_ELEVATION, 0.0, 0.0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(standard_atmosphere_table),
        cmocka_unit_test(power_law_of_the_pressure),
        cmocka_unit_test(reference_pressure),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
