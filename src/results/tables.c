/* The result tables on disk. */
#include <csv.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "model/block.h"
#include "results/results.h"

/* RFC 4180: quoted only where it must be. */
static void put_text(FILE *f, const char *text)
{
    if (strpbrk(text, ",\"\r\n"))
        csv_fwrite(f, text, strlen(text));
    else
        fputs(text, f);
}

static void put_number(FILE *f, double value)
{
    fprintf(f, ",%.10g", value);
}

static void put_row_start(FILE *f, const struct result_row *row)
{
    put_text(f, row->vehicle);
    fprintf(f, ",%s,%s", row->quantity, row->measure->table);
}

static void write_summary(FILE *f, const struct packspan_results *r)
{
    fputs("vehicle,quantity,unit,kind,samples", f);
    for (int s = 0; s < PACKSPAN_STATISTIC_COUNT; s++)
        fprintf(f, ",%s", packspan_statistic_name((packspan_statistic)s));
    fputc('\n', f);
    for (size_t k = 0; k < r->row_count; k++) {
        const struct result_row *row = &r->rows[k];
        put_row_start(f, row);
        fprintf(f, ",%s,%llu", row->kind, (unsigned long long)row->distribution.moments.count);
        for (int s = 0; s < PACKSPAN_STATISTIC_COUNT; s++)
            put_number(f, row->values[s]);
        fputc('\n', f);
    }
}

static void write_histogram(FILE *f, const struct packspan_results *r)
{
    fputs("vehicle,quantity,unit,bin,low,high,count,share,density,cumulative\n", f);
    for (size_t k = 0; k < r->row_count; k++) {
        packspan_bin bins[PACKSPAN_BINS_MAX];
        size_t n = packspan_results_histogram(r, k, bins);
        double samples = (double)r->rows[k].distribution.moments.count;
        uint64_t below = 0;
        for (size_t b = 0; b < n; b++) {
            double share = (double)bins[b].count / samples, width = bins[b].high - bins[b].low;
            below += bins[b].count;
            put_row_start(f, &r->rows[k]);
            fprintf(f, ",%zu", b + 1);
            put_number(f, bins[b].low);
            put_number(f, bins[b].high);
            fprintf(f, ",%llu", (unsigned long long)bins[b].count);
            put_number(f, share);
            if (width > 0.0)
                put_number(f, share / width);
            else
                fputc(',', f); /* all samples are one value: no density */
            put_number(f, (double)below / samples);
            fputc('\n', f);
        }
    }
}

static void write_claims(FILE *f, const struct packspan_results *r)
{
    fputs("claim,vehicle,quantity,unit,sense,value,tolerance,percentile_of_claim,probability,"
          "probability_error,median_gap,gap_p05,gap_p95,verdict,likelihood\n",
          f);
    static const packspan_claim_value numbers[] = {PACKSPAN_CLAIM_VALUE,
                                                   PACKSPAN_CLAIM_TOLERANCE,
                                                   PACKSPAN_CLAIM_PERCENTILE,
                                                   PACKSPAN_CLAIM_PROBABILITY,
                                                   PACKSPAN_CLAIM_PROBABILITY_ERROR,
                                                   PACKSPAN_CLAIM_MEDIAN_GAP,
                                                   PACKSPAN_CLAIM_GAP_P05,
                                                   PACKSPAN_CLAIM_GAP_P95};
    for (size_t k = 0; k < r->claim_count; k++) {
        const struct claim_row *row = &r->claims[k];
        put_text(f, row->claim->name);
        fprintf(f, ",%s,%s,", packspan_claim_text(r, k, PACKSPAN_CLAIM_VEHICLE), row->quantity);
        put_text(f, row->claim->unit);
        fprintf(f, ",%s", claim_sense_name(row->claim->sense));
        for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++)
            put_number(f, packspan_claim_number(r, k, numbers[i]));
        fprintf(f, ",%s,%s\n", row->verdict.word, row->verdict.likelihood);
    }
}

static void write_routes(FILE *f, const struct packspan_results *r)
{
    static const packspan_statistic columns[] = {
        PACKSPAN_MEAN, PACKSPAN_SD,  PACKSPAN_P01, PACKSPAN_P05, PACKSPAN_P10, PACKSPAN_P25,
        PACKSPAN_P50,  PACKSPAN_P75, PACKSPAN_P90, PACKSPAN_P95, PACKSPAN_P99};
    enum { COLUMNS = sizeof columns / sizeof columns[0] };
    fputs("vehicle,route,unit", f);
    for (int i = 0; i < COLUMNS; i++)
        fprintf(f, ",%s", packspan_statistic_name(columns[i]));
    fputc('\n', f);
    for (size_t k = 0; k < r->row_count; k++) {
        const struct plan *p = r->outcome.plan;
        if (quantities[p->nodes[p->results[k]].quantity].role != QUANTITY_ROUTE)
            continue;
        put_row_start(f, &r->rows[k]);
        for (int i = 0; i < COLUMNS; i++)
            put_number(f, r->rows[k].values[columns[i]]);
        fputc('\n', f);
    }
}

/* Columns VEHICLE.QUANTITY (UNIT), fixed ones included. The samples are drawn again, so that a run
 * need not hold them. */
static packspan_status write_samples(FILE *f, const struct packspan_results *r)
{
    const struct plan *p = r->outcome.plan;
    uint64_t wanted = p->source->settings.keep, first = 0;
    if (wanted > r->outcome.samples)
        wanted = r->outcome.samples;
    struct sampler *s = NULL;
    packspan_status status = sampler_open(p, &s);
    if (status != PACKSPAN_OK)
        return status;
    for (size_t k = 0; k < r->row_count; k++)
        fprintf(f, "%s%s.%s (%s)", k ? "," : "", r->rows[k].vehicle, r->rows[k].quantity,
                r->rows[k].measure->table);
    fputc('\n', f);
    for (; wanted > 0 && !ferror(f); first += BLOCK_SAMPLES) {
        size_t valid = sampler_block(s, first, BLOCK_SAMPLES, NULL);
        for (size_t i = 0; i < valid && wanted > 0; i++, wanted--) {
            for (size_t k = 0; k < r->row_count; k++) {
                struct unit_factor unit = r->rows[k].table_to_si;
                double si = sampler_column(s, p->results[k])[i];
                fprintf(f, "%s%.17g", k ? "," : "", (si - unit.offset) / unit.scale);
            }
            fputc('\n', f);
        }
    }
    sampler_free(s);
    return PACKSPAN_OK;
}

static packspan_status fail(struct packspan_results *r, const char *path, packspan_status status)
{
    int reason = errno;
    free(r->failure);
    r->failure = status == PACKSPAN_NO_MEMORY ? text_copy("out of memory")
                                              : text_format("%s: %s", path, strerror(reason));
    return status;
}

enum { TABLES = 6 };

struct table_writer {
    const char *name;
    void (*write)(FILE *f, const struct packspan_results *r);
};

static packspan_status write_table(struct packspan_results *r, const char *folder,
                                   const struct table_writer *table)
{
    char *path = text_format("%s/%s", folder, table->name);
    struct file_draft draft;
    if (!path)
        return fail(r, "", PACKSPAN_NO_MEMORY);
    packspan_status status = file_begin(&draft, path);
    if (status == PACKSPAN_OK) {
        if (table->write)
            table->write(draft.stream, r);
        else
            status = write_samples(draft.stream, r);
        if (status == PACKSPAN_OK)
            status = file_commit(&draft);
        else
            file_abandon(&draft);
    }
    if (status != PACKSPAN_OK)
        fail(r, path, status);
    free(path);
    return status;
}

static void put_item(FILE *f, const char *item, const char *value)
{
    put_text(f, item);
    fputc(',', f);
    put_text(f, value);
    fputc('\n', f);
}

static void put_item_number(FILE *f, const char *item, double value)
{
    fprintf(f, "%s,%.10g\n", item, value);
}

static void put_item_count(FILE *f, const char *item, uint64_t value)
{
    fprintf(f, "%s,%llu\n", item, (unsigned long long)value);
}

static void put_checksum(FILE *f, const char *folder, const char *name, const char *what)
{
    char *path = text_format("%s/%s", folder, name), hex[65];
    if (path && file_checksum(path, hex) == PACKSPAN_OK)
        fprintf(f, "%s %s,%s\n", what, name, hex);
    free(path);
}

static packspan_status write_record(struct packspan_results *r, const char *folder,
                                    const struct table_writer *tables, size_t table_count)
{
    static const char *const case_tables[] = {"vehicles.csv", "inputs.csv", "trips.csv",
                                              "claims.csv", "settings.csv"};
    const struct case_data *c = r->outcome.plan->source;
    char *path = text_format("%s/run.csv", folder);
    struct file_draft draft;
    if (!path)
        return fail(r, "", PACKSPAN_NO_MEMORY);
    packspan_status status = file_begin(&draft, path);
    if (status == PACKSPAN_OK) {
        FILE *f = draft.stream;
        const struct run_outcome *o = &r->outcome;
        fputs("item,value\n", f);
        put_item(f, "version", PACKSPAN_VERSION);
        put_item(f, "case", c->name);
        put_item_count(f, "seed", c->settings.seed);
        put_item_count(f, "samples", o->samples);
        put_item_count(f, "effective_samples", o->samples); /* every sample counts the same */
        put_item_count(f, "invalid_samples", o->invalid);
        put_item(f, "interrupted", o->interrupted ? "yes" : "no");
        put_item(f, "sequence", "pcg64");
        put_item_count(f, "threads", o->threads);
        put_item_number(f, "seconds", o->seconds);
        put_item_number(f, "rate", (double)(o->samples + o->invalid) / o->seconds);
        put_item(f, "percentile_errors", "order statistics");
        for (size_t i = 0; i < sizeof case_tables / sizeof case_tables[0]; i++)
            put_checksum(f, c->folder, case_tables[i], "case_checksum");
        for (size_t i = 0; i < table_count; i++)
            put_checksum(f, folder, tables[i].name, "checksum");
        for (size_t i = 0; i < r->warning_count; i++)
            put_item(f, "warning", r->warnings[i]);
        status = file_commit(&draft);
    }
    if (status != PACKSPAN_OK)
        fail(r, path, status);
    free(path);
    return status;
}

bool results_would_spoil_case(const char *folder)
{
    static const char *const marks[] = {"vehicles.csv", "inputs.csv"};
    bool found = false;
    for (size_t i = 0; i < sizeof marks / sizeof marks[0] && !found; i++) {
        char *path = text_format("%s/%s", folder, marks[i]);
        found = !path || access(path, F_OK) == 0;
        free(path);
    }
    return found;
}

/* An earlier run's record and samples would not belong to the tables that are written now. */
static void remove_earlier(const char *folder)
{
    static const char *const names[] = {"run.csv", "samples.csv"};
    for (size_t i = 0; i < sizeof names / sizeof names[0]; i++) {
        char *path = text_format("%s/%s", folder, names[i]);
        if (path)
            unlink(path); /* if it cannot be removed, it cannot be replaced: that will be told */
        free(path);
    }
}

packspan_status packspan_results_write(packspan_results *r, const char *folder)
{
    static const struct table_writer tables[TABLES - 1] = {
        {"summary.csv", write_summary}, {"histogram.csv", write_histogram},
        {"claims.csv", write_claims},   {"routes.csv", write_routes},
        {"samples.csv", NULL},
    };
    size_t count = r->outcome.plan->source->settings.keep > 0 ? TABLES - 1 : TABLES - 2;
    if (results_would_spoil_case(folder)) {
        errno = EEXIST;
        return fail(r, folder, PACKSPAN_USAGE);
    }
    packspan_status status = file_make_folder(folder);
    if (status != PACKSPAN_OK)
        return fail(r, folder, status);
    remove_earlier(folder);
    for (size_t i = 0; i < count && status == PACKSPAN_OK; i++)
        status = write_table(r, folder, &tables[i]);
    if (status == PACKSPAN_OK)
        status = write_record(r, folder, tables, count);
    return status;
}
