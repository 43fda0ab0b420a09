#include "base/when.h"
#include "commands/command.h"
#include "form/form.h"
#include "show/lot_show.h"

static const struct option_row options[] = {
    {"product", "NAME", "helps when the code is not exact: its code or words of its name"},
    {"code-date", "DATE", "likewise: the best-by date"},
    {"store", "NAME", "likewise: the store it came from"},
    {0}};

static void show(const struct client *c, const json_t *document)
{
    lot_show(&c->view, document);
}

static int lot(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    struct error err = {0};
    int32_t day = 0;
    char date[16];
    const char *said = args_value(a, "code-date");
    const struct form_day now = said ? zone_day(c->zone) : (struct form_day){0};
    if (said && form_date(said, &now, SAID_NEAR, &day, &err) != 0) {
        error_field(&err, "--code-date", said);
        client_fail(c, &err);
        return EXIT_USAGE;
    }
    text_append(&path, "/v1/lots/");
    client_path_word(&path, a->words[0]);
    client_path_query(&path, "product", args_value(a, "product"));
    client_path_query(&path, "code_date", said ? day_format(day, date) : NULL);
    client_path_query(&path, "store", args_value(a, "store"));
    json_t *document = NULL;
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_lot = {
    .name = "lot",
    .args = "CODE",
    .help = "what a lot code means, and the lot's records",
    .more =
        "CODE is any text read from a pack, or the product's name and its date; what is not exact "
        "gets candidates with weights.",
    .options = options,
    .least = 1,
    .most = 1,
    .exec = lot,
};
