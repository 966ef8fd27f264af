/* Label range and consumption (40 CFR 600), and what the stated range says when the label equation
 * is solved for something else. */
#include <math.h>
#include <stdbool.h>

#include "base/hot_loop.h"
#include "model/block.h"
#include "model/cycle_energy.h"
#include "model/relation.h"
#include "registry/constants.h"

HOT_LOOP static void combined_range(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = CITY_WEIGHT * call->in[0][i] + HIGHWAY_WEIGHT * call->in[1][i];
}

HOT_LOOP static void label_consumption(const struct relation_call *call)
{
    const double *city = call->in[0], *highway = call->in[1], *city_factor = call->in[2],
                 *highway_factor = call->in[3], *charge_efficiency = call->in[4];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = (CITY_WEIGHT * city[i] / city_factor[i] +
                        HIGHWAY_WEIGHT * highway[i] / highway_factor[i]) /
                       charge_efficiency[i];
}

HOT_LOOP static void energy_for_stated_range(const struct relation_call *call)
{
    const double *stated = call->in[0], *city = call->in[1], *highway = call->in[2],
                 *city_factor = call->in[3], *highway_factor = call->in[4];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = stated[i] / (CITY_WEIGHT * city_factor[i] / city[i] +
                                    HIGHWAY_WEIGHT * highway_factor[i] / highway[i]);
}

/* reference usable_energy stated_range / reference stated_range consumption_ratio */
HOT_LOOP static void energy_scaled_by_range(const struct relation_call *call)
{
    const double *stated = call->in[0], *ratio = call->in[1], *reference_energy = call->in[2],
                 *reference_stated = call->in[3];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = reference_energy[i] * stated[i] / reference_stated[i] * ratio[i];
}

HOT_LOOP static void drive_efficiency_for_stated_range(const struct relation_call *call)
{
    const double *usable = call->in[0], *stated = call->in[1], *city_factor = call->in[2],
                 *highway_factor = call->in[3], *regen = call->in[4], *power = call->in[5],
                 *city_traction = call->in[6], *city_braking = call->in[7],
                 *highway_traction = call->in[8], *highway_braking = call->in[9];
    const struct trace *city = call->city, *highway = call->highway;
    for (size_t i = 0; i < call->n; i++) {
        double city_base = (power[i] * city->duration - regen[i] * city_braking[i]);
        double highway_base = (power[i] * highway->duration - regen[i] * highway_braking[i]);
        double inverse = label_equation_root(
            CITY_WEIGHT * city_factor[i] * usable[i], city_traction[i] / city->total_distance,
            city_base / city->total_distance, HIGHWAY_WEIGHT * highway_factor[i] * usable[i],
            highway_traction[i] / highway->total_distance, highway_base / highway->total_distance,
            stated[i]);
        call->out[i] = 1.0 / inverse;
    }
}

/* Consumption of one cycle as a straight line in the road-load factor, touching the true (convex,
 * piecewise straight) one at the present factor. */
struct tangent {
    double slope[BLOCK_SAMPLES], base[BLOCK_SAMPLES];
};

HOT_LOOP static void find_tangent(const struct trace *t, const struct relation_call *call,
                                  const double *factor, const double *mass, struct tangent *line)
{
    const double *a = call->in[0], *b = call->in[1], *c = call->in[2];
    const double *drive = call->in[5], *regen = call->in[6], *power = call->in[7];
    double scaled_a[BLOCK_SAMPLES], scaled_b[BLOCK_SAMPLES], scaled_c[BLOCK_SAMPLES];
    double traction[BLOCK_SAMPLES], road[BLOCK_SAMPLES];
    for (size_t i = 0; i < call->n; i++) {
        scaled_a[i] = a[i] * factor[i];
        scaled_b[i] = b[i] * factor[i];
        scaled_c[i] = c[i] * factor[i];
    }
    struct wheel_load load = {scaled_a, scaled_b, scaled_c, mass, NULL};
    *call->evaluated += trace_traction(t, call->n, &load, traction, road);
    for (size_t i = 0; i < call->n; i++) {
        double per_factor = road[i] / factor[i];
        double inertia = traction[i] - road[i];
        double braked_per_factor =
            per_factor - (t->per_a * a[i] + t->per_b * b[i] + t->per_c * c[i]);
        double braked_inertia = inertia - t->per_mass * mass[i];
        line->slope[i] = (per_factor / drive[i] - regen[i] * braked_per_factor) / t->total_distance;
        line->base[i] = (inertia / drive[i] - regen[i] * braked_inertia + power[i] * t->duration) /
                        t->total_distance;
    }
}

/* Consumption is convex in the factor k as long as driving costs more than braking returns, so the
 * root of the label equation along the tangents lies at or above the true one, and the iteration
 * falls onto it in a finite number of steps. Factors that are already found stay as they are. */
HOT_LOOP static void factor_for_stated_range(const struct relation_call *call)
{
    enum { ROUNDS_MAX = 40 };
    const double *test_mass = call->in[3], *rotating = call->in[4], *usable = call->in[8],
                 *stated = call->in[9], *city_factor = call->in[10], *highway_factor = call->in[11];
    double mass[BLOCK_SAMPLES], factor[BLOCK_SAMPLES];
    bool found[BLOCK_SAMPLES] = {false};
    struct tangent city, highway;
    size_t open = call->n;
    for (size_t i = 0; i < call->n; i++) {
        mass[i] = test_mass[i] * rotating[i];
        factor[i] = 1.0;
    }
    for (int round = 0; round < ROUNDS_MAX && open > 0; round++) {
        find_tangent(call->city, call, factor, mass, &city);
        find_tangent(call->highway, call, factor, mass, &highway);
        for (size_t i = 0; i < call->n; i++) {
            if (found[i])
                continue;
            double next =
                label_equation_root(CITY_WEIGHT * city_factor[i] * usable[i], city.slope[i],
                                    city.base[i], HIGHWAY_WEIGHT * highway_factor[i] * usable[i],
                                    highway.slope[i], highway.base[i], stated[i]);
            bool done = !(fabs(next - factor[i]) > 1e-13 * factor[i]); /* NaN is done too */
            call->out[i] = next;
            if (done) {
                found[i] = true;
                open--;
            }
            if (isfinite(next))
                factor[i] = next;
        }
    }
    for (size_t i = 0; i < call->n && open > 0; i++)
        if (!found[i])
            call->out[i] = NAN;
}

static const struct relation rows[] = {
    {Q_city_range, SCOPE_ANY, "usable_energy / city_consumption", relate_quotient,
     OWN(Q_usable_energy, Q_city_consumption)},
    {Q_highway_range, SCOPE_ANY, "usable_energy / highway_consumption", relate_quotient,
     OWN(Q_usable_energy, Q_highway_consumption)},
    {Q_label_range_city, SCOPE_ANY, "label_factor_city · city_range", relate_product,
     OWN(Q_label_factor_city, Q_city_range)},
    {Q_label_range_highway, SCOPE_ANY, "label_factor_highway · highway_range", relate_product,
     OWN(Q_label_factor_highway, Q_highway_range)},
    {Q_label_range, SCOPE_ANY, "0.55 · label_range_city + 0.45 · label_range_highway",
     combined_range, OWN(Q_label_range_city, Q_label_range_highway)},
    {Q_label_consumption, SCOPE_ANY,
     "(0.55 · city_consumption / label_factor_city + 0.45 · highway_consumption / "
     "label_factor_highway) / charge_efficiency",
     label_consumption,
     OWN(Q_city_consumption, Q_highway_consumption, Q_label_factor_city, Q_label_factor_highway,
         Q_charge_efficiency)},
    {Q_usable_energy_by_road_load, SCOPE_ANY, "usable_energy with label_range = stated_range",
     energy_for_stated_range,
     OWN(Q_stated_range, Q_city_consumption, Q_highway_consumption, Q_label_factor_city,
         Q_label_factor_highway)},
    {Q_usable_energy_by_range, SCOPE_FROM_REFERENCES,
     "reference usable_energy · stated_range / reference stated_range · consumption_ratio",
     energy_scaled_by_range, OWN(Q_stated_range, Q_consumption_ratio),
     REFERENCE(Q_usable_energy, Q_stated_range)},
    {Q_drive_efficiency, SCOPE_REFERENCE, "drive_efficiency with label_range = stated_range",
     drive_efficiency_for_stated_range,
     OWN(Q_usable_energy, Q_stated_range, Q_label_factor_city, Q_label_factor_highway,
         Q_regen_efficiency, Q_accessory_power, Q_city_traction, Q_city_braking, Q_highway_traction,
         Q_highway_braking)},
    {Q_drive_efficiency, SCOPE_FROM_REFERENCES, "efficiency_transfer · reference drive_efficiency",
     relate_product, OWN(Q_efficiency_transfer), REFERENCE(Q_drive_efficiency)},
    {Q_implied_road_load_factor, SCOPE_SUBJECT, "road_load_factor with label_range = stated_range",
     factor_for_stated_range,
     OWN(Q_road_load_a, Q_road_load_b, Q_road_load_c, Q_test_mass, Q_rotating_mass_factor,
         Q_drive_efficiency, Q_regen_efficiency, Q_accessory_power, Q_usable_energy, Q_stated_range,
         Q_label_factor_city, Q_label_factor_highway)},
};
const struct relation_group label_relations = {rows, sizeof rows / sizeof rows[0]};
