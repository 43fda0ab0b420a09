#include "show/measured_show.h"
#include "base/text.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/show.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* The value as it counts, and as it was written where that is another unit or more words. */
static void append_value(struct text_buffer *line, const json_t *result)
{
    char *value = pick_shown(result, "value");
    const char *said = pick_text(result, "said", ""), *unit = pick_text(result, "unit", "");
    bool plain = !*unit || strcmp(unit, "1") == 0;
    if (*value)
        text_appendf(line, "%s%s%s", value, plain ? "" : VIEW_NBSP, plain ? "" : unit);
    else
        text_append(line, said);
    if (*value && strchr(said, ' '))
        text_appendf(line, " (%s)", said);
    free(value);
}

const char *measured_show_out(const json_t *result, const json_t *reading)
{
    double value = pick_number(result, "value", NAN);
    return value < pick_number(reading, "low", -INFINITY)   ? "TOO LOW"
           : value > pick_number(reading, "high", INFINITY) ? "TOO HIGH"
                                                            : "";
}

static void show_one(const struct view *v, const json_t *result)
{
    char when[VIEW_NUMBER];
    struct text_buffer line = {0};
    const char *method = pick_text(result, "method", ""), *note = pick_text(result, "note", "");
    text_appendf(&line, "%s ", pick_text(result, "title", pick_text(result, "quantity", "?")));
    append_value(&line, result);
    text_appendf(&line, ": %s, sample %s, %s%s%s%s%s%s", pick_text(result, "lab", "?"),
                 pick_text(result, "sample", "?"), view_when(pick_text(result, "at", "?"), when),
                 *method ? ", " : "", method, *note ? " (" : "", note, *note ? ")" : "");
    if (!pick_bool(result, "known", true))
        text_append(&line, "; the rules do not know this quantity");
    else if (!pick_bool(result, "evidence", true))
        text_append(&line, pick_has(result, "value") || pick_has(result, "word")
                               ? "; no rule reads it"
                               : "; no word that the rules know");
    else if (pick_bool(result, "mute", false))
        text_append(&line, "; the rules compare it with the product's target or with what is "
                           "usual, and there is neither: they say nothing of it yet (oddloaf load "
                           "targets)");
    view_text(v, VIEW_PLAIN, 2, 2, line.data);
    text_buffer_free(&line);
}

void measured_show(const struct view *v, const json_t *document)
{
    const json_t *list = json_object_get(document, "measured"), *result;
    size_t i;
    if (json_array_size(list) == 0)
        return;
    view_section(v, "Measured by laboratories and of retained samples");
    json_array_foreach(list, i, result) show_one(v, result);
}

/* ---- the answer to a new one ---- */

/* A quantity that no rule knows: what was kept, what may have been meant, on one line of words. */
static void show_unknown(const struct view *v, const json_t *result)
{
    struct text_buffer names = {0};
    const char *name = pick_text(result, "quantity", "?");
    const json_t *list = json_object_get(result, "nearest"), *one;
    size_t i;
    json_array_foreach(list, i, one)
        text_appendf(&names, "%s%s", i ? ", " : "", json_string_value(one));
    view_textf(v, VIEW_PLAIN, 0, 2,
               "NOT USED: no rule knows \"%s\". It ranks nothing and is only kept as written, %s. "
               "Write it with its own name; nearest: %s; all: oddloaf rules quantities; \"%s=\" "
               "takes this back",
               name, pick_text(result, "said", ""), names.length ? names.data : "none", name);
    text_buffer_free(&names);
}

static bool is_unknown(const json_t *result)
{
    return pick_has(result, "said") && pick_has(result, "nearest");
}

static void show_result(const struct view *v, const json_t *result)
{
    const char *outcome = pick_text(result, "outcome", "?"), *was = pick_text(result, "was", "");
    const char *name = pick_text(result, "quantity", "?");
    if (strcmp(outcome, "taken back") == 0)
        view_textf(v, VIEW_PLAIN, 0, 2, "Taken back: %s %s", name, was);
    else if (strcmp(outcome, "same") == 0)
        view_textf(v, VIEW_PLAIN, 0, 2, "On record already: %s", name);
    else if (is_unknown(result))
        show_unknown(v, result);
    else if (strcmp(outcome, "corrected") == 0)
        view_textf(v, VIEW_PLAIN, 0, 2, "Corrected: %s, it was %s", name, was);
    else
        view_textf(v, VIEW_PLAIN, 0, 2, "On record: %s", name);
    if (pick_has(result, "said") && !is_unknown(result))
        show_one(v, result);
}

static void append_top(struct text_buffer *line, const json_t *top)
{
    char percent[VIEW_NUMBER];
    text_appendf(line, "%s %s", pick_text(top, "title", pick_text(top, "cause", "?")),
                 view_chance(pick_number(top, "probability", 0), percent));
}

static void show_case(const struct view *v, const json_t *item)
{
    char percent[VIEW_NUMBER];
    struct text_buffer line = {0};
    const json_t *was = json_object_get(item, "was"), *is = json_object_get(item, "is");
    bool changed = pick_bool(item, "changed", false);
    text_appendf(&line, "%s is ranked again: ", pick_text(item, "case", "?"));
    if (!json_is_object(is)) {
        text_append(&line, "harm is reported or possible, and no cause is named here.");
    } else if (changed) {
        append_top(&line, is);
        text_append(&line, " leads now; before it was ");
        append_top(&line, was);
    } else {
        append_top(&line, is);
        text_appendf(&line, " leads as before (then %s)",
                     view_chance(pick_number(was, "probability", 0), percent));
    }
    view_text(v, changed ? VIEW_BOLD : VIEW_PLAIN, 0, 2, line.data);
    text_buffer_free(&line);
}

/* Before all else: a pathogen found is told no rule of ranking, and the lot waits. */
static void show_harm(const struct view *v, const json_t *answer)
{
    const char *lot = pick_text(answer, "lot", NULL);
    struct text_buffer word = {0};
    if (!json_is_object(json_object_get(answer, "heard")))
        return;
    harm_show_heard(v, answer);
    if (lot) {
        text_append_word(&word, lot);
        view_textf(v, VIEW_BOLD, 0, 2, "Consider a hold: oddloaf hold %s --reason TEXT", word.data);
    }
    text_buffer_free(&word);
    view_blank(v);
}

void measured_show_answer(const struct view *v, const json_t *answer)
{
    const json_t *item, *cases = json_object_get(answer, "cases");
    size_t i;
    bool changed = false, known = false;
    show_harm(v, answer);
    json_array_foreach(json_object_get(answer, "results"), i, item) known |= !is_unknown(item);
    if (known) /* what no rule knows changes nothing */
        view_title(v, "Lot %s, %s, sample %s", pick_text(answer, "lot", "?"),
                   pick_text(answer, "lab", "?"), pick_text(answer, "sample", "?"));
    json_array_foreach(json_object_get(answer, "results"), i, item)
    {
        show_result(v, item);
        changed = changed || strcmp(pick_text(item, "outcome", ""), "same") != 0;
    }
    if (!known)
        return;
    view_blank(v);
    if (json_array_size(cases) == 0)
        view_text(v, VIEW_PLAIN, 0, 0,
                  changed ? "No open case is about this lot." : "Nothing was changed.");
    json_array_foreach(cases, i, item) show_case(v, item);
    show_list(v, "Cautions", json_object_get(answer, "cautions"));
}
