/* Notes taken apart into words, and words compared. */
#include "base/text.h"
#include "intake/lexicon_inside.h"
#include "intake/title.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* ---- words of a note ---- */

/* What a character of ASCII is between words; false if it belongs to one. */
static bool ascii_mark(unsigned char c, enum pause *ret_pause, bool *ret_apostrophe)
{
    static const char sentence[] = ".;:!?\n()[]{}|/";
    if ((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9'))
        return false;
    *ret_apostrophe = c == '\'';
    *ret_pause = c == ',' ? PAUSE_COMMA : strchr(sentence, c) ? PAUSE_SENTENCE : PAUSE_NONE;
    return true;
}

/* The character of ASCII that it is of full width (U+FF01 to U+FF5E); 0: none. */
static unsigned char full_width_at(const unsigned char *s)
{
    if (s[0] != 0xEF || (s[1] != 0xBC && s[1] != 0xBD) || (s[2] & 0xC0) != 0x80)
        return 0;
    unsigned place = (s[1] - 0xBCu) * 64 + (s[2] & 0x3Fu); /* from U+FF00 on */
    return place >= 1 && place <= 0x5E ? (unsigned char)(' ' + place) : 0;
}

/* What a byte (or a short UTF-8 sequence) is between words; 0 if it belongs to a word. */
static size_t mark_at(const char *s, enum pause *ret_pause, bool *ret_apostrophe)
{
    *ret_pause = PAUSE_NONE;
    *ret_apostrophe = false;
    unsigned char c = (unsigned char)s[0], next = (unsigned char)s[1];
    if (c < 0x80)
        return ascii_mark(c, ret_pause, ret_apostrophe) ? 1 : 0;
    unsigned char wide = full_width_at((const unsigned char *)s);
    if (wide)
        return ascii_mark(wide, ret_pause, ret_apostrophe) ? 3 : 0;
    if (c == 0xE3 && next == 0x80 && (unsigned char)s[2] == 0x80)
        return 3;                                    /* a space of that width */
    if (c == 0xC2 && next >= 0xA0 && next <= 0xBF) { /* NBSP, inverted marks, guillemets */
        *ret_pause = next == 0xBF || next == 0xA1 ? PAUSE_SENTENCE : PAUSE_NONE;
        return 2;
    }
    if (c == 0xE2 && (next == 0x80 || next == 0x81)) { /* general punctuation */
        unsigned char last = (unsigned char)s[2];
        *ret_apostrophe = next == 0x80 && last == 0x99;
        /* a dash or an ellipsis breaks a sentence, quotation marks don't */
        if (next == 0x80 && ((last >= 0x93 && last <= 0x95) || last == 0xA6))
            *ret_pause = PAUSE_SENTENCE;
        return last ? 3 : 2;
    }
    return 0;
}

static size_t fold_word(const char *s, size_t length, char *out)
{
    char raw[4 * LEXICON_WORD], folded[4 * LEXICON_WORD];
    size_t used = 0;
    for (size_t i = 0; i < length && used + 1 < sizeof raw;) {
        enum pause pause;
        bool apostrophe;
        size_t mark = mark_at(s + i, &pause, &apostrophe);
        if (!mark)
            raw[used++] = s[i];
        i += mark ? mark : 1;
    }
    assert(used < sizeof raw);
    raw[used] = '\0';
    text_fold(raw, folded, sizeof folded);
    text_clip(folded, out, LEXICON_WORD);
    return strlen(out);
}

/* Of the second byte of ñ, ä, ö or ü: the letter below its mark; 0: none of them. */
static char marked_letter(unsigned char second)
{
    switch (second | 0x20) {
    case 0xB1:
        return 'n';
    case 0xA4:
        return 'a';
    case 0xB6:
        return 'o';
    case 0xBC:
        return 'u';
    default:
        return '\0';
    }
}

void lexicon_keep_marks(const char *s, size_t length, char *out, size_t size)
{
    assert(size > 0);
    size_t used = 0;
    for (size_t i = 0; i < length && used + 2 < size; i++) {
        unsigned char c = (unsigned char)s[i], next = i + 1 < length ? (unsigned char)s[i + 1] : 0;
        char letter = c == 0xC3 ? marked_letter(next) : '\0';
        bool two = c == 0xCC && (next == 0x83 || next == 0x88); /* over what stands before */
        if (letter)
            out[used++] = letter;
        out[used++] = letter || two ? LEXICON_MARK : s[i];
        i += letter || two;
    }
    out[used] = '\0';
}

bool lexicon_is_plain(const char *text, size_t length, char also)
{
    for (const char *c = text; c < text + length; c++)
        if (!(*c >= 'a' && *c <= 'z') && !(*c >= '0' && *c <= '9') && (!also || *c != also))
            return false;
    return true;
}

/* An apostrophe within a word belongs to it ("didn't"). */
static size_t word_end(const char *note, size_t at)
{
    enum pause pause;
    bool apostrophe;
    while (note[at]) {
        size_t mark = mark_at(note + at, &pause, &apostrophe);
        if (mark) {
            enum pause after;
            bool again;
            if (!apostrophe || !note[at + mark] || mark_at(note + at + mark, &after, &again))
                break;
        }
        at += mark ? mark : 1;
    }
    return at;
}

/* "Nov. 20", "Mrs. Green" and "this a.m. at work" end no sentence either. */
static bool is_abbreviated(const char *note, size_t at, const struct note_word *last)
{
    static const char *const MONTHS[] = {"jan", "feb", "mar",  "apr", "jun", "jul",
                                         "aug", "sep", "sept", "oct", "nov", "dec"};
    bool stop = note[at] == '.' && last->to == at && note[at + 1] == ' ';
    bool number = stop && note[at + 2] >= '0' && note[at + 2] <= '9';
    bool dotted = last->length == 1 && last->from > 1 && note[last->from - 1] == '.' &&
                  note[last->from - 2] != ' ';
    if (stop && dotted && !text_is_capital(note + at + 2))
        return true;
    if (stop && text_is_capital(note + at + 2) && title_is_short(last->text))
        return true;
    for (size_t i = 0; number && i < sizeof MONTHS / sizeof MONTHS[0]; i++)
        if (strcmp(last->text, MONTHS[i]) == 0)
            return true;
    return false;
}

/* "n/v/d", "c/o", "w/ fever": a stroke behind one letter shortens, it ends no sentence. */
static bool is_shorthand(const char *note, size_t at, const struct note_word *last)
{
    return note[at] == '/' && last->to == at && last->length == 1;
}

static bool is_letter_behind(const char *note, const struct note_word *last,
                             const struct note_word *word, char between)
{
    bool letter = word->length == 1 && word->text[0] >= 'a' && word->text[0] <= 'z';
    return letter && (!last || (word->from == last->to + 1 && note[last->to] == between));
}

/* "J o h n D o e" is no shorthand of anything, least of all its "n D": three letters or more, each
 * by itself, are one word; and so are two with a stop between, "a.m.". */
static int join_letters(const char *note, struct note_word *words, int count)
{
    int kept = 0;
    for (int from = 0, to; from < count; from = to) {
        const struct note_word *last = NULL;
        char between = note[words[from].to] == '.' ? '.' : ' ';
        for (to = from; to < count && is_letter_behind(note, last, &words[to], between); to++)
            last = &words[to];
        bool spelled = to - from >= (between == '.' ? 2 : 3);
        to = spelled ? to : from + 1;
        words[kept] = words[from];
        if (spelled) {
            struct note_word *word = &words[kept];
            word->to = words[to - 1].to;
            word->length = fold_word(note + word->from, word->to - word->from, word->text);
        }
        kept++;
    }
    return kept;
}

int lexicon_split(const char *note, struct note_word **ret)
{
    int count = 0, capacity = 64;
    struct note_word *words = xmalloc((size_t)capacity * sizeof *words);
    enum pause before = PAUSE_SENTENCE;
    for (size_t at = 0; note[at];) {
        enum pause pause;
        bool apostrophe;
        size_t mark = mark_at(note + at, &pause, &apostrophe);
        if (mark) {
            if (count && (is_shorthand(note, at, &words[count - 1]) ||
                          is_abbreviated(note, at, &words[count - 1])))
                pause = PAUSE_NONE;
            before = pause > before ? pause : before;
            at += mark;
            continue;
        }
        if (count == capacity)
            words = xrealloc(words, (size_t)(capacity *= 2) * sizeof *words);
        assert(count < capacity);
        struct note_word *word = &words[count++];
        word->from = at;
        word->to = at = word_end(note, at);
        assert(word->to > word->from); /* or it would never end */
        word->length = fold_word(note + word->from, word->to - word->from, word->text);
        word->before = before;
        before = PAUSE_NONE;
    }
    *ret = words;
    return join_letters(note, words, count);
}

static void squeeze(struct note_word *word)
{
    size_t to = 0;
    for (size_t from = 0; from < word->length;) {
        size_t run = 1;
        while (word->text[from + run] == word->text[from])
            run++;
        bool number = word->text[from] >= '0' && word->text[from] <= '9';
        for (size_t keep = run >= 3 && !number ? 1 : run; keep; keep--)
            word->text[to++] = word->text[from];
        from += run;
    }
    word->text[to] = '\0';
    word->length = to;
}

void lexicon_squeeze(struct note_word *words, int count)
{
    for (int i = 0; i < count; i++)
        squeeze(&words[i]);
}

/* ---- comparing ---- */

int lexicon_edit_distance(const char *a, size_t la, const char *b, size_t lb)
{
    assert(la <= LEXICON_WORD && lb <= LEXICON_WORD);
    int rows[3][LEXICON_WORD + 1];
    if ((la > lb ? la - lb : lb - la) > 2)
        return 3;
    /* what both begin and end with costs nothing */
    for (; la && lb && *a == *b; la--, lb--, a++)
        b++;
    for (; la && lb && a[la - 1] == b[lb - 1]; la--)
        lb--;
    if (!la || !lb)
        return (int)(la + lb);
    for (size_t j = 0; j <= lb; j++)
        rows[0][j] = (int)j;
    for (size_t i = 1; i <= la; i++) {
        int *row = rows[i % 3], *above = rows[(i - 1) % 3];
        row[0] = (int)i;
        for (size_t j = 1; j <= lb; j++) {
            int best = above[j - 1] + (a[i - 1] != b[j - 1]);
            best = above[j] + 1 < best ? above[j] + 1 : best;
            best = row[j - 1] + 1 < best ? row[j - 1] + 1 : best;
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                int swap = rows[(i - 2) % 3][j - 2] + 1;
                best = swap < best ? swap : best;
            }
            row[j] = best;
        }
    }
    return rows[la % 3][lb];
}

static int misspelled(const struct lexeme *lexeme, const struct note_word *word)
{
    /* the beginning of a word is too little to tell a slip from another word */
    int allowed = lexeme->prefix || lexeme->exact ? 0
                  : lexeme->length >= 8           ? 2
                  : lexeme->length >= 5           ? 1
                                                  : 0;
    /* slips seldom hit the first letter, and real words that differ there abound */
    if (!allowed || word->text[0] != lexeme->text[0] || word->length < 4 || word->known)
        return -1;
    if (word->length + (size_t)allowed < lexeme->length ||
        word->length > lexeme->length + (size_t)allowed)
        return -1;
    int distance = lexicon_edit_distance(lexeme->text, lexeme->length, word->text, word->length);
    return distance <= allowed ? distance : -1;
}

static bool same(const struct lexeme *lexeme, const struct note_word *word)
{
    return (lexeme->prefix ? word->length >= lexeme->length : word->length == lexeme->length) &&
           memcmp(lexeme->text, word->text, lexeme->length) == 0;
}

/* The first whole word of the list that does not stand before `text`. */
static int first_from(const struct lexeme_list *list, const char *text)
{
    int low = 0, high = list->whole;
    while (low < high) {
        int middle = (low + high) / 2;
        if (strcmp(list->items[middle].text, text) < 0)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static bool begins_with_any(const struct lexeme_list *list, const struct note_word *word)
{
    for (int i = list->whole; i < list->count; i++)
        if (same(&list->items[i], word))
            return true;
    return false;
}

static int by_entry(const void *text, const void *entry)
{
    return strcmp(text, ((const struct lexicon_entry *)entry)->text);
}

static struct lexicon_entry entry_of(const struct lexicon_language *language, const char *text)
{
    const struct lexicon_entry *found =
        language->entry_count ? bsearch(text, language->entries, (size_t)language->entry_count,
                                        sizeof *language->entries, by_entry)
                              : NULL;
    return found ? *found : (struct lexicon_entry){0};
}

int lexicon_distance(const struct lexeme *lexeme, const struct note_word *word)
{
    if (lexeme->number)
        return word->number >= 0 ? 0 : -1;
    if (lexeme->set >= 0)
        return word->sets[lexeme->set];
    return same(lexeme, word) ? 0 : misspelled(lexeme, word);
}

static int slip_distance(const struct lexeme_list *set, const struct note_word *word)
{
    int best = -1;
    char letter[2] = {word->text[0], '\0'}; /* which a slip keeps */
    for (int i = word->known ? set->whole : first_from(set, letter);
         i < set->whole && set->items[i].text[0] == *letter; i++) {
        int distance = misspelled(&set->items[i], word);
        if (distance >= 0 && (best < 0 || distance < best))
            best = distance;
    }
    return best;
}

/* "3", "three"; -1 if it is none. */
static long number_of(const struct lexicon_language *language, const struct note_word *word)
{
    int64_t digits;
    if (word->text[0] >= '0' && word->text[0] <= '9')
        return word->length <= 4 && !text_to_int64(word->text, &digits) ? (long)digits : -1;
    const json_t *named = json_object_get(language->numbers, word->text);
    return json_is_integer(named) ? (long)json_integer_value(named) : -1;
}

void lexicon_measure(const struct lexicon_language *language, struct note_word *words, int count)
{
    for (int i = 0; i < count; i++) {
        struct note_word *word = &words[i];
        word->number = number_of(language, word);
        struct lexicon_entry entry = entry_of(language, word->text);
        word->lists = entry.lists;
        for (int k = 0; k < LEXICON_LISTS; k++)
            word->lists |= (unsigned)begins_with_any(&language->lists[k], word) << k;
        for (int k = 0; k < language->set_count; k++) {
            const struct lexeme_list *set = &language->sets[k].words;
            bool in = entry.sets >> k & 1 || begins_with_any(set, word);
            word->sets[k] = (signed char)(in ? 0 : slip_distance(set, word));
        }
    }
}

unsigned lexicon_symptom(const char *name)
{
    const struct field_word *words = fields_find("symptom")->words;
    const struct field_word *found = name ? fields_word(words, name) : NULL;
    return found ? 1u << (found - words) : 0;
}

int lexicon_start(const char *word)
{
    return *word >= 'a' && *word <= 'z' ? *word - 'a' : LEXICON_NUMBERS - 1;
}

/* ---- known words ---- */

static void know_list(struct lexicon *lexicon, const struct lexeme_list *list)
{
    for (int i = 0; i < list->count; i++) {
        const struct lexeme *lexeme = &list->items[i];
        if (lexeme->length && !lexeme->prefix)
            word_set_add(&lexicon->known, lexeme->text);
    }
}

void lexicon_know(struct lexicon *lexicon)
{
    for (int i = 0; i < lexicon->count; i++) {
        const struct lexicon_language *language = &lexicon->languages[i];
        for (int k = 0; k < LEXICON_LISTS; k++)
            know_list(lexicon, &language->lists[k]);
        for (int k = 0; k < language->set_count; k++)
            know_list(lexicon, &language->sets[k].words);
        for (int k = 0; k < language->phrase_count; k++)
            know_list(lexicon, &language->phrases[k].words);
    }
}

bool lexicon_knows(const struct lexicon *lexicon, const char *word)
{
    return word_set_has(&lexicon->known, word) || common_words_has(lexicon->common, word);
}
