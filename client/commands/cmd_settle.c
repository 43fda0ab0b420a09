#include "base/words.h"
#include "commands/command.h"
#include "show/harm.h"
#include "show/pick.h"
#include <string.h>

static const struct option_row options[] = {{"confirmed-by", "WORD", "needed"},
                                            {"note", "TEXT", "what was found"},
                                            {"by", "NAME", "who decides (the login name)"},
                                            {"at", "TIME", "when it was decided (now)"},
                                            {"reopen", NULL, "takes the verdict back"},
                                            {"anyway", "TEXT", "why, although harm is open"},
                                            {0}};
static const struct option_words option_words[] = {{"confirmed-by", WORDS_CONFIRMED_BY}, {0}};

/* The reference of the request; NULL: no text. */
static json_t *body_of(const struct args *a)
{
    static const char *const more[] = {"at", "anyway"};
    char login[64];
    bool reopen = args_has(a, "reopen");
    json_t *body = json_pack("{ss* ss* ss* ss}", "cause", reopen ? NULL : a->words[1],
                             "confirmed_by", args_value(a, "confirmed-by"), "note",
                             args_value(a, "note"), "by", args_by(a, login, sizeof login));
    if (body && reopen)
        json_object_set_new(body, "reopen", json_true());
    for (size_t i = 0; body && i < sizeof more / sizeof *more; i++)
        if (args_has(a, more[i]))
            json_object_set_new(body, more[i], json_string(args_value(a, more[i])));
    return body;
}

static void show(const struct client *c, const struct args *a, const json_t *answer)
{
    const char *of = pick_text(answer, "case", a->words[0]);
    if (args_has(a, "reopen"))
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s is open again.", of);
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s is settled: %s, confirmed by %s.", of,
                   a->words[1], args_value(a, "confirmed-by"));
    harm_show_open(&c->view, answer);
    harm_show_heard(&c->view, answer);
}

static int ask_how(const struct client *c)
{
    struct text_buffer words = {0};
    words_or(WORDS_CONFIRMED_BY, &words);
    int rc = client_usage(c, "--confirmed-by is needed: %s", words.data);
    text_buffer_free(&words);
    return rc;
}

static int settle(struct client *c, const struct args *a)
{
    bool reopen = args_has(a, "reopen");
    const char *how = args_value(a, "confirmed-by");
    if (reopen && (a->count > 1 || how))
        return client_usage(c, "--reopen takes the case alone");
    if (!reopen && a->count < 2)
        return client_usage(c, "name the cause that was confirmed, or --reopen");
    if (!reopen && !how)
        return ask_how(c);
    json_t *body = body_of(a);
    if (!body)
        return client_usage(c, "the note or the name is not UTF-8 text");
    struct text_buffer path = {0};
    text_append(&path, "/v1/cases/");
    client_path_word(&path, a->words[0]);
    text_append(&path, "/verdict");
    json_t *answer = NULL;
    int rc = client_post(c, path.data, body, &answer);
    text_buffer_free(&path);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json)
        client_print(answer);
    else
        show(c, a, answer);
    json_decref(answer);
    return EXIT_DONE;
}

const struct command cmd_settle = {
    .name = "settle",
    .args = "CASE [CAUSE]",
    .help = "records the confirmed cause of a case",
    .more = "The verdict is what rankings are scored against and learn from. not-known is a "
            "verdict too.",
    .options = options,
    .option_words = option_words,
    .least = 1,
    .most = 2,
    .exec = settle,
};
