#include <math.h>
#include <string.h>

#include "cli.h"

static void print_domain(size_t i)
{
    double low, high;
    bool low_open, high_open;
    packspan_quantity_domain(i, &low, &high, &low_open, &high_open);
    const char *unit = packspan_quantity_text(i, PACKSPAN_QUANTITY_SI_UNIT);
    if (isinf(low) && isinf(high))
        printf("any");
    else if (isinf(high))
        printf("%s %g", low_open ? "above" : "from", low);
    else
        printf("%c%g, %g%c", low_open ? '(' : '[', low, high, high_open ? ')' : ']');
    if (unit[0] != '1' && !(low == 0.0 && isinf(high)) && !(isinf(low) && isinf(high)))
        printf(" %s", unit);
}

static void print_quantity(size_t i)
{
    double value;
    const char *source, *formula, *unit = packspan_quantity_text(i, PACKSPAN_QUANTITY_SI_UNIT);
    if (strcmp(unit, "1") == 0)
        unit = "";
    printf("%s\n    %s\n", packspan_quantity_text(i, PACKSPAN_QUANTITY_NAME),
           packspan_quantity_text(i, PACKSPAN_QUANTITY_MEANING));
    printf("    %s; results in %s; may be written in %s; domain ",
           packspan_quantity_text(i, PACKSPAN_QUANTITY_ROLE),
           packspan_quantity_text(i, PACKSPAN_QUANTITY_TABLE_UNIT),
           packspan_quantity_text(i, PACKSPAN_QUANTITY_UNITS));
    print_domain(i);
    printf("\n");
    for (size_t k = 0; (formula = packspan_quantity_formula(i, k)) != NULL; k++)
        printf("    %s %s\n", k == 0 ? "=" : "or", formula);
    if (packspan_quantity_default(i, &value, &source))
        printf("    default %.6g%s%s (%s)\n", value, *unit ? " " : "", unit, source);
}

int command_quantities(const struct options *options)
{
    (void)options;
    printf("QUANTITIES\n\n");
    for (size_t i = 0; i < packspan_quantity_count(); i++)
        print_quantity(i);
    printf("\nSHAPES of inputs\n\n");
    for (size_t i = 0; i < packspan_shape_count(); i++)
        printf("%s\n    columns %s\n    %s\n", packspan_shape_text(i, PACKSPAN_SHAPE_NAME),
               packspan_shape_text(i, PACKSPAN_SHAPE_COLUMNS),
               packspan_shape_text(i, PACKSPAN_SHAPE_MEANING));
    return EXIT_DONE;
}
