/* The registries, read through the public interface. */
#include <math.h>
#include <packspan/packspan.h>

#include "base/text.h"
#include "draw/shape.h"
#include "model/relation.h"
#include "registry/settings.h"

size_t packspan_quantity_count(void)
{
    return QUANTITY_COUNT;
}

const char *packspan_quantity_text(size_t i, packspan_quantity_field field)
{
    static const char *const roles[] = {
        [QUANTITY_VEHICLE] = "vehicle",
        [QUANTITY_STEP] = "vehicle",
        [QUANTITY_ROUTE] = "route",
        [QUANTITY_CONDITION] = "trip condition",
        [QUANTITY_TRIP_RESULT] = "trip result",
    };
    const struct quantity *q = &quantities[i];
    switch (field) {
    case PACKSPAN_QUANTITY_NAME:
        return q->name;
    case PACKSPAN_QUANTITY_TABLE_UNIT:
        return q->measure->table;
    case PACKSPAN_QUANTITY_SI_UNIT:
        return q->measure->si;
    case PACKSPAN_QUANTITY_UNITS:
        return q->measure->examples;
    case PACKSPAN_QUANTITY_ROLE:
        return roles[q->role];
    case PACKSPAN_QUANTITY_MEANING:
        return q->meaning;
    }
    return "";
}

void packspan_quantity_domain(size_t i, double *low, double *high, bool *low_open, bool *high_open)
{
    *low = quantities[i].low;
    *high = quantities[i].high;
    *low_open = quantities[i].low_open;
    *high_open = quantities[i].high_open;
}

bool packspan_quantity_default(size_t i, double *value, const char **source)
{
    if (isnan(quantities[i].fallback))
        return false;
    *value = quantities[i].fallback;
    *source = quantities[i].fallback_source;
    return true;
}

const char *packspan_quantity_formula(size_t i, size_t k)
{
    const struct relation *r = relation_find((enum quantity_id)i, k);
    return r ? r->formula : NULL;
}

size_t packspan_shape_count(void)
{
    return SHAPE_COUNT;
}

const char *packspan_shape_text(size_t i, packspan_shape_field field)
{
    switch (field) {
    case PACKSPAN_SHAPE_NAME:
        return shape_infos[i].name;
    case PACKSPAN_SHAPE_COLUMNS:
        return shape_infos[i].columns;
    case PACKSPAN_SHAPE_MEANING:
        return shape_infos[i].meaning;
    }
    return "";
}

size_t packspan_setting_count(void)
{
    return SETTING_COUNT;
}

const char *packspan_setting_text(size_t i, packspan_setting_field field)
{
    switch (field) {
    case PACKSPAN_SETTING_NAME:
        return setting_infos[i].name;
    case PACKSPAN_SETTING_ARGUMENT:
        return setting_infos[i].argument;
    case PACKSPAN_SETTING_RANGE:
        return setting_infos[i].range;
    case PACKSPAN_SETTING_MEANING:
        return setting_infos[i].meaning;
    case PACKSPAN_SETTING_COMMANDS:
        return setting_infos[i].commands;
    }
    return "";
}

void packspan_setting_default(size_t i, char *text, size_t size)
{
    struct settings defaults;
    settings_init(&defaults);
    setting_text(&defaults, (enum setting_id)i, text, size);
}

bool packspan_setting_allows(const char *setting, const char *value)
{
    struct settings scratch;
    settings_init(&scratch);
    enum setting_id id = setting_find(setting);
    return id != SETTING_COUNT && setting_set(&scratch, id, value);
}

const char *packspan_nearest_word(const char *word, const char *const *candidates, size_t count)
{
    return text_nearest(word, candidates, count);
}
