#include "commands/case_path.h"
#include "commands/command.h"
#include "show/change_show.h"

static const struct option_row options[] = {{"reason", "TEXT", "why (needed)"},
                                            {"by", "NAME", "who says so (the login name)"},
                                            {"undo", NULL, "brings it back: it counts again"},
                                            {0}};

static void show(const struct client *c, const json_t *answer)
{
    change_show(&c->view, answer);
}

static int withdraw(struct client *c, const struct args *a)
{
    char login[64];
    const char *reason = args_value(a, "reason");
    if (!reason || !*reason)
        return client_usage(c, "--reason is needed: it is kept with the complaint");
    json_t *answer = NULL;
    json_t *body = json_pack("{ss ss sb}", "reason", reason, "by", args_by(a, login, sizeof login),
                             "undo", (int)args_has(a, "undo"));
    if (!body)
        return client_usage(c, "the reason or the name is not UTF-8 text");
    int rc = case_path_post_complaint(c, a->words[0], "withdraw", body, &answer);
    json_decref(body);
    return rc == EXIT_DONE ? client_answer(c, answer, show) : rc;
}

const struct command cmd_withdraw = {
    .name = "withdraw",
    .args = "COMPLAINT",
    .help = "takes a complaint back: it counts nowhere",
    .more = "It is not deleted: `oddloaf complaint` shows it, --undo brings it back. A case left "
            "without complaints is neither open nor ranked.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = withdraw,
};
