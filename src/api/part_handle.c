#include <errno.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "api/case_handle.h"
#include "base/file.h"
#include "base/text.h"
#include "results/results.h"
#include "study/case_header.h"
#include "study/merge.h"
#include "study/own_part.h"
#include "study/study_part.h"

/* ---- one part ---- */

void packspan_part_name(const packspan_case *c, char *name, size_t size)
{
    char *path = c->data.settings.part.parts > 0 ? run_part_path("", c->data.settings.part) : NULL;
    snprintf(name, size, "%s", path ? path + 1 : ""); /* without the slash */
    free(path);
}

static packspan_status wrong_use(packspan_case *c, char *text)
{
    return case_add_problem(c, SEVERITY_ERROR, text) ? PACKSPAN_USAGE : PACKSPAN_NO_MEMORY;
}

static packspan_status check_settings(packspan_case *c)
{
    const struct settings *s = &c->data.settings;
    uint64_t blocks = run_block_count(&c->set);
    if (s->part.parts == 0)
        return wrong_use(c, text_copy("part is not set"));
    if (s->stable > 0 || s->effective > 0)
        return wrong_use(c, text_format("part and %s exclude each other: when to stop depends on "
                                        "the whole run",
                                        s->stable > 0 ? "stable" : "effective"));
    if (s->part.parts > blocks)
        return wrong_use(c, text_format("part is %" PRIu64 "/%" PRIu64 " but %" PRIu64
                                        " samples are only %" PRIu64 " block%s of 1024; at most "
                                        "%" PRIu64 " part%s can share them",
                                        s->part.part, s->part.parts, settings_samples(s), blocks,
                                        blocks == 1 ? "" : "s", blocks, blocks == 1 ? "" : "s"));
    return PACKSPAN_OK;
}

static void make_header(const packspan_case *c, struct header *h)
{
    header_add_case(h, "run", &c->data);
    header_add_whole(h, "part", c->data.settings.part.part);
    header_add_whole(h, "parts", c->data.settings.part.parts);
}

/* Of a part that is there already. */
static packspan_part_news news_of(const struct part_file *p)
{
    struct byte_reader r = {p->payload, p->payload + p->length, false};
    return take_whole(&r) > 0 ? PACKSPAN_PART_OUTGROWN : PACKSPAN_PART_WAS_THERE;
}

static packspan_status find_part(packspan_case *c, const char *path, const struct header *header,
                                 enum own_part *found, packspan_part_news *news)
{
    struct problems problems = {0};
    struct part_file p;
    packspan_status status = own_part_find(path, header, &problems, found, &p);
    int reason = errno;
    if (status == PACKSPAN_OK && *found == OWN_PART_THERE) {
        *news = news_of(&p);
        part_file_free(&p);
    }
    bool told = case_take_problems(c, &problems);
    problems_clear(&problems);
    errno = reason;
    return told ? status : PACKSPAN_NO_MEMORY;
}

static packspan_status write_part(packspan_case *c, const char *path, const struct header *header,
                                  uint64_t pilot, struct run_outcome *share)
{
    struct byte_writer w = {0};
    run_part_put(share, pilot, &w);
    packspan_status status =
        w.no_memory ? PACKSPAN_NO_MEMORY : part_file_write(path, header, w.bytes, w.length);
    int reason = errno;
    free(w.bytes);
    if (status == PACKSPAN_IO)
        case_add_problem(c, SEVERITY_ERROR, text_format("%s: %s", path, strerror(reason)));
    errno = reason;
    return status;
}

static packspan_status make_part(packspan_case *c, const char *path, const struct header *header,
                                 packspan_progress *progress, void *user, packspan_part_news *news)
{
    struct run_outcome share;
    uint64_t from, to, pilot = 0;
    part_share(c->data.settings.part, run_block_count(&c->set), &from, &to);
    packspan_status status = run_share(&c->set, from, to, progress, user, &pilot, &share);
    if (status == PACKSPAN_BAD_CASE)
        status = refuse_run(c, &share);
    if (status == PACKSPAN_OK)
        status = write_part(c, path, header, pilot, &share);
    if (status == PACKSPAN_OK)
        *news = pilot > 0 ? PACKSPAN_PART_OUTGROWN : PACKSPAN_PART_WRITTEN;
    run_free(&share);
    return status;
}

packspan_status packspan_run_part(packspan_case *c, const char *folder, packspan_progress *progress,
                                  void *user, packspan_part_news *news)
{
    struct header header = {0};
    enum own_part found = OWN_PART_NONE;
    packspan_status status = check_settings(c);
    if (status != PACKSPAN_OK)
        return status;
    char *path = run_part_path(folder, c->data.settings.part);
    make_header(c, &header);
    status =
        path && !header.no_memory ? find_part(c, path, &header, &found, news) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK && found != OWN_PART_THERE)
        status = make_part(c, path, &header, progress, user, news);
    if (status == PACKSPAN_OK && found == OWN_PART_DAMAGED && *news == PACKSPAN_PART_WRITTEN)
        *news = PACKSPAN_PART_REMADE;
    header_free(&header);
    free(path);
    return status;
}

/* ---- merging ---- */

struct packspan_merge {
    struct part_set parts;
    packspan_case *c; /* NULL when the parts are not good */
    struct merge_problem {
        char *text;
        bool is_error;
    } * problems;
    size_t problem_count;
};

static bool add_problem(packspan_merge *m, enum severity severity, char *text)
{
    struct merge_problem *longer = reallocarray(m->problems, m->problem_count + 1, sizeof *longer);
    if (longer)
        m->problems = longer;
    if (!longer || !text) {
        free(text);
        return false;
    }
    longer[m->problem_count++] = (struct merge_problem){text, severity == SEVERITY_ERROR};
    return true;
}

/* Hands over and clears; the status, or PACKSPAN_NO_MEMORY. */
static packspan_status take_problems(packspan_merge *m, struct problems *list,
                                     packspan_status status)
{
    bool taken = !list->out_of_memory;
    for (size_t i = 0; i < list->count && taken; i++)
        taken = add_problem(m, list->items[i].severity, problem_text(&list->items[i]));
    problems_clear(list);
    return taken ? status : PACKSPAN_NO_MEMORY;
}

static packspan_status take_case_problems(packspan_merge *m, packspan_status status)
{
    bool taken = true;
    for (size_t i = 0; m->c && i < packspan_case_problem_count(m->c) && taken; i++)
        if (packspan_case_problem_is_error(m->c, i))
            taken = add_problem(m, SEVERITY_ERROR, text_copy(packspan_case_problem(m->c, i)));
    return taken ? status : PACKSPAN_NO_MEMORY;
}

static bool is_study(const struct header *h)
{
    const char *kind = header_value(h, "kind");
    return kind && strcmp(kind, "study") == 0;
}

/* The settings of the parts, instead of those of the case; `names` end with NULL. */
static bool take_named(packspan_case *c, const struct header *h, const char *const *names)
{
    bool taken = packspan_case_set(c, "part", "all") == PACKSPAN_OK;
    for (; *names && taken; names++) {
        const char *value = header_value(h, *names);
        taken = value && packspan_case_set(c, *names, value) == PACKSPAN_OK;
    }
    return taken;
}

static bool take_settings(packspan_case *c, const struct header *h)
{
    static const char *const of_run[] = {"seed", "samples",   "sequence", "pilot",
                                         "keep", "effective", "stable",   NULL};
    static const char *const of_study[] = {"seed",  "samples",    "sequence",
                                           "pilot", "quantities", NULL};
    static const char *const of_design[] = {"design", "points", NULL};
    const char *design = header_value(h, "design");
    if (!is_study(h))
        return take_named(c, h, of_run);
    bool is_sobol = design && strcmp(design, "sobol") == 0;
    return take_named(c, h, of_study) &&
           (is_sobol ? take_named(c, h, of_design)
                     : packspan_case_set(c, "design", "grid") == PACKSPAN_OK &&
                           packspan_case_set(c, "points", "0") == PACKSPAN_OK);
}

/* A bad case may have become so since: what has changed is told first. */
static packspan_status open_case(packspan_merge *m, const char *folder)
{
    const struct header *h = &m->parts.header;
    struct problems problems = {0};
    const char *then = header_value(h, "case");
    packspan_status status = packspan_case_open(folder ? folder : then ? then : "", &m->c);
    if (status == PACKSPAN_NO_MEMORY)
        return status;
    if (status == PACKSPAN_MISSING)
        return take_case_problems(m, status);
    header_check_case(h, &m->c->data, &problems);
    if (problems.count == 0 && status == PACKSPAN_OK && !take_settings(m->c, h)) {
        problems_add(&problems, SEVERITY_ERROR, m->parts.entries[0].path, 0, NULL,
                     "has a setting that this packspan does not know", NULL, NULL);
    }
    if (problems.count > 0)
        status = PACKSPAN_BAD_CASE;
    status = take_problems(m, &problems, status);
    return status == PACKSPAN_OK ? status : take_case_problems(m, status);
}

static packspan_status check_kind(packspan_merge *m)
{
    const char *kind = header_value(&m->parts.header, "kind");
    const char *version = header_value(&m->parts.header, "version");
    const char *path = m->parts.entries[0].path;
    char *text = NULL;
    if (!kind || (strcmp(kind, "run") != 0 && strcmp(kind, "study") != 0))
        text = text_format("%s: is part of a %s, not of a run or a study", path,
                           kind ? kind : "nothing");
    else if (!version || strcmp(version, PACKSPAN_VERSION) != 0)
        text =
            text_format("%s: was written by packspan %s, but this is packspan %s; make all parts "
                        "and merge them with the same version",
                        path, version ? version : "of no version", PACKSPAN_VERSION);
    else
        return PACKSPAN_OK;
    return add_problem(m, SEVERITY_ERROR, text) ? PACKSPAN_BAD_CASE : PACKSPAN_NO_MEMORY;
}

packspan_status packspan_merge_open(const char *const *paths, size_t count, const char *case_folder,
                                    packspan_merge **out)
{
    struct problems problems = {0};
    packspan_merge *m = calloc(1, sizeof *m);
    if (!m)
        return PACKSPAN_NO_MEMORY;
    packspan_status status = part_set_open(paths, count, &problems, &m->parts);
    status = take_problems(m, &problems, status);
    if (status == PACKSPAN_OK && m->parts.count == 0)
        status = PACKSPAN_USAGE;
    if (status == PACKSPAN_OK)
        status = check_kind(m);
    if (status == PACKSPAN_OK)
        status = open_case(m, case_folder);
    if (status == PACKSPAN_NO_MEMORY) {
        packspan_merge_free(m);
        return status;
    }
    *out = m;
    return status;
}

void packspan_merge_free(packspan_merge *m)
{
    if (!m)
        return;
    for (size_t i = 0; i < m->problem_count; i++)
        free(m->problems[i].text);
    free(m->problems);
    part_set_free(&m->parts);
    packspan_case_free(m->c);
    free(m);
}

size_t packspan_merge_problem_count(const packspan_merge *m)
{
    return m->problem_count;
}

const char *packspan_merge_problem(const packspan_merge *m, size_t i)
{
    return m->problems[i].text;
}

bool packspan_merge_problem_is_error(const packspan_merge *m, size_t i)
{
    return m->problems[i].is_error;
}

packspan_case *packspan_merge_case(packspan_merge *m)
{
    return m->c;
}

packspan_status packspan_merge_run(packspan_merge *m, packspan_progress *progress, void *user,
                                   packspan_results **out)
{
    struct run_outcome outcome;
    struct problems problems = {0};
    packspan_status status = merge_run(&m->parts, &m->c->set, progress, user, &problems, &outcome);
    bool is_refused = status == PACKSPAN_BAD_CASE && problems.count == 0;
    status = take_problems(m, &problems, status);
    if (is_refused && status == PACKSPAN_BAD_CASE)
        status = take_case_problems(m, refuse_run(m->c, &outcome));
    if (status == PACKSPAN_OK)
        return results_make(&outcome, ROW_FULL, out);
    run_free(&outcome);
    return status;
}

bool packspan_merge_is_study(const packspan_merge *m)
{
    return is_study(&m->parts.header);
}

packspan_status packspan_merge_study(packspan_merge *m, const char *folder,
                                     packspan_study_report *report)
{
    struct problems problems = {0};
    struct study study;
    struct study_report r = {0};
    char *path = NULL;
    packspan_status status = study_open(&m->c->data, &problems, &study);
    if (status == PACKSPAN_OK && results_would_spoil_case(folder)) {
        errno = EEXIST;
        status = PACKSPAN_USAGE;
    }
    if (status == PACKSPAN_OK)
        status = file_make_folder(folder);
    if (status == PACKSPAN_OK)
        status = study_merge(&m->parts, &study, folder, &problems, &r, &path);
    if (status == PACKSPAN_OK)
        status = study_remarks(&study, folder, &r, &problems);
    for (size_t i = 0; i < study.warnings.count && status == PACKSPAN_OK; i++)
        problems_repeat(&problems, &study.warnings.items[i]);
    if (status == PACKSPAN_IO)
        problems_add(&problems, SEVERITY_ERROR, path ? path : folder, 0, NULL, strerror(errno),
                     NULL, NULL);
    free(path);
    study_close(&study);
    *report = (packspan_study_report){.done = r.done, .refused = study_refused(&r)};
    return take_problems(m, &problems, status);
}
