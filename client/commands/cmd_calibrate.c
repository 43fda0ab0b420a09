#include "commands/asked.h"
#include "show/calibrate_show.h"
#include "show/pick.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"adopt", NULL, "predict and rank with this fit from now on (asks first)"},
    {"forget", NULL, "go back to the parameters as the rule files have them"},
    {"by", "NAME", "who decides (the login name)"},
    {"yes", NULL, "with --adopt: do not ask"},
    {0}};

static int post(struct client *c, const struct args *a, const char *what, const json_t *fit)
{
    char login[64];
    json_t *body = json_pack("{sb ss sO*}", what, 1, "by", args_by(a, login, sizeof login), "fit",
                             (json_t *)fit);
    if (!body)
        return client_usage(c, "the name is not UTF-8 text");
    return client_decide(c, "/v1/calibration", body,
                         fit ? "Adopted. Open cases are being ranked again."
                             : "Forgotten: the parameters are those of the rule files again. Open "
                               "cases are being ranked again.");
}

static bool is_meant(const struct client *c)
{
    view_blank(&c->view);
    return asked_yes(c, "Adopt this fit? Predictions and rankings of open cases are made anew with "
                        "it.");
}

static int adopt(struct client *c, const struct args *a, const json_t *document)
{
    bool yes = args_has(a, "yes");
    if (!pick_bool(document, "valid", false)) {
        client_say(c, "this fit cannot be adopted: %s", pick_text(document, "reason", "not valid"));
        return EXIT_REFUSED;
    }
    if (!yes && !asked_can(c))
        return client_usage(c, "nobody can be asked here: look at the fit, then give --yes too");
    if (!yes && !is_meant(c)) {
        view_text(&c->view, VIEW_PLAIN, 0, 0, "Nothing was adopted.");
        return EXIT_REFUSED;
    }
    return post(c, a, "adopt", json_object_get(document, "fit"));
}

static int calibrate(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    bool adopts = args_has(a, "adopt");
    if (adopts && args_has(a, "forget"))
        return client_usage(c, "either --adopt or --forget");
    if (args_has(a, "yes") && !adopts)
        return client_usage(c, "--yes goes with --adopt");
    if (args_has(a, "forget"))
        return post(c, a, "forget", NULL);
    int rc = client_get(c, "/v1/calibration", &document);
    if (rc)
        return rc;
    if (!c->json)
        calibrate_show(&c->view, document);
    else if (!adopts)
        client_print(document);
    if (adopts)
        rc = adopt(c, a, document);
    json_decref(document);
    return rc;
}

const struct command cmd_calibrate = {
    .name = "calibrate",
    .args = "",
    .help = "fits the mold predictions to the plant's retained samples",
    .more = "Shows how far retained samples (quantity mold_free_days) are from what is predicted, "
            "and the factors on mold times and spores that fit them best. Nothing changes before "
            "--adopt.",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = calibrate,
};
