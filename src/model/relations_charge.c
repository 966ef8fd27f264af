/* Between the wall and the battery. */
#include "model/relation.h"

static const struct relation rows[] = {
    {Q_charge_efficiency, SCOPE_REFERENCE, "usable_energy / stated_recharge_energy",
     relate_quotient, OWN(Q_usable_energy, Q_stated_recharge_energy)},
    {Q_charge_efficiency, SCOPE_FROM_REFERENCES, "charge_transfer · reference charge_efficiency",
     relate_product, OWN(Q_charge_transfer), REFERENCE(Q_charge_efficiency)},
    {Q_usable_energy_by_recharge, SCOPE_ANY, "stated_recharge_energy · charge_efficiency",
     relate_product, OWN(Q_stated_recharge_energy, Q_charge_efficiency)},
    {Q_recharge_energy, SCOPE_ANY, "usable_energy / charge_efficiency", relate_quotient,
     OWN(Q_usable_energy, Q_charge_efficiency)},
    {Q_city_wall_consumption, SCOPE_ANY, "city_consumption / charge_efficiency", relate_quotient,
     OWN(Q_city_consumption, Q_charge_efficiency)},
    {Q_highway_wall_consumption, SCOPE_ANY, "highway_consumption / charge_efficiency",
     relate_quotient, OWN(Q_highway_consumption, Q_charge_efficiency)},
};
const struct relation_group charge_relations = {rows, sizeof rows / sizeof rows[0]};
