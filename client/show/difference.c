#include "show/difference.h"
#include "base/text.h"
#include <stdlib.h>
#include <string.h>

enum { SHOWN_BYTES = 160 };

struct walk {
    json_t *found;
    struct text_buffer at;
};

static void compare(struct walk *walk, const json_t *was, const json_t *is);

static void add(struct walk *walk, const json_t *was, const json_t *is)
{
    json_t *one = json_pack("{s:s}", "at", walk->at.length ? walk->at.data : "");
    if (was)
        json_object_set(one, "was", (json_t *)was);
    if (is)
        json_object_set(one, "is", (json_t *)is);
    json_array_append_new(walk->found, one);
}

/* Compares what stands one step further down, and comes back. */
static void step(struct walk *walk, const char *name, const json_t *was, const json_t *is)
{
    struct text_buffer here = {0};
    text_append_bytes(&here, walk->at.length ? walk->at.data : "", walk->at.length);
    text_append(&walk->at, "/");
    for (; *name; name++) {
        if (*name == '~' || *name == '/')
            text_append(&walk->at, *name == '~' ? "~0" : "~1");
        else
            text_append_bytes(&walk->at, name, 1);
    }
    compare(walk, was, is);
    text_buffer_free(&walk->at);
    walk->at = here;
}

static void compare_objects(struct walk *walk, const json_t *was, const json_t *is)
{
    const char *name;
    json_t *value;
    json_object_foreach((json_t *)was, name, value)
    {
        step(walk, name, value, json_object_get(is, name));
    }
    json_object_foreach((json_t *)is, name, value)
    {
        if (!json_object_get(was, name))
            step(walk, name, NULL, value);
    }
}

/* Equal elements at both ends are the same ones; what lies between is compared in its order. */
static void compare_lists(struct walk *walk, const json_t *was, const json_t *is)
{
    size_t m = json_array_size(was), n = json_array_size(is), head = 0, tail = 0;
    size_t least = m < n ? m : n, most = m < n ? n : m;
    while (head < least && json_equal(json_array_get(was, head), json_array_get(is, head)))
        head++;
    while (tail < least - head &&
           json_equal(json_array_get(was, m - 1 - tail), json_array_get(is, n - 1 - tail)))
        tail++;
    for (size_t i = head; i < most - tail; i++) {
        char name[24];
        snprintf(name, sizeof name, "%zu", i);
        step(walk, name, i < m - tail ? json_array_get(was, i) : NULL,
             i < n - tail ? json_array_get(is, i) : NULL);
    }
}

static void compare(struct walk *walk, const json_t *was, const json_t *is)
{
    if (json_is_object(was) && json_is_object(is))
        compare_objects(walk, was, is);
    else if (json_is_array(was) && json_is_array(is))
        compare_lists(walk, was, is);
    else if (!was || !is || !json_equal(was, is))
        add(walk, was, is);
}

json_t *difference_of(const json_t *was, const json_t *is)
{
    struct walk walk = {.found = json_array()};
    if (was || is)
        compare(&walk, was, is);
    text_buffer_free(&walk.at);
    return walk.found;
}

/* "nothing" of what is not there. */
static char *said(const json_t *value)
{
    char clipped[SHOWN_BYTES];
    char *whole = value ? json_dumps(value, JSON_COMPACT | JSON_ENCODE_ANY) : NULL;
    text_clip(whole ? whole : "nothing", clipped, sizeof clipped);
    struct text_buffer text = {0};
    text_appendf(&text, "%s%s", clipped, whole && strlen(whole) >= sizeof clipped ? "…" : "");
    free(whole);
    return text_take(&text);
}

void difference_show(const struct view *v, int indent, const json_t *differences)
{
    size_t i;
    const json_t *one;
    json_array_foreach(differences, i, one)
    {
        char *was = said(json_object_get(one, "was")), *is = said(json_object_get(one, "is"));
        view_textf(v, VIEW_PLAIN, indent, 2, "%s: %s, now %s",
                   json_string_value(json_object_get(one, "at")), was, is);
        free(was);
        free(is);
    }
}
