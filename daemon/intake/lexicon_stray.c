#include "base/text.h"
#include "intake/fields.h"
#include "intake/harm_note.h"
#include "intake/lexicon_inside.h"
#include "intake/stray.h"
#include <stdlib.h>
#include <string.h>

struct strays {
    const struct lexicon *lexicon;
    json_t *filled, *taken;
    struct text_buffer lost; /* that speak of harm, and would not be kept */
};

/* A name may have a word of harm in it; a sentence where a name belongs says it. */
static void hear_stray(void *arg, const char *text, bool kept)
{
    struct strays *s = arg;
    struct harm_heard *heard = NULL;
    int count = harm_note_read(s->lexicon->harm, NULL, text, &heard);
    if (count && !(kept && heard[0].kind == HARM_WORDS_POSSIBLE)) {
        json_t *from = json_stringn(text + heard[0].from, heard[0].to - heard[0].from);
        if (!json_is_true(json_object_get(s->filled, "harm_possible")))
            lexicon_tell(s->taken, "harm_possible", json_true(), json_incref(from));
        json_object_set_new(s->filled, "harm_possible", json_true());
        json_decref(from);
        if (!kept)
            text_appendf(&s->lost, "%s%s", s->lost.length ? "; " : "", text);
    }
    free(heard);
}

static void keep_lost(json_t *filled, const char *lost)
{
    enum { NOTE_CUT = 1000, REASON_CUT = 200 };
    char text[NOTE_CUT + 1];
    json_t *note = json_object_get(filled, "note");
    const char *before = json_string_value(note);
    bool refused = note && !before && !json_is_null(note);
    size_t most = (size_t)fields_find("note")->high;
    text_clip(lost, text, refused ? REASON_CUT + 1 : sizeof text);
    if (refused)
        json_object_set_new(filled, "reason", json_string(text));
    else if (!before || !*before)
        json_object_set_new(filled, "note", json_string(text));
    else if (strlen(before) + strlen(text) + 2 <= most)
        json_object_set_new(filled, "note", json_sprintf("%s; %s", before, text));
}

void lexicon_fill_stray(const struct lexicon *lexicon, const json_t *complaint, json_t *filled,
                        json_t *taken)
{
    struct strays s = {lexicon, filled, taken, {0}};
    if (!lexicon || lexicon_is_read(filled) || json_array_size(json_object_get(filled, "harm")) ||
        json_is_true(json_object_get(filled, "harm_possible")))
        return;
    stray_each(complaint, hear_stray, &s);
    if (s.lost.length)
        keep_lost(filled, s.lost.data);
    text_buffer_free(&s.lost);
}
