#include "base/plant_level.h"
#include "base/when.h"
#include "commands/command.h"
#include "commands/period.h"
#include "form/form.h"
#include "show/pick.h"
#include "show/table.h"
#include <ctype.h>
#include <math.h>
#include <string.h>

#define FACTORS_SHOWN 15
#define SAME_SHOWN 1
#define USUAL_DAYS 55 /* with the last day eight weeks */

static const struct option_row options[] = {
    {"symptom", ARGS_SYMPTOM, NULL},
    {"from", "DATE", "packed from"},
    {"to", "DATE", "packed to, that day included"},
    {"cases", "CASES", "instead: these cases, C12,C15,…"},
    {"plant", "NAME", "lots of that plant of a company alone"},
    {0}};

/* ---- what the lots share ---- */

static const struct column columns[] = {
    {"factor", COLUMN_LEFT, 0},  {"level", COLUMN_LEFT, 10},      {"cases", COLUMN_RIGHT, 0},
    {"others", COLUMN_RIGHT, 0}, {"odds, times", COLUMN_LEFT, 0}, {"beside", COLUMN_RIGHT, 0},
    {"false", COLUMN_RIGHT, 0}};

/* Levels on exactly the same lots stand together: nothing can tell them apart. */
static void add_level(struct table *t, const json_t *factor)
{
    const json_t *same = json_object_get(factor, "same_lots"), *other;
    struct text_buffer text = {0};
    char level[PLANT_LEVEL];
    size_t i;
    text_append(&text, plant_level_of(factor, "level", level));
    json_array_foreach(same, i, other)
    {
        if (i < SAME_SHOWN)
            text_appendf(&text, "%s %s %s", i ? "," : " =", pick_text(other, "factor", "?"),
                         plant_level_of(other, "level", level));
    }
    if (json_array_size(same) > SAME_SHOWN)
        text_appendf(&text, " and %zu more", json_array_size(same) - SAME_SHOWN);
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void add_shares(struct table *t, const json_t *factor)
{
    char a[VIEW_NUMBER];
    char b[VIEW_NUMBER];
    double others = pick_number(factor, "other_lots", 0);
    table_addf(t, "%s" VIEW_NBSP "of" VIEW_NBSP "%s",
               view_number(pick_number(factor, "case_lots_exposed", 0), a),
               view_number(pick_number(factor, "case_lots", 0), b));
    table_add(t, others > 0 ? view_percent(pick_number(factor, "other_lots_exposed", 0) / others, a)
                            : "");
}

/* A ratio or a limit that has no end comes as null: "38.8 (11.8 to 174)", "0.55 or more". */
static void add_odds(struct table *t, const json_t *factor)
{
    char ratio[VIEW_NUMBER];
    char low[VIEW_NUMBER];
    char high[VIEW_NUMBER];
    view_rough(pick_number(factor, "low", 0), low);
    if (pick_has(factor, "odds_ratio") && pick_has(factor, "high"))
        table_addf(t, "%s" VIEW_NBSP "(%s" VIEW_NBSP "to" VIEW_NBSP "%s)",
                   view_rough(pick_number(factor, "odds_ratio", 0), ratio), low,
                   view_rough(pick_number(factor, "high", 0), high));
    else
        table_addf(t, "%s" VIEW_NBSP "or" VIEW_NBSP "more", low);
}

static void show_factors(const struct view *v, const json_t *factors)
{
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *factor;
    json_array_foreach(factors, i, factor)
    {
        char n[VIEW_NUMBER];
        const json_t *rest = json_object_get(factor, "beside_first");
        if (i == FACTORS_SHOWN)
            break;
        table_add(t, pick_text(factor, "factor", "?"));
        add_level(t, factor);
        add_shares(t, factor);
        add_odds(t, factor);
        table_add(t, pick_has(rest, "odds_ratio")
                         ? view_rough(pick_number(rest, "odds_ratio", 0), n)
                         : "");
        table_add(t, view_percent(pick_number(factor, "q", 1), n));
    }
    if (table_rows(t) > 0)
        table_print(t, v, 0);
    else
        view_text(v, VIEW_PLAIN, 2, 0, "Nothing is shared more than chance would have it.");
    if (json_array_size(factors) > FACTORS_SHOWN)
        view_textf(v, VIEW_DIM, 0, 0, "%zu further; --json has all",
                   json_array_size(factors) - FACTORS_SHOWN);
    table_free(t);
}

/* ---- what explains them ---- */

#define SURE 0.8 /* from here on one factor stands out from its rivals */

static bool is_one_lot(const json_t *factor)
{
    const json_t *lot = json_object_get(factor, "one_lot");
    return lot && pick_int(lot, "complaints", 0) == pick_int(lot, "of", 0);
}

static const char *lone_lot(const json_t *factor)
{
    return is_one_lot(factor) ? pick_text(json_object_get(factor, "one_lot"), "lot", "?") : "";
}

/* Nothing but one lot: whatever of it is named is that lot, and stands once. */
static bool is_same_lot(const json_t *a, const json_t *b)
{
    return *lone_lot(a) && strcmp(lone_lot(a), lone_lot(b)) == 0;
}

static bool is_told_before(const json_t *factors, size_t at)
{
    size_t i = 0;
    while (i < at && !is_same_lot(json_array_get(factors, i), json_array_get(factors, at)))
        i++;
    return i < at;
}

static void add_level_name(struct text_buffer *b, const json_t *factor)
{
    const char *name = pick_text(factor, "factor", "?");
    char level[PLANT_LEVEL];
    text_appendf(b, "%s %s", strcmp(name, "line-hour") == 0 ? "line and hour" : name,
                 plant_level_of(factor, "level", level));
}

/* Of a lot alone the shares of all that names it. */
static double share_of(const json_t *factors, const json_t *factor)
{
    double share = 0;
    size_t i;
    const json_t *other;
    json_array_foreach(factors, i, other)
    {
        if (other == factor || is_same_lot(factor, other))
            share += pick_number(other, "share", 0);
    }
    return share;
}

/* "film F-0911"; "lot A-26322-02 alone (line A; route R2)" where all are that lot's; ", packed
 * 2026-11-18 to 2026-11-20" where it is not the whole time's. */
static void add_name(struct text_buffer *b, const json_t *factors, const json_t *factor)
{
    size_t i;
    const json_t *other;
    if (!is_one_lot(factor)) {
        add_level_name(b, factor);
        if (!pick_bool(factor, "throughout", true))
            text_appendf(b, ", packed %.10s to %.10s", pick_text(factor, "from", ""),
                         pick_text(factor, "to", ""));
        return;
    }
    text_appendf(b, "lot %s alone (", lone_lot(factor));
    json_array_foreach(factors, i, other)
    {
        if (!is_same_lot(factor, other))
            continue;
        text_append(b, other == factor ? "" : "; ");
        add_level_name(b, other);
    }
    text_append(b, ")");
}

/* "; 5 of 8 of lot A-26322-02" */
static void add_most(struct text_buffer *b, const json_t *factor)
{
    const json_t *lot = json_object_get(factor, "one_lot");
    if (lot && !is_one_lot(factor))
        text_appendf(b, "; %lld of %lld of lot %s", (long long)pick_int(lot, "complaints", 0),
                     (long long)pick_int(lot, "of", 0), pick_text(lot, "lot", "?"));
}

static void add_usual(struct text_buffer *b, const json_t *factor)
{
    char n[VIEW_COUNT];
    char usual[VIEW_NUMBER];
    text_appendf(b, "%s, usual %s",
                 view_count(round(pick_number(factor, "observed", 0)), "complaint", n),
                 view_rough(pick_number(factor, "expected", 0), usual));
}

static void add_when(struct text_buffer *b, const json_t *factor)
{
    char from[VIEW_NUMBER];
    char to[VIEW_NUMBER];
    char lots[VIEW_COUNT];
    text_appendf(
        b, ", on %s packed %s to %s", view_count(pick_number(factor, "lots", 0), "lot", lots),
        view_when(pick_text(factor, "from", ""), from), view_when(pick_text(factor, "to", ""), to));
}

static void show_leader(const struct view *v, const json_t *factors, const json_t *factor)
{
    struct text_buffer b = {0};
    char share[VIEW_NUMBER];
    add_name(&b, factors, factor);
    b.data[0] = (char)toupper((unsigned char)b.data[0]);
    text_appendf(&b, " (%s)", view_percent(share_of(factors, factor), share));
    view_text(v, VIEW_BOLD, 0, 2, b.data);
    text_reset(&b);
    add_usual(&b, factor);
    add_when(&b, factor);
    add_most(&b, factor);
    view_text(v, VIEW_PLAIN, 2, 0, b.data);
    text_buffer_free(&b);
}

static void show_rival(const struct view *v, const json_t *factors, const json_t *factor)
{
    struct text_buffer b = {0};
    char share[VIEW_NUMBER];
    text_append(&b, "or ");
    add_name(&b, factors, factor);
    text_appendf(&b, " (%s): ", view_percent(share_of(factors, factor), share));
    add_usual(&b, factor);
    view_text(v, VIEW_PLAIN, 2, 3, b.data);
    text_buffer_free(&b);
}

static bool is_told(const json_t *stories)
{
    return json_is_true(json_object_get(json_array_get(stories, 0), "told"));
}

static void list_stories(const struct view *v, const json_t *stories)
{
    size_t i;
    size_t k;
    const json_t *story;
    const json_t *factor;
    json_array_foreach(stories, i, story)
    {
        const json_t *factors = json_object_get(story, "factors");
        int rivals = 0;
        json_array_foreach(factors, k, factor)
        {
            if (k == 0)
                show_leader(v, factors, factor);
            else if (!is_told_before(factors, k))
                show_rival(v, factors, factor);
            rivals += k > 0 && !is_told_before(factors, k);
        }
        if (rivals && share_of(factors, json_array_get(factors, 0)) < SURE)
            view_text(v, VIEW_PLAIN, 2, 0, "The records do not tell these apart.");
    }
}

/* Of a few days what began with them is their usual: the eight weeks that week looks at tell it. */
static void show_stories(const struct view *v, const json_t *document)
{
    const json_t *stories = json_object_get(document, "stories");
    const json_t *weeks = json_object_get(document, "eight_weeks");
    const json_t *longer = json_object_get(weeks, "stories");
    bool thick = json_array_size(json_object_get(document, "runs")) > 0;
    if (is_told(longer)) {
        view_textf(v, VIEW_PLAIN, 0, 0,
                   "Within these days alone no factor explains them better than chance would; over "
                   "the eight weeks from %s to %s, as week asks, this does:",
                   pick_text(weeks, "from", "?"), pick_text(weeks, "to", "?"));
        list_stories(v, longer);
        return;
    }
    if (!is_told(stories))
        view_textf(v, VIEW_PLAIN, 0, 0, "No factor explains them better than chance would%s%s.%s",
                   weeks ? ", over the eight weeks up to then neither" : "",
                   thick ? ", but they are thick in the run, below" : "",
                   json_array_size(stories) ? " What comes nearest:" : "");
    list_stories(v, stories);
}

/* ---- the hours ---- */

static void show_runs(const struct view *v, const json_t *runs)
{
    size_t i;
    const json_t *run;
    if (json_array_size(runs))
        view_section(v, "Where in the run they are thickest");
    json_array_foreach(runs, i, run)
    {
        char from[VIEW_NUMBER];
        char to[VIEW_NUMBER];
        char n[4][VIEW_COUNT];
        char line[PLANT_LEVEL];
        double lots = (double)json_array_size(json_object_get(run, "lots"));
        view_textf(v, VIEW_PLAIN, 0, 2,
                   "- line %s, %s to %s: %s on %s, %s expected (by chance: %s)",
                   plant_level_of(run, "line", line), view_when(pick_text(run, "from", ""), from),
                   view_when(pick_text(run, "to", ""), to),
                   view_count(pick_number(run, "observed", 0), "complaint", n[0]),
                   view_count(lots, "lot", n[1]), view_rough(pick_number(run, "expected", 0), n[2]),
                   view_percent(pick_number(run, "p", 1), n[3]));
    }
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    const char *plant = pick_text(document, "plant", "");
    view_title(v, "What explains the complaints%s%s best", *plant ? " of " : "", plant);
    show_stories(v, document);
    view_section(v, "Common factors of their lots");
    show_factors(v, json_object_get(document, "factors"));
    show_runs(v, json_object_get(document, "runs"));
    view_blank(v);
    view_text(
        v, VIEW_DIM, 0, 0,
        "Above, the chance that it is this one; all are weighed beside each other, so that "
        "what only goes along with another has nothing left to explain. "
        "Factors: lots with such complaints against lots without, week by week. Beside: the odds "
        "ratio left when the first factor is held fixed; near 1, it only goes along with "
        "it. False: how many of those at least as telling are expected to be chance. By "
        "chance: how often one so thick comes somewhere on some line. A shared factor is a "
        "reason to look, not a "
        "finding.");
}

/* ---- the command ---- */

static int add_period(const struct client *c, const struct args *a, struct text_buffer *path)
{
    char date[16];
    int32_t from = 0;
    int32_t to = 0;
    int rc = period_day(c, a, "to", zone_day(c->zone).today, &to);
    if (!rc)
        rc = period_day(c, a, "from", to - USUAL_DAYS, &from);
    if (rc)
        return rc;
    client_path_query(path, "from", day_format(from, date));
    client_path_query(path, "to", day_format(to, date));
    return EXIT_DONE;
}

static int trace(struct client *c, const struct args *a)
{
    struct text_buffer path = {0};
    struct text_buffer cases = {0};
    json_t *document = NULL;
    int rc = EXIT_DONE;
    text_append(&path, "/v1/trace");
    if (args_has(a, "cases")) {
        text_append(&cases, args_value(a, "cases"));
        for (int i = 0; i < a->count; i++)
            text_appendf(&cases, ",%s", a->words[i]);
        client_path_query(&path, "cases", cases.data);
        client_path_query(&path, "symptom", args_value(a, "symptom"));
    } else if (a->count) {
        rc = client_usage(c, "'%s' is one word too many; cases come after --cases", a->words[0]);
    } else if (!args_has(a, "symptom")) {
        rc = client_usage(c, "--symptom is needed, or --cases");
    } else {
        client_path_query(&path, "symptom", args_value(a, "symptom"));
        rc = add_period(c, a, &path);
    }
    client_path_query(&path, "plant", args_value(a, "plant"));
    if (!rc)
        rc = client_get(c, path.data, &document);
    text_buffer_free(&path);
    text_buffer_free(&cases);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_trace = {
    .name = "trace",
    .args = "[CASE…]",
    .help = "common factors of a set of cases or of a period",
    .options = options,
    .least = 0,
    .most = -1,
    .exec = trace,
};
