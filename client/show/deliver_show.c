/* A logged complaint for people: the lot as understood, what to think and what to ask. */
#include "show/deliver_show.h"
#include "intake/fields.h"
#include "show/change_show.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include <stdlib.h>
#include <string.h>

#define TOP 3

/* No note tells the plant: it is that of whoever took it. */
static void show_taken(const struct view *v, const json_t *taken)
{
    size_t i, told = 0;
    const json_t *item;
    json_array_foreach(taken, i, item)
    {
        char *value = pick_shown(item, "value");
        if (strcmp(pick_text(item, "field", "?"), "plant") == 0)
            view_label(v, "plant", "%s, while its lot is not known: by %s", value,
                       pick_text(item, "from", "who took it"));
        else
            view_label(v, told++ ? "" : "from the note", "%s: %s (%s)",
                       fields_title(pick_text(item, "field", "?")), value,
                       pick_text(item, "from", "words in the note"));
        free(value);
    }
}

static void show_apart(const struct view *v, const json_t *apart)
{
    size_t i;
    const json_t *item;
    json_array_foreach(apart, i, item)
    {
        view_label(v, i ? "" : "kept apart", "%s", pick_text(item, "says", "contact data"));
    }
}

/* What to say where the plant has no words of its own. */
static const char *own_script(const json_t *complaint)
{
    const char *symptom = pick_text(complaint, "symptom", "");
    if (strcmp(symptom, "other") == 0) /* short weight, a torn bag: nothing to warn of */
        return "\"Thank you for telling us; we are sorry. Please keep the bag with its code, or a "
               "photo of it. Our quality team has your report.\"";
    if (strcmp(symptom, "staling") == 0)
        return "\"Thank you for telling us. Please keep the bag with its code, or a photo of it. "
               "Our "
               "quality team has your report.\"";
    return "\"Thank you for telling us. Please do not eat the bread, not in part either, and keep "
           "it away from other food. Keep the bag with its code, or a photo of it. If anyone "
           "feels unwell, please ask a doctor and call us again. Our quality team has your "
           "report.\"";
}

const char *deliver_show_kept(const json_t *complaint)
{
    return strcmp(pick_text(complaint, "symptom", ""), "other") == 0
               ? "Tell the caller: \"Thank you, we are sorry; I have taken it down. Please keep "
                 "the "
                 "bag and the code.\""
               : "Tell the caller: \"Thank you, I have taken it down. Please keep the bag and the "
                 "code, and do not eat the bread.\"";
}

/* What the earlier complaint got from this report, and where the two differ. */
static void show_joined(const struct view *v, const json_t *answer)
{
    size_t i;
    const json_t *item;
    char *brought = pick_shown(answer, "brought");
    view_label(v, "joined to", "%s: kept with it, counted once", pick_text(answer, "same_as", "?"));
    view_label(v, "brought", "%s", *brought ? brought : "nothing new");
    free(brought);
    json_array_foreach(json_object_get(answer, "differs"), i, item)
    {
        char *before = pick_shown(item, "complaint");
        char *now = pick_shown(item, "report");
        view_label(v, i ? "" : "differs", "%s: %s before, %s now; the first is kept in force",
                   fields_title(pick_text(item, "field", "?")), before, now);
        free(before);
        free(now);
    }
}

static void show_similar(const struct view *v, const json_t *answer)
{
    size_t i;
    const json_t *item;
    json_array_foreach(json_object_get(answer, "similar"), i, item)
    {
        char when[VIEW_NUMBER];
        view_label(v, i ? "" : "logged before?", "%s, received %s: %s",
                   pick_text(item, "complaint", "?"),
                   view_when(pick_text(item, "received_at", "?"), when),
                   pick_text(item, "why", "much alike"));
    }
    if (i > 0)
        view_label(
            v, "", "if it is the same report: oddloaf join %s %s",
            pick_text(answer, "complaint", "?"),
            pick_text(json_array_get(json_object_get(answer, "similar"), 0), "complaint", "?"));
}

void deliver_show(const struct view *v, const json_t *complaint, const json_t *answer)
{
    const json_t *ranked = json_object_get(answer, "ranked");
    view_title(v, "%s  complaint %s%s",
               pick_text(answer, "case", pick_has(answer, "passed_on") ? "passed on" : "no case"),
               pick_complaint(answer, "?"),
               pick_bool(answer, "again", false) ? ", logged before: nothing changed" : "");
    standing_show(v, answer, json_object_get(answer, "understood"));
    if (pick_has(answer, "same_as"))
        show_joined(v, answer);
    else
        show_similar(v, answer);
    show_taken(v, json_object_get(answer, "taken"));
    show_apart(v, json_object_get(answer, "apart"));
    bool harm = harm_reported(complaint, answer), possible = !harm && harm_possible(answer);
    char back[400];
    if (harm_taken_back(answer, back, sizeof back))
        view_textf(v, VIEW_BOLD, 0, 0, "Mind: %s.", back);
    const char *earlier = pick_text(answer, "earlier_harm", NULL);
    if (earlier)
        view_textf(v, VIEW_BOLD, 0, 0, "Mind: %s.", earlier);
    if (possible) /* before any cause is: whoever reads no further has read this */
        harm_show_first(v);
    if (!harm && !possible && !earlier && json_array_size(ranked) > 0) {
        view_section(v, "Likely causes");
        show_ranked_desk(v, ranked, TOP);
    }
    show_ask_caller(v, answer);
    show_list(v, "Cautions", json_object_get(answer, "cautions"));
    /* what is to be said comes last: it is what stands on the screen */
    if (harm) {
        harm_show(v, pick_text(answer, "script", NULL), pick_text(answer, "alarm", NULL));
    } else if (possible) {
        harm_show_possible(v, pick_text(answer, "script", NULL), pick_text(answer, "alarm", NULL));
    } else {
        view_section(v, "Tell the caller");
        view_text(v, VIEW_PLAIN, 2, 0, pick_text(answer, "script", own_script(complaint)));
    }
}
