#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum { VEHICLE, ROLE, TITLE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [VEHICLE] = {"vehicle", true}, [ROLE] = {"role", true}, [TITLE] = {"title", false}};

static const char *const roles[] = {"subject", "reference"};

static size_t find_vehicle(const struct case_data *c, const char *name)
{
    size_t i = 0;
    while (i < c->vehicle_count && strcmp(c->vehicles[i].name, name) != 0)
        i++;
    return i;
}

static void check_one_subject(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    if (c->subject == SIZE_MAX)
        return;
    const struct vehicle *first = &c->vehicles[c->subject];
    sheet_wrong_composed(s, row, ROLE, "a second subject",
                         text_format("line %ld has it already ('%s'): a case has exactly one, the "
                                     "other vehicles are references",
                                     first->line, first->name));
}

/* False when the role is wrong or not known. */
static bool read_role(struct reading *r, const struct sheet *s, size_t row, bool *is_subject)
{
    const char *role = sheet_needed(s, row, ROLE);
    if (!role)
        return false;
    *is_subject = strcmp(role, "subject") == 0;
    if (*is_subject)
        check_one_subject(r, s, row);
    else if (strcmp(role, "reference") != 0) {
        sheet_wrong_composed(s, row, ROLE, "unknown role", advice(role, roles, 2, NULL));
        return false;
    }
    return true;
}

/* A vehicle whose name is not allowed is kept, so that rows that name it are not blamed as well. */
static bool read_vehicle_row(struct reading *r, const struct sheet *s, size_t row)
{
    struct case_data *c = r->c;
    struct vehicle v = {.line = s->table.lines[row]};
    bool role_known = read_role(r, s, row, &v.is_subject);
    const char *name = sheet_needed(s, row, VEHICLE);
    if (!name)
        return role_known;
    sheet_check_name(s, row, VEHICLE);
    size_t same = find_vehicle(c, name);
    if (same < c->vehicle_count) {
        sheet_twice(s, row, VEHICLE, c->vehicles[same].line);
        return role_known;
    }
    v.name = copy_or_fail(r, name);
    v.title = copy_or_fail(r, sheet_text(s, row, TITLE));
    if (!v.name || !v.title) {
        free(v.name);
        free(v.title);
        return role_known;
    }
    if (v.is_subject && c->subject == SIZE_MAX)
        c->subject = c->vehicle_count;
    c->vehicles[c->vehicle_count++] = v;
    return role_known;
}

static void read_rows(struct reading *r, const struct sheet *s)
{
    struct case_data *c = r->c;
    bool roles_known = true;
    for (size_t row = 0; row < s->table.row_count; row++)
        roles_known = read_vehicle_row(r, s, row) && roles_known;
    if (s->damaged)
        return;
    if (s->table.row_count == 0)
        problems_add(s->problems, SEVERITY_ERROR, s->table.file, 0, NULL, "no vehicles", NULL,
                     "write one row for the vehicle in question, with the role subject");
    else if (c->subject == SIZE_MAX && roles_known)
        problems_add(s->problems, SEVERITY_ERROR, s->table.file, 0, "role",
                     "no vehicle is the subject", NULL,
                     "give the vehicle in question the role subject");
}

void read_vehicles(struct reading *r)
{
    char *path = path_in_case(r, "vehicles.csv");
    struct sheet s;
    packspan_status status =
        path ? sheet_open(r, path, columns, COLUMN_COUNT, &r->c->problems, &s) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        r->c->vehicles = calloc(s.table.row_count + 1, sizeof *r->c->vehicles);
        if (r->c->vehicles)
            read_rows(r, &s);
        r->no_memory = r->no_memory || !r->c->vehicles;
        sheet_close(&s);
    } else if (status == PACKSPAN_MISSING) {
        report_missing_table(r, path, "a case names its vehicles here: vehicle,role,title");
    }
    free(path);
}

static char *vehicle_advice(const struct case_data *c, const char *word, bool all_allowed)
{
    const char **names = calloc(c->vehicle_count + 1, sizeof *names);
    if (!names)
        return NULL;
    for (size_t i = 0; i < c->vehicle_count; i++)
        names[i] = c->vehicles[i].name;
    names[c->vehicle_count] = "all";
    char *remedy = advice(word, names, c->vehicle_count + all_allowed, NULL);
    free(names);
    return remedy;
}

bool read_vehicle(struct reading *r, const struct sheet *s, size_t row, size_t column,
                  bool all_allowed, size_t *vehicle)
{
    const struct case_data *c = r->c;
    const char *name = sheet_needed(s, row, column);
    if (!name)
        return false;
    if (all_allowed && strcmp(name, "all") == 0) {
        *vehicle = VEHICLE_ALL;
        return true;
    }
    size_t found = find_vehicle(c, name);
    if (found < c->vehicle_count) {
        *vehicle = found;
        return true;
    }
    if (c->vehicle_count)
        sheet_wrong_composed(s, row, column, "unknown vehicle",
                             vehicle_advice(c, name, all_allowed));
    return false;
}
