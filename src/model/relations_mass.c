/* Where the mass goes. */
#include "base/hot_loop.h"
#include "model/relation.h"
#include "registry/constants.h"

HOT_LOOP static void loaded_mass(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = call->in[0][i] + LOADED_VEHICLE_MASS_MARGIN;
}

HOT_LOOP static void energy_in_spare_mass(const struct relation_call *call)
{
    const double *curb = call->in[0], *glider = call->in[1];
    const double *specific_energy = call->in[2], *usable_fraction = call->in[3];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = (curb[i] - glider[i]) * specific_energy[i] * usable_fraction[i];
}

static const struct relation rows[] = {
    {Q_glider_mass, SCOPE_REFERENCE, "stated_curb_mass - pack_mass", relate_difference,
     OWN(Q_stated_curb_mass, Q_pack_mass)},
    {Q_glider_mass, SCOPE_FROM_REFERENCES, "glider_change + reference glider_mass", relate_sum,
     OWN(Q_glider_change), REFERENCE(Q_glider_mass)},
    {Q_curb_mass, SCOPE_ANY, "glider_mass + pack_mass", relate_sum,
     OWN(Q_glider_mass, Q_pack_mass)},
    {Q_curb_mass_gap, SCOPE_ANY, "stated_curb_mass - curb_mass", relate_difference,
     OWN(Q_stated_curb_mass, Q_curb_mass)},
    {Q_usable_energy_by_mass, SCOPE_SUBJECT,
     "(stated_curb_mass - glider_mass) · pack_specific_energy · usable_fraction",
     energy_in_spare_mass,
     OWN(Q_stated_curb_mass, Q_glider_mass, Q_pack_specific_energy, Q_usable_fraction)},
    {Q_test_mass, SCOPE_ANY, "stated_curb_mass + 300 lb", loaded_mass, OWN(Q_stated_curb_mass)},
    {Q_test_mass, SCOPE_ANY, "curb_mass + 300 lb", loaded_mass, OWN(Q_curb_mass)},
};
const struct relation_group mass_relations = {rows, sizeof rows / sizeof rows[0]};
