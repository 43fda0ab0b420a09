/* The lot code within a sentence. Which codes are real is for lots/ to say; here a run of words is
 * taken that is shaped as one: by itself ("L6323B", "L2 6321 B0412") or behind a word that
 * announces it ("lot 26 323 2"), or read off letter by letter ("PF 2 3 L 6 N O1"). */
#include "base/text.h"
#include "intake/lexicon_inside.h"
#include <string.h>

#define PIECES 5      /* of the longest code */
#define AFTER_WORDS 6 /* from what announces a code to the code */
#define ALONE 5       /* letters and digits of a code that nothing announces */
#define ALONE_DIGITS 3
#define ANNOUNCED 4
#define SPELLED 6 /* letters and digits of one that is read off letter by letter */
#define SPELLED_PIECE 2
#define SPELLED_MOST 40

struct code {
    size_t from, to; /* bytes of the note */
    int letters, digits, pieces;
    bool mixed; /* the first piece has both */
};

static bool is_letter(char c)
{
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static size_t piece_end(const char *note, size_t at)
{
    while (is_letter(note[at]) || is_digit(note[at]) || note[at] == '?' ||
           ((note[at] == '-' || note[at] == '/') &&
            (is_letter(note[at + 1]) || is_digit(note[at + 1]))))
        at++;
    return at;
}

/* "24oz", "10am", "19th", "350g": digits and a few small letters behind them */
static bool is_amount(const char *s, size_t length)
{
    size_t digits = strspn(s, "0123456789"), at = digits;
    while (at < length && s[at] >= 'a' && s[at] <= 'z')
        at++;
    return digits && at == length && at > digits && at - digits <= 5;
}

/* "11/19", "2026-11-19", "555-0132": numbers with marks between are dates, phones, sizes */
static bool is_numbers(const char *s, size_t length)
{
    bool mark = false;
    for (size_t i = 0; i < length; i++) {
        if (is_letter(s[i]) || s[i] == '?')
            return false;
        mark = mark || s[i] == '-' || s[i] == '/';
    }
    return mark;
}

/* A piece of a code: it has a digit, or is one or two capitals; letters in capitals unless
 * announced. */
static bool add_piece(const char *note, size_t at, size_t end, bool announced, struct code *ret)
{
    int letters = 0, digits = 0, small = 0;
    for (size_t i = at; i < end; i++) {
        letters += is_letter(note[i]);
        digits += is_digit(note[i]) || note[i] == '?';
        small += note[i] >= 'a' && note[i] <= 'z';
    }
    if (is_amount(note + at, end - at) || is_numbers(note + at, end - at))
        return false;
    if (digits ? small > 0 && !announced && (letters + digits < ALONE || small > 2)
               : letters > 2 || small || !ret->pieces)
        return false;
    if (!digits && note[end] == ' ' && note[end + 1] >= 'a' && note[end + 1] <= 'z')
        return false; /* "L6323B I bought" */
    if (!ret->pieces) {
        ret->from = at;
        ret->mixed = letters > 0 && digits > 0;
    }
    ret->to = end;
    ret->letters += letters;
    ret->digits += digits;
    ret->pieces++;
    return true;
}

/* A number that an answer begins with is none of the code's: "L6323B 2 loaves". */
static bool counts_next(const struct reading *reading, size_t at)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->says == LEXICON_ANSWER && match->to - match->from > 1 &&
            reading->words[match->from].from == at)
            return true;
    }
    return false;
}

/* "L6321B? the last is smudged": no question. */
static bool asks(const char *note, size_t end)
{
    return note[end - 1] == '?' &&
           !(note[end] == ' ' && note[end + 1] >= 'a' && note[end + 1] <= 'z');
}

/* "is p f 2", "1 I bought", "1 a week ago": words before and behind the code. */
static bool is_word(const char *note, size_t at, size_t end)
{
    if (end - at == 2 && note[at] >= 'a' && note[at + 1] >= 'a')
        return true;
    return end - at == 1 && strchr("IAaYyOo", note[at]) && note[end] == ' ' &&
           is_letter(note[end + 1]) && is_letter(note[end + 2]);
}

/* "PF 2 3 L 6 N O1", as people read it off letter by letter: short pieces, one blank between. */
static bool spelled_at(const char *note, size_t at, bool announced, struct code *ret)
{
    struct code run = {.from = at, .mixed = true};
    int small = 0;
    for (size_t end; run.pieces < SPELLED_MOST; at = end + 1) {
        end = piece_end(note, at);
        if (end == at || end - at > SPELLED_PIECE || is_word(note, at, end))
            break;
        for (size_t i = at; i < end; i++) {
            run.letters += is_letter(note[i]);
            run.digits += is_digit(note[i]) || note[i] == '?';
            small += note[i] >= 'a' && note[i] <= 'z';
        }
        run.pieces++;
        run.to = end;
        if (note[end] != ' ')
            break;
    }
    bool is = run.pieces > PIECES && run.letters + run.digits >= SPELLED &&
              run.digits >= ALONE_DIGITS && (announced || (run.letters > 1 && !small));
    if (is)
        *ret = run;
    return is;
}

static bool code_at(const struct reading *reading, size_t at, bool announced, struct code *ret)
{
    const char *note = reading->note;
    *ret = (struct code){0};
    if (spelled_at(note, at, announced, ret))
        return true;
    while (ret->pieces < PIECES) {
        size_t end = piece_end(note, at);
        bool time =
            ret->pieces && note[end] == ':' && is_digit(note[end + 1]); /* "L6324-A 05:12" */
        if (end == at || time || note[end] == '@' || (ret->pieces && counts_next(reading, at)) ||
            !add_piece(note, at, end, announced, ret))
            break;
        if (note[end] != ' ')
            break;
        at = end + 1;
    }
    if (!ret->pieces)
        return false;
    if (asks(note, ret->to) && ret->to > 1 && note[ret->to - 2] != '?') {
        ret->to--; /* a question, no smudge */
        ret->digits--;
    }
    int all = ret->letters + ret->digits;
    if (announced)
        return all >= ANNOUNCED && ret->digits >= ALONE_DIGITS;
    return ret->mixed && all >= ALONE && ret->digits >= ALONE_DIGITS;
}

/* What the match announces ("lot"), or keeps from being one ("order", "UPC"). */
static const struct lexicon_match *announced_by(const struct reading *reading, int field, int at)
{
    const struct lexicon_match *best = NULL;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->field == field && match->phrase->says != LEXICON_ANSWER &&
            match->to <= at && at - match->to <= AFTER_WORDS && (!best || match->to > best->to))
            best = match;
    }
    for (int i = best ? best->to + 1 : at; best && i <= at; i++)
        if (reading->words[i].before == PAUSE_SENTENCE && i > best->to + 1)
            return NULL;
    return best;
}

static bool is_inside_word(const struct reading *reading, int at)
{
    size_t from = reading->words[at].from;
    char before = from ? reading->note[from - 1] : ' ';
    bool ends_word = before == '/' && from > 1 && is_letter(reading->note[from - 2]);
    return before == '-' || (before == '/' && !ends_word) || before == '@' || before == '.' ||
           before == '$' || before == '+';
}

void lexicon_code_others(struct reading *reading)
{
    for (int field = 0; field < reading->language->field_count; field++) {
        if (reading->language->fields[field].field->type != FIELD_TEXT)
            continue;
        for (int at = 0; at < reading->count; at++) {
            const struct lexicon_match *by = announced_by(reading, field, at);
            reading->no_code[at] |= by && by->phrase->says == LEXICON_OTHER;
        }
    }
}

json_t *lexicon_code(const struct reading *reading, int field)
{
    struct code found = {0};
    int count = 0, last = 0;
    for (int at = 0; at < reading->count; at++) {
        struct code code;
        const struct lexicon_match *by = announced_by(reading, field, at);
        bool first = reading->words[at].from >= found.to;
        bool denied = at && reading->words[at].before == PAUSE_NONE &&
                      lexicon_is(&reading->words[at - 1], LEXICON_NEGATION);
        if (!first || denied || reading->no_code[at] || is_inside_word(reading, at) ||
            !code_at(reading, reading->words[at].from, by != NULL, &code))
            continue;
        bool same =
            count && code.to - code.from == found.to - found.from &&
            memcmp(reading->note + code.from, reading->note + found.from, code.to - code.from) == 0;
        bool corrected = false;
        for (int i = last; count && i < at; i++)
            corrected |= lexicon_is(&reading->words[i], LEXICON_CORRECTS);
        count = corrected ? 1 : count + !same;
        found = code;
        last = at;
    }
    return count == 1 ? json_stringn(reading->note + found.from, found.to - found.from) : NULL;
}
