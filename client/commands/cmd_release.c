#include "base/words.h"
#include "commands/command.h"
#include "show/harm.h"
#include "show/hold.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"disposition", "WORD", "needed"},
    {"reason", "TEXT", "why (needed)"},
    {"by", "NAME", "who decides (the login name)"},
    {"at", "TIME", "when it was decided (now)"},
    {"hold", "H12", "of several holds on a lot, that one"},
    {"case", "CASE", "of several, those for that case"},
    {"all", NULL, "of several, all"},
    {"anyway", "TEXT", "why, although harm or mold is open"},
    {0}};
static const struct option_words option_words[] = {{"disposition", WORDS_DISPOSITIONS}, {0}};

static void show(const struct client *c, const json_t *answer)
{
    char *released = pick_shown(answer, "released");
    view_textf(&c->view, VIEW_PLAIN, 0, 2, "Ended (%s): %s", pick_text(answer, "disposition", "?"),
               released);
    harm_show_heard(&c->view, answer);
    hold_show_unrecorded(&c->view, answer);
    hold_show_list(&c->view, "STILL ON HOLD:", json_object_get(answer, "still_held"));
    harm_show_open(&c->view, answer);
    free(released);
}

static json_t *body_of(const struct args *a)
{
    static const char *const which[] = {"hold", "case", "at", "anyway"};
    char login[64];
    json_t *lots = json_array();
    for (int i = 0; i < a->count; i++)
        json_array_append_new(lots, json_string(a->words[i]));
    json_t *body =
        json_pack("{so ss ss ss}", "lots", lots, "disposition", args_value(a, "disposition"),
                  "reason", args_value(a, "reason"), "by", args_by(a, login, sizeof login));
    for (size_t i = 0; body && i < sizeof which / sizeof *which; i++)
        if (args_has(a, which[i]))
            json_object_set_new(body, which[i], json_string(args_value(a, which[i])));
    if (body && args_has(a, "all"))
        json_object_set_new(body, "all", json_true());
    return body;
}

static int ask_disposition(const struct client *c)
{
    struct text_buffer known = {0};
    words_or(WORDS_DISPOSITIONS, &known);
    int rc = client_usage(c, "--disposition is needed: %s", known.data);
    text_buffer_free(&known);
    return rc;
}

static int release(struct client *c, const struct args *a)
{
    const char *disposition = args_value(a, "disposition");
    const char *reason = args_value(a, "reason");
    if (!disposition)
        return ask_disposition(c);
    if (!reason || !*reason)
        return client_usage(c, "--reason is needed: a disposition is kept with its reason");
    json_t *answer = NULL;
    json_t *body = body_of(a);
    if (!body)
        return client_usage(c, "a lot, the reason or the name is not UTF-8 text");
    int rc = client_post(c, "/v1/lots/release", body, &answer);
    json_decref(body);
    return rc ? rc : client_answer(c, answer, show);
}

const struct command cmd_release = {
    .name = "release",
    .args = "LOT…",
    .help = "ends a hold with a disposition, reason and name",
    .options = options,
    .option_words = option_words,
    .least = 1,
    .most = -1,
    .exec = release,
};
