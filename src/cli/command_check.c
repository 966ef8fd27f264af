#include <string.h>

#include "cli.h"

static int widest(const packspan_case *c, packspan_origin origin)
{
    int width = 0;
    for (size_t i = 0; i < packspan_case_value_count(c); i++) {
        const char *vehicle, *quantity, *text;
        if (packspan_case_value(c, i, &vehicle, &quantity, &text) == origin &&
            display_width(quantity) > width)
            width = display_width(quantity);
    }
    return width;
}

/* One paragraph an origin, one block a vehicle. */
static void print_values(const packspan_case *c, packspan_origin origin, const char *title,
                         const char *joint)
{
    int width = widest(c, origin);
    if (width == 0)
        return;
    printf("\n%s\n", title);
    const char *last = "";
    for (size_t i = 0; i < packspan_case_value_count(c); i++) {
        const char *vehicle, *quantity, *text;
        if (packspan_case_value(c, i, &vehicle, &quantity, &text) != origin)
            continue;
        if (strcmp(vehicle, last) != 0)
            printf("  %s\n", vehicle);
        last = vehicle;
        printf("    ");
        print_padded(stdout, quantity, width);
        printf(" %s %s\n", joint, text);
    }
}

static void print_not_known(const packspan_case *c)
{
    size_t consequences = 0;
    print_values(c, PACKSPAN_NOT_KNOWN, "Not worked out", ":");
    for (size_t i = 0; i < packspan_case_value_count(c); i++) {
        const char *vehicle, *quantity, *text;
        consequences +=
            packspan_case_value(c, i, &vehicle, &quantity, &text) == PACKSPAN_CONSEQUENCE;
    }
    if (consequences > 0)
        printf("  For want of these, %zu more %s not worked out.\n", consequences,
               consequences == 1 ? "is" : "are");
}

static size_t count_warnings(const packspan_case *c)
{
    size_t count = 0;
    for (size_t i = 0; i < packspan_case_problem_count(c); i++)
        count += !packspan_case_problem_is_error(c, i);
    return count;
}

/* Its points, if it has a study; what is wrong with them is printed. */
static int check_study(const struct options *options, packspan_case *c, uint64_t *points)
{
    packspan_study *s = NULL;
    if (!packspan_case_has_study(c))
        return EXIT_DONE;
    int status = open_study(options, c, &s);
    if (status == EXIT_DONE)
        *points = packspan_study_points(s);
    packspan_study_free(s);
    return status;
}

int command_check(const struct options *options)
{
    packspan_case *c = NULL;
    int status = open_case(options, &c);
    if (status != EXIT_DONE) {
        if (status == EXIT_WRONG_CASE) /* a claim's figure that cannot be worked out: what lacks,
                                          all the way down */
            print_not_known(c);
        packspan_case_free(c);
        return status;
    }
    uint64_t points = 0;
    status = check_study(options, c, &points);
    if (status != EXIT_DONE) {
        packspan_case_free(c);
        return status;
    }
    printf("case %s: no errors\n", packspan_case_name(c));
    print_values(c, PACKSPAN_GIVEN, "Given", "<-");
    print_values(c, PACKSPAN_LINKED, "Linked", "with");
    print_values(c, PACKSPAN_WORKED_OUT, "Worked out", "<-");
    print_values(c, PACKSPAN_DEFAULT, "Defaults used", "=");
    print_not_known(c);
    if (points > 0) {
        printf("\nStudy\n    ");
        print_grouped(stdout, points);
        printf(" point%s\n", points == 1 ? "" : "s");
    }
    if (count_warnings(c) > 0) {
        printf("\nTo be aware of\n");
        print_problems(stdout, c, false, "  ");
    }
    packspan_case_free(c);
    return EXIT_DONE;
}
