#include "study/part_words.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "study/case_header.h"

/* ---- differences ---- */

static const char *value_or(const struct header *h, const char *name, const char *none)
{
    const char *value = header_value(h, name);
    return value ? value : none;
}

static bool differs(const struct header *h, const struct header *other, const char *name)
{
    const char *a = header_value(h, name), *b = header_value(other, name);
    return !a || !b ? a != b : strcmp(a, b) != 0;
}

static const char *shown(const char *value)
{
    return !value ? "not given" : *value ? value : "all";
}

struct telling {
    FILE *to;
    const struct header *h, *other;
    const char *const *own;
    size_t count; /* of what was told */
};

static void separate(struct telling *t)
{
    fputs(t->count++ ? "; " : "", t->to);
}

/* Kind and files have words of their own. */
static void tell_setting(struct telling *t, const char *name)
{
    if (strcmp(name, "kind") == 0 || header_file_of(name) || header_is_among(name, t->own) ||
        strcmp(name, "case") == 0 || !differs(t->h, t->other, name))
        return;
    separate(t);
    fprintf(t->to, "%s is %s, not %s", name, shown(header_value(t->h, name)),
            shown(header_value(t->other, name)));
}

static void tell_settings(struct telling *t)
{
    for (size_t i = 0; i < t->h->count; i++)
        tell_setting(t, t->h->items[i].name);
    for (size_t i = 0; i < t->other->count; i++)
        if (!header_value(t->h, t->other->items[i].name))
            tell_setting(t, t->other->items[i].name);
}

static size_t tell_file(struct telling *t, const char *item, size_t told)
{
    if (!header_file_of(item) || !differs(t->h, t->other, item))
        return told;
    if (told == 0)
        separate(t);
    fprintf(t->to, "%s%s", told ? ", " : "", header_file_of(item));
    return told + 1;
}

/* The folder of the case may be another without being another case. */
static void tell_files(struct telling *t)
{
    size_t told = 0;
    for (size_t i = 0; i < t->h->count; i++)
        told = tell_file(t, t->h->items[i].name, told);
    for (size_t i = 0; i < t->other->count; i++)
        if (!header_value(t->h, t->other->items[i].name))
            told = tell_file(t, t->other->items[i].name, told);
    if (told == 0)
        return;
    fprintf(t->to, told == 1 ? " differs" : " differ");
    if (header_value(t->h, "case") && differs(t->h, t->other, "case"))
        fprintf(t->to, ", the case being %s, not %s", header_value(t->h, "case"),
                shown(header_value(t->other, "case")));
}

char *part_difference(const struct header *h, const struct header *other, const char *const *own)
{
    char *text = NULL, *told = NULL;
    size_t length = 0;
    const char *kind = value_or(h, "kind", "nothing");
    if (differs(h, other, "kind"))
        return text_format("is part of a %s, not of a %s", kind,
                           value_or(other, "kind", "nothing"));
    struct telling t = {open_memstream(&text, &length), h, other, own, 0};
    if (!t.to)
        return NULL;
    tell_settings(&t);
    tell_files(&t);
    if (fclose(t.to) == 0)
        told = *text ? text_format("is part of another %s: %s", kind, text) : text_copy("");
    free(text);
    return told;
}

/* ---- the command ---- */

static bool is_plain(const char *word)
{
    static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                "0123456789_./,:=@%+-";
    return *word && *word != '-' && word[strspn(word, plain)] == '\0';
}

/* As a shell reads it. */
static void put_word(FILE *f, const char *word)
{
    if (is_plain(word)) {
        fputs(word, f);
        return;
    }
    fputc('\'', f);
    for (; *word; word++) {
        if (*word == '\'')
            fputs("'\\''", f);
        else
            fputc(*word, f);
    }
    fputc('\'', f);
}

static void put_option(FILE *f, const struct header *h, const char *name)
{
    fprintf(f, " --%s ", name);
    put_word(f, value_or(h, name, ""));
}

/* Those that a case may set otherwise are named always, the rest when they are not the default. */
static void put_options(FILE *f, const struct header *h)
{
    static const char *const always[] = {"seed", "samples", "sequence"};
    static const char *const rarely[] = {"pilot", "keep", "quantities"};
    for (size_t i = 0; i < sizeof always / sizeof always[0]; i++)
        put_option(f, h, always[i]);
    for (size_t i = 0; i < sizeof rarely / sizeof rarely[0]; i++) {
        const char *value = value_or(h, rarely[i], "");
        if (*value && strcmp(value, "0") != 0)
            put_option(f, h, rarely[i]);
    }
    if (strcmp(value_or(h, "design", ""), "sobol") == 0) {
        put_option(f, h, "design");
        put_option(f, h, "points");
    }
}

char *part_command(const struct header *h, const char *folder)
{
    char *text = NULL;
    size_t length = 0;
    FILE *f = open_memstream(&text, &length);
    if (!f)
        return NULL;
    fprintf(f, "packspan %s ", value_or(h, "kind", "run"));
    put_word(f, value_or(h, "case", "CASE"));
    fprintf(f, " --out ");
    put_word(f, folder);
    put_options(f, h);
    fprintf(f, " --part");
    if (fclose(f) == 0)
        return text;
    free(text);
    return NULL;
}
