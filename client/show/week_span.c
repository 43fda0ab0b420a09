#include "base/text.h"
#include "rules/vocabulary.h"
#include "show/pick.h"
#include "show/table.h"
#include "show/week_show.h"

static double count_of(const json_t *document, const char *symptom)
{
    return pick_number(json_object_get(document, "complaints"), symptom, 0);
}

void week_show_other(const struct view *v, const json_t *document)
{
    char other[VIEW_COUNT], number[VIEW_NUMBER];
    struct text_buffer kinds = {0};
    const json_t *one;
    size_t i;
    json_array_foreach(json_object_get(document, "other_kinds"), i, one)
        text_appendf(&kinds, "%s%s %s", i ? ", " : ": ", pick_text(one, "says", "?"),
                     view_number(pick_number(one, "complaints", 0), number));
    if (pick_number(document, "other", 0) > 0)
        view_textf(v, VIEW_PLAIN, 2, 2, "And %s of other things, which no cause is looked for%s.",
                   view_count(pick_number(document, "other", 0), "complaint", other),
                   kinds.length ? kinds.data : "");
    text_buffer_free(&kinds);
}

static void show_counts(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {{"complaints", COLUMN_LEFT, 0},
                                            {"count", COLUMN_RIGHT, 0},
                                            {"per million", COLUMN_RIGHT, 0}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    const json_t *rates = json_object_get(document, "rates");
    for (int i = 0; i < SYMPTOMS; i++) {
        const char *symptom = symptom_name(i);
        char n[VIEW_NUMBER];
        table_add(t, symptom);
        table_add(t, view_number(count_of(document, symptom), n));
        table_add(t, pick_has(rates, symptom) ? view_rough(pick_number(rates, symptom, 0), n) : "");
    }
    table_print(t, v, 2);
    week_show_other(v, document);
    view_blank(v);
    table_free(t);
}

static void show_harm(const struct view *v, const json_t *document)
{
    char reports[VIEW_COUNT];
    double count = pick_number(document, "harm_reports", 0);
    double possible = pick_number(document, "harm_possible", 0);
    size_t i;
    const json_t *since;
    json_array_foreach(json_object_get(document, "headline"), i, since)
        view_text(v, VIEW_HARM, 2, 2, json_string_value(since));
    if (count > 0)
        view_textf(v, VIEW_HARM, 2, 2, "%s of harm: %s by the plant's own procedure.",
                   view_count(count, "report", reports), count > 1 ? "they go" : "it goes");
    if (possible > 0)
        view_textf(v, VIEW_HARM, 2, 2, "%.0f%s may speak of harm, nobody has read %s.", possible,
                   count > 0      ? " more"
                   : possible > 1 ? " complaints"
                                  : " complaint",
                   possible > 1 ? "them" : "it");
}

void week_show_span(const struct view *v, const json_t *document)
{
    char n[VIEW_NUMBER];
    const char *plant = pick_text(document, "plant", "");
    view_title(v, "%s%s%s, %s to %s%s", pick_text(document, "span", "?"), *plant ? " of " : "",
               plant, pick_text(document, "from", "?"), pick_text(document, "to", "?"),
               pick_bool(document, "over", true) ? "" : " (not over)");
    show_harm(v, document);
    show_counts(v, document);
    view_label(v, "units packed", "%s", view_number(pick_number(document, "units", 0), n));
    week_show_returns(v, json_object_get(document, "returns"));
    week_show_against(v, document);
    week_show_rates(v, document);
    week_show_causes(v, document);
}
