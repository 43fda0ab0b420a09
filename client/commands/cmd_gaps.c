#include "commands/command.h"
#include "show/gaps_show.h"

static const struct option_row options[] = {
    {"weeks", "N", "weeks of packing, up to that of the newest lot (8)"},
    {"plant", "NAME", "of that plant of a company alone"},
    {"record", "KIND[:WHAT]",
     "only that record is measured, for which all the time is given: uses:film, readings:crumb_ph, "
     "mixes, dispatch"},
    {0}};

static void show(const struct client *c, const json_t *document)
{
    gaps_show(&c->view, document);
}

static int gaps(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    text_append(&path, "/v1/gaps");
    client_path_query(&path, "weeks", args_value(a, "weeks"));
    client_path_query(&path, "plant", args_value(a, "plant"));
    client_path_query(&path, "record", args_value(a, "record"));
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_gaps = {
    .name = "gaps",
    .args = "",
    .help = "what the records lack, and which record would tell most",
    .more =
        "Which lots of each line and week have no such record or had it late, values that stand "
        "still or have left their usual, and an estimate, with its range, of what recording each "
        "for all lots would tell: cases of the last three months are ranked with it and without.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = gaps,
};
