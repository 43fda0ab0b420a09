/* Finding the phrases of a language in a note. Every phrase is looked for at every word; where
 * phrases for one field overlap, the longer one speaks ("blue green" before "green"). */
#include "base/text.h"
#include "intake/lexicon_inside.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

#define GAP 3            /* words that "_" stands for at most */
#define FILLER_RUN 3     /* words that may stand between two words of a phrase */
#define NEGATION_REACH 4 /* telling words back from a phrase to the word that negates it */
#define SUPPOSED_REACH 6 /* words back to the one that says it was only thought */
#define ASKED 2          /* words of a question that asks what it names: "orange mold?" */
#define DENIED 8         /* of one that is answered with a no */
#define NOTHING (UINT64_C(1) << 63) /* spent on a phrase that stands for nothing */
#define LIST_REACH 9                /* the same in an enumeration: "no smell, spots or moisture" */

/* "1/2 dozen", "2-3 days": half of what is told */
static bool is_part(const struct reading *reading, int at)
{
    size_t from = reading->words[at].from;
    const char *note = reading->note;
    return from > 1 && strchr("/-.,$", note[from - 1]) && note[from - 2] >= '0' &&
           note[from - 2] <= '9';
}

bool lexicon_goes_on(const struct reading *reading, int at)
{
    const char *mark = at ? reading->note + reading->words[at - 1].to : "";
    return *mark == ':' || strncmp(mark, " (", 2) == 0;
}

static bool try_phrase(const struct reading *reading, const struct lexicon_phrase *phrase, int at,
                       struct lexicon_match *ret)
{
    assert(at >= 0 && at < reading->count);
    bool numbered = false;
    int gap = 0; /* words of any kind that may still stand between */
    bool comma = false;
    *ret = (struct lexicon_match){.phrase = phrase, .from = at};
    for (int i = 0; i < phrase->words.count; i++) {
        const struct lexeme *lexeme = &phrase->words.items[i];
        int distance = -1;
        if (lexeme->gap) {
            gap = GAP;
            continue;
        }
        if (lexeme->comma) {
            comma = true;
            continue;
        }
        for (int run = 0; at < reading->count; run++, at++) {
            enum pause pause = reading->words[at].before;
            if (at > ret->from && pause != PAUSE_NONE && !(comma && pause == PAUSE_COMMA) &&
                !lexicon_goes_on(reading, at))
                return false;
            distance = lexicon_distance(lexeme, &reading->words[at]);
            if (distance >= 0 && lexeme->number && is_part(reading, at))
                return false;
            if (distance >= 0)
                break;
            bool filler = lexicon_is(&reading->words[at], LEXICON_FILLER);
            if (!i || (!gap && (run == FILLER_RUN || !filler)) ||
                (gap && lexicon_is(&reading->words[at], LEXICON_STOPS)))
                return false;
            ret->denied |= lexicon_is(&reading->words[at], LEXICON_NEGATION);
            gap -= gap && !filler;
            if (!gap && !filler)
                run = FILLER_RUN - 1;
        }
        if (distance < 0)
            return false;
        /* "2 of the 4 bags" are two, and so are they of "of 4 bags, 2" */
        if (lexeme->number && (!numbered || !phrase->words.items[0].number))
            ret->number = reading->words[at].number;
        numbered = numbered || lexeme->number;
        comma = false;
        gap = 0;
        ret->slips += distance;
        ret->said += !lexicon_is(&reading->words[at], LEXICON_FILLER);
        at++;
    }
    assert(at <= reading->count && at > ret->from);
    ret->to = at;
    return true;
}

static bool joined(const struct reading *reading, int from, int to)
{
    assert(to >= from);
    for (int i = from > 0 ? from : 0; i < to && i < reading->count; i++)
        if (reading->words[i].before == PAUSE_SENTENCE && i > from)
            return false;
        else if (lexicon_is(&reading->words[i], LEXICON_JOINS))
            return true;
    return false;
}

/* "no mold *my* son vomited": somebody is spoken of anew, unless what stands before carries the
 * denial on to them: "nobody in my family", "didn't make my son sick". */
static bool begins_clause(const struct reading *reading, int at)
{
    assert(at < reading->count);
    return at > 0 && lexicon_is(&reading->words[at], LEXICON_SUBJECTS) &&
           !lexicon_is(&reading->words[at - 1], LEXICON_NEGATION) &&
           !lexicon_is(&reading->words[at - 1], LEXICON_SUBJECTS) &&
           !lexicon_is(&reading->words[at - 1], LEXICON_CARRIERS);
}

static bool negated(const struct reading *reading, const struct lexicon_match *match)
{
    assert(match->from >= 0 && match->from < match->to && match->to <= reading->count);
    if (match->to < reading->count && reading->words[match->to].before == PAUSE_NONE &&
        lexicon_is(&reading->words[match->to], LEXICON_NEGATED_BY) &&
        (!lexicon_is(&reading->words[match->to], LEXICON_NEGATION) ||
         match->to + 1 == reading->count || reading->words[match->to + 1].before != PAUSE_NONE))
        return true; /* "mold free"; "rancio no, pero viejo" */
    bool list = joined(reading, match->from - 1, match->to + 4);
    int reach = list ? LIST_REACH : NEGATION_REACH;
    /* "not kept in the fridge": the small words between do not count */
    int telling = 0;
    for (int i = match->from - 1; i >= 0 && telling < reach; i--) {
        telling += list || !lexicon_is(&reading->words[i], LEXICON_FILLER);
        enum pause pause = reading->words[i + 1].before;
        if (pause == PAUSE_SENTENCE || (pause == PAUSE_COMMA && !list) ||
            lexicon_is(&reading->words[i], LEXICON_STOPS))
            return false;
        if (lexicon_is(&reading->words[i], LEXICON_NEGATION))
            return true;
        if (begins_clause(reading, i))
            return false;
    }
    return false;
}

/* "first I thought black": thought, not seen. */
static bool supposed(const struct reading *reading, const struct lexicon_match *match)
{
    for (int i = match->from - 1; i >= 0 && match->from - i <= SUPPOSED_REACH; i--) {
        enum pause pause = reading->words[i + 1].before;
        bool thought = lexicon_is(&reading->words[i], LEXICON_SUPPOSED);
        if (pause == PAUSE_SENTENCE || (pause == PAUSE_COMMA && !thought) ||
            lexicon_is(&reading->words[i], LEXICON_STOPS))
            return false; /* "I thought it was mold, it was flour" */
        if (thought)
            return true;
    }
    return false;
}

/* "Underbaked?", "is there mold on it? No": asked, not told. Others tell what they ask about: "why
 * is there mold on it after 2 days?", "fruity, like pineapple??" */
static bool asked(const struct reading *reading, const struct lexicon_match *match)
{
    int first = match->from, last = match->to - 1;
    while (reading->words[first].before != PAUSE_SENTENCE)
        first--;
    while (last + 1 < reading->count && reading->words[last + 1].before != PAUSE_SENTENCE)
        last++;
    bool no = last + 1 < reading->count && lexicon_is(&reading->words[last + 1], LEXICON_NEGATION);
    return last - first < (no ? DENIED : ASKED) && reading->note[reading->words[last].to] == '?';
}

static bool fits_symptom(const struct reading *reading, const struct lexicon_phrase *phrase)
{
    return phrase->field < 0 ||
           (reading->language->fields[phrase->field].symptoms & reading->symptom);
}

static int by_weight(const void *left, const void *right)
{
    const struct lexicon_match *a = left, *b = right;
    if (a->said != b->said)
        return b->said - a->said;
    if (a->slips != b->slips)
        return a->slips - b->slips;
    if ((a->phrase->field < 0) != (b->phrase->field < 0))
        return a->phrase->field < 0 ? -1 : 1;
    return a->from - b->from;
}

/* For which fields a match spends its words. What says yes or no speaks of nothing else: a bag that
 * is "dry inside" makes no dry crumb. Bread kept "on top of the fridge" is moldy on no top. */
static uint64_t spends(const struct reading *reading, const struct lexicon_match *match)
{
    int field = match->phrase->field;
    assert(field < 63); /* the last bit is NOTHING */
    if (field < 0)
        return UINT64_MAX;
    const struct lexicon_field *fields = reading->language->fields;
    if (fields[field].field->type == FIELD_BOOL)
        return ~NOTHING;
    uint64_t ret = UINT64_C(1) << field;
    for (int i = 0; fields[field].instead_of && i < reading->language->field_count; i++)
        ret |= (uint64_t)(fields[i].field == fields[field].instead_of) << i;
    return ret;
}

/* Do they say one thing of one field, and share words? "@mold _ bottom" and "bottom corners". */
static bool agrees(const struct lexicon_match *a, const struct lexicon_match *b)
{
    const char *left = a->phrase->word, *right = b->phrase->word;
    return a->from < b->to && b->from < a->to && a->phrase->field >= 0 &&
           a->phrase->field == b->phrase->field && left && right && strcmp(left, right) == 0;
}

/* The matches that stand, in front. A word is spent on one match of a field; a phrase that stands
 * for nothing spends it for all. */
static void keep_heaviest(struct reading *reading)
{
    int kept = 0;
    if (reading->match_count == 0)
        return; /* no array either, and qsort() takes none */
    uint64_t *spent = xcalloc((size_t)reading->count + 1, sizeof *spent);
    qsort(reading->matches, (size_t)reading->match_count, sizeof reading->matches[0], by_weight);
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match match = reading->matches[i];
        uint64_t own = match.phrase->field < 0 ? NOTHING : UINT64_C(1) << match.phrase->field;
        bool stands = true;
        for (int at = match.from; at < match.to; at++)
            stands = stands && !(spent[at] & own);
        bool more = false;
        for (int k = 0; !stands && k < kept; k++)
            more = more || agrees(&reading->matches[k], &match);
        for (int at = match.from; more && at < match.to; at++)
            spent[at] |= own;
        if (!stands)
            continue;
        for (int at = match.from; at < match.to; at++)
            spent[at] |= spends(reading, &match);
        assert(kept <= i);
        reading->matches[kept++] = match;
    }
    free(spent);
    reading->match_count = kept;
}

/* What is denied within says nothing, but of a yes or no the other: "the bag was not wet". */
static bool says_something(const struct reading *reading, const struct lexicon_match *match)
{
    int field = match->phrase->field;
    return !match->denied ||
           (field >= 0 && reading->language->fields[field].field->type == FIELD_BOOL);
}

static void add_found(struct language_reading *as, const struct lexicon_match *match)
{
    if (as->found_count == as->capacity) {
        as->capacity = as->capacity ? 2 * as->capacity : 64;
        as->found = xrealloc(as->found, (size_t)as->capacity * sizeof *as->found);
    }
    assert(as->found_count < as->capacity);
    as->found[as->found_count++] = *match;
}

static void try_phrases(const struct reading *reading, const int *phrases, int at,
                        struct language_reading *ret)
{
    while (*phrases >= 0) {
        const struct lexicon_phrase *phrase = &reading->language->phrases[*phrases];
        struct lexicon_match match;
        if (lexicon_distance(&phrase->words.items[0], &reading->words[at]) < 0) {
            phrases += phrase->alike;
            continue;
        }
        phrases++;
        if (try_phrase(reading, phrase, at, &match) && says_something(reading, &match) &&
            !asked(reading, &match)) {
            match.negated = match.denied || negated(reading, &match);
            match.supposed = supposed(reading, &match);
            add_found(ret, &match);
        }
    }
}

void lexicon_read_as(const struct reading *note, const struct note_word *words,
                     struct language_reading *ret)
{
    const struct lexicon_language *language = note->language;
    struct reading reading = *note;
    *ret = (struct language_reading){.words = xcalloc((size_t)note->count + 1, sizeof *words)};
    for (int at = 0; at < note->count; at++)
        ret->words[at] = words[at];
    lexicon_measure(language, ret->words, note->count);
    reading.words = ret->words;
    for (int at = 0; at < note->count; at++) {
        const struct note_word *word = &ret->words[at];
        /* a misspelling keeps its first letter, so that it is looked for where it belongs */
        try_phrases(&reading, language->starts[lexicon_start(word->text)], at, ret);
        if (word->number >= 0)
            try_phrases(&reading, language->starts[LEXICON_NUMBERS], at, ret);
        for (int k = 0; k < language->set_count; k++)
            if (word->sets[k] >= 0)
                try_phrases(&reading, language->starts[LEXICON_NUMBERS + 1 + k], at, ret);
    }
}

void lexicon_unread(struct language_reading *as)
{
    free(as->words);
    free(as->found);
}

void lexicon_match(struct reading *reading)
{
    const struct language_reading *as = reading->as;
    reading->matches =
        xrealloc(reading->matches, (size_t)(as->found_count + 1) * sizeof *reading->matches);
    reading->match_count = 0;
    for (int i = 0; i < as->found_count; i++)
        if (fits_symptom(reading, as->found[i].phrase))
            reading->matches[reading->match_count++] = as->found[i];
    keep_heaviest(reading);
}
