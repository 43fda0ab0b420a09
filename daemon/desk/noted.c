#include "desk/noted.h"
#include "base/text.h"
#include "intake/caller.h"
#include "intake/fields.h"
#include "intake/harm.h"
#include "intake/lexicon.h"
#include "lots/named_in_text.h"
#include <stdlib.h>
#include <string.h>

static const struct {
    const char *field;
    enum named_in_text_kind kind;
} NAMES[] = {{"product", NAMED_PRODUCT}, {"store", NAMED_STORE}};

enum { NAME_COUNT = sizeof NAMES / sizeof NAMES[0] };

/* False if none is named. */
static bool find_names(struct store *store, const char *note, struct named_in_text *names)
{
    bool found = false;
    for (size_t i = 0; i < NAME_COUNT; i++) {
        if (named_in_text_find(store, NAMES[i].kind, note, &names[i], NULL))
            names[i] = (struct named_in_text){.from = 0};
        found = found || names[i].to > names[i].from;
    }
    return found;
}

static void add_names(const char *note, const struct named_in_text *names, json_t *filled,
                      json_t *taken)
{
    for (size_t i = 0; i < NAME_COUNT; i++) {
        const struct field *field = fields_find(NAMES[i].field);
        if (names[i].from == names[i].to || fields_get(filled, field))
            continue;
        json_t *said = json_stringn(note + names[i].from, names[i].to - names[i].from);
        fields_set_new(filled, field, json_incref(said));
        json_array_append_new(
            taken, json_pack("{s:s, s:O, s:o}", "field", field->name, "value", said, "from", said));
    }
}

/* "Black Forest" is no color of mold: the complaint with its names not in the note. */
static json_t *without_names(const json_t *complaint, const char *note,
                             const struct named_in_text *names)
{
    json_t *bare = json_copy((json_t *)(uintptr_t)complaint);
    char *text = xstrdup(note);
    for (size_t i = 0; i < NAME_COUNT; i++)
        memset(text + names[i].from, ' ', names[i].to - names[i].from);
    json_object_set_new(bare, "note", json_string(text));
    free(text);
    return bare;
}

/* What was quoted of the note without its names, as it was said. */
static void quote_whole(const char *note, const char *bare, json_t *taken)
{
    size_t i;
    json_t *item;
    json_array_foreach(taken, i, item)
    {
        const char *from = json_string_value(json_object_get(item, "from"));
        const char *at = from ? strstr(bare, from) : NULL;
        if (at)
            json_object_set_new(item, "from", json_stringn(note + (at - bare), strlen(from)));
    }
}

static bool is_of_harm(const json_t *item)
{
    const char *field = json_string_value(json_object_get(item, "field"));
    return field && strncmp(field, "harm", 4) == 0;
}

/* Harm is heard in every word: what the whole note gave of it. */
static void take_harm(json_t *whole, json_t *whole_taken, json_t *filled, json_t *taken)
{
    static const char *const HARM[] = {"harm", "harm_possible", "harm_read"};
    for (size_t i = 0; i < sizeof HARM / sizeof HARM[0]; i++) {
        json_t *said = json_object_get(whole, HARM[i]);
        if (said)
            json_object_set(filled, HARM[i], said);
    }
    for (size_t i = json_array_size(taken); i-- > 0;)
        if (is_of_harm(json_array_get(taken, i)))
            json_array_remove(taken, i);
    size_t i;
    json_t *item;
    json_array_foreach(whole_taken, i, item) if (is_of_harm(item)) json_array_append(taken, item);
}

static json_t *fill_from_note(const struct desk *desk, struct store *store, const json_t *complaint,
                              int32_t today, json_t **ret_taken)
{
    struct named_in_text names[NAME_COUNT];
    json_t *whole = lexicon_fill(desk->lexicon, complaint, today, ret_taken);
    const char *note = json_string_value(json_object_get(complaint, "note"));
    if (!note || strlen(note) > (size_t)fields_find("note")->high)
        return whole; /* one too long will be refused: nothing but harm matters */
    if (!find_names(store, note, names)) {
        lexicon_fill_bare(desk->lexicon, note, whole, *ret_taken);
        caller_fill(desk->lexicon, whole, note);
        return whole;
    }
    json_t *taken = NULL, *bare = without_names(complaint, note, names);
    json_t *filled = lexicon_fill(desk->lexicon, bare, today, &taken);
    json_object_set(filled, "note", json_object_get(complaint, "note"));
    quote_whole(note, json_string_value(json_object_get(bare, "note")), taken);
    take_harm(whole, *ret_taken, filled, taken);
    add_names(note, names, filled, taken);
    const char *rest = json_string_value(json_object_get(bare, "note"));
    lexicon_fill_bare(desk->lexicon, rest, filled, taken);
    caller_fill(desk->lexicon, filled, rest);
    json_decref(bare);
    json_decref(whole);
    json_decref(*ret_taken);
    *ret_taken = taken;
    return filled;
}

json_t *noted_fill(const struct desk *desk, struct store *store, const json_t *complaint,
                   int32_t today, json_t **ret_taken)
{
    json_t *filled = fill_from_note(desk, store, complaint, today, ret_taken);
    lexicon_fill_stray(desk->lexicon, complaint, filled, *ret_taken);
    harm_fill_observed(desk->harm, filled, *ret_taken);
    return filled;
}
