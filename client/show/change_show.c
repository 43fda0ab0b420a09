#include "show/change_show.h"
#include "intake/fields.h"
#include "show/harm.h"
#include "show/pick.h"
#include "show/show.h"
#include "show/standing.h"
#include <stdlib.h>
#include <string.h>

static bool is_words(const struct field *field)
{
    return field->type == FIELD_TEXT || field->type == FIELD_WORD;
}

char *change_show_value(const char *name, const char *text, const char *none)
{
    const struct field *field = fields_find(name);
    json_t *value = field && !is_words(field) ? json_loads(text, JSON_DECODE_ANY, NULL) : NULL;
    bool empty = json_is_array(value) && !json_array_size(value); /* asked, and there was none */
    char *shown = empty   ? xstrdup("none")
                  : value ? pick_shown_json(value)
                          : xstrdup(*text ? text : none);
    json_decref(value);
    return shown;
}

static void show_what(const struct view *v, const json_t *answer)
{
    const char *complaint = pick_text(answer, "complaint", "?"),
               *name = pick_text(answer, "case", "another plant's");
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
        const char *field = pick_text(change, "field", "?");
        const char *nothing = strcmp(field, "harm") == 0 ? "not asked" : "not known";
        char *was = change_show_value(field, pick_text(change, "was", ""), nothing);
        char *is = change_show_value(field, pick_text(change, "is", ""), nothing);
        if (!json_is_boolean(json_object_get(change, "is")))
            view_textf(v, VIEW_PLAIN, 2, 4, "%s: %s, was %s", fields_title(field), is, was);
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
    harm_show_heard(v, answer);
}
