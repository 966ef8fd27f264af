#include "case/table.h"

#include <csv.h>
#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

#define LARGEST_MIB 64
#define MOST_COLUMNS 1000
#define FIELD_BLOCK 4096 /* bytes by which libcsv lets a field grow */
#define SHOWN_BYTES 256  /* of a line; problem_text() cuts further */
#define COLUMN_NONE SIZE_MAX
#define SAVE_AS "save the table as CSV text in UTF-8"
#define QUOTE_RULE                                                                                 \
    "a quoted field begins and ends with a quote, and a quote inside it is written twice"

/* Part of the file that is still in memory as read. */
struct span {
    const char *text;
    size_t length;
};

struct reader {
    struct table *table;
    struct problems *problems;
    struct csv_parser parser;
    char separator;
    bool out_of_memory;
    bool header_lost; /* nothing that follows can be understood */

    long line, row_line;   /* being read; on which the row began */
    struct span row_first; /* the first line of the row */
    bool in_row;           /* a row has begun and not ended */
    const char **row;      /* [row_size]: its fields so far */
    size_t row_size, row_capacity;

    const char **header; /* [header_size]: column names as written; NULL until it was read */
    size_t header_size;
    size_t *known; /* [header_size]: index into table->columns, or COLUMN_NONE */

    size_t rows_capacity; /* of table->lines */
    char *free_storage;
};

static void report(struct reader *r, long line, const char *column, const char *what,
                   const char *text, const char *remedy)
{
    problems_add(r->problems, SEVERITY_ERROR, r->table->file, line, column, what, text, remedy);
}

/* Reports with a composed remedy, which it frees; NULL means out of memory. */
static void report_composed(struct reader *r, long line, const char *column, const char *what,
                            const char *text, char *remedy)
{
    report(r, line, column, remedy ? what : NULL, text, remedy);
    free(remedy);
}

/* Reports a part of a line as the offending text. */
static void report_span(struct reader *r, long line, const char *column, const char *what,
                        struct span span, char *remedy)
{
    char *text = strndup(span.text, span.length < SHOWN_BYTES ? span.length : SHOWN_BYTES);
    report_composed(r, line, column, text ? what : NULL, text, remedy);
    free(text);
}

/* `before`, a colon and then the names of all known columns, if any; NULL when out of memory. */
static char *with_known_columns(const char *before, const struct table *t)
{
    char *list = text_format("%s%s", before, t->column_count > 0 ? ": " : "");
    for (size_t i = 0; list && i < t->column_count; i++) {
        char *longer = text_format("%s%s%s", list, i ? "," : "", t->columns[i].name);
        free(list);
        list = longer;
    }
    return list;
}

/* ---- rows ---- */

static bool ends_line(char c)
{
    return c == '\r' || c == '\n';
}

static bool is_surrounding(char c)
{
    return c == ' ' || c == '\t' || ends_line(c);
}

/* Called by libcsv for every field. */
static void take_field(void *field, size_t length, void *reader)
{
    struct reader *r = reader;
    if (r->row_size == r->row_capacity) {
        size_t capacity = r->row_capacity ? 2 * r->row_capacity : 32;
        const char **row = reallocarray(r->row, capacity, sizeof *row);
        if (!row) {
            r->out_of_memory = true;
            return;
        }
        r->row = row;
        r->row_capacity = capacity;
    }
    const char *text = field;
    while (length && is_surrounding(text[length - 1]))
        length--;
    while (length && is_surrounding(*text)) {
        text++;
        length--;
    }
    r->row[r->row_size++] = r->free_storage;
    if (length)
        memcpy(r->free_storage, text, length);
    r->free_storage += length;
    *r->free_storage++ = '\0';
}

static size_t find_column(const struct table *t, const char *name)
{
    for (size_t i = 0; i < t->column_count; i++)
        if (strcmp(t->columns[i].name, name) == 0)
            return i;
    return COLUMN_NONE;
}

static char *column_advice(const struct table *t, const char *name)
{
    const char **names = calloc(t->column_count + 1, sizeof *names);
    if (!names)
        return NULL;
    for (size_t i = 0; i < t->column_count; i++)
        names[i] = t->columns[i].name;
    const char *nearest = text_nearest(name, names, t->column_count);
    free(names);
    return nearest ? text_format("did you mean '%s'?", nearest)
                   : with_known_columns("known columns", t);
}

static bool stands_before(const struct reader *r, size_t position)
{
    for (size_t i = 0; i < position; i++)
        if (strcmp(r->header[i], r->header[position]) == 0)
            return true;
    return false;
}

static void read_column_name(struct reader *r, size_t position)
{
    const char *name = r->header[position];
    r->known[position] = COLUMN_NONE;
    if (*name == '\0') {
        char *what = text_format("column number %zu has no name", position + 1);
        report_composed(r, r->row_line, NULL, what, NULL,
                        r->table->own_columns ? text_copy("name it, or remove it")
                                              : with_known_columns("known columns", r->table));
        free(what);
    } else if (stands_before(r, position)) {
        report(r, r->row_line, name, "given twice", NULL, "keep one of the two");
    } else {
        r->known[position] = find_column(r->table, name);
        if (r->known[position] == COLUMN_NONE)
            report_composed(r, r->row_line, NULL, "unknown column", name,
                            column_advice(r->table, name));
    }
}

static void report_missing_columns(struct reader *r)
{
    for (size_t i = 0; i < r->table->column_count; i++) {
        bool found = !r->table->columns[i].required;
        for (size_t j = 0; !found && j < r->header_size; j++)
            found = r->known[j] == i;
        if (!found)
            report(r, r->row_line, r->table->columns[i].name, "missing from the header", NULL,
                   "the table needs this column");
    }
}

/* A table whose columns the caller does not know beforehand has those of its header. */
static bool adopt_header(struct reader *r)
{
    struct table *t = r->table;
    t->own_columns = calloc(r->header_size + 1, sizeof *t->own_columns);
    for (size_t i = 0; t->own_columns && i < r->header_size; i++)
        t->own_columns[i].name = r->header[i];
    t->columns = t->own_columns;
    t->column_count = t->own_columns ? r->header_size : 0;
    return t->own_columns;
}

static void take_header(struct reader *r)
{
    if (r->row_size > MOST_COLUMNS) {
        char *what = text_format("more than %d columns", MOST_COLUMNS);
        report_composed(r, r->row_line, NULL, what, NULL,
                        with_known_columns("known columns", r->table));
        free(what);
        r->header_lost = true;
        return;
    }
    r->header = calloc(r->row_size, sizeof *r->header);
    r->known = calloc(r->row_size, sizeof *r->known);
    if (!r->header || !r->known) {
        r->out_of_memory = true;
        return;
    }
    r->header_size = r->row_size;
    memcpy(r->header, r->row, r->row_size * sizeof *r->row);
    r->table->header_line = r->row_line;
    if (!r->table->columns && !adopt_header(r)) {
        r->out_of_memory = true;
        return;
    }
    for (size_t i = 0; i < r->header_size; i++)
        read_column_name(r, i);
    report_missing_columns(r);
}

static bool make_room_for_row(struct reader *r)
{
    struct table *t = r->table;
    if (t->row_count < r->rows_capacity)
        return true;
    size_t capacity = r->rows_capacity ? 2 * r->rows_capacity : 64;
    long *lines = reallocarray(t->lines, capacity, sizeof *lines);
    if (!lines)
        return false;
    t->lines = lines;
    const char **fields = reallocarray(t->fields, capacity, (t->column_count + 1) * sizeof *fields);
    if (!fields)
        return false;
    t->fields = fields;
    r->rows_capacity = capacity;
    return true;
}

static bool is_digits(const char *text)
{
    return *text && text[strspn(text, "0123456789")] == '\0';
}

/* Two fields that would be one number with a decimal comma. */
static bool may_hold_decimal_comma(const struct reader *r)
{
    for (size_t i = 0; i + 1 < r->row_size; i++)
        if (is_digits(r->row[i] + (*r->row[i] == '-')) && is_digits(r->row[i + 1]))
            return true;
    return false;
}

static void report_size(struct reader *r, const char *text, char *remedy)
{
    char *what = text_format("%zu field%s, but the header names %zu", r->row_size,
                             r->row_size == 1 ? "" : "s", r->header_size);
    report_composed(r, r->row_line, NULL, what, text, remedy);
    free(what);
}

static void report_surplus(struct reader *r)
{
    char *remedy =
        r->separator == ',' && may_hold_decimal_comma(r)
            ? text_copy("put a field that holds a ',' between quotes, and write decimals with a "
                        "point")
        : r->separator == '\t'
            ? text_copy("put a field that holds a tab between quotes")
            : text_format("put a field that holds a '%c' between quotes", r->separator);
    report_size(r, r->row[r->header_size], remedy);
}

/* Where the last columns are not such as may be left out for want of anything to say. */
static void report_shortage(struct reader *r)
{
    report_size(
        r, NULL,
        text_format("end the row with a '%c' for each field that stays empty", r->separator));
}

static void take_row(struct reader *r)
{
    struct table *t = r->table;
    if (r->row_size > r->header_size)
        report_surplus(r);
    else if (r->row_size < r->header_size && t->own_columns)
        report_shortage(r);
    if (!make_room_for_row(r)) {
        r->out_of_memory = true;
        return;
    }
    const char **fields = t->fields + t->row_count * t->column_count;
    for (size_t i = 0; i < t->column_count; i++)
        fields[i] = "";
    for (size_t i = 0; i < r->row_size && i < r->header_size; i++)
        if (r->known[i] != COLUMN_NONE)
            fields[r->known[i]] = r->row[i];
    t->lines[t->row_count++] = r->row_line;
}

static bool row_is_empty(const struct reader *r)
{
    for (size_t i = 0; i < r->row_size; i++)
        if (*r->row[i] != '\0')
            return false;
    return true;
}

/* Called by libcsv at the end of every row. A row of separators alone, as spreadsheets leave them
 * behind, is as good as a blank line. */
static void end_row(int terminator, void *reader)
{
    (void)terminator;
    struct reader *r = reader;
    r->in_row = false;
    if (r->out_of_memory || row_is_empty(r))
        return;
    if (r->header)
        take_row(r);
    else
        take_header(r);
}

/* ---- lines ---- */

static void open_parser(struct reader *r)
{
    csv_init(&r->parser, CSV_STRICT | CSV_STRICT_FINI); /* cannot fail */
    csv_set_blk_size(&r->parser, FIELD_BLOCK);
    csv_set_delim(&r->parser, (unsigned char)r->separator);
}

/* The first ',' or ';' outside quotes, else a tab, else ','. */
static char find_separator(struct span line)
{
    bool quoted = false, tab = false;
    for (size_t i = 0; i < line.length; i++) {
        char c = line.text[i];
        if (c == '"')
            quoted = !quoted;
        else if (!quoted && (c == ',' || c == ';'))
            return c;
        else if (!quoted && c == '\t')
            tab = true;
    }
    return tab ? '\t' : ',';
}

static bool is_blank(const struct reader *r, char c)
{
    return (c == ' ' || c == '\t') && c != r->separator;
}

static bool is_ignored(const struct reader *r, struct span line)
{
    size_t i = 0;
    while (i < line.length && is_blank(r, line.text[i]))
        i++;
    if (i == line.length)
        return true;
    if (line.text[i] == '"')
        i++;
    while (i < line.length && is_blank(r, line.text[i]))
        i++;
    return i < line.length && line.text[i] == '#';
}

/* The name of the column that the next field belongs to; NULL when there is none. */
static const char *present_column(const struct reader *r)
{
    return r->row_size < r->header_size ? r->header[r->row_size] : NULL;
}

/* The rest of the line is skipped, and reading goes on with the next one. */
static void report_stray_quote(struct reader *r, struct span line)
{
    char *remedy = r->line == r->row_line
                       ? text_copy(QUOTE_RULE)
                       : text_format("the row began on line %ld; " QUOTE_RULE, r->row_line);
    report_span(r, r->line, present_column(r), "a quote in the wrong place", line, remedy);
    r->in_row = false;
    r->header_lost = !r->header;
    csv_free(&r->parser);
    open_parser(r);
}

/* `line` is without its end, `size` is with it. */
static void read_line(struct reader *r, struct span line, size_t size)
{
    if (!r->in_row) {
        if (is_ignored(r, line))
            return;
        if (!r->header) {
            r->separator = find_separator(line);
            csv_set_delim(&r->parser, (unsigned char)r->separator);
        }
        r->in_row = true;
        r->row_line = r->line;
        r->row_first = line;
        r->row_size = 0;
    }
    if (csv_parse(&r->parser, line.text, size, take_field, end_row, r) == size)
        return;
    if (csv_error(&r->parser) == CSV_EPARSE)
        report_stray_quote(r, line);
    else
        r->out_of_memory = true;
}

static void read_last_line(struct reader *r)
{
    if (!r->in_row || csv_fini(&r->parser, take_field, end_row, r) == 0)
        return;
    if (csv_error(&r->parser) != CSV_EPARSE) {
        r->out_of_memory = true;
        return;
    }
    report_span(r, r->row_line, present_column(r), "a quote is never closed", r->row_first,
                text_copy(QUOTE_RULE));
    r->header_lost = !r->header;
}

static size_t line_end_size(const char *text, size_t length)
{
    if (length >= 2 && text[0] == '\r' && text[1] == '\n')
        return 2;
    return length && ends_line(*text);
}

/* Feeds libcsv line by line, so that the line of every row is known. */
static void read_lines(struct reader *r, struct span file)
{
    r->line = 1;
    for (size_t at = 0, size; at < file.length; at += size, r->line++) {
        struct span line = {.text = file.text + at};
        while (at + line.length < file.length && !ends_line(line.text[line.length]))
            line.length++;
        size = line.length + line_end_size(line.text + line.length, file.length - at - line.length);
        read_line(r, line, size);
        if (r->out_of_memory || r->header_lost)
            return;
    }
    read_last_line(r);
}

/* ---- the file ---- */

static bool is_control(uint32_t code)
{
    return (code < 0x20 && code != '\t' && code != '\r' && code != '\n') || code == 0x7f;
}

/* True when all of it is text in UTF-8; otherwise the first byte that is not is reported. `skipped`
 * bytes stand before `file.text` in the file. */
static bool is_text(struct reader *r, struct span file, size_t skipped)
{
    long line = 1;
    for (size_t at = 0, size; at < file.length; at += size) {
        uint32_t code;
        size = text_character(file.text + at, file.length - at, &code);
        if (size == 0 || is_control(code)) {
            char *what = text_format("%s: byte 0x%02x at byte offset %zu",
                                     size ? "not a text file" : "not UTF-8",
                                     (unsigned char)file.text[at], skipped + at);
            report(r, line, NULL, what, NULL, SAVE_AS);
            free(what);
            return false;
        }
        if (code == '\n' || (code == '\r' && (at + 1 == file.length || file.text[at + 1] != '\n')))
            line++;
    }
    return true;
}

static void read_text(struct reader *r, struct span file)
{
    open_parser(r);
    read_lines(r, file);
    csv_free(&r->parser);
    if (!r->out_of_memory && !r->header && !r->header_lost)
        report_composed(r, 0, NULL, "no header", NULL,
                        with_known_columns("the first row names the columns", r->table));
    r->table->decimal_comma = r->separator != ',';
    free(r->row);
    free(r->header);
    free(r->known);
}

static packspan_status start_table(const char *path, const struct table_column *columns,
                                   size_t column_count, struct table *out)
{
    *out =
        (struct table){.file = text_copy(path), .columns = columns, .column_count = column_count};
    return out->file ? PACKSPAN_OK : PACKSPAN_NO_MEMORY;
}

static packspan_status parse(const char *bytes, size_t length, struct problems *problems,
                             struct table *t)
{
    static const char mark[] = "\xef\xbb\xbf";
    size_t skipped = length >= 3 && memcmp(bytes, mark, 3) == 0 ? 3 : 0;
    struct span file = {bytes + skipped, length - skipped};
    struct reader r = {.table = t, .problems = problems, .separator = ','};
    if (file.length == 0) {
        report_composed(&r, 0, NULL, "the file is empty", NULL,
                        with_known_columns("the first row names the columns", t));
        return PACKSPAN_OK;
    }
    if (!is_text(&r, file, skipped))
        return PACKSPAN_OK;
    /* A field and its final zero are never longer than the field and its separator or line end;
     * only the last line may lack the latter. */
    t->storage = malloc(file.length + 1);
    if (!t->storage)
        return PACKSPAN_NO_MEMORY;
    r.free_storage = t->storage;
    read_text(&r, file);
    return r.out_of_memory ? PACKSPAN_NO_MEMORY : PACKSPAN_OK;
}

packspan_status table_parse(const char *path, const char *bytes, size_t length,
                            const struct table_column *columns, size_t column_count,
                            struct problems *problems, struct table *out)
{
    packspan_status status = start_table(path, columns, column_count, out);
    return status == PACKSPAN_OK ? parse(bytes, length, problems, out) : status;
}

static void report_unreadable(const char *path, int reason, struct problems *problems)
{
    if (reason == EISDIR) {
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL, "is a folder", NULL,
                     "a CSV table is needed here");
    } else if (reason == EFBIG) {
        char *what = text_format("larger than %d MiB", LARGEST_MIB);
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL, what, NULL,
                     "leave out rows that are not needed");
        free(what);
    } else {
        problems_add(problems, SEVERITY_ERROR, path, 0, NULL, "cannot be read",
                     strerrordesc_np(reason), NULL);
    }
}

packspan_status table_read(const char *path, const struct table_column *columns,
                           size_t column_count, struct problems *problems, struct table *out)
{
    packspan_status status = start_table(path, columns, column_count, out);
    if (status != PACKSPAN_OK)
        return status;
    char *bytes;
    size_t length;
    status = file_read(path, (size_t)LARGEST_MIB << 20, &bytes, &length);
    if (status == PACKSPAN_IO)
        report_unreadable(path, errno, problems);
    if (status != PACKSPAN_OK)
        return status;
    bytes_checksum(bytes, length, out->checksum);
    status = parse(bytes, length, problems, out);
    free(bytes);
    return status;
}

void table_free(struct table *t)
{
    free(t->file);
    free(t->own_columns);
    free(t->lines);
    free(t->fields);
    free(t->storage);
    *t = (struct table){0};
}

const char *table_text(const struct table *t, size_t row, size_t column)
{
    return t->fields[row * t->column_count + column];
}

void table_problem(const struct table *t, size_t row, size_t column, enum severity severity,
                   const char *what, const char *remedy, struct problems *problems)
{
    const char *text = table_text(t, row, column);
    problems_add(problems, severity, t->file, t->lines[row], t->columns[column].name, what,
                 *text ? text : NULL, remedy);
}

double table_number(const struct table *t, size_t row, size_t column, struct problems *problems,
                    bool *bad)
{
    const char *text = table_text(t, row, column);
    double value = NAN;
    if (*text && !text_number(text, t->decimal_comma, &value)) {
        bool with_comma = !t->decimal_comma && strchr(text, ',');
        table_problem(t, row, column, SEVERITY_ERROR, "is not a number",
                      with_comma
                          ? "write a decimal point as in 3.25: a decimal comma needs ';' or a "
                            "tab between the fields"
                          : "write a finite decimal number such as 3.25",
                      problems);
        *bad = true;
    }
    return value;
}
