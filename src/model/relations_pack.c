/* Cell, pack and usable energy by count. */
#include <math.h>

#include "base/hot_loop.h"
#include "model/relation.h"

HOT_LOOP static void cylinder_volume(const struct relation_call *call)
{
    const double *diameter = call->in[0], *height = call->in[1];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = 0.25 * M_PI * diameter[i] * diameter[i] * height[i];
}

HOT_LOOP static void mass_with_overhead(const struct relation_call *call)
{
    const double *cells_mass = call->in[0], *overhead = call->in[1];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = cells_mass[i] / (1.0 - overhead[i]);
}

HOT_LOOP static void specific_energy_with_overhead(const struct relation_call *call)
{
    const double *cell_specific_energy = call->in[0], *overhead = call->in[1];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = cell_specific_energy[i] * (1.0 - overhead[i]);
}

static const struct relation rows[] = {
    {Q_cell_volume, SCOPE_ANY, "π/4 · cell_diameter² · cell_height", cylinder_volume,
     OWN(Q_cell_diameter, Q_cell_height)},
    {Q_cell_volume, SCOPE_ANY, "cell_length · cell_width · cell_thickness", relate_product3,
     OWN(Q_cell_length, Q_cell_width, Q_cell_thickness)},
    {Q_cell_energy, SCOPE_ANY, "cell_charge · cell_voltage", relate_product,
     OWN(Q_cell_charge, Q_cell_voltage)},
    {Q_cell_energy, SCOPE_ANY, "cell_energy_density · cell_volume", relate_product,
     OWN(Q_cell_energy_density, Q_cell_volume)},
    {Q_cell_energy_density, SCOPE_ANY, "cell_energy / cell_volume", relate_quotient,
     OWN(Q_cell_energy, Q_cell_volume)},
    {Q_cell_specific_energy, SCOPE_ANY, "cell_energy / cell_mass", relate_quotient,
     OWN(Q_cell_energy, Q_cell_mass)},
    {Q_nominal_energy, SCOPE_ANY, "cell_count · cell_energy", relate_product,
     OWN(Q_cell_count, Q_cell_energy)},
    {Q_cells_mass, SCOPE_ANY, "cell_count · cell_mass", relate_product,
     OWN(Q_cell_count, Q_cell_mass)},
    {Q_pack_mass, SCOPE_ANY, "cells_mass / (1 - overhead_fraction)", mass_with_overhead,
     OWN(Q_cells_mass, Q_overhead_fraction)},
    {Q_pack_specific_energy, SCOPE_ANY, "nominal_energy / pack_mass", relate_quotient,
     OWN(Q_nominal_energy, Q_pack_mass)},
    {Q_pack_specific_energy, SCOPE_ANY, "cell_specific_energy · (1 - overhead_fraction)",
     specific_energy_with_overhead, OWN(Q_cell_specific_energy, Q_overhead_fraction)},
    {Q_usable_energy_by_count, SCOPE_ANY, "nominal_energy · usable_fraction", relate_product,
     OWN(Q_nominal_energy, Q_usable_fraction)},
    {Q_usable_energy, SCOPE_ANY, "usable_energy_by_count", relate_copy,
     OWN(Q_usable_energy_by_count)},
    {Q_usable_energy, SCOPE_ANY, "usable_energy_by_recharge", relate_copy,
     OWN(Q_usable_energy_by_recharge)},
    {Q_usable_energy, SCOPE_ANY, "usable_energy_by_road_load", relate_copy,
     OWN(Q_usable_energy_by_road_load)},
    {Q_usable_energy, SCOPE_ANY, "usable_energy_by_mass", relate_copy,
     OWN(Q_usable_energy_by_mass)},
    {Q_usable_energy, SCOPE_ANY, "usable_energy_by_range", relate_copy,
     OWN(Q_usable_energy_by_range)},
};
const struct relation_group pack_relations = {rows, sizeof rows / sizeof rows[0]};
