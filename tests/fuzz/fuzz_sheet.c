/* Input: a workbook; or, if it is no zip file, the XML of its sheet, in a workbook made around it.
 */
#include "base/text.h"
#include "fuzz.h"
#include "tables/csv_rows.h"
#include "tables/lines.h"
#include "tables/sheet.h"
#include <string.h>
#include <zip.h>

static int take(void *arg, const char *bytes, size_t length)
{
    text_append_bytes(arg, bytes, length);
    return 0;
}

static void on_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    (void)fields;
    long *last = arg;
    PROMISE(line > *last && count >= 1 && count <= 256);
    *last = line;
}

static void on_refused(void *arg, long line, const char *reason)
{
    (void)arg;
    (void)line;
    PROMISE(strstr(reason, "longer than") != NULL);
}

/* What comes out is CSV, a row a line. */
static void check_csv(const struct text_buffer *out)
{
    long last = 0;
    struct lines lines = {.limit = CSV_ROWS_BYTES};
    struct csv_rows *rows = csv_rows_new(&(struct csv_rows_sink){on_row, on_refused, &last}, ',');
    lines_feed(&lines, out->data ? out->data : "", out->length, csv_rows_line, rows);
    lines_finish(&lines, csv_rows_line, rows);
    csv_rows_finish(rows);
    csv_rows_free(rows);
    lines_free(&lines);
}

static void check(const void *bytes, size_t length)
{
    struct text_buffer out = {0};
    struct error err = {0};
    const struct sheet_options options = {.decimal = length % 2 ? ',' : '.'};
    int rc = sheet_read(bytes, length, &options, take, &out, &err);
    PROMISE((rc == 0) == (err.code == 0));
    if (!rc)
        check_csv(&out);
    text_buffer_free(&out);
}

static void check_inside(const uint8_t *data, size_t size)
{
    static const char *const PARTS[][2] = {
        {"_rels/.rels", "<R><Relationship Id='1' Type='/officeDocument' Target='b.xml'/></R>"},
        {"b.xml", "<w><sheets><sheet name='S' id='a'/></sheets></w>"},
        {"_rels/b.xml.rels", "<R><Relationship Id='a' Type='/worksheet' Target='s.xml'/>"
                             "<Relationship Id='c' Type='/styles' Target='y.xml'/></R>"},
        {"y.xml", "<s><cellXfs><xf numFmtId='0'/><xf numFmtId='22'/><xf numFmtId='46'/>"
                  "</cellXfs></s>"}};
    zip_error_t why;
    zip_error_init(&why);
    zip_source_t *source = zip_source_buffer_create(NULL, 0, 0, &why);
    zip_t *zip = zip_open_from_source(source, ZIP_TRUNCATE, &why);
    zip_source_keep(source);
    for (size_t i = 0; i < sizeof PARTS / sizeof *PARTS; i++)
        zip_file_add(zip, PARTS[i][0], zip_source_buffer(zip, PARTS[i][1], strlen(PARTS[i][1]), 0),
                     0);
    zip_file_add(zip, "s.xml", zip_source_buffer(zip, data, size, 0), 0);
    PROMISE(zip_close(zip) == 0 && zip_source_open(source) == 0);
    zip_source_seek(source, 0, SEEK_END);
    size_t length = (size_t)zip_source_tell(source);
    char *bytes = xmalloc(length);
    zip_source_seek(source, 0, SEEK_SET);
    PROMISE(zip_source_read(source, bytes, length) == (zip_int64_t)length);
    zip_source_close(source);
    zip_source_free(source);
    check(bytes, length);
    free(bytes);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size > 0 && sheet_begins((const char *)data, size))
        check(data, size);
    else if (size > 0)
        check_inside(data, size);
    return 0;
}
