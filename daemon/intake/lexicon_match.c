/* Finding the phrases of a language in a note. Every phrase is looked for at every word; where
 * phrases for one field overlap, the longer one speaks ("blue green" before "green"). */
#include "intake/lexicon_inside.h"
#include <stdlib.h>
#include <string.h>

#define FILLER_RUN 3     /* words that may stand between two words of a phrase */
#define NEGATION_REACH 4 /* telling words back from a phrase to the word that negates it */
#define LIST_REACH 9     /* the same in an enumeration: "no smell, spots or moisture" */

static bool try_phrase(const struct reading *reading, const struct phrase *phrase, int at,
                       struct match *ret)
{
    *ret = (struct match){.phrase = phrase, .from = at};
    for (int i = 0; i < phrase->words.count; i++) {
        const struct lexeme *lexeme = &phrase->words.items[i];
        int distance = -1;
        for (int run = 0; at < reading->count; run++, at++) {
            if (at > ret->from && reading->words[at].before != PAUSE_NONE)
                return false;
            distance = lexicon_distance(reading->language, lexeme, &reading->words[at]);
            if (distance >= 0)
                break;
            if (!i || run == FILLER_RUN ||
                !lexicon_in(&reading->language->filler, &reading->words[at]))
                return false;
        }
        if (distance < 0)
            return false;
        if (lexeme->number)
            ret->number = lexicon_number(reading->language, &reading->words[at]);
        ret->slips += distance;
        ret->said += !lexicon_in(&reading->language->filler, &reading->words[at]);
        at++;
    }
    ret->to = at;
    return true;
}

static bool joined(const struct reading *reading, int from, int to)
{
    for (int i = from > 0 ? from : 0; i < to && i < reading->count; i++)
        if (reading->words[i].before == PAUSE_SENTENCE && i > from)
            return false;
        else if (lexicon_in(&reading->language->joins, &reading->words[i]))
            return true;
    return false;
}

static bool negated(const struct reading *reading, const struct match *match)
{
    const struct language *language = reading->language;
    if (match->to < reading->count && reading->words[match->to].before == PAUSE_NONE &&
        lexicon_in(&language->negated_by, &reading->words[match->to]))
        return true;
    bool list = joined(reading, match->from - 1, match->to + 4);
    int reach = list ? LIST_REACH : NEGATION_REACH;
    /* "not kept in the fridge": the small words between do not count; but of two readings of a
     * note that speaks of harm, the one with harm is taken */
    const char *field =
        match->phrase->field < 0 ? "" : language->fields[match->phrase->field].field->name;
    bool harm = strcmp(field, "harm") == 0;
    int telling = 0;
    for (int i = match->from - 1; i >= 0 && telling < reach; i--) {
        telling += list || harm || !lexicon_in(&language->filler, &reading->words[i]);
        enum pause pause = reading->words[i + 1].before;
        if (pause == PAUSE_SENTENCE || (pause == PAUSE_COMMA && !list) ||
            lexicon_in(&language->stops, &reading->words[i]))
            return false;
        if (lexicon_in(&language->negation, &reading->words[i]))
            return true;
    }
    return false;
}

static bool fits_symptom(const struct reading *reading, const struct phrase *phrase)
{
    return phrase->field < 0 ||
           (reading->language->fields[phrase->field].symptoms & reading->symptom);
}

static int by_weight(const void *left, const void *right)
{
    const struct match *a = left, *b = right;
    if (a->said != b->said)
        return b->said - a->said;
    if (a->slips != b->slips)
        return a->slips - b->slips;
    if ((a->phrase->field < 0) != (b->phrase->field < 0))
        return a->phrase->field < 0 ? -1 : 1;
    return a->from - b->from;
}

/* The matches that stand, in front. */
static void keep_heaviest(struct reading *reading)
{
    int kept = 0;
    qsort(reading->matches, (size_t)reading->match_count, sizeof reading->matches[0], by_weight);
    for (int i = 0; i < reading->match_count; i++) {
        const struct match match = reading->matches[i];
        bool stands = true;
        for (int j = 0; j < kept && stands; j++) {
            const struct match *other = &reading->matches[j];
            bool meet = match.from < other->to && other->from < match.to;
            stands =
                !meet || (other->phrase->field >= 0 && other->phrase->field != match.phrase->field);
        }
        if (stands)
            reading->matches[kept++] = match;
    }
    reading->match_count = kept;
}

static void try_phrases(struct reading *reading, const int *phrases, int at)
{
    for (; *phrases >= 0 && reading->match_count < LEXICON_MATCHES; phrases++) {
        const struct phrase *phrase = &reading->language->phrases[*phrases];
        struct match match;
        if (fits_symptom(reading, phrase) && try_phrase(reading, phrase, at, &match)) {
            match.negated = negated(reading, &match);
            reading->matches[reading->match_count++] = match;
        }
    }
}

void lexicon_match(struct reading *reading)
{
    const struct language *language = reading->language;
    reading->match_count = 0;
    lexicon_measure_sets(language, reading->words, reading->count);
    for (int at = 0; at < reading->count; at++) {
        const struct note_word *word = &reading->words[at];
        /* a misspelling keeps its first letter, so that it is looked for where it belongs */
        try_phrases(reading, language->starts[lexicon_start(word->text)], at);
        if (lexicon_number(language, word) >= 0)
            try_phrases(reading, language->starts[LEXICON_NUMBERS], at);
        for (int k = 0; k < language->set_count; k++)
            if (word->sets[k] >= 0)
                try_phrases(reading, language->starts[LEXICON_NUMBERS + 1 + k], at);
    }
    keep_heaviest(reading);
}
