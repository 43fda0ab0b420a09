#include "base/near.h"
#include "commands/case_path.h"
#include "commands/command.h"
#include "deliver/zone.h"
#include "form/form.h"
#include "show/change_show.h"
#include "show/harm.h"
#include <stdio.h>
#include <string.h>

static const struct option_row options[] = {
    {"reason", "TEXT", "why (needed)"}, {"by", "NAME", "who says so (the login name)"}, {0}};

static int refuse(const struct client *c, const char *field, const char *value, struct error *err)
{
    error_field(err, field, value);
    return client_fail(c, err);
}

/* FIELD=VALUE, the value as people type it; nothing after the "=": not known. */
static int take_field(const struct client *c, const char *word, json_t *fields)
{
    char name[96];
    struct error err = {0};
    const struct form_day day = zone_day(c->zone);
    size_t length = strcspn(word, "=");
    snprintf(name, sizeof name, "%.*s", (int)length, word);
    if (!word[length])
        return client_usage(c, "%s: say what it is to be, %s=VALUE", name, name);
    const char *value = word + length + 1;
    const struct field *field = fields_named(name);
    if (!field) {
        error_set(&err, ERROR_INVALID, "is no field of a complaint");
        const struct near near = {.word = fields_near(name)};
        near_hint(&near, "`oddloaf help log` lists them", &err);
        return refuse(c, name, value, &err);
    }
    json_t *said = json_object();
    int rc = *value ? form_set(said, field, value, &day, &err) : 0;
    json_t *read = fields_get(said, field);
    json_object_set_new(fields, field->name, read ? json_incref(read) : json_null());
    json_decref(said);
    return rc ? refuse(c, field->name, field->flags & FIELD_PERSON ? NULL : value, &err) : 0;
}

static void show(const struct client *c, const json_t *answer)
{
    change_show(&c->view, answer);
}

static bool says(const struct args *a, const char *name)
{
    for (int i = 1; i < a->count; i++) {
        char said[96];
        size_t length = strcspn(a->words[i], "=");
        snprintf(said, sizeof said, "%.*s", (int)length, a->words[i]);
        const struct field *field = fields_named(said);
        if (field && strcmp(field->name, name) == 0 && a->words[i][length] &&
            a->words[i][length + 1])
            return true;
    }
    return false;
}

/* It was refused, or the daemon is away: nobody is told of what was to be put on record. */
static void say_lost(const struct client *c, const struct args *a)
{
    struct view v;
    view_init(&v, c->json ? stderr : stdout);
    if (says(a, "harm"))
        harm_show(&v, NULL, HARM_LOST);
    else if (says(a, "note") || says(a, "reason"))
        client_say(c, HARM_UNREAD);
}

static int correct(struct client *c, const struct args *a)
{
    char login[64];
    const char *reason = args_value(a, "reason");
    if (!reason || !*reason) {
        int usage = client_usage(c, "--reason is needed: a correction is kept with it");
        say_lost(c, a);
        return usage;
    }
    json_t *fields = json_object(), *answer = NULL;
    int rc = EXIT_DONE;
    for (int i = 1; i < a->count && rc == EXIT_DONE; i++)
        rc = take_field(c, a->words[i], fields);
    json_t *body = json_pack("{sO ss ss}", "fields", fields, "reason", reason, "by",
                             args_by(a, login, sizeof login));
    if (rc == EXIT_DONE && !body)
        rc = client_usage(c, "the reason or the name is not UTF-8 text");
    if (rc == EXIT_DONE)
        rc = case_path_post_complaint(c, a->words[0], "correct", body, &answer);
    json_decref(fields);
    json_decref(body);
    if (rc != EXIT_DONE)
        say_lost(c, a);
    return rc == EXIT_DONE ? client_answer(c, answer, show) : rc;
}

const struct command cmd_correct = {
    .name = "correct",
    .args = "COMPLAINT FIELD=VALUE…",
    .help = "corrects what a complaint says",
    .more =
        "Fields are those of log, by name or option, values as typed there; FIELD= with nothing "
        "after it makes it unknown. A note that is corrected is read again. Lot, case, counts "
        "and rankings follow; what it was stays on record with who, when and why.",
    .options = options,
    .least = 2,
    .most = -1,
    .exec = correct,
};
