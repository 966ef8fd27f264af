#include "study/case_header.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"

#define TABLE_ITEM "case_checksum "
#define CYCLE_ITEM "cycle_checksum "

static void add_checksum(struct header *h, const char *what, const char *name, const char *checksum)
{
    char *item = text_format("%s%s", what, name);
    if (item)
        header_add(h, item, checksum);
    else
        h->no_memory = true;
    free(item);
}

void header_add_files(struct header *h, const struct case_data *c)
{
    const char *kind = header_value(h, "kind");
    bool is_run = kind && strcmp(kind, "run") == 0;
    for (size_t i = 0; i < c->files.count; i++)
        if (strcmp(c->files.file[i].name, "settings.csv") != 0 &&
            !(is_run && case_file_is_design(c, c->files.file[i].name)))
            add_checksum(h, TABLE_ITEM, c->files.file[i].name, c->files.file[i].checksum);
    for (size_t i = 0; i < c->cycle_count; i++)
        if (!c->cycles[i].file)
            add_checksum(h, CYCLE_ITEM, c->cycles[i].name, c->cycles[i].checksum);
}

void header_add_folder(struct header *h, const struct case_data *c)
{
    char *path = realpath(c->folder, NULL);
    header_add(h, "case", path ? path : c->folder);
    free(path);
}

void header_add_case(struct header *h, const char *kind, const struct case_data *c)
{
    const struct settings *s = &c->settings;
    header_add(h, "kind", kind);
    header_add(h, "version", PACKSPAN_VERSION);
    header_add_folder(h, c);
    header_add_whole(h, "seed", s->seed);
    header_add_whole(h, "samples", settings_samples(s));
    header_add(h, "sequence", s->sobol ? "sobol" : "pcg");
    header_add_whole(h, "effective", s->effective);
    header_add_whole(h, "stable", s->stable);
    header_add_whole(h, "pilot", s->pilot);
    header_add_whole(h, "keep", s->keep);
    header_add_files(h, c);
}

const char *header_file_of(const char *item)
{
    size_t length = sizeof TABLE_ITEM - 1;
    if (strncmp(item, TABLE_ITEM, length) == 0)
        return item + length;
    length = sizeof CYCLE_ITEM - 1;
    return strncmp(item, CYCLE_ITEM, length) == 0 ? item + length : NULL;
}

static void report(struct problems *problems, const struct case_data *c, const char *item,
                   const char *what)
{
    bool is_table = strncmp(item, TABLE_ITEM, sizeof TABLE_ITEM - 1) == 0;
    char *file = is_table ? text_format("%s/%s", c->folder, header_file_of(item))
                          : text_format("packspan's own cycle %s", header_file_of(item));
    if (file)
        problems_add(problems, SEVERITY_ERROR, file, 0, NULL, what, NULL, NULL);
    else
        problems->out_of_memory = true;
    free(file);
}

void header_check_case(const struct header *h, const struct case_data *c, struct problems *problems)
{
    struct header now = {0};
    const char *kind = header_value(h, "kind");
    header_add(&now, "kind", kind ? kind : "");
    header_add_files(&now, c);
    for (size_t i = 1; i < now.count; i++) {
        const char *then = header_value(h, now.items[i].name);
        if (!then)
            report(problems, c, now.items[i].name, "was not there when the parts were made");
        else if (strcmp(then, now.items[i].value) != 0)
            report(problems, c, now.items[i].name, "has changed since the parts were made");
    }
    for (size_t i = 0; i < h->count; i++)
        if (header_file_of(h->items[i].name) && !header_value(&now, h->items[i].name))
            report(problems, c, h->items[i].name, "is gone since the parts were made");
    problems->out_of_memory = problems->out_of_memory || now.no_memory;
    header_free(&now);
}
