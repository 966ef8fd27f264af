/* Trips: weather, load, wind and grade on the road. */
#include <math.h>

#include "base/exponential.h"
#include "base/hot_loop.h"
#include "base/logarithm.h"
#include "model/block.h"
#include "model/cycle_energy.h"
#include "model/relation.h"
#include "registry/constants.h"

#define ROAD Q_road_load_a, Q_road_load_b, Q_road_load_c, Q_road_load_factor, Q_test_mass
#define CONDITIONS Q_payload_mass, Q_trip_air_density, Q_headwind, Q_grade

/* US Standard Atmosphere 1976 pressure at the geometric elevation, ideal dry gas. */
HOT_LOOP static void standard_air_density(const struct relation_call *call)
{
    const double *temperature = call->in[0], *elevation = call->in[1];
    double ratio[BLOCK_SAMPLES]; /* of temperatures, then of pressures, to those at sea level */
    for (size_t i = 0; i < call->n; i++) {
        double geopotential =
            ATMOSPHERE_EARTH_RADIUS * elevation[i] / (ATMOSPHERE_EARTH_RADIUS + elevation[i]);
        ratio[i] = 1.0 + ATMOSPHERE_LAPSE / ATMOSPHERE_TEMPERATURE * geopotential;
    }
    logarithms(call->n, ratio, ratio);
    for (size_t i = 0; i < call->n; i++)
        ratio[i] *= ATMOSPHERE_EXPONENT;
    exponentials(call->n, ratio, ratio);
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = ATMOSPHERE_PRESSURE * ratio[i] / (DRY_AIR_GAS_CONSTANT * temperature[i]);
}

/* Road load on the trip: needs are ROAD, then CONDITIONS. Rolling terms grow with the mass, the
 * quadratic one with the air's density, and a grade adds the slope force. */
struct trip_road {
    double a[BLOCK_SAMPLES], b[BLOCK_SAMPLES], c[BLOCK_SAMPLES], mass[BLOCK_SAMPLES];
    const double *headwind;
};

HOT_LOOP static void fill_trip_road(const struct relation_call *call, struct trip_road *road)
{
    const double *test_mass = call->in[4], *payload = call->in[5], *density = call->in[6],
                 *grade = call->in[8];
    for (size_t i = 0; i < call->n; i++) {
        double factor = call->in[3][i];
        double mass = test_mass[i] + payload[i];
        double rolling = factor * mass / test_mass[i];
        double slope = grade[i] / sqrt(1.0 + grade[i] * grade[i]);
        road->a[i] = call->in[0][i] * rolling + mass * STANDARD_GRAVITY * slope;
        road->b[i] = call->in[1][i] * rolling;
        road->c[i] = call->in[2][i] * factor * density[i] / REFERENCE_AIR_DENSITY;
        road->mass[i] = mass;
    }
    road->headwind = call->in[7];
}

HOT_LOOP static void cycle_trip_consumption(const struct relation_call *call)
{
    const double *power = call->in[9], *drive = call->in[10], *rotating = call->in[11],
                 *regen = call->in[12];
    struct trip_road road;
    double traction[BLOCK_SAMPLES], braking[BLOCK_SAMPLES], net[BLOCK_SAMPLES];
    fill_trip_road(call, &road);
    for (size_t i = 0; i < call->n; i++)
        road.mass[i] *= rotating[i];
    struct wheel_load load = {road.a, road.b, road.c, road.mass, road.headwind};
    *call->evaluated += trace_traction(call->trip, call->n, &load, traction, NULL);
    trace_net_work(call->trip, call->n, &load, net);
    for (size_t i = 0; i < call->n; i++)
        braking[i] = traction[i] > net[i] ? traction[i] - net[i] : 0.0;
    cycle_consumption(call->trip, call->n, traction, braking, drive, regen, power, call->out);
}

/* A steady trip that needs no traction (a steep descent, a gale from behind) is outside of this
 * formula, and the sample is invalid. */
HOT_LOOP static void steady_trip_consumption(const struct relation_call *call)
{
    const double *power = call->in[9], *drive = call->in[10], *speed = call->in[11];
    struct trip_road road;
    fill_trip_road(call, &road);
    for (size_t i = 0; i < call->n; i++) {
        double v = speed[i], air = v + road.headwind[i];
        double force = road.a[i] + road.b[i] * v + road.c[i] * air * fabs(air);
        call->out[i] = force > 0.0 ? force / drive[i] + power[i] / v : NAN;
    }
}

HOT_LOOP static void trip_range(const struct relation_call *call)
{
    const double *usable = call->in[0], *reserve = call->in[1], *consumption = call->in[2];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = usable[i] * (1.0 - reserve[i]) / consumption[i];
}

static const struct relation rows[] = {
    {Q_trip_air_density, SCOPE_TRIP,
     "US Standard Atmosphere 1976 pressure at elevation, ideal gas at air_temperature",
     standard_air_density, OWN(Q_air_temperature, Q_elevation)},
    {Q_trip_consumption, SCOPE_CYCLE_TRIP,
     "(traction / drive_efficiency - regen_efficiency · braking + accessory_power · T) / D",
     cycle_trip_consumption,
     OWN(ROAD, CONDITIONS, Q_accessory_power, Q_drive_efficiency, Q_rotating_mass_factor,
         Q_regen_efficiency)},
    {Q_trip_consumption, SCOPE_STEADY_TRIP, "F(speed) / drive_efficiency + accessory_power / speed",
     steady_trip_consumption,
     OWN(ROAD, CONDITIONS, Q_accessory_power, Q_drive_efficiency, Q_speed)},
    {Q_trip_range, SCOPE_CYCLE_TRIP, "usable_energy · (1 - reserve_fraction) / trip_consumption",
     trip_range, OWN(Q_usable_energy, Q_reserve_fraction, Q_trip_consumption)},
    {Q_trip_range, SCOPE_STEADY_TRIP, "usable_energy · (1 - reserve_fraction) / trip_consumption",
     trip_range, OWN(Q_usable_energy, Q_reserve_fraction, Q_trip_consumption)},
};
const struct relation_group trip_relations = {rows, sizeof rows / sizeof rows[0]};
