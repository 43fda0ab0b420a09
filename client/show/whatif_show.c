#include "show/whatif_show.h"
#include "base/text.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/table.h"
#include <string.h>

static void add_unit(struct text_buffer *b, const json_t *object)
{
    const char *unit = pick_text(object, "unit", "");
    if (*unit)
        text_appendf(b, VIEW_NBSP "%s", unit);
}

static void show_changes(const struct view *v, const json_t *document)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(document, "changed"), i, one)
    {
        char n[2][VIEW_NUMBER];
        struct text_buffer line = {0};
        text_appendf(&line, "%s: %s", pick_text(one, "title", "?"),
                     view_number(pick_number(one, "is", 0), n[0]));
        add_unit(&line, one);
        text_appendf(&line, ", was %s",
                     pick_has(one, "was") ? view_number(pick_number(one, "was", 0), n[1])
                                          : "on no record");
        view_label(v, i ? "" : "changed", "%s", line.data);
        text_buffer_free(&line);
    }
}

/* "6.3 (3.3 to 11.8)" */
static void add_span(struct table *t, const json_t *span)
{
    static const char *const NAMES[] = {"typical", "low", "high"};
    char n[3][VIEW_NUMBER];
    if (!pick_bool(span, "valid", true)) {
        table_addf(t, "cannot be said: %s", pick_text(span, "reason", "too little is known"));
        return;
    }
    bool beyond = pick_bool(span, "beyond", false); /* then so is the range's end */
    for (int i = 0; i < 3; i++)
        view_rough(pick_number(span, NAMES[i], 0), n[i]);
    if (beyond && strcmp(n[1], n[2]) == 0)
        table_addf(t, "more than %s", n[0]);
    else
        table_addf(t, "%s%s (%s to %s%s)", beyond ? "more than " : "", n[0], n[1],
                   beyond ? "more than " : "", n[2]);
}

/* "Short of the shelf life of 12 days: as made, as changed." */
static void show_short(const struct view *v, const json_t *ways)
{
    struct text_buffer line = {0};
    size_t i;
    const json_t *way;
    json_array_foreach(ways, i, way)
    {
        if (!pick_has(way, "short_of"))
            continue;
        if (!line.length)
            text_appendf(&line, "Short of the shelf life of %lld days: ",
                         (long long)pick_int(way, "short_of", 0));
        else
            text_append(&line, ", ");
        text_append(&line, pick_text(way, "way", "?"));
    }
    if (line.length)
        view_textf(v, VIEW_BOLD, 2, 2, "%s.", line.data);
    text_buffer_free(&line);
}

static void show_ways(const struct view *v, const json_t *document)
{
    static const struct column columns[] = {{"", COLUMN_LEFT, 12},
                                            {"days without mold", COLUMN_LEFT, 14},
                                            {"smell of acid", COLUMN_LEFT, 14},
                                            {"firmness", COLUMN_LEFT, 14}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *way;
    int64_t day = 0;
    json_array_foreach(json_object_get(document, "ways"), i, way)
    {
        const json_t *firmness = json_object_get(way, "firmness");
        day = pick_int(firmness, "day", 0);
        table_add(t, pick_text(way, "way", "?"));
        add_span(t, json_object_get(way, "mold_free_days"));
        add_span(t, json_object_get(way, "odor"));
        add_span(t, firmness);
    }
    view_section(v, "As the models expect it");
    table_print(t, v, 2);
    show_short(v, json_object_get(document, "ways"));
    view_textf(
        v, VIEW_DIM, 2, 0,
        "days: until half of the packs that carry a spore show mold; smell: the acids in the "
        "cold loaf, 1 is what half of all noses notice; firmness: on day %lld, 1 is fresh.",
        (long long)day);
    table_free(t);
}

/* "2 % cultured-wheat, propionic 4.1 mmol/L (strength 4 to 25 %)": as changed, else as the lot was
 * made, or as the product is specified. */
static void show_preserving(const struct view *v, const json_t *document)
{
    const json_t *ways = json_object_get(document, "ways");
    size_t last = json_array_size(ways) ? json_array_size(ways) - 1 : 0;
    bool changed = strcmp(pick_text(json_array_get(ways, last), "way", ""), "as changed") == 0;
    const json_t *way = json_array_get(ways, changed ? last : 0), *one;
    const json_t *list = json_object_get(way, "preserving");
    struct text_buffer title = {0};
    size_t i;
    if (!json_array_size(list))
        return;
    text_appendf(&title, "Against mold, undissociated, %s", pick_text(way, "way", "?"));
    view_section(v, title.data);
    text_buffer_free(&title);
    json_array_foreach(list, i, one)
    {
        const json_t *strength = json_object_get(one, "strength_pct");
        char n[4][VIEW_NUMBER];
        struct text_buffer line = {0};
        text_appendf(&line, "%s%s, %s" VIEW_NBSP "%% of flour: %s" VIEW_NBSP "mmol/L of %s acid",
                     pick_text(one, "title", "?"),
                     strcmp(pick_text(one, "applied", ""), "surface") == 0 ? " on the surface" : "",
                     view_number(pick_number(one, "pct_flour", 0), n[0]),
                     view_number(pick_number(one, "mmol_l", 0), n[1]), pick_text(one, "acid", "?"));
        if (pick_number(strength, "high", 0) > pick_number(strength, "low", 0))
            text_appendf(&line, "; strength not told, %s to %s" VIEW_NBSP "%%%s",
                         view_number(pick_number(strength, "low", 0), n[2]),
                         view_number(pick_number(strength, "high", 0), n[3]),
                         pick_bool(strength, "from_memory", false) ? ", from memory" : "");
        view_textf(v, VIEW_PLAIN, 2, 4, "%s", line.data);
        text_buffer_free(&line);
    }
}

static void show_shares(const struct view *v, const json_t *document, const json_t *hold)
{
    struct text_buffer line = {0};
    size_t i;
    const json_t *way;
    char percent[VIEW_NUMBER];
    json_array_foreach(json_object_get(document, "ways"), i, way)
    {
        if (pick_has(way, "without_mold"))
            text_appendf(&line, "%s%s %s", line.length ? ", " : "", pick_text(way, "way", "?"),
                         view_percent(pick_number(way, "without_mold", 0), percent));
    }
    if (line.length)
        view_textf(v, VIEW_PLAIN, 2, 2, "Packs without mold on day %lld: %s%s.",
                   (long long)pick_int(hold, "days", 0), line.data,
                   pick_bool(document, "calibrated", false)
                       ? ""
                       : " (with as many spores a pack as the models take, not calibrated to this "
                         "plant)");
    text_buffer_free(&line);
}

/* "39 degC", "none down to 21.3 degC" */
static void add_needed(struct table *t, const json_t *lever)
{
    char number[VIEW_NUMBER];
    struct text_buffer text = {0};
    bool spores = !pick_has(lever, "quantity");
    if (!pick_has(lever, "now"))
        text_append(&text, "not known");
    else if (!pick_has(lever, "needs"))
        text_appendf(&text, "none as far as %s",
                     view_number(pick_number(lever, "last", 0), number));
    else if (spores)
        text_appendf(&text, "%s", view_percent(pick_number(lever, "needs", 0), number));
    else
        text_append(&text, view_number(pick_number(lever, "needs", 0), number));
    if (pick_has(lever, "now"))
        add_unit(&text, lever);
    table_add(t, text.data);
    text_buffer_free(&text);
}

static void show_levers(const struct view *v, const json_t *levers)
{
    static const struct column columns[] = {{"one change", COLUMN_LEFT, 16},
                                            {"now", COLUMN_RIGHT, 0},
                                            {"would need", COLUMN_LEFT, 12},
                                            {"against it", COLUMN_LEFT, 16}};
    struct table *t = table_new(columns, sizeof columns / sizeof *columns);
    size_t i;
    const json_t *lever;
    json_array_foreach(levers, i, lever)
    {
        char number[VIEW_NUMBER];
        bool told = pick_has(lever, "now") && pick_has(lever, "quantity");
        table_add(t, pick_text(lever, "title", "?"));
        table_add(t, told ? view_number(pick_number(lever, "now", 0), number) : "");
        add_needed(t, lever);
        table_add(t, pick_has(lever, "needs") || !pick_has(lever, "now")
                         ? pick_text(lever, "against", "")
                         : "");
    }
    if (table_rows(t) > 0)
        table_print(t, v, 2);
    table_free(t);
}

static void show_hold(const struct view *v, const json_t *document)
{
    const json_t *hold = json_object_get(document, "hold");
    char title[96], percent[VIEW_NUMBER];
    if (!json_is_object(hold))
        return;
    snprintf(title, sizeof title, "To hold %lld days in %s of packs",
             (long long)pick_int(hold, "days", 0),
             view_percent(pick_number(hold, "share", 0), percent));
    view_section(v, title);
    view_text(v, VIEW_BOLD, 2, 2, pick_text(hold, "says", ""));
    show_shares(v, document, hold);
    show_levers(v, json_object_get(hold, "levers"));
}

void whatif_show(const struct view *v, const json_t *document)
{
    bool lot = pick_has(document, "lot");
    const char *of = pick_text(document, "case", NULL);
    view_title(v, "What if: %s%s%s, %s%s%s", lot ? pick_text(document, "lot", "?") : "",
               lot ? ", " : "", pick_text(document, "product", "?"),
               pick_text(document, "name", ""), of ? ", of " : "", of ? of : "");
    show_changes(v, document);
    show_ways(v, document);
    show_preserving(v, document);
    show_hold(v, document);
    if (pick_has(document, "heat")) {
        view_section(v, "Packed warm: what these days leave out");
        view_text(v, VIEW_PLAIN, 2, 2, pick_text(document, "heat", ""));
    }
    show_list(v, "What the law allows", json_object_get(document, "law"));
    show_list(v, "What the numbers rest on", json_object_get(document, "assumes"));
    show_list(v, "Cautions", json_object_get(document, "cautions"));
    view_blank(v);
    view_text(v, VIEW_PLAIN, 0, 0,
              "A model's answer, with wide ranges: try it at the bench, and have a licensed person "
              "approve any change.");
}
