#include "base/when.h"
#include "base/words.h"
#include "commands/command.h"
#include "form/form.h"
#include "intake/said_date.h"
#include "show/follow_show.h"
#include <stdlib.h>
#include <string.h>

#define NONE "none"          /* of owner and due */
#define BY_THE_RULES "rules" /* of severity */

static const struct option_row options[] = {
    {"owner", "NAME", "whose it is; me, " NONE},
    {"due", "DATE", "by when it is to be settled; Fri, in 3 days, " NONE},
    {"severity", "WORD", "with --reason"},
    {"reason", "TEXT", "why, of due and severity"},
    {"note", "TEXT", "kept with the case"},
    {"call-back", "DATE", "who reported it is to be called back by then"},
    {"why", "TEXT", "what to tell them"},
    {"answered", "TEXT", "what the caller was told"},
    {"at", "TIME", "when, 14:05 or yesterday 14:05 (now)"},
    {"complaint", "ID", "whose call it is, where several people reported the case"},
    {"call-backs", NULL, "the list of all who are to be called back, without a case"},
    {"plant", "NAME", "with --call-backs: of that plant of a company alone"},
    {"by", "NAME", "who does it (the login name)"},
    {0}};
static const struct option_words option_words[] = {{"severity", WORDS_SEVERITIES " " BY_THE_RULES},
                                                   {0}};

/* ---- what is asked for ---- */

static int read_day(struct client *c, const struct args *a, const char *option, const char *member,
                    json_t *body)
{
    char date[16];
    int32_t day = 0;
    struct error err = {0};
    const char *said = args_value(a, option);
    if (!said)
        return EXIT_DONE;
    const struct form_day now = zone_day(c->zone);
    if (form_date(said, &now, SAID_NEAR, &day, &err) == 0) {
        json_object_set_new(body, member, json_string(day_format(day, date)));
        return EXIT_DONE;
    }
    error_field(&err, option, said);
    client_fail(c, &err);
    return EXIT_USAGE;
}

/* "14:05" of "yesterday 14:05"; the rest is its day. */
static bool split_time(const char *said, char *day, size_t size, int *ret_minute)
{
    int hour, minute, used = 0;
    const char *last = strrchr(said, ' ');
    const char *clock = last ? last + 1 : said;
    if (sscanf(clock, "%2d:%2d%n", &hour, &minute, &used) != 2 || clock[used] || hour < 0 ||
        hour > 23 || minute < 0 || minute > 59 || (last && (size_t)(last - said) >= size))
        return false;
    snprintf(day, size, "%.*s", last ? (int)(last - said) : 0, said);
    *ret_minute = hour * 60 + minute;
    return true;
}

static int read_time(struct client *c, const struct args *a, json_t *body)
{
    const char *said = args_value(a, "at");
    const struct form_day now = zone_day(c->zone);
    char day[SAID_DATE_TEXT], when[40];
    int minute = 0;
    int32_t on = now.today;
    int64_t at_ms = 0;
    if (!said)
        return EXIT_DONE;
    bool read = when_parse(said, &at_ms, NULL) == 0;
    if (!read && split_time(said, day, sizeof day, &minute) &&
        (!*day || form_date(day, &now, SAID_PAST, &on, NULL) == 0)) {
        at_ms = tz_instant_ms(now.tz, on, minute);
        read = true;
    }
    if (!read)
        return client_usage(c, "--at takes a time of the plant: 14:05, yesterday 14:05, "
                               "2026-11-28 14:05");
    json_object_set_new(body, "answered_at", json_string(when_format(now.tz, at_ms, when)));
    return EXIT_DONE;
}

static void set_text(const struct args *a, const char *option, const char *member, json_t *body)
{
    if (args_value(a, option))
        json_object_set_new(body, member, json_string(args_value(a, option)));
}

static int read_severity(struct client *c, const struct args *a, json_t *body)
{
    const char *severity = args_value(a, "severity");
    if (!severity)
        return EXIT_DONE;
    if (!args_has(a, "reason"))
        return client_usage(c, "--severity is kept with its --reason");
    json_object_set_new(body, "severity",
                        strcmp(severity, BY_THE_RULES) == 0 ? json_null() : json_string(severity));
    return EXIT_DONE;
}

static int read_asked(struct client *c, const struct args *a, json_t *body)
{
    char login[64];
    const char *owner = args_value(a, "owner"), *due = args_value(a, "due");
    set_text(a, "note", "note", body);
    set_text(a, "reason", "reason", body);
    set_text(a, "why", "why", body);
    set_text(a, "answered", "answered", body);
    set_text(a, "complaint", "complaint", body);
    if (owner)
        json_object_set_new(body, "owner",
                            strcmp(owner, NONE) == 0 ? json_null()
                            : strcmp(owner, "me") == 0
                                ? json_string(args_by(a, login, sizeof login))
                                : json_string(owner));
    if (due && strcmp(due, NONE) == 0)
        json_object_set_new(body, "due", json_null());
    int rc = read_severity(c, a, body);
    if (!rc && !json_object_get(body, "due"))
        rc = read_day(c, a, "due", "due", body);
    if (!rc)
        rc = read_day(c, a, "call-back", "call_back", body);
    return rc ? rc : read_time(c, a, body);
}

/* ---- the command ---- */

static void show_case(const struct client *c, const json_t *document)
{
    follow_show(&c->view, document, zone_day(c->zone).today);
}

static void show_calls(const struct client *c, const json_t *document)
{
    follow_show_call_backs(&c->view, document);
}

static int follow_case(struct client *c, const struct args *a, const char *path)
{
    char login[64];
    json_t *body = json_object(), *answer = NULL;
    int rc = read_asked(c, a, body);
    bool asks = json_object_size(body) > 0;
    json_object_set_new(body, "by", json_string(args_by(a, login, sizeof login)));
    if (!rc)
        rc = asks ? client_post(c, path, body, &answer) : client_get(c, path, &answer);
    json_decref(body);
    return rc ? rc : client_answer(c, answer, show_case);
}

static int follow(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    struct text_buffer path = {0};
    bool calls = args_has(a, "call-backs");
    if (calls ? a->count > 0 : a->count == 0)
        return client_usage(c, "name a case, or --call-backs alone");
    if (args_has(a, "plant") && !calls)
        return client_usage(c, "--plant goes with --call-backs: a case is of one plant");
    if (calls) {
        text_append(&path, "/v1/call-backs");
        client_path_query(&path, "plant", args_value(a, "plant"));
        int rc = client_get(c, path.data, &document);
        text_buffer_free(&path);
        return rc ? rc : client_answer(c, document, show_calls);
    }
    text_append(&path, "/v1/cases/");
    client_path_word(&path, a->words[0]);
    text_append(&path, "/follow");
    int rc = follow_case(c, a, path.data);
    text_buffer_free(&path);
    return rc;
}

const struct command cmd_follow = {
    .name = "follow",
    .args = "CASE | --call-backs",
    .help = "owner, due day, severity, notes, what callers were told",
    .more = "Shows how the case is followed up; with options it changes that first. Severity and "
            "due day come from the rules (rules/severity.json) and may be set otherwise; a case of "
            "reported harm stays urgent. Owner, due day and severity are QA's; notes, call-backs "
            "and answers also the desk's.",
    .options = options,
    .option_words = option_words,
    .least = 0,
    .most = 1,
    .exec = follow,
};
