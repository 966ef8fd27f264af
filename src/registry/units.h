/* Units of the trade by UDUNITS-2. */
#ifndef PACKSPAN_REGISTRY_UNITS_H
#define PACKSPAN_REGISTRY_UNITS_H

#include <packspan/packspan.h>
#include <stdbool.h>

#include "registry/quantity.h"

/* A unit system with Wh, Ah and mph mapped to watt hour, ampere hour and mile per hour (UDUNITS-2
 * knows neither of the first two and takes the third for a milliphot). One thread at a time may
 * convert, whatever system it has: UDUNITS-2 reads units with variables of its own. What was
 * remembered may be converted by several. */
struct unit_system;
packspan_status unit_system_open(struct unit_system **out);
void unit_system_free(struct unit_system *s);

/* value_si = scale * value + offset. */
struct unit_factor {
    double scale, offset;
};

enum unit_verdict {
    UNIT_FITS,
    UNIT_UNKNOWN,    /* not a unit */
    UNIT_OTHER_KIND, /* a unit of something else, or a reciprocal (mi/kWh for Wh/mi) */
    UNIT_NO_MEMORY
};

/* The conversion from `unit` to `target` (a unit of struct measure). An empty `unit` means "1".
 * Logarithmic units do not fit. "kWh/100km" is read as kWh/(100 km). */
enum unit_verdict unit_convert(const struct unit_system *s, const char *unit, const char *target,
                               struct unit_factor *factor);
/* The conversion from the unit in which tables show the quantity to SI; false, and *to_si as it
 * was, when out of memory. */
bool unit_of_tables(const struct unit_system *s, enum quantity_id quantity,
                    struct unit_factor *to_si);

static inline double from_si(double si, struct unit_factor to_si)
{
    return (si - to_si.offset) / to_si.scale;
}

/* Keeps a conversion; the texts must last as long as the system. UNIT_FITS, or what is wrong. */
enum unit_verdict unit_remember(struct unit_system *s, const char *unit, const char *target);

#endif
