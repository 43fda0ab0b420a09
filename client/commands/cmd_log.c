#include "base/jsonx.h"
#include "base/uuid.h"
#include "base/when.h"
#include "commands/command.h"
#include "deliver/batch.h"
#include "deliver/deliver.h"
#include "form/form.h"
#include "interview/interview.h"
#include "show/deliver_show.h"
#include "show/harm.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const struct option_row options[] = {
    {"from", "FILE",
     "complaints from a file (- is standard input), CSV or JSON lines; the "
     "options above then stand for what a row lacks"},
    {"map", "COL=FIELD", "CSV: which column is which field; or a file of such pairs (JSON)"},
    {"dry-run", NULL, "with --from: check every row, send none"},
    {"replay", NULL, "send what was kept while the daemon was away, and nothing else"},
    {0}};

/* "Yesterday" is the day before the complaint was received, which may be long ago. */
static struct form_day day_of(const struct client *c, const struct args *a)
{
    struct form_day day = zone_day(c->zone);
    int32_t received = 0;
    char date[16];
    const char *said = args_value(a, "received-at");
    if (!said)
        return day;
    snprintf(date, sizeof date, "%.10s", said);
    if (day_parse(date, &received, NULL) == 0)
        day.today = received;
    return day;
}

static const struct field *field_of(const char *option)
{
    for (const struct field *f = fields_all(); f->name; f++)
        if (strcmp(f->option, option) == 0)
            return f;
    return NULL;
}

/* Options of the complaint; others (socket, from, …) are passed over. */
static int take_options(struct client *c, const struct args *a, json_t *complaint)
{
    struct form_day day = day_of(c, a);
    for (int i = 0; i < a->given_count; i++) {
        struct error err = {0};
        const struct field *f = field_of(a->given[i].name);
        if (!f)
            continue;
        json_t *before = f->type == FIELD_WORDS ? json_incref(fields_get(complaint, f)) : NULL;
        if (form_set(complaint, f, a->given[i].value, &day, &err) != 0) {
            json_decref(before);
            char flag[64] = "--";
            strncat(flag, f->option, sizeof flag - 3);
            error_field(&err, flag, NULL);
            return client_fail(c, &err);
        }
        if (before) { /* the option given again adds to the list */
            json_array_extend(before, fields_get(complaint, f));
            json_array_clear(fields_get(complaint, f));
            json_array_extend(fields_get(complaint, f), before);
        }
        json_decref(before);
    }
    return EXIT_DONE;
}

/* Id and time, made before anything is sent. */
static void complete(struct client *c, json_t *complaint)
{
    char id[UUID_TEXT];
    char now[40];
    struct clock clock = clock_system();
    if (!pick_has(complaint, "received_at"))
        json_object_set_new(complaint, "received_at",
                            json_string(form_now(zone_day(c->zone).tz, now)));
    if (!pick_has(complaint, "channel"))
        json_object_set_new(complaint, "channel", json_string("phone"));
    if (pick_has(complaint, "id"))
        return;
    uuid_v7(clock_now_ms(&clock), id);
    json_object_set_new(complaint, "id", json_string(id));
}

/* The date as it was understood, before what is said to the caller: 05/06 may be meant otherwise.
 */
static void read_back(const struct client *c, const json_t *complaint)
{
    const struct form_day day = zone_day(c->zone);
    char *date = form_show(complaint, fields_find("code_date"), &day);
    if (date && *date)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Date on bag: %s", date);
    free(date);
}

static int log_one(struct client *c, json_t *complaint)
{
    struct error err = {0};
    json_t *answer = NULL;
    complete(c, complaint);
    int rc = deliver_one(c, complaint, &answer, &err);
    if (rc == 0) {
        if (c->json)
            client_print(answer);
        if (!c->json) {
            read_back(c, complaint);
            deliver_show(&c->view, complaint, answer);
        }
        json_decref(answer);
        return EXIT_DONE;
    }
    if (!deliver_keeps(rc))
        return EXIT_REFUSED;
    char path[SPOOL_PATH];
    struct text_buffer line = {0};
    char *text = jsonx_dump(complaint);
    text_appendf(&line, "%s\n", text);
    free(text);
    int exit_code = deliver_keep(c, &err, line.data, line.length, path);
    if (c->json) {
        json_t *document = json_pack("{ss sb}", "complaint", pick_text(complaint, "id", ""), "kept",
                                     path[0] != '\0');
        client_print(document);
        json_decref(document);
    }
    text_buffer_free(&line);
    if (strcmp(pick_text(complaint, "channel", ""), "return") == 0)
        client_say(c, "returned goods never stand near cooling, slicing or packing: their spores "
                      "reach fresh bread");
    struct view v;
    view_init(&v, c->json ? stderr : stdout);
    if (harm_reported(complaint, NULL)) {
        harm_show(&v, NULL, HARM_KEPT);
    } else if (pick_has(complaint, "note")) {
        client_say(c, HARM_UNREAD);
        harm_show_unread(&v);
    }
    return exit_code;
}

static int log_files(struct client *c, const struct args *a, const json_t *defaults)
{
    struct column_map *map = column_map_new();
    int rc = EXIT_DONE;
    for (int i = 0; i < a->given_count && !rc; i++) {
        struct error err = {0};
        if (strcmp(a->given[i].name, "map") == 0 &&
            column_map_add(map, a->given[i].value, &err) != 0)
            rc = client_fail(c, &err);
    }
    struct batch_options batch = {
        .defaults = defaults, .map = map, .dry_run = args_has(a, "dry-run")};
    bool mapped = rc == EXIT_DONE;
    for (int i = 0; i < a->given_count && mapped; i++) {
        if (strcmp(a->given[i].name, "from") != 0)
            continue;
        int one = batch_run(c, a->given[i].value, &batch);
        if (one > rc)
            rc = one;
    }
    column_map_free(map);
    return rc;
}

static int log_complaint(struct client *c, const struct args *a)
{
    if (args_has(a, "replay"))
        return deliver_waiting(c, true);
    json_t *complaint = json_object();
    int rc = take_options(c, a, complaint);
    bool from = args_has(a, "from");
    bool interview = !from && !pick_has(complaint, "symptom");
    if (!rc && interview && !isatty(STDIN_FILENO))
        rc = client_usage(c, "give --symptom, or --from FILE, or run it on a terminal");
    if (!rc && args_has(a, "dry-run") && !from)
        rc = client_usage(c, "--dry-run goes with --from");
    if (rc && (args_has(a, "note") || args_has(a, "harm")))
        client_say(c, HARM_UNREAD);
    if (!rc && !args_has(a, "dry-run"))
        deliver_waiting(c, false); /* its failures are said and do not stop what comes now */
    if (!rc && from) {
        json_object_del(complaint, "id"); /* one id cannot stand for many */
        rc = log_files(c, a, complaint);
    } else if (!rc && interview) {
        complete(c, complaint);
        rc = interview_run(c, complaint);
    } else if (!rc) {
        rc = log_one(c, complaint);
    }
    json_decref(complaint);
    return rc;
}

const struct command cmd_log = {
    .name = "log",
    .args = "",
    .help = "takes a complaint: interview, options, or a file",
    .more = "On a terminal and without --symptom it asks, one question at a time, the most telling "
            "one next; each may be skipped with Enter. While the daemon is away complaints are "
            "kept on this machine (ODDLOAF_SPOOL) and sent before the next one, exit status 3; "
            "harm that is "
            "heard in them is told then.\n\n"
            "A map file: {\"columns\": {\"Defect\": \"symptom\", \"Internal\": \"-\"}, \"values\": "
            "{\"symptom\": {\"Mould\": \"mold\"}}}. Rows without an id get one from their "
            "content, so that the same file sent twice changes nothing.",
    .options = options,
    .fields = true,
    .least = 0,
    .most = 0,
    .exec = log_complaint,
};
