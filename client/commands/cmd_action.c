#include "base/plant_level.h"
#include "base/when.h"
#include "commands/command.h"
#include "commands/period.h"
#include "form/form.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/table.h"
#include <ctype.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const struct option_row options[] = {
    {"cause", "ID", "the cause it is meant to remove"},
    {"plant", "NAME",
     "where: a plant of a company; needed with a line that several plants have; with --list: of "
     "that plant alone"},
    {"line", "NAME", "where: a line"},
    {"place", "NAME", "where: a place, as slicer"},
    {"symptom", ARGS_SYMPTOM, NULL},
    {"date", "DATE", "when it was done (today)"},
    {"note", "TEXT", "what was done (needed)"},
    {"by", "NAME", "who (the login name)"},
    {"effect", NULL, "with an action's number: rates before and after it"},
    {"days", "N", "with --effect: days on either side (28)"},
    {"list", NULL, "all actions"},
    {0}};

static const struct column columns[] = {{"action", COLUMN_RIGHT, 0},
                                        {"from", COLUMN_LEFT, 0},
                                        {"against", COLUMN_LEFT, 14},
                                        {"what was done", COLUMN_LEFT, 20},
                                        {"by", COLUMN_LEFT, 6}};

static void add_against(struct table *t, const json_t *action)
{
    static const char *const names[] = {"cause", "line", "place", "symptom"};
    struct text_buffer text = {0};
    char level[PLANT_LEVEL];
    bool whose = false; /* the plant is told with the line, or by itself */
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        bool is_line = i == 1;
        if (!*pick_text(action, names[i], ""))
            continue;
        whose |= is_line;
        text_appendf(&text, "%s%s%s", text.length ? ", " : "", is_line ? "line" VIEW_NBSP : "",
                     is_line ? plant_level_of(action, names[i], level)
                             : pick_text(action, names[i], ""));
    }
    if (!whose && *pick_text(action, "plant", ""))
        text_appendf(&text, "%splant" VIEW_NBSP "%s", text.length ? ", " : "",
                     pick_text(action, "plant", ""));
    table_add(t, text.data);
    text_buffer_free(&text);
}

static int list_actions(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    struct text_buffer path = {0};
    text_append(&path, "/v1/actions");
    client_path_query(&path, "plant", args_value(a, "plant"));
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json) {
        client_print(document);
        json_decref(document);
        return EXIT_DONE;
    }
    const json_t *list = json_is_array(document) ? document : json_object_get(document, "actions");
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *action;
    json_array_foreach(list, i, action)
    {
        char *id = pick_shown(action, "action");
        char when[VIEW_NUMBER];
        table_add(t, id);
        view_when(pick_text(action, "at", ""), when);
        when[strlen(when) < 10 ? strlen(when) : 10] = '\0';
        table_add(t, when);
        add_against(t, action);
        table_add(t, pick_text(action, "note", ""));
        table_add(t, pick_text(action, "by", ""));
        free(id);
    }
    if (table_rows(t) > 0)
        table_print(t, &c->view, 0);
    else
        view_text(&c->view, VIEW_PLAIN, 0, 0, "No action on record.");
    table_free(t);
    json_decref(document);
    return EXIT_DONE;
}

/* ---- before and after ---- */

/* Of a cause complaints are counted by the share it has of each: "0.4 complaints". */
static const char *counted(const json_t *period, char out[static VIEW_COUNT])
{
    double n = pick_number(period, "complaints", 0);
    char number[VIEW_NUMBER];
    if (fabs(n - round(n)) < 0.005)
        return view_count(round(n), "complaint", out);
    snprintf(out, VIEW_COUNT, "%s" VIEW_NBSP "complaints", view_rough(n, number));
    return out;
}

static void show_period(const struct view *v, const char *label, const json_t *period)
{
    char n[5][VIEW_COUNT];
    if (!json_is_object(period))
        return;
    if (!pick_has(period, "per_million")) {
        view_label(v, label, "%s, %s: no rate yet", counted(period, n[0]),
                   view_count(pick_number(period, "units", 0), "unit", n[1]));
        return;
    }
    view_label(v, label, "%s, %s: %s per million (%s to %s)", counted(period, n[0]),
               view_count(pick_number(period, "units", 0), "unit", n[1]),
               view_rough(pick_number(period, "per_million", 0), n[2]),
               view_rough(pick_number(period, "low", 0), n[3]),
               view_rough(pick_number(period, "high", 0), n[4]));
}

/* A ratio without end is none: the daemon says in words why. */
static void show_ratio(const struct view *v, const json_t *ratio)
{
    char n[3][VIEW_NUMBER];
    if (!ratio)
        return;
    view_rough(pick_number(ratio, "low", 0), n[1]);
    const char *word = pick_text(ratio, "word", NULL);
    if (word && pick_has(ratio, "high"))
        view_label(v, "ratio", "%s (%s to %s times)", word, n[1],
                   view_rough(pick_number(ratio, "high", 0), n[2]));
    else if (pick_has(ratio, "ratio") && pick_has(ratio, "high"))
        view_label(v, "ratio", "%s (%s to %s)", view_rough(pick_number(ratio, "ratio", 0), n[0]),
                   n[1], view_rough(pick_number(ratio, "high", 0), n[2]));
    else if (pick_has(ratio, "low"))
        view_label(v, "ratio", "%s (%s times or more)", word ? word : "without end", n[1]);
    else
        view_label(v, "ratio", "%s", word ? word : "too few to tell");
}

/* How often no change at all would look so. */
static const char *chance(double p, char out[static VIEW_COUNT])
{
    char n[VIEW_NUMBER];
    if (p > 0.3)
        return "quite likely";
    if (p < 1e-6)
        return "less than once in a million times";
    snprintf(out, VIEW_COUNT, "about once in %s times", view_rough(1 / p, n));
    return out;
}

/* "preserving: cultured-wheat 0 % before, 100 % after" */
static void show_preserving(const struct view *v, const json_t *list)
{
    size_t i;
    const json_t *one;
    json_array_foreach(list, i, one)
    {
        char n[2][VIEW_NUMBER];
        view_label(v, i ? "" : "preserving", "%s in %s of the packs before, %s after",
                   pick_text(one, "ingredient", "?"),
                   view_percent(pick_number(one, "before", 0), n[0]),
                   view_percent(pick_number(one, "after", 0), n[1]));
    }
}

static void show_effect(const struct client *c, const json_t *document, const char *id)
{
    const struct view *v = &c->view;
    char n[VIEW_COUNT];
    view_title(v, "Action %s: before and after", id);
    if (pick_text(document, "note", NULL))
        view_label(v, "what was done", "%s", pick_text(document, "note", ""));
    if (pick_text(document, "compared", NULL))
        view_label(v, "compared", "%s", pick_text(document, "compared", ""));
    show_preserving(v, json_object_get(document, "preserving"));
    show_period(v, "before", json_object_get(document, "before"));
    show_period(v, "after", json_object_get(document, "after"));
    show_ratio(v, json_object_get(document, "ratio"));
    if (pick_number(document, "spread", 1) > 1)
        view_text(
            v, VIEW_DIM, 2, 2,
            "The ranges of the two rates count chance alone; that of the ratio, and how often "
            "by chance, also allow for days that swing more than that, so it is wider.");
    if (pick_has(document, "p"))
        view_label(v, "by chance", "%s", chance(pick_number(document, "p", 1), n));
    if (pick_text(document, "text", pick_text(document, "verdict", NULL)))
        view_text(v, VIEW_PLAIN, 2, 0,
                  pick_text(document, "text", pick_text(document, "verdict", "")));
    if (pick_text(document, "caution", NULL))
        view_text(v, VIEW_PLAIN, 2, 0, pick_text(document, "caution", ""));
}

static int effect(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    json_t *document = NULL;
    if (a->count != 1 || !isdigit((unsigned char)a->words[0][0]))
        return client_usage(c, "--effect needs the number of an action: oddloaf action --list");
    text_append(&path, "/v1/actions/");
    client_path_word(&path, a->words[0]);
    text_append(&path, "/effect");
    client_path_query(&path, "days", args_value(a, "days"));
    int rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    if (rc)
        return rc;
    if (c->json)
        client_print(document);
    else
        show_effect(c, document, a->words[0]);
    json_decref(document);
    return EXIT_DONE;
}

static int add_action(struct client *c, const struct args *a)
{
    char login[64];
    char date[16];
    int32_t day = 0;
    const char *note = args_value(a, "note");
    const char *said = args_value(a, "date");
    if (!note || !*note)
        return client_usage(c, "--note is needed: what was done");
    if (!args_has(a, "cause") && !args_has(a, "line") && !args_has(a, "place"))
        return client_usage(c, "name what it is against: --cause, --line or --place");
    int rc = period_day(c, a, "date", 0, &day);
    if (rc)
        return rc;
    json_t *answer = NULL;
    json_t *body = json_pack("{ss* ss* ss* ss* ss* ss* ss ss}", "plant", args_value(a, "plant"),
                             "cause", args_value(a, "cause"), "line", args_value(a, "line"),
                             "place", args_value(a, "place"), "symptom", args_value(a, "symptom"),
                             "at", said ? day_format(day, date) : NULL, "note", note, "by",
                             args_by(a, login, sizeof login));
    if (!body)
        return client_usage(c, "the note or the name is not UTF-8 text");
    rc = client_post(c, "/v1/actions", body, &answer);
    json_decref(body);
    if (rc)
        return rc;
    if (c->json) {
        client_print(answer);
    } else {
        char *id = pick_shown(answer, "action");
        view_textf(&c->view, VIEW_PLAIN, 0, 2,
                   "Action %s is on record from %s on. Did it work? oddloaf action %s --effect", id,
                   pick_text(answer, "at", "today"), id);
        free(id);
        harm_show_heard(&c->view, answer);
    }
    json_decref(answer);
    return EXIT_DONE;
}

static int action(struct client *c, const struct args *a)
{
    if (args_has(a, "list"))
        return list_actions(c, a);
    if (args_has(a, "effect"))
        return effect(c, a);
    if (a->count)
        return client_usage(c, "what about action %s? --effect shows rates before and after it",
                            a->words[0]);
    return add_action(c, a);
}

const struct command cmd_action = {
    .name = "action",
    .args = "[ID --effect | --list]",
    .help = "records a corrective action, or shows whether it worked",
    .options = options,
    .least = 0,
    .most = 1,
    .exec = action,
};
