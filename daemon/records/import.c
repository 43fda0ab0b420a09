#include "records/import.h"
#include "base/text.h"
#include "records/import_inside.h"
#include <stdlib.h>
#include <string.h>

/* ---- faults ---- */

static void on_check_refused(void *arg, const char *name, const char *value, const char *reason)
{
    import_fault(arg, name, value, reason);
}

/* ---- CSV ---- */

/* Spreadsheets of half of the world part columns by semicolons, some by tabs: without a map they
 * are one column that nobody knows. */
static const char *other_separator(const struct csv_field *fields, size_t count)
{
    const char *text = count == 1 ? fields[0].text : "";
    return strchr(text, ';')    ? "its columns are parted by semicolons: save it with commas, or "
                                  "load it by a map, which oddloaf load --guess makes"
           : strchr(text, '\t') ? "its columns are parted by tabs: save it with commas, or load it "
                                  "by a map, which oddloaf load --guess makes"
                                : NULL;
}

static void header_row(struct import *im, struct csv_field *fields, size_t count)
{
    int faults = 0;
    im->header_read = true;
    im->header.count = 0;
    if (count > HEADER_COLUMNS) {
        import_fault(im, NULL, NULL, "more than 200 columns");
        im->counts.unusable = true;
        return;
    }
    if (other_separator(fields, count)) {
        import_fault(im, NULL, NULL, other_separator(fields, count));
        im->counts.unusable = true;
        return;
    }
    for (size_t i = 0; i < count; i++) {
        struct error why = {0};
        struct header_column *column = &im->header.columns[im->header.count];
        if (!text_is_utf8(fields[i].text, fields[i].length))
            error_set(&why, ERROR_INVALID, "the name is not UTF-8");
        else if (strchr(fields[i].text, '\r'))
            error_set(&why, ERROR_INVALID, "lines end with CR alone: save with LF or CR LF");
        else
            header_column(im->catalogue, im->kind, fields[i].text, column, &why);
        if (why.code) {
            import_fault(im, fields[i].text, fields[i].text, why.text);
            faults++;
        } else {
            im->header.count++;
        }
    }
    if (!faults)
        faults = header_settle(&im->header, im->kind, import_header_fault, im);
    im->counts.unusable = faults > 0;
}

/* A row of nothing but separators is what spreadsheets leave behind. */
static bool all_empty(const struct csv_field *fields, size_t count)
{
    for (size_t i = 0; i < count && i < CSV_ROWS_FIELDS; i++)
        if (fields[i].length > 0)
            return false;
    return true;
}

static void data_row(struct import *im, struct csv_field *fields, size_t count)
{
    struct check_value values[HEADER_COLUMNS];
    if (all_empty(fields, count))
        return;
    im->counts.read++;
    if (count != (size_t)im->header.count) {
        char reason[96], number[24];
        snprintf(number, sizeof number, "%zu", count);
        snprintf(reason, sizeof reason, "the row has %zu fields, the header has %d", count,
                 im->header.count);
        import_fault(im, NULL, number, reason);
        return;
    }
    for (size_t i = 0; i < count; i++) {
        values[i].form = CHECK_TEXT;
        values[i].text = fields[i].text;
        values[i].length = fields[i].length;
    }
    import_row(im, values);
}

static void begin_row(struct import *im, long line)
{
    im->line = line;
    im->row_refused = false;
}

static void on_csv_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    struct import *im = arg;
    if (im->code || im->counts.unusable)
        return;
    begin_row(im, line);
    if (!im->header_read)
        header_row(im, fields, count);
    else
        data_row(im, fields, count);
    if (im->row_refused)
        im->counts.refused++;
}

static void on_csv_refused(void *arg, long line, const char *reason)
{
    struct import *im = arg;
    if (im->code || im->counts.unusable)
        return;
    begin_row(im, line);
    import_fault(im, NULL, NULL, reason);
    im->counts.refused++;
    if (im->header_read)
        im->counts.read++;
    else
        im->counts.unusable = true;
}

/* ---- outside ---- */

int import_new(const struct import_options *options, struct import **ret, struct error *err)
{
    const struct record_table *table = record_kind_table(options->kind);
    struct stage *stage;
    int rc = stage_new(options->path, table->count, &stage, err);
    if (rc)
        return rc;
    struct import *im = xcalloc(1, sizeof *im);
    im->kind = options->kind;
    im->format = options->format;
    im->source = xstrdup(options->source);
    im->path = xstrdup(options->path);
    im->catalogue = catalogue_ref(options->catalogue);
    im->take_last = options->take_last;
    im->refused = options->refused;
    im->refused_arg = options->refused_arg;
    im->table = table;
    im->stage = stage;
    im->check = check_new(im->kind, im->catalogue, on_check_refused, im);
    im->keys = key_index_new(im->path);
    im->lines.limit = CSV_ROWS_BYTES;
    if (im->format == IMPORT_CSV)
        im->csv = csv_rows_new(&(struct csv_rows_sink){on_csv_row, on_csv_refused, im}, ',');
    else
        im->names = xcalloc(IMPORT_NAMES, sizeof *im->names);
    *ret = im;
    return 0;
}

void import_free(struct import *im)
{
    if (!im)
        return;
    csv_rows_free(im->csv);
    import_names_free(im);
    lines_free(&im->lines);
    key_index_free(im->keys);
    check_free(im->check);
    stage_free(im->stage);
    catalogue_free(im->catalogue);
    free(im->source);
    free(im->path);
    free(im);
}

static int enter(struct import *im, const struct refs_source *refs, struct error *err)
{
    im->refs = refs;
    im->err = err;
    return im->code
               ? error_set(err, (enum error_code)im->code, "the load stopped at an error before")
               : 0;
}

int import_feed(struct import *im, const struct refs_source *refs, const char *bytes, size_t length,
                struct error *err)
{
    int rc = enter(im, refs, err);
    if (rc)
        return rc;
    if (im->csv)
        lines_feed(&im->lines, bytes, length, csv_rows_line, im->csv);
    else
        lines_feed(&im->lines, bytes, length, import_json_line, im);
    return im->code;
}

static void finish_csv(struct import *im)
{
    lines_finish(&im->lines, csv_rows_line, im->csv);
    csv_rows_finish(im->csv);
    if (im->code || im->header_read || im->counts.unusable)
        return;
    begin_row(im, 1);
    import_fault(im, NULL, NULL, "the file is empty: its first row must name the columns");
    im->counts.refused++;
    im->counts.unusable = true;
}

int import_finish(struct import *im, const struct refs_source *refs, struct error *err)
{
    int rc = enter(im, refs, err);
    if (rc)
        return rc;
    if (im->csv)
        finish_csv(im);
    else
        lines_finish(&im->lines, import_json_line, im);
    if (!im->code)
        im->code = stage_flush(im->stage, err);
    if (!im->code)
        im->code = import_drop_twice(im, err);
    if (!im->code)
        im->code = stage_sync(im->stage, err);
    return im->code;
}

struct import_counts import_counts(const struct import *im)
{
    return im->counts;
}
