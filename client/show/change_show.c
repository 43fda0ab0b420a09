#include "show/change_show.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include <stdlib.h>

static void show_what(const struct view *v, const json_t *answer)
{
    const char *complaint = pick_text(answer, "complaint", "?"),
               *name = pick_text(answer, "case", "?");
    bool again = pick_bool(answer, "again", false);
    if (!pick_has(answer, "withdrawn"))
        view_title(v,
                   again ? "Complaint %s says so already (case %s)"
                         : "Complaint %s is corrected (case %s)",
                   complaint, name);
    else if (pick_bool(answer, "withdrawn", false))
        view_title(v, "Complaint %s is withdrawn%s (case %s)", complaint,
                   again ? ", as before" : "", name);
    else
        view_title(v, "Complaint %s counts%s (case %s)", complaint,
                   again ? ", as before" : " again", name);
}

static void show_changed(const struct view *v, const json_t *changed)
{
    size_t i;
    const json_t *change;
    json_array_foreach(changed, i, change)
    {
        char *was = pick_shown(change, "was"), *is = pick_shown(change, "is");
        if (!json_is_boolean(json_object_get(change, "is")))
            view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s, was %s", pick_text(change, "field", "?"),
                       *is ? is : "not known", *was ? was : "not known");
        free(was);
        free(is);
    }
}

/* Last, as of one that is logged: it is what stands on the screen. */
static void show_harm(const struct view *v, const json_t *answer)
{
    const char *script = pick_text(answer, "script", NULL);
    const char *alarm = pick_text(answer, "alarm", NULL);
    bool harm = harm_reported(NULL, answer);
    if (!harm && !harm_possible(answer))
        return;
    show_list(v, "Cautions", json_object_get(answer, "cautions"));
    if (harm)
        harm_show(v, script, alarm);
    else
        harm_show_possible(v, script, alarm);
}

void change_show(const struct view *v, const json_t *answer)
{
    show_what(v, answer);
    show_changed(v, json_object_get(answer, "changed"));
    if (!pick_bool(answer, "withdrawn", false))
        standing_show(v, answer, NULL);
    view_textf(v, VIEW_DIM, 2, 4, "On record as done by %s; oddloaf history %s shows all.",
               pick_text(answer, "by", "?"), pick_text(answer, "complaint", "?"));
    show_harm(v, answer);
}
