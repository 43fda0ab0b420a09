#include "commands/command.h"
#include "commands/period.h"
#include "show/pick.h"
#include "show/table.h"
#include <math.h>

static const struct option_row options[] = {
    {"from", "DATE", "verdicts from"},
    {"to", "DATE", "verdicts to"},
    {"plant", "NAME", "of that plant of a company alone"},
    {"learn", NULL, "rank with what verdicts confirmed nearby from now on"},
    {"unlearn", NULL, "rank without it again"},
    {"by", "NAME", "who decides (the login name)"},
    {0}};

static void show_calibration(const struct view *v, const json_t *rows)
{
    static const struct column columns[] = {{"said", COLUMN_RIGHT, 0},
                                            {"was so", COLUMN_RIGHT, 0},
                                            {"of", COLUMN_RIGHT, 0},
                                            {"", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, 4);
    size_t i;
    const json_t *row;
    json_array_foreach(rows, i, row)
    {
        char text[VIEW_NUMBER];
        char bar[VIEW_BAR];
        table_add(t, view_percent(pick_number(row, "said", 0), text));
        table_add(t, view_percent(pick_number(row, "was", 0), text));
        table_add(t, view_number(pick_number(row, "n", 0), text));
        table_add(t, view_bar(v, pick_number(row, "was", 0), 20, bar));
    }
    if (table_rows(t) > 0) {
        view_section(v, "Probabilities said against what turned out");
        table_print(t, v, 2);
    }
    table_free(t);
}

/* Ratios that the verdicts would have otherwise: for QA to take into the rule file, or not. */
static void show_proposals(const struct view *v, const json_t *proposals)
{
    size_t i;
    const json_t *p;
    if (json_array_size(proposals) == 0)
        return;
    view_section(v, "Ratios that the verdicts speak against, for QA to decide");
    json_array_foreach(proposals, i, p)
    {
        char n[6][VIEW_NUMBER];
        view_textf(
            v, VIEW_PLAIN, 2, 2,
            "- %s%s%s: %s at %s: %s bits in the rule, %s by the verdicts (%s to %s; seen in %s of "
            "%s) [%s]",
            pick_text(p, "plant", ""), *pick_text(p, "plant", "") ? ": " : "",
            pick_text(p, "cause", "?"), pick_text(p, "fact", "?"), pick_text(p, "at", "?"),
            view_bits(pick_number(p, "bits", 0), n[0]),
            view_bits(pick_number(p, "proposed", 0), n[1]),
            view_bits(pick_number(p, "low", 0), n[2]), view_bits(pick_number(p, "high", 0), n[3]),
            view_number(pick_number(p, "seen", 0), n[4]),
            view_number(pick_number(p, "of", 0), n[5]), pick_text(p, "file", "?"));
    }
}

static void show_stages(const struct view *v, const json_t *stages)
{
    static const struct column columns[] = {
        {"stage", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 16},        {"done", COLUMN_RIGHT, 0},
        {"days", COLUMN_RIGHT, 0}, {"9 in 10", COLUMN_RIGHT, 0}, {"now in it", COLUMN_RIGHT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *row;
    json_array_foreach(stages, i, row)
    {
        char n[VIEW_NUMBER];
        table_add(t, pick_text(row, "stage", "?"));
        table_add(t, pick_text(row, "what", ""));
        table_add(t, view_number(pick_number(row, "n", 0), n));
        table_add(t, pick_has(row, "median_days")
                         ? view_rough(pick_number(row, "median_days", 0), n)
                         : "");
        table_add(t, pick_has(row, "most_days") ? view_rough(pick_number(row, "most_days", 0), n)
                                                : "");
        table_add(t,
                  pick_has(row, "waiting") ? view_number(pick_number(row, "waiting", 0), n) : "");
    }
    if (table_rows(t) > 0) {
        view_section(v,
                     "Time in each stage, in days: the median, and within what nine in ten were");
        table_print(t, v, 2);
    }
    table_free(t);
}

/* "57 % (25 to 84 %)": of few verdicts the range is what it says. */
static void show_share(const struct view *v, const char *label, const json_t *document,
                       const char *name)
{
    char n[2][VIEW_NUMBER], count[VIEW_COUNT], range[16];
    snprintf(range, sizeof range, "%s_range", name);
    const json_t *limits = json_object_get(document, range);
    view_percent(pick_number(document, name, 0), n[0]);
    if (json_is_object(limits))
        view_label(v, label, "%s (95 %%: %.0f to %s, of %s)", n[0],
                   100 * pick_number(limits, "low", 0),
                   view_percent(pick_number(limits, "high", 1), n[1]),
                   view_count(pick_number(document, "verdicts", 0), "verdict", count));
    else
        view_label(v, label, "%s", n[0]);
}

static void show_scored(const struct view *v, const json_t *document)
{
    const json_t *brier = json_object_get(document, "brier");
    char n[4][VIEW_NUMBER];
    show_share(v, "first right", document, "top1");
    show_share(v, "in first three", document, "top3");
    view_label(v, "the true cause", "had been given %s, typically (the geometric mean)",
               view_percent(exp(-pick_number(document, "log_score", 0)), n[0]));
    if (brier)
        view_label(v, "squared miss",
                   "%s (0 is perfect): %s for saying too much or too little, and %s that causes "
                   "differ anyway, less %s for telling cases apart",
                   view_number(pick_number(brier, "score", 0), n[0]),
                   view_number(pick_number(brier, "reliability", 0), n[1]),
                   view_number(pick_number(brier, "uncertainty", 0), n[2]),
                   view_number(pick_number(brier, "resolution", 0), n[3]));
    show_calibration(v, json_object_get(document, "calibration"));
    show_proposals(v, json_object_get(document, "proposals"));
}

/* Of which verdicts. */
static void show_heading(const struct view *v, const json_t *document)
{
    const char *from = pick_text(document, "from", NULL), *to = pick_text(document, "to", NULL);
    struct text_buffer text = {0};
    const char *plant = pick_text(document, "plant", "");
    text_appendf(&text, "How good the rankings%s%s were, ", *plant ? " of " : "", plant);
    if (from || to)
        text_appendf(&text, "verdicts %s%s%s%s%s", from ? "from " : "", from ? from : "",
                     from && to ? " " : "", to ? "to " : "", to ? to : "");
    else
        text_append(&text, "all verdicts");
    view_title(v, "%s", text.data);
    text_buffer_free(&text);
}

static void show_learning(const struct view *v, const json_t *learning)
{
    char n[3][VIEW_NUMBER];
    size_t i;
    const json_t *one;
    view_section(v, "Troubles confirmed on lots of the same line, packed within days");
    view_label(v, "counted", "%s",
               pick_bool(learning, "on", false)
                   ? "yes (oddloaf scores --unlearn ranks without them)"
                   : "no (oddloaf scores --learn ranks with them)");
    if (pick_number(learning, "cases", 0) > 0)
        view_label(v, "first right",
                   "%s without them, %s with them, of %s settled cases with a lot",
                   view_percent(pick_number(learning, "top1_without", 0), n[0]),
                   view_percent(pick_number(learning, "top1_with", 0), n[1]),
                   view_number(pick_number(learning, "cases", 0), n[2]));
    else
        view_label(v, "first right", "no settled case with a lot tells yet");
    json_array_foreach(json_object_get(learning, "switches"), i, one)
    {
        view_textf(v, VIEW_PLAIN, 2, 2, "- %s by %s, %s",
                   pick_bool(one, "on", false) ? "switched on" : "switched off",
                   pick_text(one, "by", "?"), pick_text(one, "at", "?"));
    }
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    char n[VIEW_NUMBER];
    double verdicts = pick_number(document, "verdicts", 0);
    show_heading(v, document);
    view_label(v, "verdicts", "%s", view_number(verdicts, n));
    if (verdicts < 1)
        view_text(v, VIEW_PLAIN, 2, 0, "Nothing to score before QA settles cases.");
    else
        show_scored(v, document);
    if (json_object_get(document, "learning"))
        show_learning(v, json_object_get(document, "learning"));
    show_stages(v, json_object_get(document, "stages"));
}

/* What it is worth, before it is switched on. */
static int tell_learning(struct client *c)
{
    json_t *document = NULL;
    int rc = client_get(c, "/v1/scores", &document);
    if (!rc)
        show_learning(&c->view, json_object_get(document, "learning"));
    json_decref(document);
    return rc;
}

static int switch_learning(struct client *c, const struct args *a, bool on)
{
    char login[64];
    int told = on && !c->json ? tell_learning(c) : 0;
    if (told)
        return told;
    json_t *body = json_pack("{sb ss}", "learn", on, "by", args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "the name is not UTF-8 text");
    return client_decide(c, "/v1/scores", body,
                         on ? "Rankings count what verdicts confirmed nearby from now on. Open "
                              "cases are being ranked again."
                            : "Rankings are made without what verdicts confirmed nearby. Open "
                              "cases are being ranked again.");
}

static int scores(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    bool learn = args_has(a, "learn"), unlearn = args_has(a, "unlearn");
    if (learn && unlearn)
        return client_usage(c, "either --learn or --unlearn");
    if ((learn || unlearn) && (args_has(a, "from") || args_has(a, "to") || args_has(a, "plant")))
        return client_usage(c, "--from, --to and --plant only choose what is shown");
    if (learn || unlearn)
        return switch_learning(c, a, learn);
    if (args_has(a, "by"))
        return client_usage(c, "--by goes with --learn or --unlearn");
    text_append(&path, "/v1/scores");
    int rc = period_query(c, a, &path);
    client_path_query(&path, "plant", args_value(a, "plant"));
    if (!rc)
        rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_scores = {
    .name = "scores",
    .args = "",
    .help = "how good the rankings have been against verdicts",
    .options = options,
    .least = 0,
    .most = 0,
    .exec = scores,
};
