#include "desk/unkept.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "desk/lab_row.h"
#include "desk/measuring.h"
#include "desk/overheard.h"
#include "desk/overheard_file.h"
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
        jsonx_add_missing(u.kinds, harm);
        u.possible = u.possible || may_be;
        u.reachable = u.reachable && (t->reachable || !(harm || may_be));
    }
    json_t *answer = tell(&u);
    json_decref(u.kinds);
    return answer;
}

/* ---- a body ---- */

/* What people write as prose is read as a note is. In what is a name elsewhere ("Ann Sick", the
 * cause rope) a sentence is heard if it says harm. */
struct words {
    struct unkept *u;
    struct text_buffer prose, others, results;
};

static bool is_prose(const char *name)
{
    static const char *const NAMES[] = {"reason", "answered", "comment",
                                        "text",   "anyway",   "message"};
    for (size_t i = 0; i < sizeof NAMES / sizeof NAMES[0]; i++)
        if (strcmp(name, NAMES[i]) == 0)
            return true;
    return fields_is_prose(name);
}

static bool is_sentence(const char *text)
{
    const char *blank = strchr(text, ' ');
    return blank && strchr(blank + 1, ' ');
}

/* Each ends its sentence. */
static void add_text(struct words *w, const char *name, const char *text)
{
    if (is_prose(name))
        text_appendf(&w->prose, "%s\n\n", text);
    else if (is_sentence(text))
        text_appendf(&w->others, "%s\n\n", text);
}

/* The name of a laboratory's result that was told in words or as a number; NULL: it is none. */
static const char *result_of(const json_t *value)
{
    const json_t *said = json_object_get(value, "value");
    bool tells = json_is_number(said) || json_string_length(said) > 0;
    return tells ? json_string_value(json_object_get(value, "quantity")) : NULL;
}

/* As one that is kept is heard (lab_row.h). Of a quantity the rules know a number says no harm. */
static void add_result(struct words *w, const char *quantity, const json_t *value)
{
    struct measuring m = {.known = false};
    if (w->u->desk->triage)
        measuring_read(w->u->desk->triage, quantity, value, &m, NULL);
    char *number = json_is_number(value) ? jsonx_dump(value) : NULL;
    if (!(m.known && number) &&
        lab_row_result(w->u->desk->harm, m.known ? "" : quantity,
                       number ? number : json_string_value(value), &w->results))
        text_append(&w->results, "\n\n");
    free(number);
}

/* Under `name`; of a list, each of its values. */
static void add_value(struct words *w, const char *name, const json_t *value)
{
    size_t i;
    const char *key;
    json_t *member;
    bool harm = strcmp(name, "harm") == 0;
    if (strcmp(name, "harm_possible") == 0 && json_is_true(value))
        w->u->possible = true;
    if (harm && json_is_string(value) &&
        fields_word(fields_find(name)->words, json_string_value(value))) {
        if (!jsonx_holds(w->u->kinds, value))
            json_array_append(w->u->kinds, (json_t *)(uintptr_t)value);
    } else if (json_is_string(value))
        add_text(w, name, json_string_value(value));
    json_array_foreach(value, i, member) add_value(w, name, member);
    const char *quantity = result_of(value);
    if (quantity)
        add_result(w, quantity, json_object_get(value, "value"));
    json_object_foreach((json_t *)(uintptr_t)value, key, member)
    {
        if (!quantity || strcmp(key, "value") != 0)
            add_value(w, key, member);
    }
}

static void hear_prose(struct unkept *u, const char *text)
{
    json_t *taken, *note = json_pack("{s:s}", "note", text);
    json_t *filled = lexicon_fill(u->desk->lexicon, note, WHEN_UNKNOWN_DAY, &taken);
    jsonx_add_missing(u->kinds, json_object_get(filled, "harm"));
    u->possible = u->possible || json_is_true(json_object_get(filled, "harm_possible"));
    json_decref(filled);
    json_decref(taken);
    json_decref(note);
}

static void hear_others(struct unkept *u, const char *text)
{
    json_t *heard = lexicon_harm(u->desk->lexicon, text, NULL);
    jsonx_add_missing(u->kinds, heard);
    json_decref(heard);
}

/* What no caller said: a result that may mean harm is told as that. */
static void hear_results(struct unkept *u, const char *text)
{
    json_t *heard = lexicon_harm(u->desk->lexicon, text, NULL);
    jsonx_add_missing(u->kinds, heard);
    u->possible = u->possible || (heard && !json_array_size(heard));
    json_decref(heard);
}

static bool add_json(struct words *w, const char *bytes, size_t length)
{
    json_t *body = NULL;
    if (jsonx_parse(bytes, length, &body, NULL))
        return false;
    add_value(w, "", body);
    json_decref(body);
    return true;
}

/* Lines of JSON, as far as they are that. */
static size_t add_lines(struct words *w, const char *bytes, size_t length)
{
    size_t at = 0;
    while (at < length) {
        const char *end = memchr(bytes + at, '\n', length - at);
        size_t line = end ? (size_t)(end - bytes) - at : length - at;
        if (line && !add_json(w, bytes + at, line)) /* an empty one parts others */
            break;
        at += line + 1;
    }
    return at < length ? at : length;
}

json_t *unkept_body(const struct desk *desk, const char *bytes, size_t length)
{
    struct unkept u = {.desk = desk, .kinds = json_array()};
    struct words w = {.u = &u};
    size_t read = length < UNKEPT_READ ? length : UNKEPT_READ;
    size_t done = add_json(&w, bytes, read) ? read : add_lines(&w, bytes, read);
    if (done < read) { /* broken: all that is left is one text */
        char *rest = jsonx_words(bytes + done, read - done);
        text_append(&w.prose, rest);
        free(rest);
    }
    if (w.prose.length)
        hear_prose(&u, w.prose.data);
    if (w.others.length)
        hear_others(&u, w.others.data);
    if (w.results.length)
        hear_results(&u, w.results.data);
    text_buffer_free(&w.prose);
    text_buffer_free(&w.results);
    text_buffer_free(&w.others);
    json_t *answer = tell(&u);
    if (read < length && !json_object_size(answer))
        json_object_set_new(answer, "hint",
                            json_string("not all of it was read: if it tells that somebody was "
                                        "hurt or ill, phone the food-safety lead now"));
    json_decref(u.kinds);
    return answer;
}

/* ---- a file ---- */

/* Not a photo, nor what a program packs. */
static bool is_text(const char *bytes, size_t length)
{
    for (size_t i = 0; i < length; i++) {
        unsigned char c = (unsigned char)bytes[i];
        if (!c || (c < ' ' && !strchr("\t\n\f\r\033", c)))
            return false;
    }
    return length > 0;
}

/* `harm` as lexicon_harm(); takes its reference. */
static void add_harm(const struct desk *desk, json_t *harm, json_t *answer)
{
    struct unkept u = {.desk = desk, .kinds = json_array()};
    if (harm) {
        jsonx_add_missing(u.kinds, json_object_get(answer, "harm"));
        jsonx_add_missing(u.kinds, harm);
        u.possible =
            !json_array_size(harm) || json_is_true(json_object_get(answer, "harm_possible"));
        json_t *told = tell(&u);
        json_object_update(answer, told);
        json_decref(told);
    }
    json_decref(u.kinds);
    json_decref(harm);
}

void unkept_file(const struct desk *desk, const struct unkept_file *file, json_t *answer)
{
    struct overheard_file heard;
    size_t read = file->length < UNKEPT_READ ? file->length : UNKEPT_READ;
    if (file->name)
        add_harm(desk, overheard_in_file_name(desk, file->name), answer);
    if (!is_text(file->bytes, read))
        return;
    char *text = text_as_utf8(file->bytes, read);
    overheard_file_read(desk, text, &heard);
    free(text);
    add_harm(desk, json_incref(heard.harm), answer);
    overheard_file_clear(&heard);
}
