/* Work at the wheels and DC consumption over the city (UDDS) and highway (HWFET) cycles. */
#include "base/hot_loop.h"
#include "model/block.h"
#include "model/cycle_energy.h"
#include "model/relation.h"

#define ROAD Q_road_load_a, Q_road_load_b, Q_road_load_c, Q_road_load_factor
#define INERTIA Q_test_mass, Q_rotating_mass_factor

/* Needs: A, B, C, their factor, test mass, rotating mass factor. */
struct wheel_columns {
    double a[BLOCK_SAMPLES], b[BLOCK_SAMPLES], c[BLOCK_SAMPLES], mass[BLOCK_SAMPLES];
    struct wheel_load load;
};

HOT_LOOP static void fill_wheel_columns(const struct relation_call *call, struct wheel_columns *w)
{
    for (size_t i = 0; i < call->n; i++) {
        double factor = call->in[3][i];
        w->a[i] = call->in[0][i] * factor;
        w->b[i] = call->in[1][i] * factor;
        w->c[i] = call->in[2][i] * factor;
        w->mass[i] = call->in[4][i] * call->in[5][i];
    }
    w->load = (struct wheel_load){w->a, w->b, w->c, w->mass, NULL};
}

static void traction(const struct relation_call *call, const struct trace *t)
{
    struct wheel_columns w;
    fill_wheel_columns(call, &w);
    *call->evaluated += trace_traction(t, call->n, &w.load, call->out, NULL);
}

static void city_traction(const struct relation_call *call)
{
    traction(call, call->city);
}

static void highway_traction(const struct relation_call *call)
{
    traction(call, call->highway);
}

/* Need 6 is the traction work. */
HOT_LOOP static void braking(const struct relation_call *call, const struct trace *t)
{
    struct wheel_columns w;
    double net[BLOCK_SAMPLES];
    fill_wheel_columns(call, &w);
    trace_net_work(t, call->n, &w.load, net);
    for (size_t i = 0; i < call->n; i++) {
        double work = call->in[6][i] - net[i];
        call->out[i] = work > 0.0 ? work : 0.0; /* rounding when nothing is braked */
    }
}

static void city_braking(const struct relation_call *call)
{
    braking(call, call->city);
}

static void highway_braking(const struct relation_call *call)
{
    braking(call, call->highway);
}

static void city_consumption(const struct relation_call *call)
{
    cycle_consumption(call->city, call->n, call->in[0], call->in[1], call->in[2], call->in[3],
                      call->in[4], call->out);
}

static void highway_consumption(const struct relation_call *call)
{
    cycle_consumption(call->highway, call->n, call->in[0], call->in[1], call->in[2], call->in[3],
                      call->in[4], call->out);
}

static const struct relation rows[] = {
    {Q_city_traction, SCOPE_ANY, "sum of max(F·v·dt, 0) over UDDS", city_traction,
     OWN(ROAD, INERTIA)},
    {Q_city_braking, SCOPE_ANY, "sum of max(-F·v·dt, 0) over UDDS", city_braking,
     OWN(ROAD, INERTIA, Q_city_traction)},
    {Q_highway_traction, SCOPE_ANY, "sum of max(F·v·dt, 0) over HWFET", highway_traction,
     OWN(ROAD, INERTIA)},
    {Q_highway_braking, SCOPE_ANY, "sum of max(-F·v·dt, 0) over HWFET", highway_braking,
     OWN(ROAD, INERTIA, Q_highway_traction)},
    {Q_city_consumption, SCOPE_ANY,
     "(city_traction / drive_efficiency - regen_efficiency · city_braking + accessory_power · T) / "
     "D",
     city_consumption,
     OWN(Q_city_traction, Q_city_braking, Q_drive_efficiency, Q_regen_efficiency,
         Q_accessory_power)},
    {Q_highway_consumption, SCOPE_ANY,
     "(highway_traction / drive_efficiency - regen_efficiency · highway_braking + accessory_power "
     "· T)"
     " / D",
     highway_consumption,
     OWN(Q_highway_traction, Q_highway_braking, Q_drive_efficiency, Q_regen_efficiency,
         Q_accessory_power)},
};
const struct relation_group cycle_relations = {rows, sizeof rows / sizeof rows[0]};
