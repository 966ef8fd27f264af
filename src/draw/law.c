#include "draw/law.h"

#include <math.h>

bool given_has(const struct shape_given *given, enum shape_field field)
{
    return !isnan(given->field[field]);
}

double given_or(const struct shape_given *given, enum shape_field field, double fallback)
{
    return given_has(given, field) ? given->field[field] : fallback;
}

packspan_status given_check_order(const struct shape_given *given, struct shape_fault *fault)
{
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    if (!(low < high))
        return fault_set(fault, SHAPE_LOW, "correct one of the two; a known value has shape fixed",
                         "is not below high (%g)", high);
    if (!isfinite(high - low))
        return fault_set(fault, SHAPE_HIGH, "high - low must be a finite number",
                         "is too far from low (%g)", low);
    return PACKSPAN_OK;
}

packspan_status given_check_best(const struct shape_given *given, struct shape_fault *fault)
{
    double low = given->field[SHAPE_LOW], high = given->field[SHAPE_HIGH];
    double best = given->field[SHAPE_BEST];
    if (!(low <= best && best <= high))
        return fault_set(fault, SHAPE_BEST, "correct one of the three",
                         "is outside low to high (%g to %g)", low, high);
    return PACKSPAN_OK;
}

packspan_status given_check_sd(const struct shape_given *given, struct shape_fault *fault)
{
    if (!(given->field[SHAPE_SD] > 0.0))
        return fault_set(fault, SHAPE_SD, "a spread is positive; a known value has shape fixed",
                         "is not above 0");
    return PACKSPAN_OK;
}

/* The usual cover: the probability between low and high, in (0, 1). */
packspan_status given_check_cover(const struct shape_given *given, struct shape_fault *fault)
{
    double cover = given_or(given, SHAPE_COVER, 0.95);
    if (!(cover > 0.0 && cover < 1.0))
        return fault_set(fault, SHAPE_COVER,
                         "cover is the probability between low and high, in (0, 1)",
                         "is outside (0, 1)");
    return PACKSPAN_OK;
}

double law_is_smooth(const struct shape *shape)
{
    (void)shape;
    return 0.5;
}
