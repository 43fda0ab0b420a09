#include "base/jsonx.h"
#include "base/when.h"
#include "commands/command.h"
#include "show/harm.h"
#include "show/measured_show.h"
#include "show/pick.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"lab", "NAME", "who tested it (needed)"},
    {"sample", "NUMBER", "the sample's number there (needed)"},
    {"method", "TEXT", "how"},
    {"at", "WHEN", "of the test: a date, or an instant as 2026-11-24T10:00:00-05:00 (now)"},
    {"note", "TEXT", "what else the report says; \"none yet\" of mold-free days"},
    {"case", "CASE", "that asked for it"},
    {"reason", "TEXT", "why it is corrected or taken back"},
    {"by", "NAME", "who enters it (the login name)"},
    {"from", "FILE", "results as export gives them, measured.ndjson; - is standard input"},
    {0}};

/* Q=VALUE; Q= with nothing after it takes the result back. */
static int take_result(const struct client *c, const char *word, json_t *results)
{
    size_t length = strcspn(word, "=");
    if (length == 0 || !word[length])
        return client_usage(c, "%s: write QUANTITY=RESULT, as crumb_ph=5.9", word);
    const char *value = word + length + 1;
    json_t *item = json_pack("{s:o, s:o}", "quantity", json_stringn(word, length), "value",
                             *value ? json_string(value) : json_null());
    if (!item)
        return client_usage(c, "a result is not UTF-8 text");
    json_array_append_new(results, item);
    return EXIT_DONE;
}

/* A date as people say it; an instant is the daemon's to read. */
static int take_at(const struct client *c, const struct args *a, json_t *body)
{
    const char *said = args_value(a, "at");
    struct error err = {0};
    int32_t day = 0;
    char date[16];
    if (!said)
        return EXIT_DONE;
    if (strlen(said) < 20 || !strchr(said, 'T')) {
        const struct form_day now = zone_day(c->zone);
        if (form_date(said, &now, SAID_PAST, &day, &err) != 0) {
            error_field(&err, "--at", said);
            client_fail(c, &err);
            return EXIT_USAGE;
        }
        said = day_format(day, date);
    }
    json_object_set_new(body, "at", json_string(said));
    return EXIT_DONE;
}

static int make_body(const struct client *c, const struct args *a, json_t **ret)
{
    static const char *const TEXTS[] = {"lab", "sample", "method", "note", "case", "reason"};
    char login[64];
    json_t *body = json_object(), *results = json_array();
    int rc = EXIT_DONE;
    for (int i = 1; i < a->count && !rc; i++)
        rc = take_result(c, a->words[i], results);
    bool whole = json_object_set_new(body, "lot", json_string(a->words[0])) == 0;
    json_object_set_new(body, "results", results);
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++)
        if (args_has(a, TEXTS[i]))
            whole =
                json_object_set_new(body, TEXTS[i], json_string(args_value(a, TEXTS[i]))) == 0 &&
                whole;
    whole =
        json_object_set_new(body, "by", json_string(args_by(a, login, sizeof login))) == 0 && whole;
    if (!rc && !whole)
        rc = client_usage(c, "what was given is not UTF-8 text");
    if (!rc)
        rc = take_at(c, a, body);
    if (rc)
        json_decref(body);
    else
        *ret = body;
    return rc;
}

static void show(const struct client *c, const json_t *answer)
{
    measured_show_answer(&c->view, answer);
}

/* ---- from an export ---- */

static int send_line(struct client *c, const char *line, size_t length, long number)
{
    struct error err = {0};
    json_t *body = NULL, *answer = NULL;
    int rc = jsonx_parse(line, length, &body, &err);
    if (rc) {
        err.line = number;
        return client_fail(c, &err);
    }
    rc = client_post(c, "/v1/lots/measure", body, &answer);
    json_decref(body);
    if (rc) {
        client_say(c, "line %ld was refused", number);
        return rc;
    }
    if (c->json) {
        client_print(answer);
    } else {
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s: %s, sample %s", pick_text(answer, "lot", "?"),
                   pick_text(answer, "lab", "?"), pick_text(answer, "sample", "?"));
        harm_show_heard(&c->view, answer);
    }
    json_decref(answer);
    return EXIT_DONE;
}

/* Every line is tried; a daemon that is away ends it. */
static int send_file(struct client *c, const char *path)
{
    FILE *file = strcmp(path, "-") == 0 ? stdin : fopen(path, "r");
    char *line = NULL;
    size_t size = 0;
    int rc = EXIT_DONE;
    if (!file) {
        struct error err = {0};
        error_set(&err, ERROR_NOT_FOUND, "cannot read %s: %s", path, strerror(errno));
        return client_fail(c, &err);
    }
    for (long number = 1;; number++) {
        ssize_t length = getline(&line, &size, file);
        if (length < 0)
            break;
        if (strspn(line, " \r\n") == (size_t)length)
            continue;
        int one = send_line(c, line, (size_t)length, number);
        rc = rc ? rc : one;
        if (one == EXIT_UNREACHABLE || one == EXIT_DENIED)
            break;
    }
    free(line);
    if (file != stdin)
        fclose(file);
    return rc;
}

static int measure(struct client *c, const struct args *a)
{
    json_t *body = NULL, *answer = NULL;
    if (args_has(a, "from"))
        return a->count ? client_usage(c, "--from takes no lot and no results")
                        : send_file(c, args_value(a, "from"));
    if (a->count < 2)
        return client_usage(c, "name a lot and a result, as crumb_ph=5.9");
    if (!args_has(a, "lab") || !args_has(a, "sample"))
        return client_usage(c, "--lab and --sample are needed: a result is known by them");
    int rc = make_body(c, a, &body);
    if (rc)
        return rc;
    rc = client_post(c, "/v1/lots/measure", body, &answer);
    json_decref(body);
    return rc ? rc : client_answer(c, answer, show);
}

const struct command cmd_measure = {
    .name = "measure",
    .args = "LOT QUANTITY=RESULT… | --from FILE",
    .help = "enters what a laboratory or a retained sample told of a lot",
    .more =
        "A result may have a unit, 'core_at_pack=104 degF', or be a word, mold_genus=Penicillium. "
        "What the rules know is evidence: cases about the lot are ranked again. What they do not "
        "know is kept and shown. The same lot, quantity, laboratory and sample again: the same "
        "result changes nothing, another one replaces it; nothing after the = takes it back.",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = measure,
};
