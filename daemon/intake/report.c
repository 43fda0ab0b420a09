#include "intake/report.h"
#include "intake/fields.h"
#include "intake/receipt.h"
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum { FIELD_SIZE = 160 };

struct merging {
    json_t *brought, *differs; /* borrowed, NULL: nobody asks */
};

static bool is_own(const char *name)
{
    const struct field *field = fields_member("", name);
    return (field && field->flags & FIELD_OWN) || strcmp(name, RECEIPT_SAID) == 0;
}

static void say_brought(const struct merging *m, const char *field)
{
    if (m->brought)
        json_array_append_new(m->brought, json_string(field));
}

static void take(const struct merging *m, json_t *into, const char *name, const char *field,
                 json_t *value)
{
    json_t *known = json_object_get(into, name);
    if (!known) {
        json_object_set(into, name, value);
        say_brought(m, field);
    } else if (!json_equal(known, value) && m->differs) {
        json_array_append_new(m->differs, json_pack("{s:s, s:O, s:O}", "field", field, "complaint",
                                                    known, "report", value));
    }
}

static bool has_word(const json_t *list, const json_t *word)
{
    for (size_t i = 0; i < json_array_size(list); i++)
        if (json_equal(json_array_get(list, i), word))
            return true;
    return false;
}

/* Whoever said that somebody was hurt is believed. */
static void take_harm(const struct merging *m, json_t *into, const json_t *harm)
{
    json_t *known = json_object_get(into, "harm");
    json_t *all = known ? json_copy(known) : json_array();
    bool more = !known;
    for (size_t i = 0; i < json_array_size(harm); i++) {
        json_t *word = json_array_get(harm, i);
        if (!has_word(all, word)) {
            json_array_append(all, word);
            more = true;
        }
    }
    json_object_set_new(into, "harm", all);
    if (more)
        say_brought(m, "harm");
}

static void take_members(const struct merging *m, json_t *into, const char *group,
                         const json_t *members)
{
    const char *name;
    json_t *value;
    json_t *known = json_object_get(into, group);
    json_t *all = known ? json_copy(known) : json_object();
    json_object_foreach((json_t *)members, name, value)
    {
        char field[FIELD_SIZE];
        snprintf(field, sizeof field, "%.40s/%.100s", group, name);
        take(m, all, name, field, value);
    }
    json_object_set_new(into, group, all);
}

json_t *report_merge(const json_t *complaint, const json_t *report, json_t *brought,
                     json_t *differs)
{
    const struct merging m = {brought, differs};
    const char *name;
    json_t *value;
    json_t *merged = json_copy((json_t *)complaint);
    json_object_foreach((json_t *)report, name, value)
    {
        if (is_own(name))
            continue;
        if (strcmp(name, "harm") == 0)
            take_harm(&m, merged, value);
        else if (strcmp(name, "harm_possible") == 0)
            json_object_set(merged, name, value);
        else if (json_is_object(value))
            take_members(&m, merged, name, value);
        else
            take(&m, merged, name, name, value);
    }
    if (json_array_size(json_object_get(merged, "harm")))
        json_object_del(merged, "harm_possible");
    return merged;
}
