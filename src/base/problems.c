#include "base/problems.h"

#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define SHOWN_BYTES 60
#define ELLIPSIS "…"

static void free_problem(struct problem *p)
{
    free(p->file);
    free(p->column);
    free(p->what);
    free(p->text);
    free(p->remedy);
}

static bool make_room(struct problems *list)
{
    if (list->count < list->capacity)
        return true;
    size_t capacity = list->capacity ? 2 * list->capacity : 16;
    struct problem *items = reallocarray(list->items, capacity, sizeof *items);
    if (!items)
        return false;
    list->items = items;
    list->capacity = capacity;
    return true;
}

/* False when out of memory; a NULL text stays NULL. */
static bool copied(const char *text, char **copy)
{
    *copy = text_copy(text);
    return *copy || !text;
}

void problems_add(struct problems *list, enum severity severity, const char *file, long line,
                  const char *column, const char *what, const char *text, const char *remedy)
{
    struct problem p = {.severity = severity, .line = line};
    /* `what` is NULL when the caller could not compose it. */
    bool complete = what && make_room(list) && copied(file, &p.file) && copied(column, &p.column) &&
                    copied(what, &p.what) && copied(text, &p.text) && copied(remedy, &p.remedy);
    if (!complete) {
        free_problem(&p);
        list->out_of_memory = true;
        list->errors++;
        return;
    }
    list->items[list->count++] = p;
    if (severity == SEVERITY_ERROR)
        list->errors++;
}

static bool comes_before(const struct problem *a, const struct problem *b)
{
    int order = strcmp(a->file, b->file);
    return order < 0 || (order == 0 && a->line < b->line);
}

static void merge_sort(struct problem *items, size_t count, struct problem *scratch)
{
    if (count < 2)
        return;
    size_t half = count / 2;
    merge_sort(items, half, scratch);
    merge_sort(items + half, count - half, scratch);
    memcpy(scratch, items, half * sizeof *items);
    size_t left = 0, right = half;
    for (size_t i = 0; left < half; i++) {
        bool take_right = right < count && comes_before(&items[right], &scratch[left]);
        items[i] = take_right ? items[right++] : scratch[left++];
    }
}

/* Merge sort, as qsort() need not keep the order of equals. */
void problems_repeat(struct problems *list, const struct problem *p)
{
    problems_add(list, p->severity, p->file, p->line, p->column, p->what, p->text, p->remedy);
}

void problems_sort(struct problems *list)
{
    if (list->count < 2)
        return;
    struct problem *scratch = calloc(list->count / 2, sizeof *scratch);
    if (!scratch)
        return; /* the order in which they were found will do */
    merge_sort(list->items, list->count, scratch);
    free(scratch);
}

void problems_clear(struct problems *list)
{
    for (size_t i = 0; i < list->count; i++)
        free_problem(&list->items[i]);
    free(list->items);
    *list = (struct problems){0};
}

/* Control characters, and those that reorder or hide the text around them on a terminal. */
static bool is_printable(uint32_t code)
{
    static const struct {
        uint32_t first, last;
    } hidden[] = {{0x00, 0x1f},     {0x7f, 0x9f},     {0x200b, 0x200f},
                  {0x2028, 0x202e}, {0x2060, 0x206f}, {0xfeff, 0xfeff}};
    for (size_t i = 0; i < sizeof hidden / sizeof hidden[0]; i++)
        if (code >= hidden[i].first && code <= hidden[i].last)
            return false;
    return true;
}

static void put_text(FILE *stream, const char *text, size_t limit)
{
    size_t length = strlen(text);
    for (size_t at = 0, size; at < length; at += size) {
        uint32_t code = 0;
        size_t character = text_character(text + at, length - at, &code);
        size = character ? character : 1;
        if (at + size > limit) {
            fputs(ELLIPSIS, stream);
            return;
        }
        if (character && is_printable(code)) {
            fwrite(text + at, 1, size, stream);
        } else {
            for (size_t i = 0; i < size; i++)
                fprintf(stream, "\\x%02x", (unsigned char)text[at + i]);
        }
    }
}

static void put_problem(FILE *stream, const struct problem *p)
{
    put_text(stream, p->file, SIZE_MAX);
    if (p->line)
        fprintf(stream, ":%ld", p->line);
    fputs(": ", stream);
    if (p->column) {
        fputs("column '", stream);
        put_text(stream, p->column, SIZE_MAX);
        fputs("': ", stream);
    }
    if (p->severity == SEVERITY_WARNING)
        fputs("warning: ", stream);
    put_text(stream, p->what, SIZE_MAX);
    if (p->text) {
        fputs(": '", stream);
        put_text(stream, p->text, SHOWN_BYTES);
        fputs("'", stream);
    }
    if (p->remedy) {
        fputs("; ", stream);
        put_text(stream, p->remedy, SIZE_MAX);
    }
}

char *problem_text(const struct problem *p)
{
    char *text = NULL;
    size_t size;
    FILE *stream = open_memstream(&text, &size);
    if (!stream)
        return NULL;
    put_problem(stream, p);
    bool failed = ferror(stream);
    if (fclose(stream) != 0 || failed) {
        free(text);
        return NULL;
    }
    return text;
}
