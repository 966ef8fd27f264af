#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "case/reading.h"

char *path_in_case(struct reading *r, const char *name)
{
    const char *folder = r->c->folder;
    const char *slash = strcmp(folder, "/") == 0 ? "" : "/";
    char *path = text_format("%s%s%s", folder, slash, name);
    r->no_memory = r->no_memory || !path;
    return path;
}

void list_file(struct reading *r, const char *path, const char checksum[CHECKSUM_SIZE])
{
    const char *name = path + strlen(r->c->folder);
    name += strspn(name, "/");
    if (case_files_add(&r->c->files, name, checksum) != PACKSPAN_OK)
        r->no_memory = true;
}

static bool column_is_blank(const struct table *t, size_t column)
{
    for (size_t row = 0; row < t->row_count; row++)
        if (*table_text(t, row, column))
            return false;
    return true;
}

packspan_status sheet_open(struct reading *r, const char *path, const struct table_column *columns,
                           size_t column_count, struct problems *problems, struct sheet *s)
{
    *s = (struct sheet){.problems = problems};
    size_t errors = problems->errors;
    packspan_status status = table_read(path, columns, column_count, problems, &s->table);
    r->unreadable = r->unreadable || status == PACKSPAN_IO;
    r->no_memory = r->no_memory || status == PACKSPAN_NO_MEMORY;
    if (status != PACKSPAN_OK) {
        sheet_close(s);
        return status;
    }
    list_file(r, path, s->table.checksum);
    s->damaged = problems->errors > errors;
    for (size_t i = 0; i < column_count && s->damaged; i++)
        s->lost[i] = column_is_blank(&s->table, i);
    return PACKSPAN_OK;
}

void sheet_close(struct sheet *s)
{
    table_free(&s->table);
}

void report_missing_table(struct reading *r, const char *path, const char *remedy)
{
    problems_add(&r->c->problems, SEVERITY_ERROR, path, 0, NULL, "no such file", NULL, remedy);
    r->missing = true;
}

const char *sheet_text(const struct sheet *s, size_t row, size_t column)
{
    return table_text(&s->table, row, column);
}

const char *sheet_needed(const struct sheet *s, size_t row, size_t column)
{
    const char *text = sheet_text(s, row, column);
    if (*text)
        return text;
    if (!s->lost[column])
        sheet_wrong(s, row, column, "is empty", "every row needs it");
    return NULL;
}

double sheet_needed_number(const struct sheet *s, size_t row, size_t column, bool *bad)
{
    if (sheet_needed(s, row, column))
        return table_number(&s->table, row, column, s->problems, bad);
    *bad = true;
    return NAN;
}

void sheet_wrong(const struct sheet *s, size_t row, size_t column, const char *what,
                 const char *remedy)
{
    table_problem(&s->table, row, column, SEVERITY_ERROR, what, remedy, s->problems);
}

void sheet_wrong_composed(const struct sheet *s, size_t row, size_t column, const char *what,
                          char *remedy)
{
    sheet_wrong(s, row, column, remedy ? what : NULL, remedy);
    free(remedy);
}

void sheet_twice(const struct sheet *s, size_t row, size_t column, long first_line)
{
    sheet_wrong_composed(
        s, row, column, "is given twice",
        text_format("it stands on line %ld already: keep one of the two", first_line));
}

/* ASCII letters, whatever the locale. */
bool is_name(const char *text)
{
    static const char allowed[] =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-";
    return *text && text[strspn(text, allowed)] == '\0';
}

bool sheet_check_name(const struct sheet *s, size_t row, size_t column)
{
    const char *text = sheet_text(s, row, column);
    if (strcmp(text, "all") == 0)
        sheet_wrong(s, row, column, "is a reserved word",
                    "it stands for every vehicle: choose another name");
    else if (!is_name(text))
        sheet_wrong(s, row, column, "is not a name",
                    "a name is made of letters, digits, '_' and '-'");
    else
        return true;
    return false;
}

static char *list_of(const char *before, const char *const *names, size_t count)
{
    char *list = text_copy(before);
    for (size_t i = 0; list && i < count; i++) {
        char *longer = text_format("%s%s%s", list, i ? ", " : "", names[i]);
        free(list);
        list = longer;
    }
    return list;
}

char *advice(const char *word, const char *const *names, size_t count, const char *otherwise)
{
    const char *nearest = text_nearest(word, names, count);
    if (nearest)
        return text_format("did you mean '%s'?", nearest);
    return otherwise ? text_copy(otherwise) : list_of("known: ", names, count);
}

char *advice_of(const char *word, const void *first, size_t count, size_t size)
{
    const char **names = calloc(count + 1, sizeof *names);
    if (!names)
        return NULL;
    for (size_t i = 0; i < count; i++)
        names[i] = *(char *const *)((const char *)first + i * size);
    char *remedy = advice(word, names, count, NULL);
    free(names);
    return remedy;
}

char *quantity_advice(const char *word)
{
    const char *names[QUANTITY_COUNT];
    size_t count = 0;
    for (size_t id = 0; id < QUANTITY_COUNT; id++)
        if (quantities[id].role != QUANTITY_CONDITION &&
            quantities[id].role != QUANTITY_TRIP_RESULT)
            names[count++] = quantities[id].name;
    return advice(word, names, count, "packspan quantities lists the names");
}

char *copy_or_fail(struct reading *r, const char *text)
{
    char *copy = text_copy(text);
    r->no_memory = r->no_memory || !copy;
    return copy;
}
