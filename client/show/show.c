#include "show/show.h"
#include "base/plant_level.h"
#include "base/text.h"
#include "base/weight.h"
#include "show/pick.h"
#include "show/table.h"
#include <stdlib.h>
#include <string.h>

#define BAR_CELLS 16
#define LEAST_SHOWN 0.01
#define LEAST_ROWS 3
#define CANDIDATES_SHOWN 5

static void show_rest(const struct view *v, size_t rest, double share)
{
    char percent[VIEW_NUMBER];
    if (rest > 0)
        view_textf(v, VIEW_DIM, 2, 2, "%zu further, together %s", rest,
                   view_chance(share, percent));
}

static void add_cause(struct table *t, const struct view *v, const json_t *cause, bool named)
{
    char percent[VIEW_NUMBER];
    char bar[VIEW_BAR];
    double p = pick_number(cause, "probability", 0);
    const char *id = pick_text(cause, "cause", "?");
    table_add(t, view_chance(p, percent));
    table_add(t, view_bar(v, p, BAR_CELLS, bar));
    table_add(t, pick_text(cause, "title", id));
    if (named)
        table_add(t, id);
}

static void print_ranked(const struct view *v, const json_t *ranked, size_t most, bool named)
{
    static const struct column columns[] = {
        {"", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 20}, {"", COLUMN_LEFT, 12}};
    struct table *t = table_new(columns, named ? 4 : 3);
    size_t i;
    size_t rest = 0;
    double rest_sum = 0;
    const json_t *cause;
    json_array_foreach(ranked, i, cause)
    {
        double p = pick_number(cause, "probability", 0);
        if (i < most && (p >= LEAST_SHOWN || i < LEAST_ROWS)) {
            add_cause(t, v, cause, named);
        } else {
            rest++;
            rest_sum += p;
        }
    }
    table_print(t, v, 2);
    show_rest(v, rest, rest_sum);
    table_free(t);
}

void show_ranked(const struct view *v, const json_t *ranked, size_t most)
{
    print_ranked(v, ranked, most, true);
}

void show_ranked_desk(const struct view *v, const json_t *ranked, size_t most)
{
    print_ranked(v, ranked, most, false);
}

char *show_lot_line(const json_t *lot)
{
    static const struct {
        const char *name, *format;
    } parts[] = {{"name", "%s"},
                 {"line", "line" VIEW_NBSP "%s"},
                 {"shift", "shift" VIEW_NBSP "%s"},
                 {"packed_from", "packed" VIEW_NBSP "%s"},
                 {"zone", "by the clock of %s"},
                 {"code_date", "best" VIEW_NBSP "by" VIEW_NBSP "%s"}};
    struct text_buffer out = {0};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        char when[VIEW_NUMBER], line[PLANT_LEVEL];
        const char *text = pick_text(lot, parts[i].name, NULL);
        if (text && *text && strcmp(parts[i].name, "line") == 0)
            text = plant_level(text, pick_text(lot, "plant", NULL), line);
        if (!text && i == 0)
            text = pick_text(lot, "product", NULL);
        if (!text || !*text)
            continue;
        text_append(&out, out.length ? ", " : "");
        const char *value = view_when(text, when);
        const char *mark = strstr(parts[i].format, "%s");
        text_append_bytes(&out, parts[i].format, (size_t)(mark - parts[i].format));
        text_append(&out, strlen(text) >= sizeof when ? text : value);
    }
    return text_take(&out);
}

void show_candidates(const struct view *v, const json_t *lots)
{
    static const struct column columns[] = {
        {"", COLUMN_RIGHT, 0}, {"", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 16}, {"", COLUMN_LEFT, 20}};
    if (json_array_size(lots) == 0)
        return;
    struct table *t = table_new(columns, 4);
    size_t i;
    size_t rest = 0;
    double rest_sum = 0, sum = 0;
    char percent[VIEW_NUMBER];
    const json_t *lot;
    json_array_foreach(lots, i, lot)
    {
        char bar[VIEW_BAR];
        double weight = pick_number(lot, "weight", 0);
        sum += weight;
        if (i >= CANDIDATES_SHOWN || (i >= LEAST_ROWS && weight < LEAST_SHOWN)) {
            rest++;
            rest_sum += weight;
            continue;
        }
        char *line = show_lot_line(lot);
        table_add(t, view_chance(weight, percent));
        table_add(t, view_bar(v, weight, BAR_CELLS / 2, bar));
        table_add(t, pick_text(lot, "lot", "?"));
        table_add(t, line);
        free(line);
    }
    table_print(t, v, 2);
    show_rest(v, rest, rest_sum);
    if (sum < 1 - LEAST_SHOWN)
        view_textf(v, VIEW_PLAIN, 2, 2, "%s  none of these, or not on record",
                   view_chance(1 - sum, percent));
    table_free(t);
}

static void append_shared(struct text_buffer *out, const json_t *fact)
{
    char seen[VIEW_NUMBER], expected[VIEW_NUMBER], lots[VIEW_NUMBER];
    text_appendf(out, ": %s on %s" VIEW_NBSP "%s, %s by" VIEW_NBSP "chance",
                 view_rough(pick_number(fact, "observed", 0), seen),
                 view_number(pick_number(fact, "lots", 0), lots),
                 pick_int(fact, "lots", 0) == 1 ? "lot" : "lots",
                 view_rough(pick_number(fact, "expected", 0), expected));
}

char *show_fact(const json_t *fact)
{
    struct text_buffer out = {0};
    char *value = pick_shown(fact, "value");
    char *target = pick_shown(fact, "target");
    const char *unit = pick_text(fact, "unit", "1");
    bool plain = !*unit || strcmp(unit, "1") == 0;
    text_append(&out, pick_text(fact, "name", pick_text(fact, "fact", "?")));
    if (pick_has(fact, "observed"))
        append_shared(&out, fact);
    else if (*value)
        text_appendf(&out, ": %s%s%s", value, plain ? "" : VIEW_NBSP, plain ? "" : unit);
    if (*target && !pick_has(fact, "observed"))
        text_appendf(&out, ", target" VIEW_NBSP "%s", target);
    free(value);
    free(target);
    return text_take(&out);
}

/* "cut slices, top crust": what may be answered, as the rules call it. */
static char *choices_of(const json_t *item)
{
    struct text_buffer out = {0};
    size_t i;
    const json_t *choice;
    json_array_foreach(json_object_get(item, "choices"), i, choice)
    {
        const char *word = json_is_string(choice)
                               ? json_string_value(choice)
                               : pick_text(choice, "label", pick_text(choice, "word", "?"));
        text_appendf(&out, "%s%s", i ? ", " : "", word);
    }
    return text_take(&out);
}

static void show_question(const struct view *v, const json_t *item, bool gains)
{
    struct text_buffer line = {0};
    char *choices = choices_of(item);
    char *effort = pick_shown(item, "effort");
    const char *fact = pick_text(item, "fact", "?");
    text_appendf(&line, "- %s", pick_text(item, "ask", fact));
    if (*choices)
        text_appendf(&line, " [%s]", choices);
    if (gains && pick_has(item, "gain_bits")) {
        text_appendf(&line, " (%s%s%s)", weight_gain(pick_number(item, "gain_bits", 0)),
                     *effort ? ", effort" VIEW_NBSP : "", effort);
    }
    view_text(v, VIEW_PLAIN, 2, 2, line.data);
    free(choices);
    free(effort);
    text_buffer_free(&line);
}

static void show_group(const struct view *v, const json_t *ask, const char *title, const char *of,
                       bool gains)
{
    size_t i;
    const json_t *item;
    bool first = true;
    json_array_foreach(ask, i, item)
    {
        if (of && strcmp(pick_text(item, "of", "caller"), of) != 0)
            continue;
        if (first)
            view_section(v, title);
        first = false;
        show_question(v, item, gains);
    }
}

void show_ask(const struct view *v, const json_t *ask, const char *title, const char *of)
{
    show_group(v, ask, title, of, true);
}

const char *show_ask_title(const json_t *answer, char title[static SHOW_TITLE])
{
    snprintf(title, SHOW_TITLE, "Ask %s", pick_text(answer, "ask_whom", "the caller"));
    return title;
}

void show_ask_caller(const struct view *v, const json_t *answer)
{
    char title[SHOW_TITLE];
    show_group(v, json_object_get(answer, "ask"), show_ask_title(answer, title), "caller", false);
}

static const char *item_text(const json_t *item)
{
    static const char *const names[] = {"do", "text", "check", "caution", "action", "title"};
    if (json_is_string(item))
        return json_string_value(item);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (pick_text(item, names[i], NULL))
            return pick_text(item, names[i], "");
    return "";
}

void show_list(const struct view *v, const char *title, const json_t *list)
{
    size_t i;
    const json_t *item;
    if (json_array_size(list) == 0)
        return;
    view_section(v, title);
    json_array_foreach(list, i, item)
    {
        const char *who = pick_text(item, "who", NULL);
        const char *effort = pick_text(item, "effort", NULL);
        view_textf(v, VIEW_PLAIN, 2, 2, "- %s%s%s%s%s%s", item_text(item), who ? " (" : "",
                   who ? who : "", who && effort ? ", " : "", who && effort ? effort : "",
                   who ? ")" : "");
    }
}
