/* Shapes from a short text, e.g. shape_text("normal", "best=2 sd=0.5", anywhere). */
#ifndef PACKSPAN_TESTS_SHAPE_TEXT_H
#define PACKSPAN_TESTS_SHAPE_TEXT_H

#include "draw/shape.h"
#include "support/support.h"

#include <stdlib.h>
#include <string.h>

static const struct shape_domain anywhere = {-(double)INFINITY, (double)INFINITY, true, true};

static inline struct shape_given given_text(const char *shape, const char *fields)
{
    struct shape_given given = {.kind = shape_find(shape)};
    if (given.kind == SHAPE_COUNT)
        fail_msg("no shape '%s'", shape);
    for (int f = 0; f < SHAPE_FIELD_COUNT; f++)
        given.field[f] = (double)NAN;
    while (*fields) {
        size_t length = strcspn(fields, "=");
        int f = 0;
        while (f < SHAPE_FIELD_COUNT && (strlen(shape_field_names[f]) != length ||
                                         strncmp(shape_field_names[f], fields, length) != 0))
            f++;
        if (f == SHAPE_FIELD_COUNT)
            fail_msg("no field in '%s'", fields);
        char *end;
        given.field[f] = strtod(fields + length + 1, &end);
        fields = end + strspn(end, " ");
    }
    return given;
}

static inline struct shape *shape_of(const struct shape_given *given, struct shape_domain domain)
{
    struct shape *s = NULL;
    struct shape_fault fault = {0};
    if (shape_make(given, &domain, &s, &fault) != PACKSPAN_OK)
        fail_msg("%s: %s %s; %s", shape_infos[given->kind].name, shape_field_names[fault.field],
                 fault.what, fault.remedy);
    return s;
}

static inline struct shape *shape_text(const char *shape, const char *fields,
                                       struct shape_domain domain)
{
    struct shape_given given = given_text(shape, fields);
    return shape_of(&given, domain);
}

static inline double quantile(const struct shape *s, double u)
{
    double x;
    shape_quantiles(s, 1, &u, &x);
    return x;
}

#endif
