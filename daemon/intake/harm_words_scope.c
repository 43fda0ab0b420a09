/* How far a denial and a guess reach: to the end of their clause, to somebody spoken of anew, or (a
 * denial) to the end of the first thing it denies. */
#include "intake/harm_words_inside.h"
#include <assert.h>

enum { DENY_REACH = 8, SUPPOSE_REACH = 8, LIST_REACH = 5, FACTIVE_REACH = 3, REACH_MOST = 40 };

static bool is(const struct harm_text *text, int at, enum harm_context context)
{
    return harm_words_text_has(text, at, text->language->context[context]);
}

/* The longest thing that begins at `at`: harm, or what else can be denied. -1: none. */
static int thing_end(const struct harm_text *text, int at)
{
    assert(at >= 0);
    const struct harm_language *language = text->language;
    int end = harm_words_text_end(text, at, language->context[CONTEXT_THING]);
    for (int kind = 0; kind <= HARM_KINDS; kind++) {
        int other = harm_words_text_end(
            text, at, kind < HARM_KINDS ? language->said[kind] : language->possible);
        end = other > end ? other : end;
    }
    return end;
}

/* Behind a comma: does an enumeration go on ("no smell, spots or moisture")? */
static bool list_goes_on(const struct harm_text *text, int at)
{
    for (int i = at; i < text->count && i < at + LIST_REACH; i++) {
        if (text->words[i].before == PAUSE_SENTENCE || is(text, i, CONTEXT_STOP) ||
            is(text, i, CONTEXT_SUBJECT))
            return false;
        if (is(text, i, CONTEXT_JOIN))
            return true;
    }
    return false;
}

/* "bag not cut my wife *was* sick": what is said of the wife is a clause of its own; but "didn't
 * cut my wife". */
static bool tells_of_anew(const struct harm_text *text, int at)
{
    int end = harm_words_text_end(text, at, text->language->context[CONTEXT_SUBJECT]);
    return is(text, at - 1, CONTEXT_DONE_TO) && end < text->count &&
           text->words[end].before == PAUSE_NONE && is(text, end, CONTEXT_TELLS);
}

/* "no mold *my* son vomited"; but "nobody in my family", "didn't make my son sick". */
static bool is_spoken_of_anew(const struct harm_text *text, int at)
{
    return is(text, at, CONTEXT_SUBJECT) &&
           ((!is(text, at - 1, CONTEXT_SUBJECT) && !is(text, at - 1, CONTEXT_CARRIER)) ||
            tells_of_anew(text, at));
}

static bool ends_before(const struct harm_text *text, int first, int at)
{
    assert(at >= first && at < text->count);
    enum pause pause = text->words[at].before;
    return pause == PAUSE_SENTENCE ||
           (pause == PAUSE_COMMA && (at == first || !list_goes_on(text, at))) ||
           is(text, at, CONTEXT_STOP) || (at > first && is_spoken_of_anew(text, at));
}

/* Past the last word that what ends before `first` reaches. */
static int reach_of(const struct harm_text *text, int first, int reach, bool spent)
{
    assert(reach > 0);
    int at = first, telling = 0;
    while (at < text->count && at < first + REACH_MOST && telling < reach &&
           !ends_before(text, first, at)) {
        int end = thing_end(text, at);
        if (end < 0 || !spent) {
            telling += !harm_words_text_has(text, at, text->language->filler);
            at++;
            continue;
        }
        while (++at < end && !ends_before(text, first, at)) {
        }
        if (at == text->count || at < end ||
            (!is(text, at, CONTEXT_JOIN) &&
             (text->words[at].before != PAUSE_COMMA || !list_goes_on(text, at))))
            break;
        telling = 0;
    }
    return at;
}

/* "didn't notice the glass": the glass was there. "didn't notice any glass": it was not. */
static bool denies_knowing(const struct harm_text *text, int at)
{
    for (int i = at; i < text->count && i < at + FACTIVE_REACH; i++) {
        if (text->words[i].before != PAUSE_NONE)
            return false;
        int end = harm_words_text_end(text, i, text->language->context[CONTEXT_FACTIVE]);
        if (end < 0)
            continue;
        for (int k = end; k < text->count && k < end + FACTIVE_REACH; k++)
            if (is(text, k, CONTEXT_ANY))
                return false;
        return true;
    }
    return false;
}

/* Words of harm itself ("couldn't breathe") and idle ones ("no doubt") deny nothing. */
static bool says_nothing(const struct harm_text *text, const bool *harm, struct harm_span span)
{
    assert(span.from >= 0 && span.to <= text->count);
    bool part = true;
    for (int i = span.from; i < span.to; i++) {
        if (text->tokens[i].idle)
            return true;
        part = part && harm[i];
    }
    return part;
}

void harm_words_scope(struct harm_text *text, const bool *harm)
{
    const struct harm_language *language = text->language;
    const struct harm_spans *deny = &text->spans[language->context[CONTEXT_DENY]];
    const struct harm_spans *suppose = &text->spans[language->context[CONTEXT_SUPPOSE]];
    const struct harm_spans *elsewise = &text->spans[language->context[CONTEXT_ELSEWISE]];
    for (int i = 0; i < deny->count; i++) {
        struct harm_span span = deny->items[i];
        if (says_nothing(text, harm, span) || denies_knowing(text, span.to))
            continue;
        for (int at = span.from, past = reach_of(text, span.to, DENY_REACH, true); at < past; at++)
            text->tokens[at].denied = true;
    }
    for (int i = 0; i < suppose->count; i++) {
        struct harm_span span = suppose->items[i];
        if (says_nothing(text, harm, span))
            continue;
        for (int at = span.from, past = reach_of(text, span.to, SUPPOSE_REACH, false); at < past;
             at++)
            text->tokens[at].supposed = true;
    }
    for (int i = 0; i < elsewise->count; i++) {
        int at = elsewise->items[i].from;
        if (text->tokens[at].idle || text->tokens[at].elsewise)
            continue;
        while (at > 0 && text->words[at].before != PAUSE_SENTENCE)
            at--;
        do
            text->tokens[at++].elsewise = true;
        while (at < text->count && text->words[at].before != PAUSE_SENTENCE);
    }
}
