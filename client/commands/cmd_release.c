#include "commands/command.h"
#include "show/hold.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {{"disposition", "WORD", "needed"},
                                            {"reason", "TEXT", "why (needed)"},
                                            {"by", "NAME", "who decides (the login name)"},
                                            {0}};
static const struct option_words option_words[] = {{"disposition", "release rework divert destroy"},
                                                   {0}};

static int release(struct client *c, const struct args *a)
{
    char login[64];
    const char *disposition = args_value(a, "disposition");
    const char *reason = args_value(a, "reason");
    if (!disposition)
        return client_usage(c, "--disposition is needed: release, rework, divert or destroy");
    if (!reason || !*reason)
        return client_usage(c, "--reason is needed: a disposition is kept with its reason");
    json_t *lots = json_array();
    for (int i = 0; i < a->count; i++)
        json_array_append_new(lots, json_string(a->words[i]));
    json_t *answer = NULL;
    json_t *body = json_pack("{so ss ss ss}", "lots", lots, "disposition", disposition, "reason",
                             reason, "by", args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "a lot, the reason or the name is not UTF-8 text");
    int rc = client_post(c, "/v1/lots/release", body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json) {
        client_print(answer);
    } else {
        char *released = pick_shown(answer, "released");
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "Off hold (%s): %s", disposition, released);
        hold_show_unrecorded(&c->view, answer);
        free(released);
    }
    json_decref(answer);
    return EXIT_DONE;
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
