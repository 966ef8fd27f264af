/* Road load from tyres and air where no certified coefficients are given. */
#include "base/hot_loop.h"
#include "model/relation.h"
#include "registry/constants.h"

HOT_LOOP static void rolling_force(const struct relation_call *call)
{
    const double *coefficient = call->in[0], *mass = call->in[1];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = coefficient[i] * mass[i] * STANDARD_GRAVITY;
}

HOT_LOOP static void no_linear_term(const struct relation_call *call)
{
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = 0.0;
}

HOT_LOOP static void drag_coefficient(const struct relation_call *call)
{
    const double *density = call->in[0], *area = call->in[1];
    for (size_t i = 0; i < call->n; i++)
        call->out[i] = 0.5 * density[i] * area[i];
}

static const struct relation rows[] = {
    {Q_road_load_a, SCOPE_ANY, "rolling_coefficient · test_mass · g", rolling_force,
     OWN(Q_rolling_coefficient, Q_test_mass)},
    {Q_road_load_b, SCOPE_ANY, "0 with rolling_coefficient and drag_area", no_linear_term,
     OWN(Q_rolling_coefficient, Q_drag_area)},
    {Q_road_load_c, SCOPE_ANY, "air_density · drag_area / 2", drag_coefficient,
     OWN(Q_air_density, Q_drag_area)},
};
const struct relation_group road_load_relations = {rows, sizeof rows / sizeof rows[0]};
