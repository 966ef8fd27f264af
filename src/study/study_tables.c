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
#include "study/study.h"

const char study_record_name[] = "study_run.csv";
static const char rows_table[] = "study.csv", claims_table[] = "study_claims.csv";

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
    if (s->layout.has_candidates)
        fputs(",candidate", f);
    return PACKSPAN_OK;
}

static packspan_status put_rows_header(FILE *f, const struct study *s)
{
    packspan_status status = put_point_header(f, s);
    fputs(",vehicle,quantity,unit", f);
    for (int i = 0; i < RECORD_STATISTICS; i++)
        fprintf(f, ",%s", packspan_statistic_name(record_statistics[i]));
    fputs(",effective_samples\n", f);
    return status;
}

static packspan_status put_claims_header(FILE *f, const struct study *s)
{
    packspan_status status = put_point_header(f, s);
    fputs(",claim,vehicle,quantity,probability,probability_error\n", f);
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

static void put_rows(FILE *f, const struct study *s, const char *start, const double *numbers)
{
    const struct record_layout *l = &s->layout;
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

static void put_claims(FILE *f, const struct study *s, const char *start, const double *numbers)
{
    const struct record_layout *l = &s->layout;
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

static void count_refused(const struct record *record, struct study_report *report)
{
    if (record->fate == POINT_DONE)
        return;
    if (report->refused++ == 0)
        report->first_refused = record->point;
}

static packspan_status put_points(FILE *rows, FILE *claims, const struct study *s,
                                  const struct record_source *records, struct record *record,
                                  double *values, struct study_report *report)
{
    packspan_status status = PACKSPAN_OK;
    for (uint64_t i = 0; i < records->count && status == PACKSPAN_OK; i++) {
        status = records->next(records->from, record);
        char *start = status == PACKSPAN_OK ? point_start(s, record->point, values) : NULL;
        if (start) {
            put_rows(rows, s, start, record->numbers);
            put_claims(claims, s, start, record->numbers);
            count_refused(record, report);
        } else if (status == PACKSPAN_OK) {
            status = PACKSPAN_NO_MEMORY;
        }
        free(start);
        if (status == PACKSPAN_OK && (ferror(rows) || ferror(claims)))
            break; /* committing them tells why */
    }
    return status;
}

/* ---- files ---- */

static packspan_status write_both(struct file_draft *rows, struct file_draft *claims,
                                  const struct study *s, const struct record_source *records,
                                  struct study_report *report)
{
    struct record record = {.numbers = calloc(s->layout.numbers + 1, sizeof(double))};
    double *values = calloc(s->design.table->knob_count + 1, sizeof *values);
    packspan_status status = record.numbers && values ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = put_rows_header(rows->stream, s);
    if (status == PACKSPAN_OK)
        status = put_claims_header(claims->stream, s);
    if (status == PACKSPAN_OK)
        status = put_points(rows->stream, claims->stream, s, records, &record, values, report);
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

static void put_items(FILE *f, const struct study *s, const struct study_report *report)
{
    fputs("item,value\n", f);
    put_item(f, "case", s->source->name);
    for (size_t i = 0; i < s->header.count; i++)
        put_item(f, s->header.items[i].name, s->header.items[i].value);
    fprintf(f, "refused_points,%" PRIu64 "\n", report->refused);
    if (report->parts > 0) {
        fprintf(f, "parts,%zu\n", report->parts);
        return;
    }
    fprintf(f, "points_worked_out_last,%" PRIu64 "\n", report->worked);
    fprintf(f, "threads,%u\nseconds", report->threads);
    put_number(f, report->seconds);
    fputc('\n', f);
    if (report->worked > 0) {
        fputs("rate", f);
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

static packspan_status put_checksums(FILE *f, struct file_draft *rows, struct file_draft *claims,
                                     char **path)
{
    packspan_status status = put_checksum(f, rows, rows_table);
    struct file_draft *blamed = status == PACKSPAN_OK ? claims : rows;
    if (status == PACKSPAN_OK)
        status = put_checksum(f, claims, claims_table);
    int reason = errno;
    if (status != PACKSPAN_OK)
        *path = text_copy(blamed->path);
    errno = reason;
    return status;
}

static packspan_status write_record(const struct study *s, const char *folder,
                                    const struct study_report *report, struct file_draft *rows,
                                    struct file_draft *claims, char **path)
{
    char *record = text_format("%s/%s", folder, study_record_name);
    struct file_draft draft = {0};
    packspan_status status = record ? file_begin(&draft, record) : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK) {
        put_items(draft.stream, s, report);
        status = put_checksums(draft.stream, rows, claims, path);
        return finish(&draft, status, record, path);
    }
    *path = record;
    return status;
}

/* The record is there before the tables are, so that whatever a kill leaves has an owner. */
packspan_status study_tables_write(const struct study *s, const char *folder,
                                   const struct record_source *records, struct study_report *report,
                                   char **path)
{
    char *rows_path = text_format("%s/%s", folder, rows_table);
    char *claims_path = text_format("%s/%s", folder, claims_table);
    struct file_draft rows = {0}, claims = {0};
    packspan_status status = rows_path && claims_path ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
    if (status == PACKSPAN_OK)
        status = file_begin(&rows, rows_path);
    if (status == PACKSPAN_OK)
        status = file_begin(&claims, claims_path);
    if (status == PACKSPAN_IO) {
        *path = text_copy(rows_path);
    } else if (status == PACKSPAN_OK) {
        status = write_both(&rows, &claims, s, records, report);
        if (status == PACKSPAN_OK)
            status = write_record(s, folder, report, &rows, &claims, path);
    }
    status = finish(&rows, status, rows_path, path);
    return finish(&claims, status, claims_path, path);
}

/* ---- what is there ---- */

/* The record last, so that nothing is left without it. */
static const char *const all_tables[] = {rows_table, claims_table, study_record_name};
enum { TABLES = sizeof all_tables / sizeof all_tables[0] };

char *study_table_there(const char *folder)
{
    char *found = NULL;
    for (size_t i = 0; i < TABLES && !found; i++) {
        found = text_format("%s/%s", folder, all_tables[i]);
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
        char *path = text_format("%s/%s", folder, all_tables[i]);
        if (path) {
            unlink(path); /* if it cannot be removed, it cannot be replaced: that will be told */
            file_remove_drafts(path);
        }
        free(path);
    }
}
