/* Everything as open files: which there are, and one of them piece by piece. */
#include "store/export.h"
#include "base/csv_cell.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/apart.h"
#include "desk/taken_back.h"
#include "serve/app.h"
#include "serve/route.h"
#include "show/epcis.h"
#include <stdlib.h>
#include <string.h>

enum { PIECE_BYTES = 1 << 20 };

struct piece {
    struct store *store;
    const struct setup *setup;
    int64_t now_ms;
    struct export_cursor cursor;
    bool contacts, first;
    enum export_of of;
    const struct export_table *table;
    struct text_buffer text;
};

/* ---- tables ---- */

static void add_cell(struct piece *p, enum export_form form, const struct record_cell *cell)
{
    char text[40];
    switch (cell->form) {
    case RECORD_NOTHING:
        return;
    case RECORD_TEXT:
        csv_cell_append(&p->text, cell->text);
        return;
    case RECORD_NUMBER:
        text_appendf(&p->text, "%.17g", cell->number);
        return;
    case RECORD_INTEGER:
        if (form == EXPORT_TIME)
            text_append(&p->text, when_format_utc(cell->integer, text));
        else if (form == EXPORT_DAY)
            text_append(&p->text, day_format((int32_t)cell->integer, text));
        else
            text_appendf(&p->text, "%lld", (long long)cell->integer);
    }
}

static int add_row(void *arg, const struct record_cell *cells, int count)
{
    struct piece *p = arg;
    for (int i = 0; i < count; i++) {
        text_append(&p->text, i ? "," : "");
        add_cell(p, p->table->columns[i].form, &cells[i]);
    }
    text_append(&p->text, "\r\n");
    return 0;
}

static int add_table(struct piece *p, struct error *err)
{
    for (int i = 0; p->first && i < p->table->count; i++)
        text_appendf(&p->text, "%s%s", i ? "," : "", p->table->columns[i].name);
    if (p->first)
        text_append(&p->text, "\r\n");
    return export_next(p->store, p->table, &p->cursor, add_row, p, err);
}

static const char *text_of(const struct record_cell *cell)
{
    return cell->form == RECORD_TEXT ? cell->text : "";
}

/* ---- complaints ---- */

static int add_complaint(void *arg, const struct export_complaint *complaint)
{
    struct piece *p = arg;
    json_t *body = NULL;
    if (jsonx_parse(complaint->body, strlen(complaint->body), &body, NULL))
        return 0;
    /* its note is not to be heard again where somebody has read it */
    if (taken_back_read(p->store, json_string_value(json_object_get(body, "id"))))
        json_object_set_new(body, "harm_read", json_true());
    if (json_is_true(json_object_get(body, "harm_read")) && !json_object_get(body, "harm"))
        json_object_set_new(body, "harm", json_array());
    if (*complaint->same_as) { /* it is joined, whatever the codes say */
        json_object_set_new(body, "same_as", json_string(complaint->same_as));
        json_object_set_new(body, "anyway", json_true());
    }
    if (p->contacts)
        json_object_set_new(
            body, "contact",
            apart_show(p->store, complaint->complaint_id, complaint->report, body, NULL));
    char *line = jsonx_dump(body);
    text_append(&p->text, line);
    text_append(&p->text, "\n");
    free(line);
    json_decref(body);
    return 0;
}

static int add_complaints(struct piece *p, struct error *err)
{
    return export_complaints(p->store, p->of, &p->cursor, add_complaint, p, err);
}

/* ---- results of laboratories ---- */

/* As `oddloaf measure --from` takes them: those that stand. */
static int add_result(void *arg, const struct record_cell *cells, int count)
{
    enum { LOT, QUANTITY, SAID, LAB = 5, SAMPLE, METHOD, NOTE, AT, BY = 11, ENDED = 14 };
    struct piece *p = arg;
    char at[40];
    (void)count;
    if (cells[ENDED].form != RECORD_NOTHING)
        return 0;
    json_t *body = json_pack("{s:s, s:[{s:s, s:s}], s:s, s:s, s:s, s:s, s:s, s:s}", "lot",
                             text_of(&cells[LOT]), "results", "quantity", text_of(&cells[QUANTITY]),
                             "value", text_of(&cells[SAID]), "lab", text_of(&cells[LAB]), "sample",
                             text_of(&cells[SAMPLE]), "method", text_of(&cells[METHOD]), "note",
                             text_of(&cells[NOTE]), "at", when_format_utc(cells[AT].integer, at),
                             "by", text_of(&cells[BY]));
    char *line = jsonx_dump(body);
    text_append(&p->text, line);
    text_append(&p->text, "\n");
    free(line);
    json_decref(body);
    return 0;
}

static int add_results(struct piece *p, struct error *err)
{
    return export_next(p->store, export_table("measured"), &p->cursor, add_result, p, err);
}

/* ---- attachments ---- */

/* As `oddloaf attach --from` takes them: those that are there, of complaints that stand. */
static int add_attached(void *arg, const struct record_cell *cells, int count)
{
    enum { NUMBER, CASE, COMPLAINT, NAME, BY = 7, ENDED = 10 };
    struct piece *p = arg;
    (void)count;
    if (cells[ENDED].form != RECORD_NOTHING || cells[COMPLAINT].form == RECORD_NOTHING)
        return 0;
    json_t *line =
        json_pack("{s:I, s:s, s:s, s:s, s:b}", "attachment", (json_int_t)cells[NUMBER].integer,
                  "to", text_of(&cells[COMPLAINT]), "name", text_of(&cells[NAME]), "by",
                  text_of(&cells[BY]), "of_case", (int)(cells[CASE].form != RECORD_NOTHING));
    char *text = jsonx_dump(line);
    text_appendf(&p->text, "%s\n", text);
    free(text);
    json_decref(line);
    return 0;
}

static int add_attachments(struct piece *p, struct error *err)
{
    return export_next(p->store, export_table("attached"), &p->cursor, add_attached, p, err);
}

/* ---- events ---- */

static int add_event(void *arg, const struct record_cell *cells, int count)
{
    struct piece *p = arg;
    (void)count;
    const struct epcis_lot_event event = {.shipped = cells[0].integer != 0,
                                          .lot = text_of(&cells[1]),
                                          .product = text_of(&cells[2]),
                                          .gtin = text_of(&cells[3]),
                                          .at_ms = cells[4].integer,
                                          .units = cells[5].integer,
                                          .code_day = (int32_t)cells[6].integer,
                                          .route = text_of(&cells[7]),
                                          .store = text_of(&cells[8])};
    json_t *json = epcis_event(p->setup->tz, &event);
    char *line = jsonx_dump(json);
    text_appendf(&p->text, "%s%s", p->first ? "" : ",\n", line);
    p->first = false;
    free(line);
    json_decref(json);
    return 0;
}

static int add_events(struct piece *p, struct error *err)
{
    char *head = p->cursor.at == INT64_MIN ? epcis_head(p->now_ms) : NULL;
    if (head)
        text_append(&p->text, head);
    free(head);
    int rc = export_next(p->store, export_events(), &p->cursor, add_event, p, err);
    char *tail = p->cursor.more ? NULL : epcis_tail();
    if (tail)
        text_append(&p->text, tail);
    free(tail);
    return rc;
}

/* ---- what was decided ---- */

/* A word of a shell, whatever is in it. */
static void add_word(struct piece *p, const char *text)
{
    text_append(&p->text, "'");
    for (const char *at = text; *at; at++)
        text_append_bytes(&p->text, *at == '\'' ? "'\\''" : at, *at == '\'' ? 4 : 1);
    text_append(&p->text, "'");
}

static void add_option(struct piece *p, const struct export_column *column,
                       const struct record_cell *cell)
{
    char when[40];
    if (cell->form == RECORD_NOTHING || (cell->form == RECORD_TEXT && !*cell->text))
        return;
    text_appendf(&p->text, "%s%s", *column->name ? " --" : " ", column->name);
    if (column->form == EXPORT_TIME)
        text_appendf(&p->text, "=%s", when_format_utc(cell->integer, when));
    else if (column->form == EXPORT_DAY)
        text_appendf(&p->text, "=%s", day_format(tz_day(p->setup->tz, cell->integer), when));
    else if (cell->form == RECORD_TEXT) {
        text_append(&p->text, *column->name ? "=" : "");
        add_word(p, cell->text);
    }
}

static int add_decision(void *arg, const struct record_cell *cells, int count)
{
    struct piece *p = arg;
    text_appendf(&p->text, "oddloaf %s", cells[0].text);
    for (int named = 1; named >= 0; named--) {
        for (int i = 1; i < count; i++)
            if ((*p->table->columns[i].name != '\0') == (named == 1))
                add_option(p, &p->table->columns[i], &cells[i]);
        text_append(&p->text, named ? " --" : " || failed=1\n");
    }
    return 0;
}

/* Few, beside complaints: all in one piece. */
static int add_decisions(struct piece *p, struct error *err)
{
    int count, rc = 0;
    const struct export_table *tables = export_decisions(&count);
    for (int t = 0; t < count && !rc; t++) {
        p->table = &tables[t];
        p->cursor = (struct export_cursor){INT64_MIN, true};
        while (!rc && p->cursor.more)
            rc = export_next(p->store, p->table, &p->cursor, add_decision, p, err);
    }
    text_append(&p->text, "exit ${failed:-0}\n");
    return rc;
}

/* ---- what the files are ---- */

static const char README[] =
    "# Everything on record\n\n"
    "CSV as RFC 4180 has it, UTF-8, times in UTC; NDJSON, one JSON object a line. An apostrophe "
    "before a\n"
    "cell that a spreadsheet would run as a formula is not part of the text, and marks that turn "
    "the\n"
    "direction of reading or break a line unseen are written out (`\\u202E`): `oddloaf load` takes "
    "both\n"
    "back. Rows that came while these files were written may be in some of them and not in "
    "others.\n\n"
    "A fresh daemon loads it again, in this order:\n\n"
    "    for kind in products targets lots mixes uses readings plantlog dispatch; do\n"
    "      oddloaf load $kind $kind.csv\n"
    "    done\n"
    "    oddloaf log --from complaints.ndjson\n"
    "    oddloaf log --from joined.ndjson\n"
    "    oddloaf measure --from measured.ndjson\n"
    "    oddloaf attach --from attached.ndjson\n"
    "    sh decisions.sh\n\n"
    "Cases get new numbers, complaints keep their ids. The rest tells what was found and done.\n\n"
    "* `complaints.ndjson`: complaints as they stand, as a client sends them, in the order they "
    "were logged;\n"
    "  `harm_read`: a person corrected what is said of harm, so `harm` holds whatever the note "
    "says\n"
    "* `joined.ndjson`: reports that repeat one of them (`same_as`), two codes or not (`anyway`)\n"
    "* `withdrawn.ndjson`: complaints that were withdrawn, with the reports that repeat them; they "
    "count\n"
    "  nowhere and are not loaded again; `changes.csv` has who withdrew them, when and why\n"
    "* `measured.ndjson`: results of laboratories as they stand; `measured.csv` has those before, "
    "too\n"
    "* `decisions.sh`: verdicts that stand, holds with their ends, and actions, each as the "
    "command "
    "that\n"
    "  decides it, with its date; for a daemon on which nothing is on hold yet; owner, day and "
    "severity "
    "that\n"
    "  people gave open cases, too; what they noted and answered is in `follow_notes.csv`\n"
    "* `attached.ndjson`: photos and reports, whose files are in the folder `attachments`\n"
    "* `epcis.json`: lots made and sent, as an EPCIS 2.0 document\n";

static int add_readme(struct piece *p, struct error *err)
{
    int count;
    const struct export_table *tables = export_tables(&count);
    (void)err;
    text_append(&p->text, README);
    for (int t = 0; t < count; t++) {
        text_appendf(&p->text, "\n## %s.csv: %s\n\n", tables[t].name, tables[t].what);
        for (int i = 0; i < tables[t].count; i++) {
            const struct export_column *column = &tables[t].columns[i];
            text_appendf(&p->text, "* `%s`%s%s\n", column->name, *column->what ? ": " : "",
                         column->what);
        }
    }
    p->cursor.more = false;
    return 0;
}

static const struct {
    const char *name;
    enum export_of of;
    int (*add)(struct piece *p, struct error *err);
} OTHERS[] = {{"README.md", 0, add_readme},
              {"complaints.ndjson", EXPORT_STANDING, add_complaints},
              {"joined.ndjson", EXPORT_JOINED, add_complaints},
              {"withdrawn.ndjson", EXPORT_WITHDRAWN, add_complaints},
              {"measured.ndjson", 0, add_results},
              {"decisions.sh", 0, add_decisions},
              {"attached.ndjson", 0, add_attachments},
              {"epcis.json", 0, add_events}};
enum { OTHER_COUNT = sizeof OTHERS / sizeof OTHERS[0] };

void export_list(struct request *rq, struct store *store)
{
    int count;
    const struct export_table *tables = export_tables(&count);
    json_t *files = json_array();
    (void)store;
    for (int i = 0; i < OTHER_COUNT; i++)
        json_array_append_new(files, json_string(OTHERS[i].name));
    for (int i = 0; i < count; i++)
        json_array_append_new(files, json_sprintf("%s.csv", tables[i].name));
    request_reply_json(rq, 200, json_pack("{s:o}", "files", files));
}

/* ---- a piece ---- */

typedef int (*adder)(struct piece *p, struct error *err);

static adder find(const char *name, struct piece *p, struct error *err)
{
    char table[32] = "";
    const char *dot = strrchr(name, '.');
    for (int i = 0; i < OTHER_COUNT; i++) {
        p->of = OTHERS[i].of;
        if (strcmp(OTHERS[i].name, name) == 0)
            return OTHERS[i].add;
    }
    if (dot && strcmp(dot, ".csv") == 0 && (size_t)(dot - name) < sizeof table)
        memcpy(table, name, (size_t)(dot - name));
    p->table = export_table(table);
    if (p->table)
        return add_table;
    error_set(err, ERROR_NOT_FOUND, "there is no file %.60s", name);
    return NULL;
}

static int read_question(const struct request *rq, struct piece *p, struct error *err)
{
    int rc = request_query_int(rq, "after", INT64_MIN, &p->cursor.at, err);
    if (!rc)
        rc = request_query_flag(rq, "contacts", false, &p->contacts, err);
    if (!rc && p->contacts && !(rq->roles & ROLE_DESK))
        rc = error_set(err, ERROR_DENIED, "contact data goes to the desk only");
    return rc;
}

void export_get(struct request *rq, struct store *store)
{
    struct error err = {0};
    struct setup *setup = app_setup(rq->app);
    struct piece p = {
        .store = store, .setup = setup, .now_ms = app_now_ms(rq->app), .cursor = {INT64_MIN, true}};
    int rc = read_question(rq, &p, &err);
    adder add = rc ? NULL : find(rq->part[0], &p, &err);
    rc = rc ? rc : add ? 0 : ERROR_NOT_FOUND;
    p.first = p.cursor.at == INT64_MIN;
    while (!rc && p.cursor.more && p.text.length < PIECE_BYTES) {
        rc = add(&p, &err);
        p.first = p.first && add == add_events;
    }
    if (rc)
        request_reply_error(rq, rc, &err);
    else
        request_reply_json(rq, 200,
                           json_pack("{s:s, s:s, s:o}", "name", rq->part[0], "text",
                                     p.text.data ? p.text.data : "", "next",
                                     p.cursor.more ? json_integer(p.cursor.at) : json_null()));
    text_buffer_free(&p.text);
    setup_unref(setup);
}
