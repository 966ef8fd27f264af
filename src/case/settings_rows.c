#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

enum { SETTING, VALUE, COLUMN_COUNT };
static const struct table_column columns[COLUMN_COUNT] = {
    [SETTING] = {"setting", true}, [VALUE] = {"value", true}};

static void set(struct reading *r, const struct sheet *s, size_t row, enum setting_id id)
{
    if (s->lost[VALUE] || setting_set(&r->c->settings, id, sheet_text(s, row, VALUE)))
        return;
    char *what = text_format("is not possible for %s", setting_infos[id].name);
    sheet_wrong(s, row, VALUE, what, setting_infos[id].range);
    free(what);
}

static void read_row(struct reading *r, const struct sheet *s, size_t row,
                     long first_line[SETTING_COUNT])
{
    const char *name = sheet_needed(s, row, SETTING);
    if (!name)
        return;
    enum setting_id id = setting_find(name);
    if (id == SETTING_COUNT) {
        const char *names[SETTING_COUNT];
        for (size_t i = 0; i < SETTING_COUNT; i++)
            names[i] = setting_infos[i].name;
        sheet_wrong_composed(s, row, SETTING, "unknown setting",
                             advice(name, names, SETTING_COUNT, NULL));
        return;
    }
    if (first_line[id])
        sheet_twice(s, row, SETTING, first_line[id]);
    else
        first_line[id] = s->table.lines[row];
    set(r, s, row, id);
}

void read_settings(struct reading *r)
{
    long first_line[SETTING_COUNT] = {0};
    char *path = path_in_case(r, "settings.csv");
    struct sheet s;
    if (path && sheet_open(r, path, columns, COLUMN_COUNT, &r->c->problems, &s) == PACKSPAN_OK) {
        for (size_t row = 0; row < s.table.row_count; row++)
            read_row(r, &s, row, first_line);
        sheet_close(&s);
    }
    free(path);
}
