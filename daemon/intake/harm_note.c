#include "intake/harm_note.h"
#include "base/text.h"
#include <assert.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static int only(struct harm_heard **heard, int kind, size_t from, size_t to)
{
    *heard = xrealloc(*heard, sizeof **heard);
    **heard = (struct harm_heard){kind, from, to};
    return 1;
}

static bool is_said(const struct harm_heard *heard, int count)
{
    return count && heard->kind != HARM_WORDS_POSSIBLE;
}

/* ---- which weights are of which sentence ---- */

static const struct harm_weights *weights_of(const struct harm_weights *weights,
                                             const char *language)
{
    for (; weights; weights = harm_weights_next(weights))
        if (harm_weights_language(weights) && strcmp(harm_weights_language(weights), language) == 0)
            return weights;
    return NULL;
}

/* The languages that the table is of, as bits of a sentence. */
static unsigned languages_of(const struct harm_words *words, const struct harm_weights *all,
                             const struct harm_weights *weights)
{
    const char *own = harm_weights_language(weights);
    unsigned languages = 0;
    for (int i = 0; harm_words_language(words, i); i++) {
        const char *tag = harm_words_language(words, i);
        bool is_its = own ? strcmp(own, tag) == 0 : !weights_of(all, tag);
        languages |= is_its ? 1u << i : 0;
    }
    return languages;
}

/* What may be any language's is read as each. */
static bool is_read(const struct harm_sentence *sentence, unsigned languages)
{
    return !sentence->languages || (sentence->languages & languages) != 0;
}

static void blank(char *text, size_t from, size_t to)
{
    for (size_t at = from; at < to; at++)
        if ((unsigned char)text[at] >= 0x80 || text[at] == '\'' ||
            (text[at] >= '0' && text[at] <= '9') || (text[at] >= 'A' && text[at] <= 'Z') ||
            (text[at] >= 'a' && text[at] <= 'z'))
            text[at] = ' ';
}

/* The text without the words of sentences in other languages, byte for byte where it was. NULL: no
 * sentence is left. The caller frees. */
static char *text_in(const struct harm_hearing *hearing, const char *text, unsigned languages)
{
    char *ret = xstrdup(text);
    bool any = !hearing->sentence_count;
    for (int i = 0; i < hearing->sentence_count; i++) {
        const struct harm_sentence *sentence = &hearing->sentences[i];
        any = any || is_read(sentence, languages);
        if (!is_read(sentence, languages))
            blank(ret, sentence->from, sentence->to);
    }
    if (any)
        return ret;
    free(ret);
    return NULL;
}

/* ---- both readers ---- */

enum { LANGUAGES_MOST = 16 };
struct note {
    const struct harm_words *words;
    const struct harm_weights *weights; /* all */
    const char *text;
    const struct harm_hearing *hearing;
    /* by the place of the weights: their languages, and the text in these, NULL if none is */
    unsigned languages[LANGUAGES_MOST];
    char *texts[LANGUAGES_MOST];
};

/* Once a note, however many phrases are asked about. */
static void note_begin(struct note *note)
{
    int place = 0;
    for (const struct harm_weights *w = note->weights; w; w = harm_weights_next(w), place++) {
        assert(place < LANGUAGES_MOST);
        note->languages[place] = languages_of(note->words, note->weights, w);
        note->texts[place] = text_in(note->hearing, note->text, note->languages[place]);
    }
}

static void note_end(struct note *note)
{
    for (int i = 0; i < LANGUAGES_MOST; i++)
        free(note->texts[i]);
}

/* What weighs most of what any language's weights tell. */
static struct harm_weighed weigh(const struct note *note)
{
    struct harm_weighed most = {.weight = HARM_WEIGHT_LOW};
    int place = 0;
    for (const struct harm_weights *w = note->weights; w; w = harm_weights_next(w), place++) {
        const char *text = note->texts[place];
        struct harm_weighed weighed = text ? harm_weights_read(w, text) : most;
        if (weighed.weight > most.weight)
            most = weighed;
    }
    return most;
}

static bool reads_place(const struct harm_hearing *hearing, unsigned languages, size_t from)
{
    for (int i = 0; i < hearing->sentence_count; i++)
        if (from >= hearing->sentences[i].from && from < hearing->sentences[i].to)
            return is_read(&hearing->sentences[i], languages);
    return true;
}

/* Whether all weights that are of this sentence doubt what a phrase of it says, and there are some.
 */
static bool is_doubted(const struct note *note, const struct harm_heard *heard)
{
    bool doubted = false;
    int place = 0;
    for (const struct harm_weights *w = note->weights; w; w = harm_weights_next(w), place++) {
        const char *text = note->texts[place];
        if (!reads_place(note->hearing, note->languages[place], heard->from))
            continue;
        if (!text || !harm_weights_doubt(w, text, heard->from, heard->to))
            return false;
        doubted = true;
    }
    return doubted;
}

/* Is everything that phrases say doubted? Of a kind that no weight was learned of nothing is. */
static bool all_doubted(const struct note *note)
{
    for (int i = 0; i < note->hearing->count; i++)
        if (note->hearing->heard[i].kind >= HARM_WEIGHTS_KINDS ||
            !is_doubted(note, &note->hearing->heard[i]))
            return false;
    return true;
}

/* What the two readers come to, in place of what phrases say. Returns how many. */
static int settle(const struct note *note, struct harm_heard **heard)
{
    int count = note->hearing->count;
    if (is_said(*heard, count))
        return all_doubted(note) ? only(heard, HARM_WORDS_POSSIBLE, (*heard)->from, (*heard)->to)
                                 : count;
    struct harm_weighed weighed = weigh(note);
    /* what was denied is less likely than the same words undenied, so it takes more */
    bool as_possible = note->hearing->heed.denied && !count;
    if (weighed.weight == HARM_WEIGHT_SAID)
        return only(heard, as_possible ? HARM_WORDS_POSSIBLE : weighed.kind, weighed.from,
                    weighed.to);
    if (weighed.weight == HARM_WEIGHT_POSSIBLE && !count && !as_possible)
        return only(heard, HARM_WORDS_POSSIBLE, weighed.from, weighed.to);
    const struct harm_heed *heed = &note->hearing->heed;
    if (note->weights && heed->unread && !count)
        return only(heard, HARM_NOTE_UNREAD, heed->from, heed->to);
    return count;
}

int harm_note_read(const struct harm_words *words, const struct harm_weights *weights,
                   const char *text, struct harm_heard **ret_heard)
{
    struct harm_hearing hearing;
    harm_words_hear(words, text, &hearing);
    struct note note = {.words = words, .weights = weights, .text = text, .hearing = &hearing};
    note_begin(&note);
    int count = settle(&note, &hearing.heard);
    note_end(&note);
    *ret_heard = hearing.heard;
    hearing.heard = NULL;
    harm_words_hearing_done(&hearing);
    return count;
}

bool harm_note_is_strange(const struct harm_words *words, const char *text, struct harm_heard *ret)
{
    struct harm_hearing hearing;
    harm_words_hear(words, text, &hearing);
    const struct harm_heed heed = hearing.heed;
    harm_words_hearing_done(&hearing);
    if (heed.strange)
        *ret = (struct harm_heard){HARM_NOTE_UNREAD, heed.from, heed.to};
    return heed.strange;
}
