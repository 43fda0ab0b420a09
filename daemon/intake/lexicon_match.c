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
#define HEDGED 3         /* words of a clause that a hedge ends: "black perhaps" */
#define ASKED 2          /* words of a question that asks what it names: "orange mold?" */
#define ANSWER 3         /* words behind what was asked that may answer it */
#define FEW 3            /* telling words besides that leave a few in a clause */
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

/* "two or three spots", "tres bolsas o cuatro": neither number is told. */
static bool is_either(const struct reading *reading, int number, int to)
{
    const struct note_word *words = reading->words;
    bool before = number > 1 && lexicon_is(&words[number - 1], LEXICON_JOINS) &&
                  words[number].before == PAUSE_NONE && words[number - 2].number >= 0;
    bool behind = to + 1 < reading->count && lexicon_is(&words[to], LEXICON_JOINS) &&
                  words[to].before != PAUSE_SENTENCE && words[to + 1].number >= 0;
    return before || behind;
}

bool lexicon_goes_on(const struct reading *reading, int at)
{
    const char *mark = at ? reading->note + reading->words[at - 1].to : "";
    return *mark == ':' || strncmp(mark, " (", 2) == 0;
}

/* Where a phrase has got to in the note. */
struct trail {
    int at, gap; /* the next word; words of any kind that may still stand between */
    bool comma;  /* one may stand there */
};

/* Brings the trail to the word that is the lexeme: how far that is from it, -1 if it isn't there.
 */
static int follow(const struct reading *reading, const struct lexeme *lexeme, struct trail *trail,
                  struct lexicon_match *ret)
{
    bool first = trail->at == ret->from;
    for (int run = 0; trail->at < reading->count; run++, trail->at++) {
        const struct note_word *word = &reading->words[trail->at];
        if (!first && word->before != PAUSE_NONE &&
            !(trail->comma && word->before == PAUSE_COMMA) && !lexicon_goes_on(reading, trail->at))
            return -1;
        int distance = lexicon_distance(lexeme, word);
        if (distance >= 0)
            return lexeme->number && is_part(reading, trail->at) ? -1 : distance;
        bool filler = lexicon_is(word, LEXICON_FILLER);
        if (first || (!trail->gap && (run == FILLER_RUN || !filler)) ||
            (trail->gap && lexicon_is(word, LEXICON_STOPS)))
            return -1;
        ret->denied |= lexicon_is(word, LEXICON_NEGATION);
        trail->gap -= trail->gap && !filler;
        if (!trail->gap && !filler)
            run = FILLER_RUN - 1;
    }
    return -1;
}

static bool try_phrase(const struct reading *reading, const struct lexicon_phrase *phrase, int at,
                       struct lexicon_match *ret)
{
    assert(at >= 0 && at < reading->count);
    int number = -1; /* where it stands */
    struct trail trail = {.at = at};
    *ret = (struct lexicon_match){.phrase = phrase, .from = at};
    for (int i = 0; i < phrase->words.count; i++) {
        const struct lexeme *lexeme = &phrase->words.items[i];
        if (lexeme->gap || lexeme->comma) {
            trail.gap = lexeme->gap ? GAP : trail.gap;
            trail.comma |= lexeme->comma;
            continue;
        }
        int distance = follow(reading, lexeme, &trail, ret);
        if (distance < 0)
            return false;
        /* "2 of the 4 bags" are two, and so are they of "of 4 bags, 2" */
        if (lexeme->number && (number < 0 || !phrase->words.items[0].number))
            ret->number = reading->words[number = trail.at].number;
        ret->slips += distance;
        ret->said += !lexicon_is(&reading->words[trail.at], LEXICON_FILLER);
        trail = (struct trail){.at = trail.at + 1};
    }
    assert(trail.at <= reading->count && trail.at > ret->from);
    ret->to = trail.at;
    return number < 0 || !is_either(reading, number, trail.at);
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

/* What a question makes of what it names. */
enum question { QUESTION_NONE, QUESTION_ASKED, QUESTION_DENIED };

/* Whoever answers may be named: "Agent: torn? / Caller: no". */
static int answer_at(const struct reading *reading, int at)
{
    bool named = at + 1 < reading->count && reading->note[reading->words[at].to] == ':';
    return at + named;
}

/* Does the sentence ask with the clause that `at` stands in, or with one before: "is it mold"? */
static bool begins_to_ask(const struct reading *reading, int first, int at)
{
    for (int i = first; i <= at; i++) {
        int word = i;
        while (word < at && lexicon_is(&reading->words[word], LEXICON_STOPS))
            word++; /* "and is it mold?" */
        if ((i == first || reading->words[i].before != PAUSE_NONE) &&
            lexicon_is(&reading->words[word], LEXICON_ASKS))
            return true;
    }
    return false;
}

static bool wonders(const struct reading *reading, int first, int last)
{
    for (int i = first; i <= last; i++)
        if (lexicon_is(&reading->words[i], LEXICON_WONDERS))
            return true;
    return false;
}

/* "Underbaked?", "is there mold on it? No": asked, not told. Others tell what they ask about: "why
 * is there mold on it after 2 days?", "fruity, like pineapple??", "wet inside? Yes". */
static enum question question_of(const struct reading *reading, const struct lexicon_match *match)
{
    int first = match->from, last = match->to - 1;
    while (reading->words[first].before != PAUSE_SENTENCE)
        first--;
    while (last + 1 < reading->count && reading->words[last + 1].before != PAUSE_SENTENCE)
        last++;
    if (reading->note[reading->words[last].to] != '?')
        return QUESTION_NONE;
    int behind = last + 1 < reading->count ? answer_at(reading, last + 1) : -1;
    if (behind >= 0 && lexicon_is(&reading->words[behind], LEXICON_AGREES))
        return QUESTION_NONE;
    if (behind >= 0 && lexicon_is(&reading->words[behind], LEXICON_NEGATION) &&
        last - first < DENIED)
        return QUESTION_DENIED;
    bool asks = match->phrase->says == LEXICON_ANSWER &&
                begins_to_ask(reading, first, match->from) && !wonders(reading, first, last);
    return asks || last - first < ASKED ? QUESTION_ASKED : QUESTION_NONE;
}

static bool fits_symptom(const struct reading *reading, const struct lexicon_phrase *phrase)
{
    return phrase->says < LEXICON_HEDGE &&
           (phrase->field < 0 ||
            (reading->language->fields[phrase->field].symptoms & reading->symptom));
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

/* "She did her nails at the kitchen table": of no bread, nor of keeping any. A few words that are
 * all their clause says need nothing beside them: "fridge, opened Sunday". One word does not speak
 * for itself: "the driver had a sour attitude". */
static bool stands_apart(const struct reading *reading, const struct lexicon_match *match)
{
    int field = match->phrase->field;
    uint64_t sets = field < 0 ? 0 : reading->language->fields[field].beside;
    int first = match->from, last = match->to, others = 0;
    if (!sets || match->phrase->says != LEXICON_ANSWER)
        return false;
    while (first > 0 && reading->words[first].before == PAUSE_NONE)
        first--;
    while (last < reading->count && reading->words[last].before == PAUSE_NONE)
        last++;
    for (int i = first; i < last; i++) {
        bool own = i >= match->from && i < match->to;
        for (int k = 0; k < reading->language->set_count; k++)
            if (!(own && match->to == match->from + 1) && sets >> k & 1 &&
                reading->words[i].sets[k] == 0)
                return false;
        others += !own && !lexicon_is(&reading->words[i], LEXICON_FILLER);
    }
    return others > FEW;
}

/* A number by itself, "sorry, 3": what stands behind it would say what else it counts, "no, 3
 * days".
 */
static bool is_by_itself(const struct reading *reading, const struct lexicon_match *match)
{
    const struct lexeme_list *words = &match->phrase->words;
    const struct note_word *behind = &reading->words[match->to];
    bool denies = match->phrase->again && match->to == match->from + 2 &&
                  lexicon_is(&reading->words[match->from], LEXICON_NEGATION) &&
                  reading->words[match->from + 1].before == PAUSE_NONE;
    if (denies)
        return false; /* "no, 3" is three, "not 3" is not */
    return !match->phrase->again || !words->items[words->count - 1].number ||
           match->to == reading->count || behind->before != PAUSE_NONE ||
           lexicon_is(behind, LEXICON_STOPS) || lexicon_is(behind, LEXICON_NEGATION);
}

/* "This one had black specks": it counts none. */
static bool is_which_one(const struct reading *reading, const struct lexicon_match *match)
{
    int at = match->from, field = match->phrase->field;
    return at > 0 && field >= 0 && reading->words[at].number == 1 &&
           reading->words[at].before == PAUSE_NONE &&
           reading->language->fields[field].field->type == FIELD_WHOLE &&
           lexicon_is(&reading->words[at - 1], LEXICON_WHICH);
}

/* Of a word that is no misspelling the second letter tells most: whether the phrase cannot begin
 * with it for that. */
static bool differs_in_second(const struct lexeme *first, const struct note_word *word)
{
    return word->known && !first->number && first->set < 0 &&
           (first->length > 1 || !first->prefix) && first->text[1] != word->text[1];
}

/* "Smelled of smoke *and* of plastic": the "and" stands for the word before. */
static void repeat_word(const struct lexicon_language *language, struct language_reading *as,
                        int at)
{
    struct note_word *word = &as->words[at];
    if (word->before != PAUSE_NONE || !lexicon_is_and(word))
        return;
    for (int i = 0; i < as->found_count; i++) {
        const struct lexicon_phrase *phrase = as->found[i].phrase;
        int set = phrase->words.items[0].set;
        if (as->found[i].to == at && set >= 0 && phrase->says == LEXICON_ANSWER &&
            phrase->field >= 0 && language->fields[phrase->field].field->type == FIELD_WORDS)
            word->sets[set] = 0;
    }
}

/* It stands for a word that is said, so that what it goes with is right behind. */
static bool is_too_far(const struct reading *reading, const struct lexicon_phrase *phrase, int at)
{
    return lexicon_is_and(&reading->words[at]) && phrase->words.count > 1 &&
           phrase->words.items[1].gap;
}

static void try_phrases(const struct reading *reading, const int *phrases, int at,
                        struct language_reading *ret)
{
    while (*phrases >= 0) {
        const struct lexicon_phrase *phrase = &reading->language->phrases[*phrases];
        const struct lexeme *first = &phrase->words.items[0];
        struct lexicon_match match;
        if (differs_in_second(first, &reading->words[at])) {
            phrases += phrase->second;
            continue;
        }
        if (lexicon_distance(first, &reading->words[at]) < 0) {
            phrases += phrase->alike;
            continue;
        }
        phrases++;
        if (is_too_far(reading, phrase, at) || !try_phrase(reading, phrase, at, &match) ||
            !says_something(reading, &match) || !is_by_itself(reading, &match) ||
            is_which_one(reading, &match))
            continue;
        enum question question = question_of(reading, &match);
        if (question == QUESTION_ASKED)
            continue;
        match.negated = question == QUESTION_DENIED || match.denied || negated(reading, &match);
        match.supposed = supposed(reading, &match);
        match.aside = stands_apart(reading, &match);
        add_found(ret, &match);
    }
}

/* ---- names ---- */

static bool is_capital(const struct reading *reading, int at)
{
    const char *word = reading->note + reading->words[at].from;
    return text_is_capital(word) && reading->words[at].to - reading->words[at].from > 2 &&
           !text_is_capital(word + 1);
}

/* Where capitals are the rule they tell no names: in forms, in titles. */
static bool has_capitals(const struct reading *reading)
{
    int capitals = 0, within = 0;
    for (int i = 0; i < reading->count; i++) {
        bool begins = reading->words[i].before == PAUSE_SENTENCE;
        within += !begins;
        capitals += !begins && is_capital(reading, i);
    }
    return 2 * capitals > within;
}

static bool tells_symptom(const struct reading *reading, const struct lexicon_match *match)
{
    int field = match->phrase->field;
    return field >= 0 && strcmp(reading->language->fields[field].field->name, "symptom") == 0;
}

/* "Mr. *White* from *Black* Rock": a word with a capital within a sentence, beside another that is
 * no "Mold". */
static bool is_name(const struct reading *reading, const struct language_reading *as, int at)
{
    bool begins = reading->words[at].before == PAUSE_SENTENCE;
    if (!is_capital(reading, at))
        return false;
    for (int side = -1; side <= 1; side += 2) {
        int other = at + side;
        bool beside = other >= 0 && other < reading->count && is_capital(reading, other) &&
                      reading->words[side < 0 ? at : other].before == PAUSE_NONE;
        /* that begin a sentence, only if no other word is: "Rosa Negrete", "White Mold" */
        beside = beside && (!begins || (side > 0 && !reading->words[other].known));
        for (int i = 0; beside && i < as->found_count; i++) {
            const struct lexicon_match *match = &as->found[i];
            beside = !tells_symptom(reading, match) || match->to <= other || match->from > other;
        }
        if (beside)
            return true;
    }
    return false;
}

static void forget_names(const struct reading *reading, struct language_reading *as)
{
    int kept = 0;
    bool capitals = has_capitals(reading);
    bool *name = xcalloc((size_t)reading->count + 1, sizeof *name);
    for (int i = 0; i < reading->count && !capitals; i++)
        name[i] = is_name(reading, as, i);
    for (int i = 0; i < as->found_count; i++) {
        const struct lexicon_match *match = &as->found[i];
        bool answers = match->phrase->says == LEXICON_ANSWER || match->phrase->says == LEXICON_OPEN;
        if (!(answers && match->phrase->field >= 0 && name[match->from] &&
              match->to == match->from + 1))
            as->found[kept++] = *match;
    }
    as->found_count = kept;
    free(name);
}

/* ---- clauses ---- */

/* Past the clause that the match ends in. */
static int clause_end(const struct reading *reading, const struct lexicon_match *match)
{
    int at = match->to;
    while (at < reading->count &&
           (reading->words[at].before == PAUSE_NONE || lexicon_goes_on(reading, at)) &&
           !lexicon_is(&reading->words[at], LEXICON_STOPS) &&
           !lexicon_is(&reading->words[at], LEXICON_AGREES))
        at++;
    return at;
}

#define SHARED 2 /* words behind an "and" that go on with its clause: "are clean and dry" */

/* Past what else is said of whom an aside speaks. */
static int aside_end(const struct reading *reading, const struct lexicon_match *match)
{
    int end = clause_end(reading, match), last = end;
    if (end == reading->count || reading->words[end].before != PAUSE_NONE)
        return end;
    do
        last++;
    while (last < reading->count && reading->words[last].before == PAUSE_NONE);
    return last - end - 1 <= SHARED ? last : end;
}

/* Where the clause before the match begins, or `most` words before it: what a hedge that ends it
 * makes doubtful. */
static int clause_begin(const struct reading *reading, const struct lexicon_match *match, int most)
{
    int at = match->from;
    while (at > 0 && match->from - at < most && reading->words[at].before == PAUSE_NONE &&
           (most == HEDGED || !lexicon_is(&reading->words[at - 1], LEXICON_STOPS)))
        at--;
    return at;
}

/* "You asked if it was wet: *yes* it was", "asked whether it was torn, she said *no*" */
static enum question answered_behind(const struct reading *reading, int end)
{
    for (int i = end; i < reading->count && i < end + ANSWER; i++) {
        if (i > end && reading->words[i].before != PAUSE_NONE)
            break;
        bool last = i + 1 == reading->count || reading->words[i + 1].before != PAUSE_NONE;
        if (lexicon_is(&reading->words[i], LEXICON_AGREES))
            return QUESTION_NONE;
        if (last && lexicon_is(&reading->words[i], LEXICON_NEGATION))
            return QUESTION_DENIED;
    }
    return QUESTION_ASKED;
}

/* Which words a phrase speaks for that leaves its clause, or the whole note, without an answer. */
static void reach(const struct reading *reading, const struct lexicon_match *by, int *ret_begin,
                  int *ret_end)
{
    enum lexicon_says says = by->phrase->says;
    bool hedge = says == LEXICON_HEDGE, idle = says == LEXICON_IDLE;
    *ret_end = idle ? reading->count : hedge ? clause_end(reading, by) : aside_end(reading, by);
    *ret_begin = by->from;
    if (idle)
        *ret_begin = 0;
    else if (says == LEXICON_APART)
        *ret_begin = clause_begin(reading, by, reading->count);
    else if (hedge && *ret_end == by->to)
        *ret_begin = clause_begin(reading, by, HEDGED);
}

/* "No complaint about her health": a longer phrase has its words. */
static bool is_within(const struct language_reading *as, const struct lexicon_match *match)
{
    for (int i = 0; i < as->found_count; i++) {
        const struct lexicon_match *other = &as->found[i];
        if (other->from <= match->from && other->to >= match->to &&
            other->to - other->from > match->to - match->from)
            return true;
    }
    return false;
}

/* "My neighbor's loaf went green, mine is dry": the first clause tells nothing. "Maybe green,
 * black perhaps": nothing is sure. */
static void mark_clauses(const struct reading *reading, struct language_reading *as)
{
    for (int i = 0; i < as->found_count; i++) {
        const struct lexicon_match *by = &as->found[i];
        bool hedge = by->phrase->says == LEXICON_HEDGE, idle = by->phrase->says == LEXICON_IDLE;
        if (by->phrase->says < LEXICON_HEDGE || (idle && is_within(as, by)))
            continue;
        int begin, end;
        reach(reading, by, &begin, &end);
        enum question question = hedge || idle ? QUESTION_ASKED : answered_behind(reading, end);
        for (int k = 0; k < as->found_count; k++) {
            struct lexicon_match *match = &as->found[k];
            bool within = match->from >= begin && match->from < end;
            match->hedged |= within && hedge;
            match->aside |= within && !hedge && question == QUESTION_ASKED;
            match->negated |= within && question == QUESTION_DENIED;
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
        repeat_word(language, ret, at);
        /* a misspelling keeps its first letter, so that it is looked for where it belongs */
        try_phrases(&reading, language->starts[lexicon_start(word->text)], at, ret);
        if (word->number >= 0)
            try_phrases(&reading, language->starts[LEXICON_NUMBERS], at, ret);
        for (int k = 0; k < language->set_count; k++)
            if (word->sets[k] >= 0)
                try_phrases(&reading, language->starts[LEXICON_NUMBERS + 1 + k], at, ret);
    }
    forget_names(&reading, ret);
    mark_clauses(&reading, ret);
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
