/* The registry of quantities: every named physical value that a case can give or the model can
 * work out, with its units, physical domain and default. Parser, checks, help and manual all read
 * this one table. */
#ifndef PACKSPAN_REGISTRY_QUANTITY_H
#define PACKSPAN_REGISTRY_QUANTITY_H

#include <stdbool.h>
#include <stddef.h>

/* A kind of value and the units it is shown in. `si` is what the model computes in, `table` what
 * result tables carry, `metric` and `us` what the screen shows. All are UDUNITS-2 texts after
 * unit_system_open() (see registry/units.h). */
struct measure {
    const char *si, *table, *metric, *us;
    const char *examples; /* units an analyst may write, offered when a unit does not fit */
};

enum quantity_role {
    QUANTITY_VEHICLE,    /* a vehicle's value, given or worked out */
    QUANTITY_STEP,       /* the same, but of little interest by itself: not shown on the screen */
    QUANTITY_ROUTE,      /* one independent way to usable energy */
    QUANTITY_CONDITION,  /* a trip's condition, given in trips.csv */
    QUANTITY_TRIP_RESULT /* worked out for every vehicle and trip */
};

/* enum quantity_id, quantity_count and the rows come from one list, quantity_list.h. */
enum quantity_id {
#define QUANTITY(name, ...) Q_##name,
#include "registry/quantity_list.h"
#undef QUANTITY
    QUANTITY_COUNT
};

struct quantity {
    const char *name;
    const struct measure *measure;
    enum quantity_role role;
    /* Physical domain in SI. An open end is excluded. */
    double low, high;
    bool low_open, high_open;
    /* Value assumed when neither given nor worked out; NaN where there is none. */
    double fallback;
    const char *fallback_source;
    /* Not NULL: assuming the fallback overstates the confidence, and this says why. */
    const char *fallback_warning;
    const char *meaning;
};

extern const struct quantity quantities[QUANTITY_COUNT];

/* The quantity of that exact name; QUANTITY_COUNT when there is none. */
enum quantity_id quantity_find(const char *name);

/* True when `value` (SI) lies in the quantity's physical domain; false for NaN. */
bool quantity_holds(enum quantity_id id, double value);

#endif
