#include "base/words.h"
#include "commands/command.h"
#include "show/pick.h"
#include <string.h>

static const struct option_row options[] = {{"confirmed-by", "WORD", "needed"},
                                            {"note", "TEXT", "what was found"},
                                            {"by", "NAME", "who decides (the login name)"},
                                            {"at", "TIME", "when it was decided (now)"},
                                            {"reopen", NULL, "takes the verdict back"},
                                            {0}};
static const struct option_words option_words[] = {{"confirmed-by", WORDS_CONFIRMED_BY}, {0}};

static int settle(struct client *c, const struct args *a)
{
    char login[64];
    bool reopen = args_has(a, "reopen");
    const char *how = args_value(a, "confirmed-by");
    if (reopen && (a->count > 1 || how))
        return client_usage(c, "--reopen takes the case alone");
    if (!reopen && a->count < 2)
        return client_usage(c, "name the cause that was confirmed, or --reopen");
    if (!reopen && !how) {
        struct text_buffer words = {0};
        words_or(WORDS_CONFIRMED_BY, &words);
        int rc = client_usage(c, "--confirmed-by is needed: %s", words.data);
        text_buffer_free(&words);
        return rc;
    }
    json_t *body =
        json_pack("{ss* ss* ss* ss}", "cause", reopen ? NULL : a->words[1], "confirmed_by", how,
                  "note", args_value(a, "note"), "by", args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "the note or the name is not UTF-8 text");
    if (reopen)
        json_object_set_new(body, "reopen", json_true());
    if (args_has(a, "at"))
        json_object_set_new(body, "at", json_string(args_value(a, "at")));
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
    else if (reopen)
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s is open again.",
                   pick_text(answer, "case", a->words[0]));
    else
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "%s is settled: %s, confirmed by %s.",
                   pick_text(answer, "case", a->words[0]), a->words[1], how);
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
