#include "commands/case_path.h"
#include "commands/command.h"
#include "show/measured_show.h"
#include "show/pick.h"
#include "show/show.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define BAR_CELLS 10
#define BAR_BITS 6.0 /* a full bar: odds times 64 */
#define SILENT_BITS 0.05
#define FACT_INDENT 2
#define FACT_HANG 19

static void show_item_of(const struct view *v, const json_t *fact)
{
    char bits_text[VIEW_NUMBER];
    char usual[VIEW_NUMBER];
    char bar[VIEW_BAR];
    double bits = pick_number(fact, "bits", 0);
    char *shown = show_fact(fact);
    struct text_buffer line = {0};
    view_bar(v, fabs(bits) / BAR_BITS, BAR_CELLS, bar);
    text_appendf(&line, "%5s" VIEW_NBSP VIEW_NBSP "%s" VIEW_NBSP VIEW_NBSP "%s",
                 view_bits(bits, bits_text), bar, shown);
    if (pick_has(fact, "usual"))
        text_appendf(&line, ", recent" VIEW_NBSP "lots" VIEW_NBSP "%s",
                     view_number(pick_number(fact, "usual", 0), usual));
    view_text(v, VIEW_PLAIN, FACT_INDENT, FACT_HANG, line.data);
    if (pick_text(fact, "because", NULL))
        view_textf(v, VIEW_PLAIN, FACT_INDENT + FACT_HANG, 0, "%s%s",
                   bits < 0 ? "One would rather see: " : "", pick_text(fact, "because", ""));
    if (pick_text(fact, "although", NULL))
        view_textf(v, VIEW_PLAIN, FACT_INDENT + FACT_HANG, 0, "It is %s",
                   pick_text(fact, "although", ""));
    if (pick_text(fact, "source", NULL))
        view_textf(v, VIEW_DIM, FACT_INDENT + FACT_HANG, 2, "source: %s",
                   pick_text(fact, "source", ""));
    text_buffer_free(&line);
    free(shown);
}

enum side { SIDE_FOR, SIDE_AGAINST, SIDE_NOT_COUNTED, SIDE_SILENT };

static enum side side_of(const json_t *fact)
{
    double bits = pick_number(fact, "bits", 0);
    if (fabs(bits) < SILENT_BITS)
        return SIDE_SILENT;
    if (!pick_bool(fact, "counted", true))
        return SIDE_NOT_COUNTED;
    return pick_bool(fact, "for", bits > 0) ? SIDE_FOR : SIDE_AGAINST;
}

static void show_side(const struct view *v, const json_t *facts, enum side side, const char *title)
{
    size_t i;
    const json_t *fact;
    bool first = true;
    json_array_foreach(facts, i, fact)
    {
        if (side_of(fact) != side)
            continue;
        if (first)
            view_text(v, VIEW_BOLD, FACT_INDENT, 0, title);
        first = false;
        show_item_of(v, fact);
    }
}

static void show_silent(const struct view *v, const json_t *facts)
{
    size_t i;
    const json_t *fact;
    struct text_buffer line = {0};
    json_array_foreach(facts, i, fact)
    {
        char *value = pick_shown(fact, "value");
        if (side_of(fact) == SIDE_SILENT)
            text_appendf(&line, "%s%s: %s", line.length ? "; " : "Says nothing either way: ",
                         pick_text(fact, "name", pick_text(fact, "fact", "?")), value);
        free(value);
    }
    if (line.length)
        view_text(v, VIEW_PLAIN, FACT_INDENT, 2, line.data);
    text_buffer_free(&line);
}

static void show_missing(const struct view *v, const json_t *missing)
{
    size_t i;
    const json_t *item;
    struct text_buffer line = {0};
    json_array_foreach(missing, i, item)
    {
        const char *name = json_string_value(item);
        text_appendf(&line, "%s%s", i ? "; " : "Not known, and could speak: ", name ? name : "?");
    }
    if (line.length)
        view_text(v, VIEW_PLAIN, FACT_INDENT, 2, line.data);
    text_buffer_free(&line);
}

static void show_cause(const struct view *v, const json_t *cause)
{
    char now[VIEW_NUMBER];
    char before[VIEW_NUMBER];
    json_t *facts = pick_sorted(json_object_get(cause, "facts"), "bits");
    const char *file = pick_text(json_array_get(facts, 0), "file", NULL);
    double p = pick_number(cause, "probability", 0);
    struct text_buffer title = {0};
    text_appendf(&title, "%s (%s): %s, %s",
                 pick_text(cause, "title", pick_text(cause, "cause", "?")),
                 pick_text(cause, "cause", "?"), view_chance(p, now), view_likely(p));
    view_section(v, title.data);
    text_buffer_free(&title);
    if (pick_has(cause, "prior"))
        view_textf(v, VIEW_PLAIN, FACT_INDENT, 2, "before any fact: %s",
                   view_chance(pick_number(cause, "prior", 0), before));
    show_side(v, facts, SIDE_FOR, "for");
    show_side(v, facts, SIDE_AGAINST, "against");
    show_side(v, facts, SIDE_NOT_COUNTED, "already counted with a stronger one");
    show_silent(v, facts);
    show_missing(v, json_object_get(cause, "missing_names"));
    if (file)
        view_textf(v, VIEW_DIM, FACT_INDENT, 2, "rule file: %s",
                   strrchr(file, '/') ? strrchr(file, '/') + 1 : file);
    json_decref(facts);
}

static void show(const struct client *c, const json_t *document)
{
    const struct view *v = &c->view;
    const json_t *causes = json_object_get(document, "causes");
    const json_t *flips = json_object_get(document, "flips");
    size_t i;
    const json_t *item;
    case_path_title(c, document);
    view_text(v, VIEW_PLAIN, 0, 0,
              "+1 bit doubles a cause's odds, -1 bit halves them; what is not known says nothing.");
    measured_show(v, document);
    json_array_foreach(causes, i, item) show_cause(v, item);
    if (json_array_size(flips) == 0)
        return;
    view_section(v, "What would change the leading cause");
    json_array_foreach(flips, i, item)
    {
        char *from = pick_shown(item, "from");
        char *to = pick_shown(item, "to");
        if (pick_text(item, "text", NULL))
            view_textf(v, VIEW_PLAIN, 2, 2, "- %s", pick_text(item, "text", ""));
        else
            view_textf(v, VIEW_PLAIN, 2, 2, "- %s: %s instead of %s", pick_text(item, "fact", "?"),
                       to, from);
        free(from);
        free(to);
    }
}

static int why(struct client *c, const struct args *a)
{
    json_t *document = NULL;
    int rc =
        case_path_get_part(c, a->words[0], "/why", a->count > 1 ? a->words[1] : NULL, &document);
    return rc ? rc : client_answer(c, document, show);
}

const struct command cmd_why = {
    .name = "why",
    .args = "CASE [CAUSE]",
    .help = "every fact for and against, in bits, with its source",
    .least = 1,
    .most = 2,
    .exec = why,
};
