#include "intake/stray.h"
#include "intake/fields.h"
#include <string.h>

enum { BLANKS = 2 }; /* as many as a sentence has, and few names */

struct walk {
    stray_each_text each;
    void *arg;
};

static void tell_all(const struct walk *w, const json_t *value)
{
    const char *name;
    json_t *member;
    size_t i;
    if (json_is_string(value))
        w->each(w->arg, json_string_value(value), false);
    json_array_foreach(value, i, member) tell_all(w, member);
    json_object_foreach((json_t *)(uintptr_t)value, name, member) tell_all(w, member);
}

static bool is_sentence(const json_t *value)
{
    int blanks = 0;
    for (const char *at = json_string_value(value); at && *at && blanks < BLANKS; at++)
        blanks += *at == ' ';
    return blanks == BLANKS;
}

/* One of its words, a list of them, or nothing that could be meant for one. */
static void tell_chosen(const struct walk *w, const struct field *field, const json_t *value)
{
    size_t i;
    const json_t *one;
    const char *word = json_string_value(value);
    if (word ? !fields_word(field->words, word) : json_is_object(value))
        tell_all(w, value);
    json_array_foreach(value, i, one) tell_chosen(w, field, one);
}

static void tell_value(const struct walk *w, const struct field *field, const json_t *value)
{
    bool text = field->type == FIELD_TEXT && json_is_string(value);
    if (text && fields_is_prose(field->name))
        return;
    if (field->words)
        tell_chosen(w, field, value);
    else if (!json_is_string(value))
        tell_all(w, value);
    else if (is_sentence(value))
        w->each(w->arg, json_string_value(value), text);
}

static void tell_members(const struct walk *w, const char *group, const json_t *object)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)(uintptr_t)object, name, value)
    {
        const struct field *field = fields_member(group, name);
        if (field)
            tell_value(w, field, value);
        else if (!*group && json_is_object(value) && strcmp(name, "refused") != 0)
            tell_members(w, name, value);
        else if (strcmp(name, "refused") != 0)
            tell_all(w, value);
    }
}

void stray_each(const json_t *complaint, stray_each_text each, void *arg)
{
    tell_members(&(struct walk){each, arg}, "", complaint);
}
