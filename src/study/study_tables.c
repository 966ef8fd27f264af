/* The tables of a study. */
#include <csv.h>
#include <errno.h>
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/decimal.h"
#include "base/file.h"
#include "base/text.h"
#include "study/run_part.h"
#include "study/study.h"

const char study_record_name[] = "study_run.csv";

/* RFC 4180: quoted only where it must be. */
static void put_text(FILE *f, const char *text)
{
    if (strpbrk(text, ",\"\r\n"))
        csv_fwrite(f, text, strlen(text));
    else
        fputs(text, f);
}

/* A number that may be missing. */
static void put_number(FILE *f, double value)
{
    char text[DECIMAL_SIZE];
    fputc(',', f);
    if (isfinite(value)) {
        decimal_write(value, text);
        fputs(text, f);
    }
}

/* ---- headers ---- */

static packspan_status put_point_header(FILE *f, const struct study *s)
{
    const struct study_table *t = s->design.table;
    fputs("point", f);
    for (size_t a = 0; a < t->axis_count; a++) {
        char *name = text_format("%s (%s)", t->axes[a].name, t->knobs[t->axes[a].knob].unit);
        if (!name)
            return PACKSPAN_NO_MEMORY;
        fputc(',', f);
        put_text(f, name);
        free(name);
    }
    return PACKSPAN_OK;
}

static void put_candidate_header(FILE *f, const struct study *s)
{
    if (s->layout.has_candidates)
        fputs(",candidate", f);
}

static packspan_status put_rows_header(FILE *f, const struct study *s)
{
    packspan_status status = put_point_header(f, s);
    put_candidate_header(f, s);
    fputs(",vehicle,quantity,unit", f);
    for (int i = 0; i < RECORD_STATISTICS; i++)
        fprintf(f, ",%s", packspan_statistic_name(record_statistics[i]));
    fputs(",effective_samples\n", f);
    return status;
}

static packspan_status put_claims_header(FILE *f, const struct study *s)
{
    packspan_status status = put_point_header(f, s);
    put_candidate_header(f, s);
    fputs(",claim,vehicle,quantity,probability,probability_error\n", f);
    return status;
}

static packspan_status put_outcomes_header(FILE *f, const struct study *s)
{
    packspan_status status = put_point_header(f, s);
    fputs(",outcome,invalid_samples,effective_samples,warnings\n", f);
    return status;
}

/* ---- rows ---- */

/* What all rows of a point begin with; malloc'd. */
static char *point_start(const struct study *s, uint64_t point, double *values)
{
    const struct study_table *t = s->design.table;
    char *text = NULL;
    size_t length = 0;
    FILE *f = open_memstream(&text, &length);
    if (!f)
        return NULL;
    if (t->names)
        put_text(f, t->names[point]);
    else
        fprintf(f, "%" PRIu64, point + 1);
    design_values(&s->design, point, values);
    for (size_t a = 0; a < t->axis_count; a++)
        put_number(f, values[t->axes[a].knob]);
    if (fclose(f) == 0)
        return text;
    free(text);
    return NULL;
}

static void put_rows(FILE *f, const struct study *s, const char *start, const struct record *record)
{
    const struct record_layout *l = &s->layout;
    const double *numbers = record->numbers;
    for (size_t r = 0; r < l->row_count; r++) {
        const struct record_row *row = &l->rows[r];
        const double *n = record_row_numbers(l, numbers, r);
        fputs(start, f);
        if (l->has_candidates)
            fprintf(f, ",%s", row->candidate);
        fprintf(f, ",%s,%s,%s", row->vehicle, row->quantity, row->unit);
        for (int i = 0; i < RECORD_STATISTICS; i++)
            put_number(f, n[i]);
        put_number(f, record_effective(numbers, row->group));
        fputc('\n', f);
    }
}

static void put_claims(FILE *f, const struct study *s, const char *start,
                       const struct record *record)
{
    const struct record_layout *l = &s->layout;
    const double *numbers = record->numbers;
    for (size_t k = 0; k < l->claim_count; k++) {
        const struct record_claim *row = &l->claims[k];
        const double *n = record_claim_numbers(l, numbers, k);
        fputs(start, f);
        if (l->has_candidates)
            fprintf(f, ",%s", row->candidate);
        fputc(',', f);
        put_text(f, row->claim->name);
        fprintf(f, ",%s,%s", row->vehicle, row->quantity);
        for (int i = 0; i < RECORD_CLAIM_NUMBERS; i++)
            put_number(f, n[i]);
        fputc('\n', f);
    }
}

static void put_outcome(FILE *f, const struct study *s, const char *start,
                        const struct record *record)
{
    (void)s;
    fprintf(f, "%s,%s%s,%" PRIu64, start,
            record->fate == POINT_DONE ? "" : "refused: ", point_fate_text(record->fate),
            record->invalid);
    put_number(f, record_effective(record->numbers, 0));
    const char *before = ",";
    for (unsigned i = 0; i < CAUTIONS; i++)
        if (record->cautions >> i & 1) {
            fprintf(f, "%s%s", before, caution_text(i));
            before = "; ";
        }
    fputs(*before == ',' ? ",\n" : "\n", f);
}

/* ---- files ---- */

/* The tables with rows of points, in the order in which they are written. */
static const struct points_table {
    const char *name;
    packspan_status (*put_header)(FILE *f, const struct study *s);
    void (*put)(FILE *f, const struct study *s, const char *start, const struct record *record);
} points_tables[] = {
    {"study.csv", put_rows_header, put_rows},
    {"study_claims.csv", put_claims_header, put_claims},
    {"study_points.csv", put_outcomes_header, put_outcome},
};
enum { POINTS_TABLES = sizeof points_tables / sizeof points_tables[0], OUTCOMES = 2 };

struct drafts {
    struct file_draft of[POINTS_TABLES];
    char *paths[POINTS_TABLES];
};

static packspan_status put_points(struct drafts *d, const struct study *s,
                                  const struct record_source *records, struct record *record,
                                  double *values, struct study_report *report)
{
    packspan_status status = PACKSPAN_OK;
    bool failed = false; /* committing them tells why */
    for (uint64_t i = 0; i < records->count && status == PACKSPAN_OK && !failed; i++) {
        status = records->next(records->from, record);
        char *start = status == PACKSPAN_OK ? point_start(s, record->point, values) : NULL;
        if (status == PACKSPAN_OK && !start)
            status = PACKSPAN_NO_MEMORY;
        for (size_t t = 0; t < POINTS_TABLES && start; t++) {
            points_tables[t].put(d->of[t].stream, s, start, record);
            failed = failed || ferror(d->of[t].stream);
        }
        if (start)
            record_tally(record, &report->told);
        free(start);
    }
    return status;
}

static packspan_status write_drafts(struct drafts *d, const struct study *s,
                                    const struct record_source *records,
                                    struct study_report *report)
{
    struct record record = {.numbers = calloc(s->layout.numbers + 1, sizeof(double))};
    double *values = calloc(s->design.table->knob_count + 1, sizeof *values);
    packspan_status status = record.numbers && values ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (size_t t = 0; t < POINTS_TABLES && status == PACKSPAN_OK; t++)
        status = points_tables[t].put_header(d->of[t].stream, s);
    if (status == PACKSPAN_OK)
        status = put_points(d, s, records, &record, values, report);
    free(record.numbers);
    free(values);
    return status;
}

/* Finishes a draft; the first failure is the one that counts. */
static packspan_status finish(struct file_draft *draft, packspan_status status, char *draft_path,
                              char **path)
{
    if (status == PACKSPAN_OK) {
        status = file_commit(draft);
        if (status != PACKSPAN_OK) {
            *path = draft_path;
            return status;
        }
    } else {
        int reason = errno;
        file_abandon(draft);
        errno = reason;
    }
    free(draft_path);
    return status;
}

/* ---- study_run.csv ---- */

static void put_item(FILE *f, const char *item, const char *value)
{
    put_text(f, item);
    fputc(',', f);
    put_text(f, value);
    fputc('\n', f);
}

char *study_record_line(const char *item, const char *value)
{
    char *text = NULL;
    size_t length = 0;
    FILE *f = open_memstream(&text, &length);
    if (!f)
        return NULL;
    put_item(f, item, value);
    if (fclose(f) != 0) {
        free(text);
        return NULL;
    }
    text[length - 1] = '\0'; /* the line end */
    return text;
}

/* How many points there are of a kind, and the first. */
static void put_tally(FILE *f, const struct study *s, const char *kind, const char *text,
                      const struct point_tally *t)
{
    fprintf(f, "%s: %s,%" PRIu64 "\n", kind, text, t->count);
    if (t->count == 0)
        return;
    fprintf(f, "first %s: %s,", kind, text);
    if (s->design.table->names)
        put_text(f, s->design.table->names[t->first]);
    else
        fprintf(f, "%" PRIu64, t->first + 1);
    fputc('\n', f);
}

static void put_tallies(FILE *f, const struct study *s, const struct point_tallies *t)
{
    for (unsigned i = POINT_DONE + 1; i < POINT_FATES; i++)
        put_tally(f, s, "refused", point_fate_text(i), &t->fates[i]);
    for (unsigned i = 0; i < CAUTIONS; i++)
        if (t->cautions[i].count > 0)
            put_tally(f, s, "warning", caution_text(i), &t->cautions[i]);
}

/* Wherever the case is, as in run.csv. */
static packspan_status put_warnings(FILE *f, const struct study *s)
{
    for (size_t i = 0; i < s->warnings.count; i++) {
        char *text = problem_text(&s->warnings.items[i]);
        char *bare = text ? text_without_folder(text, s->source->folder) : NULL;
        free(text);
        if (!bare)
            return PACKSPAN_NO_MEMORY;
        put_item(f, "warning", bare);
        free(bare);
    }
    return PACKSPAN_OK;
}

static void put_items(FILE *f, const struct study *s, const struct study_report *report)
{
    fputs("item,value\n", f);
    put_item(f, "case", s->source->name);
    for (size_t i = 0; i < s->header.count; i++)
        put_item(f, s->header.items[i].name, s->header.items[i].value);
    put_tallies(f, s, &report->told);
    if (report->parts > 0) {
        fprintf(f, "parts,%zu\n", report->parts);
        return;
    }
    fprintf(f, "last_start_points,%" PRIu64 "\n", report->worked);
    fprintf(f, "last_start_threads,%u\nlast_start_seconds", report->threads);
    put_number(f, report->seconds);
    fputc('\n', f);
    if (report->worked > 0) {
        fputs("last_start_rate", f);
        put_number(f, (double)report->worked * (double)s->samples / report->seconds);
        fputc('\n', f);
    }
}

/* Of a table that is complete under its temporary name. */
static packspan_status put_checksum(FILE *f, struct file_draft *draft, const char *name)
{
    char checksum[CHECKSUM_SIZE];
    packspan_status status = file_sync(draft);
    if (status == PACKSPAN_OK)
        status = file_checksum(draft->temporary, checksum);
    if (status == PACKSPAN_OK)
        fprintf(f, "checksum %s,%s\n", name, checksum);
    return status;
}

static packspan_status put_checksums(FILE *f, struct drafts *d, char **path)
{
    packspan_status status = PACKSPAN_OK;
    for (size_t t = 0; t < POINTS_TABLES && status == PACKSPAN_OK; t++) {
        status = put_checksum(f, &d->of[t], points_tables[t].name);
        int reason = errno;
        if (status != PACKSPAN_OK)
            *path = text_copy(d->paths[t]);
        errno = reason;
    }
    return status;
}

static packspan_status write_record(const struct study *s, const char *folder,
                                    const struct study_report *report, struct drafts *drafts,
                                    char **path)
{
    char *record = text_format("%s/%s", folder, study_record_name);
    struct file_draft draft = {0};
    packspan_status status = record ? file_begin(&draft, record) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        put_items(draft.stream, s, report);
        status = put_warnings(draft.stream, s);
        if (status == PACKSPAN_OK)
            status = put_checksums(draft.stream, drafts, path);
        return finish(&draft, status, record, path);
    }
    *path = record;
    return status;
}

/* ---- all tables ---- */

static packspan_status begin_drafts(struct drafts *d, const char *folder, char **path)
{
    for (size_t t = 0; t < POINTS_TABLES; t++) {
        d->paths[t] = text_format("%s/%s", folder, points_tables[t].name);
        packspan_status status =
            d->paths[t] ? file_begin(&d->of[t], d->paths[t]) : PACKSPAN_NO_MEMORY;
        if (status == PACKSPAN_IO)
            *path = text_copy(d->paths[t]);
        if (status != PACKSPAN_OK)
            return status;
    }
    return PACKSPAN_OK;
}

/* The record is there before the tables are, so that whatever a kill leaves has an owner. */
packspan_status study_tables_write(const struct study *s, const char *folder,
                                   const struct record_source *records, struct study_report *report,
                                   char **path)
{
    struct drafts drafts = {0};
    packspan_status status = begin_drafts(&drafts, folder, path);
    if (status == PACKSPAN_OK)
        status = write_drafts(&drafts, s, records, report);
    if (status == PACKSPAN_OK)
        status = write_record(s, folder, report, &drafts, path);
    for (size_t t = 0; t < POINTS_TABLES; t++)
        status = finish(&drafts.of[t], status, drafts.paths[t], path);
    return status;
}

packspan_status study_point_size(const struct study *s, const struct record *record,
                                 uint64_t *bytes)
{
    char *text = NULL;
    size_t length = 0;
    double *values = calloc(s->design.table->knob_count + 1, sizeof *values);
    char *start = values ? point_start(s, record->point, values) : NULL;
    FILE *f = start ? open_memstream(&text, &length) : NULL;
    for (size_t t = 0; t < POINTS_TABLES && f; t++)
        points_tables[t].put(f, s, start, record);
    bool made = f && fclose(f) == 0;
    if (made)
        *bytes = length;
    free(text);
    free(start);
    free(values);
    return made ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

/* ---- what is to be told about points ---- */

uint64_t study_refused(const struct study_report *report)
{
    uint64_t refused = 0;
    for (unsigned i = POINT_DONE + 1; i < POINT_FATES; i++)
        refused += report->told.fates[i].count;
    return refused;
}

char *study_point_text(const struct study *s, uint64_t point)
{
    const struct study_table *t = s->design.table;
    double *values = calloc(t->knob_count + 1, sizeof *values);
    char *text = NULL;
    if (values) {
        design_values(&s->design, point, values);
        text = t->names ? text_copy(t->names[point]) : text_format("%" PRIu64, point + 1);
    }
    const char *before = ": ";
    for (size_t a = 0; text && a < t->axis_count; a++) {
        size_t knob = t->axes[a].knob;
        if (isnan(values[knob]))
            continue;
        text = design_add_value(text, before, &s->design, knob, values[knob]);
        before = ", ";
    }
    free(values);
    return text;
}

static packspan_status remark(const struct study *s, const char *file, const struct point_tally *t,
                              bool refused, const char *text, struct problems *problems)
{
    if (t->count == 0)
        return PACKSPAN_OK;
    char *point = study_point_text(s, t->first);
    bool single = t->count == 1;
    const char *refusal = !refused ? "" : single ? " is refused" : " are refused";
    char *what =
        text_format("%" PRIu64 " point%s%s: %s", t->count, single ? "" : "s", refusal, text);
    char *where = point ? text_format("%s%s", single ? "" : "first of them ", point) : NULL;
    if (what && where)
        problems_add(problems, refused ? SEVERITY_ERROR : SEVERITY_WARNING, file, 0, NULL, what,
                     NULL, where);
    packspan_status status =
        what && where && !problems->out_of_memory ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    free(point);
    free(what);
    free(where);
    return status;
}

packspan_status study_remarks(const struct study *s, const char *folder,
                              const struct study_report *report, struct problems *problems)
{
    char *file = s->part.parts > 0 ? run_part_path(folder, s->part)
                                   : text_format("%s/%s", folder, points_tables[OUTCOMES].name);
    packspan_status status = file ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    for (unsigned i = POINT_DONE + 1; i < POINT_FATES && status == PACKSPAN_OK; i++)
        status = remark(s, file, &report->told.fates[i], true, point_fate_text(i), problems);
    for (unsigned i = 0; i < CAUTIONS && status == PACKSPAN_OK; i++)
        status = remark(s, file, &report->told.cautions[i], false, caution_text(i), problems);
    free(file);
    return status;
}

/* ---- what is there ---- */

/* The record last, so that nothing is left without it. */
enum { TABLES = POINTS_TABLES + 1 };
static char *table_path(const char *folder, size_t table)
{
    return text_format("%s/%s", folder,
                       table < POINTS_TABLES ? points_tables[table].name : study_record_name);
}

char *study_table_there(const char *folder)
{
    char *found = NULL;
    for (size_t i = 0; i < TABLES && !found; i++) {
        found = table_path(folder, i);
        if (found && access(found, F_OK) != 0) {
            free(found);
            found = NULL;
        }
    }
    return found;
}

void study_tables_remove(const char *folder)
{
    for (size_t i = 0; i < TABLES; i++) {
        char *path = table_path(folder, i);
        if (path) {
            unlink(path); /* if it cannot be removed, it cannot be replaced: that will be told */
            file_remove_drafts(path);
        }
        free(path);
    }
}
