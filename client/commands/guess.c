#include "commands/guess.h"
#include "base/jsonx.h"
#include "base/units.h"
#include "base/uuid.h"
#include "base/when.h"
#include "deliver/source.h"
#include "show/pick.h"
#include "tables/column_guess.h"
#include "tables/column_heading.h"
#include "tables/table_rows.h"
#include <errno.h>
#include <stdlib.h>
#include <string.h>

enum { READ_BYTES = 256 << 10, ROWS_SHOWN = 3, CHECK_S = 30 };

struct proposal {
    const char *path;
    json_t *map, *notes, *rows;
    json_t *checked; /* how the daemon takes all rows that were read; NULL: it was not reached */
    char *text;      /* of the map */
};

/* The beginning of the file, whole lines of it. */
static int read_beginning(const char *path, const struct sheet_options *sheet,
                          struct text_buffer *ret, struct error *err)
{
    struct source *s = NULL;
    size_t length = 0;
    int rc = source_open_sheet(path, sheet, &s, err);
    if (!rc && source_is_ndjson(s)) {
        error_at(err, path, 0, 0);
        rc = error_set(err, ERROR_INVALID, "is JSON lines: they have our names already");
    }
    char *chunk = rc ? NULL : xmalloc(READ_BYTES);
    do {
        length = 0;
        rc = rc ? rc : source_read(s, chunk, READ_BYTES, &length, err);
        text_append_bytes(ret, chunk, rc ? 0 : length);
    } while (!rc && length && ret->length < READ_BYTES);
    while (!rc && length && ret->length && ret->data[ret->length - 1] != '\n')
        ret->length--;
    free(chunk);
    source_close(s);
    return rc;
}

/* ---- as a load would take them ---- */

/* The name of a number's column as it is kept, and its unit there: of "core_at_pack [degF]"
 * core_at_pack_c; of "value [degF]" itself, by what the row measures. */
static const char *kept_as(enum record_kind kind, const json_t *row, const char *name,
                           const char **ret_unit, char unit[static COLUMN_UNIT])
{
    size_t bare = 0;
    const char *suffix, *measured = json_string_value(json_object_get(row, "quantity"));
    if (!column_map_unit(name, unit, &bare))
        return NULL;
    char *without = xstrndup(name, bare);
    const char *own = column_heading_own(kind, without, unit), *of = own ? own : measured;
    int at = own ? -1 : record_kind_column(record_kind_table(kind), without);
    *ret_unit = of ? units_promised(of, &suffix) : NULL;
    if (!own && at >= 0)
        own = record_kind_table(kind)->columns[at].name;
    free(without);
    return *ret_unit ? own : NULL;
}

/* Numbers in the units they are kept in. */
static json_t *in_our_units(enum record_kind kind, const json_t *row)
{
    json_t *kept = json_object(), *value;
    const char *name;
    json_object_foreach((json_t *)(uintptr_t)row, name, value)
    {
        char unit[COLUMN_UNIT], number[40];
        const char *to = NULL, *own = kept_as(kind, row, name, &to, unit);
        double given, is;
        if (own && json_is_string(value) && text_to_double(json_string_value(value), &given) == 0 &&
            units_convert(given, unit, to, &is, NULL) == 0) {
            snprintf(number, sizeof number, "%.6g", is);
            json_object_set_new(kept, own, json_string(number));
        } else {
            json_object_set(kept, name, value);
        }
    }
    return kept;
}

static void take_shown(struct proposal *p, enum record_kind kind, const struct text_buffer *mapped)
{
    const char *at = mapped->data ? mapped->data : "";
    for (json_int_t line = 1; *at && json_array_size(p->rows) < ROWS_SHOWN; line++) {
        size_t length = strcspn(at, "\n");
        json_t *row = NULL;
        if (length && jsonx_parse(at, length, &row, NULL) == 0)
            json_array_append_new(
                p->rows, json_pack("{sI so}", "line", line, "row", in_our_units(kind, row)));
        json_decref(row);
        at += length + (at[length] == '\n');
    }
}

/* What would be refused of a row that is shown stands in it. */
static void take_refusals(struct proposal *p)
{
    size_t i, k;
    json_t *one, *refusal;
    json_array_foreach(p->rows, i, one)
    {
        json_t *refused = json_array(), *row = json_object_get(one, "row");
        json_array_foreach(json_object_get(p->checked, "refused"), k, refusal)
        {
            if (pick_int(refusal, "line", 0) == pick_int(one, "line", -1))
                json_array_append(refused, refusal);
        }
        json_object_del(row, "refused");
        if (json_array_size(refused))
            json_object_set(row, "refused", refused);
        json_decref(refused);
    }
}

/* The check of a load, of all that was read of the file; nothing is kept of it. */
static void check(struct client *c, struct proposal *p, const char *kind,
                  const struct text_buffer *mapped)
{
    struct error err = {0};
    struct reply reply = {0};
    struct text_buffer path = {0};
    struct clock clock = clock_system();
    char id[UUID_TEXT];
    uuid_v7(clock_now_ms(&clock), id);
    text_append(&path, "/v1/records/");
    client_path_word(&path, kind);
    client_path_query(&path, "source", p->path);
    client_path_query(&path, "load", id);
    text_append(&path, "&part=0&last=1&keep_good=1&dry_run=1");
    const struct request request = {.method = "POST",
                                    .path = path.data,
                                    .type = "application/x-ndjson",
                                    .body = mapped->data ? mapped->data : "",
                                    .length = mapped->length,
                                    .timeout_s = CHECK_S};
    if (transport_call(c->transport, &request, &reply, &err) == 0 && reply.status == 200)
        jsonx_parse(reply.body.data ? reply.body.data : "", reply.body.length, &p->checked, NULL);
    transport_reply_free(&reply);
    text_buffer_free(&path);
}

/* The first rows by the map, as the daemon would take them. */
static int preview(struct client *c, struct proposal *p, const struct text_buffer *csv,
                   struct error *err)
{
    struct column_map *map = NULL;
    struct text_buffer mapped = {0};
    const struct column_map_source source = {.path = "the proposed map", .text = p->text};
    int rc = column_map_load(&source, &map, err);
    if (rc)
        return rc;
    struct table_rows *rows = table_rows_new(map, 0, zone_day(c->zone).tz);
    table_rows_feed(rows, csv->data ? csv->data : "", csv->length, &mapped);
    table_rows_finish(rows, &mapped);
    take_shown(p, column_map_kind(map, 0), &mapped);
    check(c, p, record_kind_table(column_map_kind(map, 0))->kind, &mapped);
    if (p->checked)
        take_refusals(p);
    table_rows_free(rows);
    text_buffer_free(&mapped);
    column_map_free(map);
    return 0;
}

static void show_sum(struct view *v, const struct proposal *p)
{
    char read[VIEW_COUNT], refused[VIEW_NUMBER];
    int64_t count = pick_int(p->checked, "refused_total", 0);
    if (!p->checked)
        view_text(v, VIEW_BOLD, 0, 2,
                  "Not checked: the daemon did not answer. It knows which lots, products, places "
                  "and quantities there are, and may refuse rows; load --dry-run asks it.");
    else
        view_textf(v, count ? VIEW_BOLD : VIEW_PLAIN, 0, 2,
                   "Checked as a load would, %s from its beginning: %s refused%s",
                   view_count((double)pick_int(p->checked, "read", 0), "row", read),
                   count ? view_number((double)count, refused) : "none",
                   count ? "; mend the map or the file, load --dry-run names each." : ".");
}

static void show_rows(struct view *v, const struct proposal *p)
{
    size_t i;
    const json_t *one;
    view_title(v, p->checked ? "Its first rows as they would be taken"
                             : "Its first rows as the map reads them");
    json_array_foreach(p->rows, i, one)
    {
        const json_t *row = json_object_get(one, "row"), *value;
        const char *name, *sign = "";
        struct text_buffer text = {0};
        text_appendf(&text, "%lld: ", (long long)pick_int(one, "line", 0));
        json_object_foreach((json_t *)(uintptr_t)row, name, value)
        {
            if (json_is_string(value))
                text_appendf(&text, "%s%s %s", sign, name, json_string_value(value));
            sign = ", ";
        }
        size_t k;
        json_array_foreach(json_object_get(row, "refused"), k, value) text_appendf(
            &text, "%srefused: %s '%s' %s", *sign ? "; " : "", pick_text(value, "column", ""),
            pick_text(value, "value", ""), pick_text(value, "reason", ""));
        view_text(v, VIEW_PLAIN, 2, 4, text.data);
        text_buffer_free(&text);
    }
}

static int print(struct client *c, const struct proposal *p, const char *out)
{
    size_t i;
    const json_t *note;
    if (out) {
        FILE *file = fopen(out, "wxe");
        bool written = file && fprintf(file, "%s\n", p->text) > 0;
        if (!file || (fclose(file) != 0) || !written)
            return client_usage(c, "cannot write %s: %s", out, strerror(errno));
    }
    if (c->json) {
        json_t *document =
            json_pack("{sO sO sO sI sI}", "map", p->map, "notes", p->notes, "rows", p->rows, "read",
                      (json_int_t)pick_int(p->checked, "read", 0), "refused_total",
                      (json_int_t)pick_int(p->checked, "refused_total", 0));
        json_object_set_new(document, "checked", json_boolean(p->checked != NULL));
        client_print(document);
        json_decref(document);
        return EXIT_DONE;
    }
    struct view side;
    view_init(&side, out ? stdout : stderr); /* the map alone goes where it is redirected to */
    if (!out) {
        puts(p->text);
        fflush(stdout);
    }
    json_array_foreach(p->notes, i, note) client_say(c, "%s", json_string_value(note));
    show_rows(&side, p);
    show_sum(&side, p);
    return EXIT_DONE;
}

int guess_run(struct client *c, const struct args *a)
{
    enum record_kind kind;
    struct error err = {0};
    struct text_buffer csv = {0};
    const char *path = args_value(a, "guess");
    struct proposal p = {.path = path, .rows = json_array()};
    const struct sheet_options sheet = {.name = args_value(a, "sheet"), .decimal = '.'};
    if (a->count > 1 || (a->count && !record_kind_parse(a->words[0], &kind))) {
        json_decref(p.rows);
        return client_usage(c, "--guess takes one file, and at most the kind it is known to be");
    }
    int rc = read_beginning(path, &sheet, &csv, &err);
    if (!rc && (rc = column_guess(csv.data ? csv.data : "", csv.length, a->count ? &kind : NULL,
                                  &p.map, &p.notes, &err))) {
        error_at(&err, path, 0, 0);
        error_hint(&err, "name the kind: oddloaf load KIND --guess FILE; or write a map by hand");
    }
    if (!rc) {
        p.text = json_dumps(p.map, JSON_INDENT(1));
        rc = preview(c, &p, &csv, &err);
    }
    if (rc)
        rc = client_fail(c, &err);
    else
        rc = print(c, &p, args_value(a, "out"));
    json_decref(p.map);
    json_decref(p.notes);
    json_decref(p.rows);
    json_decref(p.checked);
    free(p.text);
    text_buffer_free(&csv);
    return rc;
}
