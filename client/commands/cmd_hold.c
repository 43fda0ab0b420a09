#include "commands/command.h"
#include "show/hold.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"reason", "TEXT", "why (needed)"}, {"by", "NAME", "who decides (the login name)"}, {0}};

static json_t *lots_of(const struct args *a)
{
    json_t *lots = json_array();
    for (int i = 0; i < a->count; i++)
        json_array_append_new(lots, json_string(a->words[i]));
    return lots;
}

static int hold(struct client *c, const struct args *a)
{
    char login[64];
    const char *reason = args_value(a, "reason");
    if (!reason || !*reason)
        return client_usage(c, "--reason is needed: a hold is kept with its reason");
    json_t *answer = NULL;
    json_t *body = json_pack("{so ss ss}", "lots", lots_of(a), "reason", reason, "by",
                             args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "a lot, the reason or the name is not UTF-8 text");
    int rc = client_post(c, "/v1/lots/hold", body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json) {
        client_print(answer);
    } else {
        char *held = pick_shown(answer, "held");
        view_textf(&c->view, VIEW_PLAIN, 0, 2, "On hold: %s", held);
        hold_show_unrecorded(&c->view, answer);
        view_text(&c->view, VIEW_PLAIN, 0, 0,
                  "This is a record. Stop the goods themselves where they are: warehouse, trucks, "
                  "stores. Whether a recall is due is for the food-safety lead and the law.");
        free(held);
    }
    json_decref(answer);
    return EXIT_DONE;
}

const struct command cmd_hold = {
    .name = "hold",
    .args = "LOT…",
    .help = "records a hold on lots, with reason and name",
    .options = options,
    .least = 1,
    .most = -1,
    .exec = hold,
};
