#include "commands/command.h"
#include "commands/period.h"
#include "show/returns_show.h"

static const struct option_row options[] = {
    {"from", "DATE", "received from (four weeks back)"},
    {"to", "DATE", "received to, that day included (today)"},
    {"plant", "NAME", "of that plant of a company alone"},
    {0}};

static void show(const struct client *c, const json_t *document)
{
    returns_show(&c->view, document);
}

static int returns(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    text_append(&path, "/v1/returns");
    int rc = period_query(c, a, &path);
    client_path_query(&path, "plant", args_value(a, "plant"));
    if (!rc)
        rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_returns = {
    .name = "returns",
    .args = "",
    .help = "what came back of what was sent out, by route, store, product",
    .more = "Units that came back over units dispatched in the same days, with exact 95 % limits; "
            "then why they came back, and goods that stand where they must not.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = returns,
};
