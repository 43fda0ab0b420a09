#include "base/when.h"
#include "commands.h"
#include "form.h"
#include "returns_show.h"
#include "said_date.h"

static const struct option_row options[] = {
    {"from", "DATE", "received from (four weeks back)"},
    {"to", "DATE", "received to, that day included (today)"},
    {0}};

static int returns(struct client *c, const struct args *a)
{
    static const char *const names[] = {"from", "to"};
    struct text_buffer path = {0};
    json_t *document = NULL;
    int rc = EXIT_DONE;
    text_append(&path, "/v1/returns");
    for (size_t i = 0; i < 2 && !rc; i++) {
        struct error err = {0};
        int32_t day = 0;
        char date[16];
        const char *said = args_value(a, names[i]);
        if (said && said_date(said, form_day_now().today, SAID_PAST, &day, &err) != 0) {
            error_field(&err, names[i], said);
            client_fail(c, &err);
            rc = EXIT_USAGE;
        } else if (said) {
            path_query(&path, names[i], day_format(day, date));
        }
    }
    if (!rc)
        rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json)
        client_print(document);
    else
        returns_show(&c->view, document);
    json_decref(document);
    return EXIT_DONE;
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
