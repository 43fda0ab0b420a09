#include "show/pick.h"
#include "base/text.h"
#include "show/view.h"
#include <math.h>
#include <stdlib.h>

const char *pick_text(const json_t *object, const char *name, const char *fallback)
{
    const char *text = json_string_value(json_object_get(object, name));
    return text ? text : fallback;
}

double pick_number(const json_t *object, const char *name, double fallback)
{
    const json_t *value = json_object_get(object, name);
    return json_is_number(value) ? json_number_value(value) : fallback;
}

int64_t pick_int(const json_t *object, const char *name, int64_t fallback)
{
    double value = pick_number(object, name, (double)fallback);
    if (!(fabs(value) < 9e15))
        return fallback;
    return (int64_t)llround(value);
}

bool pick_bool(const json_t *object, const char *name, bool fallback)
{
    const json_t *value = json_object_get(object, name);
    return json_is_boolean(value) ? json_is_true(value) : fallback;
}

const char *pick_complaint(const json_t *object, const char *fallback)
{
    return pick_text(object, "short", pick_text(object, "complaint", fallback));
}

bool pick_has(const json_t *object, const char *name)
{
    const json_t *value = json_object_get(object, name);
    return value && !json_is_null(value);
}

struct sorted {
    json_t *item;
    double key;
    size_t place;
};

static int by_key(const void *a, const void *b)
{
    const struct sorted *x = a;
    const struct sorted *y = b;
    if (x->key != y->key)
        return x->key > y->key ? -1 : 1;
    return (x->place > y->place) - (x->place < y->place);
}

json_t *pick_sorted(const json_t *list, const char *name)
{
    size_t count = json_array_size(list);
    struct sorted *rows = xcalloc(count + 1, sizeof *rows);
    json_t *out = json_array();
    for (size_t i = 0; i < count; i++) {
        json_t *item = json_array_get(list, i);
        rows[i] = (struct sorted){item, fabs(pick_number(item, name, 0)), i};
    }
    qsort(rows, count, sizeof *rows, by_key);
    for (size_t i = 0; i < count; i++)
        json_array_append(out, rows[i].item);
    free(rows);
    return out;
}

static void show(const json_t *value, struct text_buffer *out)
{
    char number[VIEW_NUMBER];
    if (json_is_string(value)) {
        text_append(out, json_string_value(value));
    } else if (json_is_number(value)) {
        text_append(out, view_number(json_number_value(value), number));
    } else if (json_is_boolean(value)) {
        text_append(out, json_is_true(value) ? "yes" : "no");
    } else if (json_is_array(value)) {
        size_t i;
        const json_t *item;
        json_array_foreach(value, i, item)
        {
            text_append(out, i ? ", " : "");
            show(item, out);
        }
    } else if (json_is_object(value)) {
        const char *name;
        json_t *member;
        bool first = true;
        json_object_foreach((json_t *)value, name, member)
        {
            text_appendf(out, "%s%s ", first ? "" : ", ", name);
            show(member, out);
            first = false;
        }
    }
}

char *pick_shown_json(const json_t *value)
{
    struct text_buffer out = {0};
    show(value, &out);
    return text_take(&out);
}

char *pick_shown(const json_t *object, const char *name)
{
    return pick_shown_json(json_object_get(object, name));
}
