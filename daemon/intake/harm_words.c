/* From a text to the harm it speaks of. Each sentence is read with the languages it is written in.
 */
#include "intake/harm_words.h"
#include "base/text.h"
#include "intake/harm_words_inside.h"
#include <stdlib.h>
#include <string.h>

enum { YET_REACH = 12, MIXED = 3, LANGUAGES = 16 };
/* A note, or a sentence of one, of so many words, of which the files have fewer than two in five
 * (KNOWN_OF), is in none of their languages: so were 13 of 7,800 notes of tests/intake in English
 * and Spanish, of 33 in thirty other languages 30. What has no Latin letters is a word for each
 * WIDE bytes: many scripts part no words. */
enum { UNREAD_WORDS = 4, UNREAD_WIDE = 2, KNOWN = 2, KNOWN_OF = 5, WIDE = 6 };
/* A note of two or three is in none if nobody has any of its words, two are LONG and none but the
 * first has a capital, as names have ("cocuk kustu"): of 201 ordinary ones of
 * tests/intake/ordinary.tsv one was so; of 48 in twenty other languages 20, and 16 were heard by
 * their words. */
enum { SHORT_WORDS = 2, LONG = 4 };
/* What a plant writes of its own work is full of words of a trade ("scale recalibrated, certificate
 * filed"): it takes five words that nobody has, or six as above. So was 1 of 145 of that list; of
 * 46 in other languages 32. */
enum { STRANGE_WORDS = 5, STRANGE_SOME = 6 };

/* ---- words of a text ---- */

static void add_own(struct harm_token *token, int word)
{
    for (int k = 0; k < HARM_OWN; k++) {
        if (token->own[k] == word)
            return;
        if (token->own[k] < 0) {
            token->own[k] = word;
            return;
        }
    }
}

static int slips_of(const struct harm_word *word)
{
    return word->length >= 8 ? 2 : word->length >= 5 ? 1 : 0;
}

int harm_words_misspelled(const struct harm_words *words, const struct harm_language *language,
                          const struct note_word *word)
{
    if (word->length < 4 || common_words_has(words->common, word->text))
        return -1;
    uint64_t letters = harm_words_letters(word->text, word->length);
    int best = -1, least = 3;
    for (const int *i = language->by_letter[lexicon_start(word->text)]; *i >= 0; i++) {
        const struct harm_word *other = &language->words[*i];
        int allowed = slips_of(other);
        if (!allowed || __builtin_popcountll(letters ^ other->letters) > 2 * allowed)
            continue;
        int distance = lexicon_edit_distance(other->text, other->length, word->text, word->length);
        if (distance <= allowed && distance < least) {
            best = *i;
            least = distance;
        }
    }
    return best;
}

/* The word that it is with its ñ or umlaut and would not be without: "uña". -1: none. */
static int find_marked(const struct harm_language *language, const char *note,
                       const struct note_word *word)
{
    char kept[2 * LEXICON_WORD], text[2 * LEXICON_WORD];
    uint32_t hash = HARM_HASH;
    lexicon_keep_marks(note + word->from, word->to - word->from, kept, sizeof kept);
    if (!strchr(kept, LEXICON_MARK))
        return -1;
    text_fold(kept, text, sizeof text);
    for (const char *c = text; *c; c++)
        hash = harm_words_hash_next(hash, *c);
    return harm_words_language_find(language, text, strlen(text), hash, HARM_FORM_WHOLE);
}

/* The word that it stands for: "pukin" for "puking", "tummy's" for "tummy". -1: none. */
static int find_stands_for(const struct harm_language *language, const char *note,
                           const struct note_word *word)
{
    static const char after[] = "\xE2\x80\x99"; /* a typographer's apostrophe */
    char text[LEXICON_WORD + 1];
    uint32_t hash = HARM_HASH;
    const char *end = note + word->to - 1;
    size_t length = word->length, long_mark = sizeof after - 1;
    snprintf(text, sizeof text, "%s", word->text);
    if (length < 4)
        return -1;
    if (text[length - 2] == 'i' && text[length - 1] == 'n')
        text[length++] = 'g';
    else if ((*end == 's' || *end == 'S') &&
             (end[-1] == '\'' || (word->to - word->from > long_mark + 1 &&
                                  memcmp(end - long_mark, after, long_mark) == 0)))
        length--;
    else
        return -1;
    text[length] = '\0';
    for (const char *c = text; *c; c++)
        hash = harm_words_hash_next(hash, *c);
    return harm_words_language_find(language, text, length, hash, HARM_FORM_WHOLE);
}

/* Words of the language that it begins or ends with. */
static void find_parts(const struct harm_language *language, const struct note_word *word,
                       struct harm_token *token)
{
    uint32_t begin = HARM_HASH, end = HARM_HASH;
    for (size_t length = 1; length <= word->length; length++) {
        const char *from = word->text + word->length - length;
        begin = harm_words_hash_next(begin, word->text[length - 1]);
        end = harm_words_hash_next(end, *from);
        int begins = length > 1 ? harm_words_language_find(language, word->text, length, begin,
                                                           HARM_FORM_BEGINS)
                                : -1;
        int ends = length > 1 && language->has_ends
                       ? harm_words_language_find(language, from, length, end, HARM_FORM_ENDS)
                       : -1;
        if (begins >= 0)
            add_own(token, begins);
        if (ends >= 0)
            add_own(token, ends);
    }
}

/* Which words of the language it is: itself, its beginnings and ends, else one that it misspells.
 */
static void find_own(const struct harm_words *words, const struct harm_language *language,
                     const char *note, const struct note_word *word, struct harm_token *token)
{
    uint32_t hash = HARM_HASH;
    for (int k = 0; k < HARM_OWN; k++)
        token->own[k] = -1;
    token->own[0] = find_marked(language, note, word);
    if (token->own[0] >= 0)
        return;
    for (size_t at = 0; at < word->length; at++)
        hash = harm_words_hash_next(hash, word->text[at]);
    int exact = harm_words_language_find(language, word->text, word->length, hash, HARM_FORM_WHOLE);
    if (exact < 0)
        exact = find_stands_for(language, note, word);
    if (exact >= 0)
        add_own(token, exact);
    find_parts(language, word, token);
    int other = exact < 0 ? harm_words_misspelled(words, language, word) : -1;
    if (other >= 0)
        add_own(token, other);
}

static void open_patterns(struct harm_text *text, int word)
{
    const struct harm_language *language = text->language;
    for (int i = language->patterns_from[word]; i < language->patterns_from[word + 1]; i++)
        text->may[language->patterns_of[i] / 64] |= UINT64_C(1) << language->patterns_of[i] % 64;
}

static void place_words(struct harm_text *text)
{
    const struct harm_language *language = text->language;
    text->heads = xmalloc((size_t)(language->word_count + 1) * sizeof *text->heads);
    text->places = xmalloc(((size_t)text->count * HARM_OWN + 1) * sizeof *text->places);
    memset(text->heads, 0xff, (size_t)language->word_count * sizeof *text->heads);
    size_t patterns = (size_t)language->pattern_count / 64 + 1;
    text->may = xmalloc(patterns * sizeof *text->may);
    memcpy(text->may, language->keyless, patterns * sizeof *text->may);
    int count = 0;
    for (int at = text->count - 1; at >= 0; at--)
        for (int k = 0; k < HARM_OWN && text->tokens[at].own[k] >= 0; k++) {
            int word = text->tokens[at].own[k];
            text->places[count] = (struct harm_span){at, text->heads[word]};
            text->heads[word] = count++;
            open_patterns(text, word);
        }
}

/* ---- languages ---- */

/* Words of [from, to) that show the language, and words that it has at all. */
struct showing {
    int marks, words;
};

static struct showing shown_in(const struct harm_text *text, int from, int to)
{
    struct showing shown = {0};
    for (int at = from; at < to; at++) {
        shown.marks += harm_words_text_has(text, at, text->language->marks);
        shown.words += text->tokens[at].own[0] >= 0;
    }
    return shown;
}

static int sentence_end(const struct harm_text *text, int at)
{
    do
        at++;
    while (at < text->count && text->words[at].before != PAUSE_SENTENCE);
    return at;
}

/* Which languages the words are in: by their marks (one alone shows little: "no" stands in notes of
 * any language), else by those of the whole text, else by their words. A language that shows a
 * third as often as the one that shows most is spoken, too. */
static void find_spoken(const struct showing *here, const struct showing *whole, int count,
                        bool *ret_spoken)
{
    int most_marks = 0, most_whole = 0, most_words = 0;
    for (int i = 0; i < count; i++) {
        most_marks = here[i].marks > most_marks ? here[i].marks : most_marks;
        most_whole = whole[i].marks > most_whole ? whole[i].marks : most_whole;
        most_words = here[i].words > most_words ? here[i].words : most_words;
    }
    for (int i = 0; i < count; i++)
        ret_spoken[i] = most_marks > 1   ? here[i].marks * MIXED >= most_marks
                        : most_whole > 1 ? whole[i].marks * MIXED >= most_whole
                                         : here[i].words * MIXED >= 2 * most_words;
}

/* The words [from, to) and the languages they are in; in all others they are words no more. */
static struct harm_sentence settle_sentence(struct harm_text *texts, int count,
                                            const struct showing *whole, struct harm_span words)
{
    struct showing here[LANGUAGES];
    bool spoken[LANGUAGES];
    struct harm_sentence sentence = {texts->words[words.from].from, texts->words[words.to - 1].to,
                                     0};
    for (int i = 0; i < count; i++)
        here[i] = shown_in(&texts[i], words.from, words.to);
    find_spoken(here, whole, count, spoken);
    for (int i = 0; i < count; i++) {
        sentence.languages |= spoken[i] && here[i].words ? 1u << i : 0;
        for (int k = words.from; !spoken[i] && k < words.to; k++)
            texts[i].tokens[k].own[0] = -1;
    }
    return sentence;
}

/* Sentences in another language are none of this one's. *ret_sentences is malloc'd; returns how
 * many. */
static int forget_foreign(struct harm_text *texts, int count, struct harm_sentence **ret_sentences)
{
    struct showing whole[LANGUAGES];
    int sentences = 0;
    *ret_sentences = NULL;
    if (count < 1)
        return 0;
    *ret_sentences = xcalloc((size_t)texts->count + 1, sizeof **ret_sentences);
    for (int i = 0; i < count; i++)
        whole[i] = shown_in(&texts[i], 0, texts[i].count);
    for (int at = 0, end; at < texts[0].count; at = end) {
        end = sentence_end(&texts[0], at);
        (*ret_sentences)[sentences++] =
            settle_sentence(texts, count, whole, (struct harm_span){at, end});
    }
    return sentences;
}

/* What stands in a run of words: of letters only, a lone one is none. */
struct run {
    int words, known, wide; /* wide: of the words, those without Latin letters */
    int ours;               /* known, or ordinary words of ours */
    int longer, capital;    /* of LONG bytes or more; with a capital, but for the first */
    size_t from, to;        /* bytes of the wide ones */
};

static bool is_word(const struct note_word *word)
{
    unsigned char first = (unsigned char)*word->text;
    bool picture = first == 0xE2 || first >= 0xF0; /* arrows, stars, faces */
    return !picture && !strpbrk(word->text, "0123456789") && word->to - word->from >= 2;
}

/* Which words of ours a word is. */
struct known {
    bool harm, ordinary; /* of the files of harm; no misspelling of any */
};

static void count_word(const char *note, const struct note_word *word, struct known known,
                       struct run *run)
{
    int wide =
        lexicon_is_plain(word->text, word->length, 0) ? 0 : 1 + (int)(word->to - word->from) / WIDE;
    run->capital += run->words && note[word->from] >= 'A' && note[word->from] <= 'Z';
    run->longer += word->to - word->from >= LONG;
    run->words += wide ? wide : 1;
    if (wide && !run->wide)
        run->from = word->from;
    if (wide)
        run->to = word->to;
    run->wide += wide;
    run->known += known.harm;
    run->ours += known.harm || known.ordinary;
}

static bool is_unread(const struct run *run)
{
    return run->wide >= UNREAD_WIDE ||
           (run->words >= UNREAD_WORDS && run->known * KNOWN_OF < run->words * KNOWN);
}

static bool is_short_unread(const struct run *run)
{
    return run->words >= SHORT_WORDS && run->words < UNREAD_WORDS && run->longer >= SHORT_WORDS &&
           !run->ours && !run->capital;
}

static bool is_strange(const struct run *run)
{
    return run->wide >= UNREAD_WIDE || (run->words >= STRANGE_WORDS && !run->ours) ||
           (run->words >= STRANGE_SOME && run->ours * KNOWN_OF < run->words * KNOWN);
}

static struct known known_at(const struct harm_words *words, const struct harm_text *texts, int at)
{
    struct known known = {false, common_words_has(words->common, texts[0].words[at].text)};
    for (int i = 0; i < words->count && !known.harm; i++)
        known.harm = texts[i].tokens[at].own[0] >= 0;
    return known;
}

/* What a sentence, or the whole note, adds to what is heeded: the first part that is unread. */
static void heed(const struct run *run, struct harm_span bytes, bool unread, struct harm_heed *ret)
{
    ret->strange = ret->strange || is_strange(run);
    if (!unread || ret->unread)
        return;
    bool wide = run->wide >= UNREAD_WIDE;
    ret->unread = true;
    ret->from = wide ? run->from : (size_t)bytes.from;
    ret->to = wide ? run->to : (size_t)bytes.to;
}

/* Is a sentence of the note, or all of it, in none of the languages? Asked before sentences are
 * forgotten. */
static void find_unread(const struct harm_words *words, const char *note,
                        const struct harm_text *texts, struct harm_heed *ret)
{
    struct run whole = {0}, here = {0};
    int count = words && words->count ? texts[0].count : 0, from = 0;
    const struct note_word *all = count ? texts[0].words : NULL;
    for (int at = 0; at < count; at++) {
        if (is_word(&all[at])) {
            struct known known = known_at(words, texts, at);
            count_word(note, &all[at], known, &whole);
            count_word(note, &all[at], known, &here);
        }
        if (at + 1 < count && all[at + 1].before != PAUSE_SENTENCE)
            continue;
        heed(&here, (struct harm_span){(int)all[from].from, (int)all[at].to}, is_unread(&here),
             ret);
        here = (struct run){0};
        from = at + 1;
    }
    if (count)
        heed(&whole, (struct harm_span){(int)all[0].from, (int)all[count - 1].to},
             is_unread(&whole) || is_short_unread(&whole), ret);
}

/* ---- one text in one language ---- */

static void text_begin(const struct harm_words *words, const struct harm_language *language,
                       const char *note, const struct note_word *split, int count,
                       struct harm_text *ret)
{
    *ret = (struct harm_text){.language = language, .words = split, .count = count};
    ret->tokens = xcalloc((size_t)count + 1, sizeof *ret->tokens);
    ret->spans = xcalloc((size_t)language->set_count, sizeof *ret->spans);
    for (int i = 0; i < count; i++) {
        find_own(words, language, note, &split[i], &ret->tokens[i]);
        for (int k = 0; k < HARM_OWN && ret->tokens[i].own[k] >= 0; k++)
            if (language->words[ret->tokens[i].own[k]].mark)
                ret->tokens[i].sets[language->marks / 64] |= UINT64_C(1) << language->marks % 64;
    }
}

static void text_end(struct harm_text *text)
{
    for (int i = 0; i < text->language->set_count; i++)
        free(text->spans[i].items);
    free(text->spans);
    free(text->tokens);
    free(text->heads);
    free(text->may);
    free(text->places);
}

static void mark_idioms(struct harm_text *text)
{
    const struct harm_spans *idioms = &text->spans[text->language->context[CONTEXT_IDIOM]];
    for (int i = 0; i < idioms->count; i++)
        for (int at = idioms->items[i].from; at < idioms->items[i].to; at++)
            if (text->tokens[at].idiom_to < idioms->items[i].to)
                text->tokens[at].idiom_to = idioms->items[i].to;
}

static void mark_harm(const struct harm_text *text, bool *harm)
{
    const struct harm_language *language = text->language;
    for (int kind = 0; kind <= HARM_KINDS; kind++) {
        const struct harm_spans *spans =
            &text->spans[kind < HARM_KINDS ? language->said[kind] : language->possible];
        for (int i = 0; i < spans->count; i++)
            memset(harm + spans->items[i].from, true,
                   (size_t)(spans->items[i].to - spans->items[i].from));
    }
}

static void find_all(struct harm_text *text)
{
    const struct harm_language *language = text->language;
    bool *harm = xcalloc((size_t)text->count + 1, sizeof *harm);
    for (int set = 0; set < language->set_count; set++)
        harm_words_text_find(text, set, set > language->context[CONTEXT_COUNT - 1]);
    mark_idioms(text);
    mark_harm(text, harm);
    harm_words_scope(text, harm);
    free(harm);
}

/* ---- what it comes to ---- */

enum level { LEVEL_NONE, LEVEL_POSSIBLE, LEVEL_SAID };

static bool touches(const struct harm_text *text, struct harm_span span, enum harm_context context)
{
    for (int at = span.from; at < span.to; at++)
        if (harm_words_text_has(text, at, text->language->context[context]))
            return true;
    return false;
}

static bool follows(const struct harm_text *text, int at, int reach, enum harm_context context)
{
    for (int i = at; i <= at + reach && i < text->count; i++)
        if (harm_words_text_has(text, i, text->language->context[context]))
            return true;
    return false;
}

/* Most of it: "someone *will end up in hospital*". */
static bool is_supposed(const struct harm_text *text, struct harm_span span)
{
    int supposed = 0;
    for (int at = span.from; at < span.to; at++)
        supposed += text->tokens[at].supposed;
    return text->tokens[span.from].supposed || 2 * supposed > span.to - span.from;
}

static enum level level_of(const struct harm_text *text, struct harm_span span, int kind)
{
    const struct harm_token *first = &text->tokens[span.from];
    enum level level = kind < 0 ? LEVEL_POSSIBLE : LEVEL_SAID;
    bool denied = first->denied || follows(text, span.to, 1, CONTEXT_NO_AFTER);
    if (denied && !follows(text, span.to, YET_REACH, CONTEXT_YET))
        return LEVEL_NONE;
    if (denied)
        return level;
    if (follows(text, span.to, 1, CONTEXT_YES_AFTER))
        return LEVEL_SAID;
    bool supposed = is_supposed(text, span) && !touches(text, span, CONTEXT_CERTAIN);
    if (supposed || (first->elsewise && kind <= HARM_KIND_OF_A_BODY))
        level--;
    return level == LEVEL_SAID && first->idiom_to >= span.to ? LEVEL_POSSIBLE : level;
}

/* Does the word at `at` stand in a span of the context? */
static bool is_within(const struct harm_text *text, int at, enum harm_context context)
{
    const struct harm_spans *spans = &text->spans[text->language->context[context]];
    for (int i = 0; i < spans->count && spans->items[i].from <= at; i++)
        if (at < spans->items[i].to)
            return true;
    return false;
}

/* The first that is neither denied nor part of a name. */
static bool hear_bare(const struct harm_text *text, struct harm_heard *ret)
{
    const struct harm_spans *spans = &text->spans[text->language->bare];
    for (int i = 0; i < spans->count; i++) {
        struct harm_span span = spans->items[i];
        if (text->tokens[span.from].denied || follows(text, span.to, 1, CONTEXT_NO_AFTER) ||
            is_within(text, span.from, CONTEXT_NAMED))
            continue;
        *ret = (struct harm_heard){HARM_WORDS_POSSIBLE, text->words[span.from].from,
                                   text->words[span.to - 1].to};
        return true;
    }
    return false;
}

static void hear(struct harm_hearing *h, const struct harm_text *text, struct harm_span span,
                 int kind)
{
    for (int i = 0; i < h->count; i++)
        if (h->heard[i].kind == kind)
            return;
    h->heard = xrealloc(h->heard, (size_t)(h->count + 1) * sizeof *h->heard);
    h->heard[h->count++] =
        (struct harm_heard){kind, text->words[span.from].from, text->words[span.to - 1].to};
}

static void hear_set(struct harm_hearing *h, const struct harm_text *text, int set, int kind)
{
    const struct harm_spans *spans = &text->spans[set];
    for (int i = 0; i < spans->count; i++) {
        enum level level = level_of(text, spans->items[i], kind);
        h->heed.denied = h->heed.denied || level == LEVEL_NONE;
        if (level != LEVEL_NONE)
            hear(h, text, spans->items[i],
                 level != LEVEL_SAID ? HARM_WORDS_POSSIBLE
                 : kind >= 0         ? kind
                                     : HARM_KIND_AFFIRMED);
    }
}

/* A label told of as wrong is no matter found: "the wrong *label is on it*". */
static bool is_the_label(const struct harm_hearing *h, const struct harm_heard *matter)
{
    for (int i = 0; i < h->count && matter->kind == HARM_KIND_MATTER; i++)
        if (h->heard[i].kind == HARM_KIND_LABEL && h->heard[i].from <= matter->from &&
            matter->to <= h->heard[i].to)
            return true;
    return false;
}

/* Kinds without the merely possible if there are any. */
static int settle(struct harm_hearing *h)
{
    int kept = 0;
    bool said = false;
    for (int i = 0; i < h->count; i++)
        said = said || h->heard[i].kind != HARM_WORDS_POSSIBLE;
    struct harm_heard *all = xmalloc((size_t)(h->count + 1) * sizeof *all);
    struct harm_hearing whole = {.heard = all, .count = h->count};
    if (h->count)
        memcpy(all, h->heard, (size_t)h->count * sizeof *all);
    for (int i = 0; i < whole.count; i++)
        if ((!said || all[i].kind != HARM_WORDS_POSSIBLE) && !is_the_label(&whole, &all[i]))
            h->heard[kept++] = all[i];
    free(all);
    return kept;
}

static int by_from(const void *left, const void *right)
{
    const struct harm_heard *a = left, *b = right;
    return (a->from > b->from) - (a->from < b->from);
}

/* A note as each language reads it. */
struct read_note {
    struct harm_text texts[LANGUAGES];
    struct note_word *split;
    int languages;
    struct harm_sentence *sentences;
    int sentence_count;
    struct harm_heed heed;
};

static void reading_begin(const struct harm_words *words, const char *text, struct read_note *r)
{
    r->languages = words ? words->count : 0;
    r->heed = (struct harm_heed){0};
    int count = lexicon_split(text, &r->split);
    lexicon_squeeze(r->split, count);
    for (int i = 0; words && i < r->languages; i++)
        text_begin(words, &words->languages[i], text, r->split, count, &r->texts[i]);
    find_unread(words, text, r->texts, &r->heed);
    r->sentence_count = forget_foreign(r->texts, r->languages, &r->sentences);
    for (int i = 0; i < r->languages; i++) {
        place_words(&r->texts[i]);
        find_all(&r->texts[i]);
    }
}

static void reading_end(struct read_note *r)
{
    for (int i = 0; i < r->languages; i++)
        text_end(&r->texts[i]);
    free(r->split);
    free(r->sentences);
}

bool harm_words_bare(const struct harm_words *words, const char *text, struct harm_heard *ret)
{
    struct read_note r;
    bool found = false;
    reading_begin(words, text, &r);
    for (int i = 0; i < r.languages && !found; i++)
        found = hear_bare(&r.texts[i], ret);
    reading_end(&r);
    return found;
}

void harm_words_hear(const struct harm_words *words, const char *text, struct harm_hearing *ret)
{
    struct read_note r;
    *ret = (struct harm_hearing){0};
    reading_begin(words, text, &r);
    ret->heed = r.heed;
    for (int i = 0; i < r.languages; i++) {
        for (int kind = 0; kind < HARM_KINDS; kind++)
            hear_set(ret, &r.texts[i], r.texts[i].language->said[kind], kind);
        hear_set(ret, &r.texts[i], r.texts[i].language->possible, HARM_WORDS_POSSIBLE);
    }
    ret->sentences = r.sentences;
    ret->sentence_count = r.sentence_count;
    r.sentences = NULL;
    reading_end(&r);
    ret->count = settle(ret);
    if (ret->count)
        qsort(ret->heard, (size_t)ret->count, sizeof *ret->heard, by_from);
}

void harm_words_hearing_done(struct harm_hearing *hearing)
{
    free(hearing->heard);
    free(hearing->sentences);
    *hearing = (struct harm_hearing){0};
}

const char *harm_words_language(const struct harm_words *words, int index)
{
    if (!words || index < 0 || index >= words->count)
        return NULL;
    const char *name = words->languages[index].name;
    return name ? name : "";
}

/* ---- loading ---- */

static void add_language(struct doc *doc, const char *stem, void *arg)
{
    struct harm_words *words = arg;
    struct doc_place top = doc_top(doc);
    (void)stem;
    if (words->count == LANGUAGES) {
        doc_fault(&top, "more than %d languages", LANGUAGES);
        return;
    }
    words->languages =
        xrealloc(words->languages, (size_t)(words->count + 1) * sizeof *words->languages);
    harm_words_language_read(doc, &words->languages[words->count++]);
}

int harm_words_load(const char *dir, const struct common_words *common, doc_report report,
                    void *arg, struct harm_words **ret, struct error *err)
{
    struct harm_words *words = xcalloc(1, sizeof *words);
    struct doc doc = {.report = report, .arg = arg};
    words->common = common;
    doc_each(&doc, dir, add_language, words);
    if (doc.first.code) {
        harm_words_free(words);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    *ret = words;
    return 0;
}

void harm_words_free(struct harm_words *words)
{
    if (!words)
        return;
    for (int i = 0; i < words->count; i++)
        harm_words_language_free(&words->languages[i]);
    free(words->languages);
    free(words);
}
