#include "desk/unkept.h"
#include "base/jsonx.h"
#include "intake/fields.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include <stdlib.h>
#include <string.h>

struct unkept {
    const struct desk *desk;
    json_t *kinds;
    bool possible, reachable;
};

static void add_kind(json_t *kinds, const json_t *kind)
{
    size_t i;
    const json_t *had;
    json_array_foreach(kinds, i, had)
    {
        if (json_equal(had, kind))
            return;
    }
    json_array_append(kinds, (json_t *)(uintptr_t)kind);
}

static void add_kinds(json_t *kinds, const json_t *more)
{
    size_t i;
    const json_t *kind;
    json_array_foreach(more, i, kind) add_kind(kinds, kind);
}

static json_t *tell(const struct unkept *u)
{
    json_t *answer = json_object();
    bool said = json_array_size(u->kinds) > 0;
    if (said)
        json_object_set(answer, "harm", u->kinds);
    if (u->possible)
        json_object_set_new(answer, "harm_possible", json_true());
    if (said || u->possible) {
        json_object_set_new(answer, "script", harm_read_out(u->desk->harm, !said, u->reachable));
        json_object_set_new(answer, "alarm",
                            json_string("it was not kept and no mail leaves: phone the "
                                        "food-safety lead now, and send it again"));
    }
    return answer;
}

json_t *unkept_takings(const struct desk *desk, const struct taking *taking, size_t count)
{
    struct unkept u = {.desk = desk, .kinds = json_array(), .reachable = true};
    for (size_t i = 0; i < count; i++) {
        const struct taking *t = &taking[i];
        const json_t *harm = t->form ? json_object_get(t->form->body, "harm") : t->harm;
        bool may_be = t->form ? t->form->harm_possible : t->harm_possible;
        add_kinds(u.kinds, harm);
        u.possible = u.possible || may_be;
        u.reachable = u.reachable && (t->reachable || !(harm || may_be));
    }
    json_t *answer = tell(&u);
    json_decref(u.kinds);
    return answer;
}

static void hear(struct unkept *u, const char *text)
{
    json_t *heard = lexicon_harm(u->desk->lexicon, text, NULL);
    u->possible = u->possible || (heard && !json_array_size(heard));
    add_kinds(u->kinds, heard);
    json_decref(heard);
}

/* A word of the field is said, whatever it means in a sentence. */
static void hear_text(struct unkept *u, const struct field *field, const json_t *text)
{
    if (field && field->words && fields_word(field->words, json_string_value(text)))
        add_kind(u->kinds, text);
    else
        hear(u, json_string_value(text));
}

static void hear_value(struct unkept *u, const struct field *harm, const json_t *value)
{
    size_t i;
    const char *name;
    json_t *member;
    if (json_is_string(value))
        hear_text(u, harm, value);
    json_array_foreach(value, i, member) hear_value(u, harm, member);
    json_object_foreach((json_t *)(uintptr_t)value, name, member)
    {
        hear_value(u, strcmp(name, "harm") == 0 ? fields_find(name) : NULL, member);
    }
}

static bool hear_json(struct unkept *u, const char *bytes, size_t length)
{
    json_t *body = NULL;
    if (jsonx_parse(bytes, length, &body, NULL))
        return false;
    hear_value(u, NULL, body);
    json_decref(body);
    return true;
}

static void hear_broken(struct unkept *u, const char *bytes, size_t length)
{
    char *words = jsonx_words(bytes, length);
    hear(u, words);
    free(words);
}

json_t *unkept_body(const struct desk *desk, const char *bytes, size_t length)
{
    struct unkept u = {.desk = desk, .kinds = json_array()};
    size_t read = length < UNKEPT_READ ? length : UNKEPT_READ;
    if (!hear_json(&u, bytes, read)) {
        for (size_t at = 0, line; at < read; at += line + 1) {
            const char *end = memchr(bytes + at, '\n', read - at);
            line = end ? (size_t)(end - bytes) - at : read - at;
            if (!hear_json(&u, bytes + at, line))
                hear_broken(&u, bytes + at, line);
        }
    }
    json_t *answer = tell(&u);
    json_decref(u.kinds);
    return answer;
}
