#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "api/case_handle.h"
#include "base/text.h"
#include "results/results.h"
#include "study/study.h"

struct packspan_study {
    struct study study;
    char *failure, *point_text;
    char **warnings, **remarks;
    size_t warning_count, remark_count, refusal_count; /* remarks begin with refusals */
};

/* A text each, as far as there is memory for them. */
static bool word_problems(const struct problems *list, char ***texts, size_t *count)
{
    *texts = calloc(list->count + 1, sizeof **texts);
    bool made = *texts;
    for (size_t i = 0; i < list->count && made; i++) {
        (*texts)[i] = problem_text(&list->items[i]);
        made = (*texts)[i];
        *count += made;
    }
    return made;
}

static void forget_texts(char ***texts, size_t *count)
{
    for (size_t i = 0; i < *count; i++)
        free((*texts)[i]);
    free(*texts);
    *texts = NULL;
    *count = 0;
}

bool packspan_case_has_study(const packspan_case *c)
{
    return c->data.study.axis_count > 0;
}

/* As far as its tables could be understood. */
static packspan_status check_wrong_case(const struct case_data *data, struct problems *problems)
{
    struct design d;
    const char *contradiction = NULL; /* is for a case that could be run */
    packspan_status status = design_open(data, &d, &contradiction);
    if (status == PACKSPAN_OK)
        status = design_check(&d, problems);
    design_close(&d);
    return status == PACKSPAN_NO_MEMORY ? status : PACKSPAN_BAD_CASE;
}

packspan_status packspan_study_open(packspan_case *c, packspan_study **out)
{
    packspan_study *s = calloc(1, sizeof *s);
    if (!s)
        return PACKSPAN_NO_MEMORY;
    struct problems problems = {0};
    packspan_status status = c->is_wrong ? check_wrong_case(&c->data, &problems)
                                         : study_open(&c->data, &problems, &s->study);
    problems_sort(&problems);
    for (size_t i = 0; i < problems.count; i++)
        if (!case_add_problem(c, problems.items[i].severity, problem_text(&problems.items[i])))
            status = PACKSPAN_NO_MEMORY;
    problems_clear(&problems);
    if (status == PACKSPAN_OK &&
        !word_problems(&s->study.warnings, &s->warnings, &s->warning_count))
        status = PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        *out = s;
    else
        packspan_study_free(s);
    return status;
}

static packspan_status take_remarks(packspan_study *s, const char *folder,
                                    const struct study_report *report)
{
    struct problems problems = {0};
    packspan_status status = study_remarks(&s->study, folder, report, &problems);
    if (status == PACKSPAN_OK && !word_problems(&problems, &s->remarks, &s->remark_count))
        status = PACKSPAN_NO_MEMORY;
    s->refusal_count = problems.errors;
    problems_clear(&problems);
    return status;
}

void packspan_study_free(packspan_study *s)
{
    if (!s)
        return;
    study_close(&s->study);
    free(s->failure);
    free(s->point_text);
    forget_texts(&s->warnings, &s->warning_count);
    forget_texts(&s->remarks, &s->remark_count);
    free(s);
}

uint64_t packspan_study_points(const packspan_study *s)
{
    return s->study.count;
}

uint64_t packspan_study_all_points(const packspan_study *s)
{
    return s->study.design.points;
}

uint64_t packspan_study_samples(const packspan_study *s)
{
    return s->study.samples;
}

size_t packspan_study_rows(const packspan_study *s)
{
    return s->study.layout.row_count + s->study.layout.claim_count;
}

unsigned packspan_study_threads(const packspan_study *s)
{
    return study_threads(&s->study);
}

uint64_t packspan_study_journal_bytes(const packspan_study *s)
{
    return study_journal_size(&s->study);
}

uint64_t packspan_study_table_bytes(const packspan_study *s)
{
    return study_table_size(&s->study);
}

packspan_status packspan_study_time(packspan_study *s, double *seconds)
{
    return study_time(&s->study, seconds);
}

packspan_status packspan_study_run(packspan_study *s, const char *folder,
                                   packspan_study_watch *watch, void *user,
                                   packspan_study_report *report)
{
    struct study_report r;
    free(s->failure);
    s->failure = NULL;
    forget_texts(&s->remarks, &s->remark_count);
    s->refusal_count = 0;
    *report = (packspan_study_report){0};
    if (results_would_spoil_case(folder)) {
        s->failure =
            text_format("%s holds a case, whose study.csv the results would replace", folder);
        errno = EEXIST;
        return PACKSPAN_USAGE;
    }
    packspan_status status = study_run(&s->study, folder, watch, user, &r, &s->failure);
    if (status == PACKSPAN_OK)
        status = take_remarks(s, folder, &r);
    *report = (packspan_study_report){.done = r.done,
                                      .found = r.found.done,
                                      .dropped = r.found.damaged,
                                      .mended = r.found.header_damaged,
                                      .was_complete = r.was_complete,
                                      .replaced = r.replaced,
                                      .part_damaged = r.part_damaged,
                                      .out_of_time = r.out_of_time,
                                      .in_use = r.found.in_use,
                                      .refused = study_refused(&r),
                                      .seconds = r.seconds};
    return status == PACKSPAN_OK && r.stopped ? PACKSPAN_INTERRUPTED : status;
}

size_t packspan_study_warning_count(const packspan_study *s)
{
    return s->warning_count;
}

const char *packspan_study_warning(const packspan_study *s, size_t i)
{
    return s->warnings[i];
}

size_t packspan_study_remark_count(const packspan_study *s)
{
    return s->remark_count;
}

const char *packspan_study_remark(const packspan_study *s, size_t i)
{
    return s->remarks[i];
}

bool packspan_study_remark_is_refusal(const packspan_study *s, size_t i)
{
    return i < s->refusal_count;
}

const char *packspan_study_failure(const packspan_study *s)
{
    return s->failure ? s->failure : "";
}

const char *packspan_study_point_text(packspan_study *s, uint64_t point)
{
    free(s->point_text);
    s->point_text = study_point_text(&s->study, point);
    return s->point_text ? s->point_text : "";
}
