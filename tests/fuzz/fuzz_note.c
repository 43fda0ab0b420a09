/* Input: the note of a complaint, in the shipped languages. */
#include "base/text.h"
#include "fuzz.h"
#include "intake/fields.h"
#include "intake/lexicon.h"
#include <stdlib.h>
#include <string.h>

/* what is said before the words of a note that nobody here reads */
#define UNREAD "in a language that is not read here: "

enum { NOTE_MOST = 4000 };

static void check_taken(const json_t *item, const char *note)
{
    char name[64];
    const char *from = json_string_value(json_object_get(item, "from"));
    const json_t *value = json_object_get(item, "value");
    PROMISE(from && *from);
    text_clip(json_string_value(json_object_get(item, "field")), name, sizeof name);
    if (strcmp(name, "harm_possible") == 0) {       /* heard, and no field that a caller fills */
        bool unread = strstr(from, UNREAD) == from; /* as it is shown, then */
        char shown[NOTE_MOST + 1];
        text_clip(note, shown, sizeof shown);
        PROMISE(json_is_true(value) &&
                (unread ? strstr(shown, from + strlen(UNREAD)) : strstr(note, from)));
        return;
    }
    PROMISE(strstr(note, from));
    for (char *p = name; *p; p++)
        if (*p == '.')
            *p = '/';
    const struct field *field = fields_find(name);
    PROMISE(field != NULL);
    if (field->type == FIELD_WORD || field->type == FIELD_WORDS)
        PROMISE(fields_word(field->words, json_string_value(value)) != NULL);
    if (field->type == FIELD_WHOLE)
        PROMISE(json_integer_value(value) >= field->low &&
                json_integer_value(value) <= field->high);
    PROMISE(strcmp(name, "observed/kept") != 0);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static struct lexicon *lexicon;
    if (!lexicon)
        PROMISE(lexicon_load(ODDLOAF_SOURCE_DIR "/rules/lexicon", NULL, NULL, &lexicon, NULL) == 0);
    if (size > NOTE_MOST)
        return 0;
    char *note = xstrndup((const char *)data, size);
    if (text_is_utf8(note, strlen(note))) {
        json_t *complaint = json_pack("{s:s, s:s, s:{s:s}}", "symptom", "mold", "note", note,
                                      "observed", "kept", "fridge");
        json_t *taken, *item;
        json_t *filled = lexicon_fill(lexicon, complaint, 20782, &taken);
        size_t at;
        json_array_foreach(taken, at, item)
        {
            check_taken(item, note);
        }
        json_decref(filled);
        json_decref(taken);
        json_decref(complaint);
    }
    free(note);
    return 0;
}
