/* What a week and any other span show alike: returns, causes, another time beside it. */
#include "base/text.h"
#include "rules/vocabulary.h"
#include "show/pick.h"
#include "show/table.h"
#include "show/week_show.h"

#define BAR_CELLS 16
#define ROWS_SHOWN 8
#define LEAST_COMPLAINTS 0.5 /* expected counts of causes are fractions */

static void add_ratio(struct table *t, const json_t *was)
{
    char n[3][VIEW_NUMBER];
    if (pick_has(was, "ratio") && pick_has(was, "high"))
        table_addf(t, "%s" VIEW_NBSP "times" VIEW_NBSP "(%s" VIEW_NBSP "to" VIEW_NBSP "%s)",
                   view_rough(pick_number(was, "ratio", 0), n[0]),
                   view_rough(pick_number(was, "low", 0), n[1]),
                   view_rough(pick_number(was, "high", 0), n[2]));
    else
        table_add(t, pick_number(was, "complaints", 0) < 0.5 ? "none then" : "");
}

static double count_of(const json_t *document, const char *symptom)
{
    return pick_number(json_object_get(document, "complaints"), symptom, 0);
}

void week_show_against(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {{"", COLUMN_LEFT, 0},
                                            {"now", COLUMN_RIGHT, 0},
                                            {"then", COLUMN_RIGHT, 0},
                                            {"per million then", COLUMN_RIGHT, 0},
                                            {"rate now (95 %)", COLUMN_LEFT, 0}};
    const json_t *against = json_object_get(document, "against");
    struct text_buffer title = {0};
    if (!against)
        return;
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    for (int i = 0; i < SYMPTOMS; i++) {
        const char *symptom = symptom_name(i);
        const json_t *was = json_object_get(against, symptom);
        char n[VIEW_NUMBER];
        table_add(t, symptom);
        table_add(t, view_number(count_of(document, symptom), n));
        table_add(t, view_number(pick_number(was, "complaints", 0), n));
        table_add(t, pick_has(was, "per_million")
                         ? view_rough(pick_number(was, "per_million", 0), n)
                         : "");
        add_ratio(t, was);
    }
    text_appendf(&title, "Against %s, %s to %s", pick_text(against, "span", "?"),
                 pick_text(against, "from", "?"), pick_text(against, "to", "?"));
    view_section(v, title.data);
    table_print(t, v, 2);
    if (!pick_bool(against, "over", true) || !pick_bool(document, "over", true))
        view_text(v, VIEW_DIM, 2, 0, "One of them is not over: fewer complaints can be in.");
    text_buffer_free(&title);
    table_free(t);
}

void week_show_returns(const struct view *v, const json_t *returns)
{
    char n[4][VIEW_NUMBER];
    double dispatched = pick_number(returns, "dispatched", 0);
    if (!pick_bool(returns, "on_record", true))
        view_label(v, "returned", "no returns on record");
    else if (dispatched > 0)
        view_label(v, "returned", "%s units of %s dispatched: %s per million",
                   view_number(pick_number(returns, "units", 0), n[0]),
                   view_number(dispatched, n[1]),
                   view_rough(pick_number(returns, "share", 0) * 1e6, n[2]));
}

/* Of a week they are listed, of another span counted. */
static double harm_count(const json_t *document, const char *name)
{
    const json_t *list = json_object_get(document, name);
    return json_is_array(list) ? (double)json_array_size(list) : pick_number(document, name, 0);
}

static void show_harm_among(const struct view *v, const json_t *document)
{
    double harm =
        harm_count(document, json_object_get(document, "harm_reports") ? "harm_reports" : "harm") +
        harm_count(document, "harm_possible");
    if (harm > 0)
        view_textf(
            v, VIEW_HARM, 2, 2,
            "Complaints that report harm, or may: %.0f. Those of mold, off-odor or staling are "
            "counted among these; what hurt somebody is no cause of this list.",
            harm);
}

void week_show_causes(const struct view *v, const json_t *document)
{
    const json_t *causes = json_object_get(document, "causes");
    static const struct column columns[] = {{"expected", COLUMN_RIGHT, 0},
                                            {"", COLUMN_LEFT, 0},
                                            {"cause", COLUMN_LEFT, 16},
                                            {"symptom", COLUMN_LEFT, 0}};
    struct table *t = table_new(columns, 4);
    json_t *sorted = pick_sorted(causes, "expected");
    double most = pick_number(json_array_get(sorted, 0), "expected", 0);
    size_t i;
    const json_t *cause;
    json_array_foreach(sorted, i, cause)
    {
        char number[VIEW_NUMBER];
        char bar[VIEW_BAR];
        double expected = pick_number(cause, "expected", 0);
        if (i == ROWS_SHOWN || expected < LEAST_COMPLAINTS / 2)
            break;
        table_add(t, view_bits(expected, number) + 1); /* one decimal, without the sign */
        table_add(t, view_bar(v, most > 0 ? expected / most : 0, BAR_CELLS, bar));
        table_add(t, pick_text(cause, "title", pick_text(cause, "cause", "?")));
        table_add(t, pick_text(cause, "symptom", ""));
    }
    if (table_rows(t) > 0) {
        view_section(v, "Causes: complaints expected of each");
        table_print(t, v, 2);
        show_harm_among(v, document);
    }
    json_decref(sorted);
    table_free(t);
}
