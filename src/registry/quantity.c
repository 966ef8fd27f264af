#include "registry/quantity.h"

#include <math.h>
#include <string.h>

#include "registry/constants.h"

static const struct measure count = {"1", "1", "1", "1", "1"};
static const struct measure ratio = {"1", "1", "1", "1", "1, %"};
static const struct measure grade = {"1", "%", "%", "%", "1, %"};
static const struct measure charge = {"C", "Ah", "Ah", "Ah", "Ah, mAh"};
static const struct measure voltage = {"V", "V", "V", "V", "V, mV"};
static const struct measure energy = {"J", "kWh", "kWh", "kWh", "kWh, Wh, MJ"};
static const struct measure power = {"W", "W", "W", "W", "W, kW"};
static const struct measure mass = {"kg", "kg", "kg", "lb", "kg, lb"};
static const struct measure small_mass = {"kg", "g", "g", "g", "g, kg"};
static const struct measure small_length = {"m", "mm", "mm", "mm", "mm, cm, in"};
static const struct measure volume = {"m3", "L", "L", "L", "L, cm^3, mm^3"};
static const struct measure area = {"m2", "m2", "m2", "ft2", "m2, ft2"};
static const struct measure density = {"kg/m3", "kg/m3", "kg/m3", "kg/m3", "kg/m3, g/L"};
static const struct measure energy_density = {"J/m3", "Wh/L", "Wh/L", "Wh/L", "Wh/L, kWh/L"};
static const struct measure specific_energy = {"J/kg", "Wh/kg", "Wh/kg", "Wh/kg", "Wh/kg, kWh/kg"};
static const struct measure consumption = {"J/m", "Wh/km", "Wh/km", "Wh/mi",
                                           "Wh/km, Wh/mi, kWh/100km, kWh/100mi"};
static const struct measure distance = {"m", "km", "km", "mi", "km, mi"};
static const struct measure elevation = {"m", "m", "m", "ft", "m, ft, km"};
static const struct measure speed = {"m/s", "km/h", "km/h", "mph", "km/h, mph, m/s"};
static const struct measure temperature = {"K", "degC", "degC", "degF", "degC, degF, K"};
static const struct measure force = {"N", "N", "N", "lbf", "N, lbf"};
static const struct measure force_per_speed = {"N s/m", "N/(km/h)", "N/(km/h)", "lbf/mph",
                                               "lbf/mph, N/(km/h), N s/m"};
static const struct measure force_per_speed2 = {"N s2/m2", "N/(km/h)^2", "N/(km/h)^2", "lbf/mph^2",
                                                "lbf/mph^2, N/(km/h)^2, N s2/m2"};

const struct quantity quantities[QUANTITY_COUNT] = {
#define QUANTITY(name, measure, ...) [Q_##name] = {#name, &measure, __VA_ARGS__},
#include "registry/quantity_list.h"
#undef QUANTITY
};

enum quantity_id quantity_find(const char *name)
{
    for (int id = 0; id < QUANTITY_COUNT; id++)
        if (strcmp(quantities[id].name, name) == 0)
            return (enum quantity_id)id;
    return QUANTITY_COUNT;
}

bool quantity_holds(enum quantity_id id, double value)
{
    const struct quantity *q = &quantities[id];
    bool above = q->low_open ? value > q->low : value >= q->low;
    bool below = q->high_open ? value < q->high : value <= q->high;
    return above && below;
}
