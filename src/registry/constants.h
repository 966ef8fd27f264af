/* Physical constants and exact unit definitions, SI. */
#ifndef PACKSPAN_REGISTRY_CONSTANTS_H
#define PACKSPAN_REGISTRY_CONSTANTS_H

#define STANDARD_GRAVITY 9.80665 /* m/s2, exact, NIST SP 811 B.8 */
#define POUND 0.45359237         /* kg, exact, NIST SP 811 B.8 */
#define MILE 1609.344            /* m, exact, NIST SP 811 B.8 */
#define LOADED_VEHICLE_MASS_MARGIN                                                                 \
    (300.0 * POUND) /* kg, 40 CFR 86.1803-01, loaded vehicle weight */

/* Road-load reference conditions: 20 degC, 98.21 kPa, 40 CFR 1066.305(a). */
#define REFERENCE_TEMPERATURE 293.15             /* K */
#define REFERENCE_PRESSURE 98210.0               /* Pa */
#define DRY_AIR_GAS_CONSTANT (8314.32 / 28.9644) /* J/(kg K), US Standard Atmosphere 1976 */
#define REFERENCE_AIR_DENSITY (REFERENCE_PRESSURE / (DRY_AIR_GAS_CONSTANT * REFERENCE_TEMPERATURE))

/* US Standard Atmosphere 1976, lowest layer. */
#define ATMOSPHERE_PRESSURE 101325.0      /* Pa at sea level */
#define ATMOSPHERE_TEMPERATURE 288.15     /* K at sea level */
#define ATMOSPHERE_LAPSE (-0.0065)        /* K per geopotential metre */
#define ATMOSPHERE_EARTH_RADIUS 6356766.0 /* m */
#define ATMOSPHERE_EXPONENT (STANDARD_GRAVITY / (DRY_AIR_GAS_CONSTANT * -ATMOSPHERE_LAPSE))

/* Geometric elevation, m, where that atmosphere has the reference pressure; a test recomputes it.
 */
#define REFERENCE_ELEVATION 262.59889969060159

/* Weights of the city and highway cycles, 40 CFR 600.210-12(c). */
#define CITY_WEIGHT 0.55
#define HIGHWAY_WEIGHT 0.45

#endif
