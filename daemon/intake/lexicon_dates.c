/* Days told within a note: "bought it Saturday, found it this morning". What a run of words says of
 * the day is asked of said_date(); here only what is no day in a sentence is kept from it: "2
 * days", "it sat", "1/2 dozen". */
#include "base/text.h"
#include "base/when.h"
#include "intake/lexicon_inside.h"
#include "intake/said_date.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define RUN 7      /* words of the longest way to say a day */
#define OLDEST 400 /* days; what lies further back was misread */
#define REACH                                                                                      \
    6 /* telling words between what happened and its day, a comma and an "and" counted as three    \
         more */
#define COMMA 3
#define STATE_REACH 2 /* the same of what tells a state: "stale this morning" */
#define CORRECTION 5  /* words between a day and the one that corrects it */
#define ASIDE 4 /* words between a day and the "or" of another: "Friday I think, or Saturday" */
#define SLIP 6  /* letters of a day's name that may be misspelled: "satuday" */

/* What a day may be told with, in said_date()'s own words. */
static const char *const TIMES[] = {"morning", "afternoon", "evening", "night", "noon"};
static const char *const DAYS[] = {
    "today",     "tonight",  "yesterday", "hoy",    "ayer",  "anoche", "anteayer", "antier",
    "monday",    "tuesday",  "wednesday", "friday", "lunes", "martes", "jueves",   "viernes",
    "miercoles", "thursday", "saturday",  "sunday", "tues",  "thurs",  "sabado",   "domingo"};
/* "it sat" and "in the sun" are no days */
static const char *const SHORT[] = {"Mon", "Tue", "Wed", "Thu", "Fri", "Sat",
                                    "Sun", "mon", "tue", "wed", "thu", "fri"};
static const char *const AGO[] = {"ago", "back", "hace"};
static const char *const MONTHS[] = {
    "january", "february",   "march",     "april",    "june",     "july",  "august", "sept",
    "october", "may",        "september", "november", "december", "jan",   "feb",    "mar",
    "apr",     "jun",        "jul",       "aug",      "sep",      "oct",   "nov",    "dec",
    "enero",   "febrero",    "marzo",     "abril",    "mayo",     "junio", "julio",  "agosto",
    "octubre", "septiembre", "noviembre", "diciembre"};
/* "every Saturday", "los lunes", "Black Friday", "more than 2 weeks ago", "next Friday": no day of
 * what happened */
static const char *const SPOILS[] = {"every",  "each", "next",  "than", "over",    "least",
                                     "most",   "cada", "or",    "o",    "proximo", "nearly",
                                     "almost", "los",  "black", "cyber"};
/* "Sunday roast": a day within a name */
static const char *const NAMED_BY[] = {"roast",  "sale",     "special", "specials", "paper",
                                       "market", "club",     "school",  "bread",    "loaf",
                                       "loaves", "delivery", "batch",   "truck"};
static const char *const EITHER[] = {"or", "o", "u"};
static const char *const FRACTIONS[] = {"1/2", "1/3", "1/4", "2/3", "3/4", "24/7"};

#define IN(list, word) is_in(list, sizeof(list) / sizeof *(list), word)
static bool is_in(const char *const *list, size_t count, const char *word)
{
    for (size_t i = 0; i < count; i++)
        if (strcmp(list[i], word) == 0)
            return true;
    return false;
}

/* ---- one run of words ---- */

static bool is_digits(const char *word)
{
    return *word && !word[strspn(word, "0123456789")];
}

/* The day whose name is misspelled, or the word itself: "Mondays" are no day. */
static const char *day_meant(const struct note_word *word)
{
    bool many = word->length > SLIP && word->text[word->length - 1] == 's' &&
                strcmp(word->text + word->length - 4, "days") == 0;
    if (many)
        return word->text;
    for (size_t i = 0; word->length >= SLIP && !word->known && i < sizeof DAYS / sizeof *DAYS;
         i++) {
        size_t length = strlen(DAYS[i]);
        if (length >= SLIP && *DAYS[i] == *word->text &&
            lexicon_edit_distance(DAYS[i], length, word->text, word->length) <= 1 + (length >= 8))
            return DAYS[i];
    }
    return word->text;
}

/* The word as said_date() knows it. */
static const char *own_word(const struct reading *reading, int at, char number[static 24])
{
    const struct lexicon_language *language = reading->language;
    const char *word = reading->words[at].text;
    const char *known = json_string_value(json_object_get(language->days, word));
    if (known)
        return known;
    long value = strlen(word) > 2 ? reading->words[at].number : -1;
    if (value < 0)
        return day_meant(&reading->words[at]);
    snprintf(number, 24, "%ld", value);
    return number;
}

/* "bought it sat", "bought 11-19", but not "it sat there" */
static bool is_told_of(const struct reading *reading, int at)
{
    for (int i = 0; i < reading->match_count; i++)
        if (reading->matches[i].phrase->says == LEXICON_DAY && reading->matches[i].to == at)
            return true;
    return false;
}

/* "El 24 observé": what happened on it begins behind. */
static bool begins_told(const struct reading *reading, int at)
{
    for (int i = 0; i < reading->match_count; i++)
        if (reading->matches[i].phrase->says == LEXICON_DAY && reading->matches[i].from == at)
            return true;
    return false;
}

/* "11/19", "2026-11-19": numbers without a blank, of the note as it is. */
static bool is_numeric(const struct reading *reading, int from, int to, char *out, size_t size)
{
    const struct note_word *first = &reading->words[from], *last = &reading->words[to - 1];
    size_t length = last->to - first->from;
    if (to - from < 2 || to - from > 3 || length >= size)
        return false;
    memcpy(out, reading->note + first->from, length);
    out[length] = '\0';
    if (out[strspn(out, "0123456789/-.")] || IN(FRACTIONS, out))
        return false;
    bool full = to - from == 3 && (first->length == 4 || last->length == 4 || last->length == 2);
    return full || (to - from == 2 && (strchr(out, '/') || is_told_of(reading, from)) &&
                    first->length <= 2 && last->length <= 2);
}

/* What a word is to a day that is told. */
enum { DAY_TIME = 1, DAY_NEAR = 2, DAY_AGO = 4, DAY_NUMBER = 8, DAY_NAMED = 16, DAY_MONTH = 32 };

static unsigned char day_word(const struct reading *reading, int at)
{
    char digits[24], raw[4] = "";
    const char *word = own_word(reading, at, digits);
    const struct note_word *w = &reading->words[at];
    memcpy(raw, reading->note + w->from, w->to - w->from == 3 ? 3 : 0);
    bool named = IN(DAYS, word) || IN(SHORT, raw) ||
                 ((strcmp(raw, "sat") == 0 || strcmp(raw, "sun") == 0) && is_told_of(reading, at));
    int is = (IN(TIMES, word) ? DAY_TIME : 0) | (IN(AGO, word) ? DAY_AGO : 0) |
             (strcmp(word, "this") == 0 || strcmp(word, "last") == 0 ? DAY_NEAR : 0) |
             (*word >= '0' && *word <= '9' ? DAY_NUMBER : 0) | (named ? DAY_NAMED : 0) |
             (IN(MONTHS, word) ? DAY_MONTH : 0);
    return (unsigned char)is;
}

/* Does the run tell a day by words that are no others' in a sentence? */
static bool tells_day(const struct reading *reading, int from, int to)
{
    int is = 0;
    for (int i = from; i < to; i++)
        is |= reading->day[i];
    return (is & (DAY_NAMED | DAY_AGO)) || ((is & DAY_TIME) && (is & DAY_NEAR)) ||
           ((is & DAY_MONTH) && (is & DAY_NUMBER));
}

/* "on the 19th.", "el 19" */
static bool is_ordinal(const struct reading *reading, int from, int to)
{
    const char *word = reading->words[from].text;
    size_t digits = strspn(word, "0123456789"), length = strlen(word);
    static const char *const BEFORE[] = {"the", "el", "del", "dia"};
    static const char *const BEHIND[] = {
        "at",   "from", "in",   "for", "en", "para", "por", "con", "there", "it",
        "with", "ya",   "y",    "lo",  "la", "le",   "me",  "se",  "salio", "cuando",
        "que",  "this", "when", "was", "is", "were", "has", "had", "are"};
    if (to - from != 1 || !digits || digits > 2 || from == 0 ||
        !(length == digits + 2 || (length == digits && IN(BEFORE, reading->words[from - 1].text))))
        return false;
    if (length == digits && from > 1 && strcmp(reading->words[from - 2].text, "of") == 0)
        return false; /* "11 of the 30 we got" */
    return to == reading->count || reading->words[to].before != PAUSE_NONE ||
           IN(BEHIND, reading->words[to].text) || lexicon_is(&reading->words[to], LEXICON_STOPS) ||
           lexicon_is(&reading->words[to], LEXICON_SUBJECTS) || begins_told(reading, to);
}

static bool runs_on(const struct reading *reading, int from, int to)
{
    for (int i = from + 1; i < to; i++)
        if (reading->words[i].before == PAUSE_SENTENCE)
            return false;
    return true;
}

/* "2 or 3 days ago", "2-3 days ago", "every Saturday", "Friday or Saturday" */
static bool spoiled(const struct reading *reading, int from, int to)
{
    for (int i = to; i + 1 < reading->count && i < to + ASIDE; i++) {
        if (reading->words[i].before == PAUSE_SENTENCE)
            break;
        if (IN(EITHER, reading->words[i].text) &&
            (tells_day(reading, i + 1, i + 2) ||
             (i + 2 < reading->count && tells_day(reading, i + 2, i + 3))))
            return true;
    }
    if (to < reading->count && reading->words[to].before == PAUSE_NONE &&
        IN(NAMED_BY, reading->words[to].text))
        return true;
    if (from == 0 || reading->words[from].before == PAUSE_SENTENCE)
        return false;
    const struct note_word *before = &reading->words[from - 1];
    char first = *reading->words[from].text;
    return IN(SPOILS, before->text) ||
           (from > 1 && reading->words[from - 1].before == PAUSE_NONE &&
            IN(EITHER, reading->words[from - 2].text)) ||
           (is_digits(before->text) && first >= '0' && first <= '9');
}

static bool day_at(const struct reading *reading, int from, int to, int32_t *ret)
{
    char text[96] = "";
    if (!is_numeric(reading, from, to, text, sizeof text)) {
        if (!runs_on(reading, from, to) ||
            !(tells_day(reading, from, to) || is_ordinal(reading, from, to)))
            return false;
        text[0] = '\0';
        for (int i = from; i < to; i++) {
            char number[24];
            size_t used = strlen(text);
            snprintf(text + used, sizeof text - used, "%s%s ", own_word(reading, i, number),
                     is_ordinal(reading, i, to) && is_digits(reading->words[i].text) ? "th" : "");
        }
    }
    return !spoiled(reading, from, to) &&
           said_date(text, reading->today, SAID_PAST, ret, NULL) == 0 &&
           *ret >= reading->today - OLDEST;
}

/* ---- all of the note ---- */

struct told_day {
    int from, to; /* words */
    int32_t day;
};

/* "Friday, no wait, it was Saturday": the later stands for both. */
static bool corrects(const struct reading *reading, const struct told_day *before,
                     const struct told_day *day)
{
    if (day->from - before->to > CORRECTION)
        return false;
    for (int i = before->to; i < day->from; i++)
        if (lexicon_is(&reading->words[i], LEXICON_CORRECTS))
            return true;
    return false;
}

/* Told by another day: "opened it the same day", "moldy 3 days later", "al día siguiente". `from`
 * and `to` as the day; false if the words count no days on. */
static bool counts_on(const struct reading *reading, int from, int to, long *ret)
{
    enum { DAY, SAME, NEXT, AFTER, BEFORE, NUMBER, KINDS };
    static const struct {
        const char *word;
        int kind;
    } WORDS[] = {{"day", DAY},     {"days", DAY},       {"night", DAY},   {"morning", DAY},
                 {"evening", DAY}, {"afternoon", DAY},  {"same", SAME},   {"next", NEXT},
                 {"later", AFTER}, {"following", NEXT}, {"after", AFTER}, {"before", BEFORE}};
    int said[KINDS] = {0};
    for (int i = from; i < to; i++) {
        char digits[24];
        const char *word = own_word(reading, i, digits);
        long number = reading->words[i].number;
        int kind = number >= 0 ? NUMBER : KINDS;
        for (size_t w = 0; w < sizeof WORDS / sizeof *WORDS; w++)
            kind = strcmp(WORDS[w].word, word) == 0 ? WORDS[w].kind : kind;
        if (kind == KINDS || said[kind]++ || (i > from && reading->words[i].before != PAUSE_NONE))
            return false;
        *ret = kind == NUMBER ? number : *ret;
    }
    if (said[SAME] || said[NEXT])
        *ret = said[NEXT];
    else if (!said[NUMBER])
        *ret = 1;
    if (said[BEFORE])
        *ret = -*ret;
    return said[DAY] && said[SAME] + said[NEXT] + said[AFTER] + said[BEFORE] == 1 &&
           !(said[NUMBER] && (said[SAME] || said[NEXT]));
}

/* The day counted from the one told before; what stands behind may be what it is counted from, "2
 * days after she opened it", and then it isn't that one. */
static bool day_on(const struct reading *reading, const struct told_day *before,
                   struct told_day *day)
{
    long days = 0;
    if (!counts_on(reading, day->from, day->to, &days))
        return false;
    const struct note_word *behind = day->to < reading->count ? &reading->words[day->to] : NULL;
    static const char *const LATER[] = {"after", "before", "despues", "antes"};
    if (behind && behind->before == PAUSE_NONE && IN(LATER, reading->words[day->to - 1].text) &&
        (lexicon_is(behind, LEXICON_SUBJECTS) || lexicon_is(behind, LEXICON_FILLER)))
        return false;
    day->day = before->day + (int32_t)days;
    return days < OLDEST && day->day <= reading->today;
}

static int find_days(const struct reading *reading, struct told_day **ret)
{
    int count = 0;
    struct told_day *days = xcalloc((size_t)reading->count + 1, sizeof *days);
    for (int at = 0; at < reading->count; at++) {
        int most = reading->count - at < RUN ? reading->count - at : RUN;
        for (int run = most; run > 0; run--) {
            struct told_day *day = &days[count];
            *day = (struct told_day){at, at + run, 0};
            if (!day_at(reading, at, at + run, &day->day) &&
                !(count && day_on(reading, day - 1, day)))
                continue;
            at += run - 1;
            if (count && corrects(reading, day - 1, day))
                day[-1] = (struct told_day){day[-1].from, day->to, day->day};
            else
                count++;
            break;
        }
    }
    *ret = days;
    return count;
}

/* ---- what happened on it ---- */

/* "Stale", "it was": what tells a state and no happening, for a day within its own clause. */
static bool is_state(const struct reading *reading, const struct lexicon_match *what)
{
    if (what->phrase->says != LEXICON_DAY || what->said == 0)
        return what->said == 0;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        if (other->phrase->says == LEXICON_ANSWER && other->phrase->field >= 0 &&
            other->from < what->to && what->from < other->to)
            return true;
    }
    return false;
}

/* Words between, or -1 where a sentence ends between. What stands before its day is the likelier.
 */
static int apart(const struct reading *reading, const struct lexicon_match *what,
                 const struct told_day *day)
{
    bool before = what->from < day->from;
    if (what->from >= day->from && what->to <= day->to)
        return -1; /* one of its words: "Friday, no wait, it was Saturday" */
    int from = before ? what->to : day->to, to = before ? day->from : what->from;
    int words = before ? 0 : 1;
    for (int i = from; i <= to; i++) {
        enum pause pause = reading->words[i].before;
        if (pause == PAUSE_SENTENCE && !(before && lexicon_goes_on(reading, i)))
            return -1;
        words += (i < to && !lexicon_is(&reading->words[i], LEXICON_FILLER)) +
                 (pause == PAUSE_COMMA ? COMMA : 0) +
                 (i < to && lexicon_is(&reading->words[i], LEXICON_STOPS) ? COMMA : 0);
    }
    if (before && words == 0 && what->said == 0)
        return -1; /* "it was Tuesday" says of no day what happened */
    return words <= (is_state(reading, what) ? STATE_REACH : REACH) ? words : -1;
}

/* "Store 12" announces no code, and no day either. */
static bool is_happening(const struct reading *reading, const struct lexicon_match *match)
{
    int field = match->phrase->field;
    return (match->phrase->says == LEXICON_DAY || match->phrase->says == LEXICON_OTHER) &&
           reading->language->fields[field].field->type != FIELD_TEXT;
}

static bool tells_happening(const struct reading *reading)
{
    for (int i = 0; i < reading->match_count; i++)
        if (is_happening(reading, &reading->matches[i]))
            return true;
    return false;
}

/* The nearest pair of what happened and a day; neither has another. */
static bool nearest(const struct reading *reading, const struct told_day *days, int count,
                    const bool *taken, int *ret_match, int *ret_day)
{
    int best = -1;
    for (int m = 0; m < reading->match_count; m++) {
        if (!is_happening(reading, &reading->matches[m]) || reading->matches[m].has_day)
            continue;
        for (int d = 0; d < count; d++) {
            int words = taken[d] ? -1 : apart(reading, &reading->matches[m], &days[d]);
            if (words < 0 || (best >= 0 && words >= best))
                continue;
            best = words;
            *ret_match = m;
            *ret_day = d;
        }
    }
    return best >= 0;
}

/* "opened 3 days ago" has its answer, and the day is spent. */
static bool is_spent(const struct reading *reading, const struct told_day *day)
{
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *match = &reading->matches[i];
        const struct lexicon_phrase *phrase = match->phrase;
        bool counts = phrase->says == LEXICON_ANSWER && phrase->field >= 0 &&
                      reading->language->fields[phrase->field].field->type == FIELD_WHOLE;
        if (counts && match->from <= day->from && match->to >= day->to &&
            match->to - match->from > day->to - day->from)
            return true;
    }
    return false;
}

/* "Had some again Monday": whose it is does not tell when it was found. */
static bool is_others(const struct reading *reading, const struct told_day *day)
{
    for (int i = 0; i < reading->match_count; i++)
        if (reading->matches[i].has_day && reading->matches[i].phrase->says == LEXICON_OTHER &&
            reading->matches[i].from <= day->from && reading->matches[i].to >= day->to)
            return true;
    return false;
}

/* ---- what shares another's day ---- */

#define SHARE_REACH 8 /* words between what has a day and what was found then */

static bool is_named(const struct reading *reading, const struct lexicon_match *match,
                     const char *field)
{
    return match->phrase->says == LEXICON_DAY &&
           strcmp(reading->language->fields[match->phrase->field].field->name, field) == 0;
}

/* Somebody found it: not the bare state, "stale", nor one that is told by nothing but small words.
 */
static bool is_finding(const struct reading *reading, const struct lexicon_match *match)
{
    if (!is_named(reading, match, "found_on") || match->said == 0 || match->negated ||
        match->hedged || match->aside)
        return false;
    for (int i = 0; i < reading->match_count; i++) {
        const struct lexicon_match *other = &reading->matches[i];
        if (other->phrase->says == LEXICON_ANSWER && other->from <= match->from &&
            other->to > match->from)
            return false;
    }
    return true;
}

/* "Took it out *and* noticed", but not "opened it *and now* saw", "called to *say*". */
static bool goes_on(const struct reading *reading, int from, int to)
{
    const unsigned apart = 1U << LEXICON_CONTESTS | 1U << LEXICON_SUPPOSED;
    int stops = 0;
    for (int i = from; i <= to; i++) {
        stops += i < to && lexicon_is(&reading->words[i], LEXICON_STOPS);
        if (reading->words[i].before != PAUSE_NONE || (i < to && reading->words[i].lists & apart))
            return false;
    }
    return to - from <= SHARE_REACH && stops <= 1;
}

/* "Took it out last night and noticed", "visited on Sunday and found": what was found has the day
 * of what was done, but for that of the purchase. */
static void share_found(struct reading *reading)
{
    struct lexicon_match *finding = NULL;
    int32_t day = 0;
    for (int i = 0; i < reading->match_count; i++) {
        struct lexicon_match *match = &reading->matches[i];
        if (match->has_day && is_named(reading, match, "found_on"))
            return;
        if (!is_finding(reading, match))
            continue;
        for (int k = 0; k < reading->match_count; k++) {
            const struct lexicon_match *done = &reading->matches[k];
            if (!done->has_day || done->to > match->from || is_named(reading, done, "bought_on") ||
                !goes_on(reading, done->to, match->from))
                continue;
            finding = match;
            day = done->day;
        }
    }
    if (finding) {
        finding->has_day = true;
        finding->day = day;
    }
}

/* "Unwrapped it Tuesday" tells when it was found, and since when it is open. */
static void share_words(struct reading *reading, const struct lexicon_match *one, int32_t day)
{
    for (int i = 0; i < reading->match_count; i++) {
        struct lexicon_match *match = &reading->matches[i];
        if (match->phrase->says == LEXICON_DAY && !match->has_day && match->from < one->to &&
            one->from < match->to && !is_named(reading, match, "bought_on") &&
            !is_named(reading, one, "bought_on")) {
            match->has_day = true;
            match->day = day;
        }
    }
}

/* "Bought and opened yesterday" */
static void share_joined(struct reading *reading)
{
    for (int i = 0; i < reading->match_count; i++) {
        struct lexicon_match *match = &reading->matches[i];
        for (int k = 0; k < reading->match_count && !match->has_day; k++) {
            const struct lexicon_match *next = &reading->matches[k];
            int between = next->from - match->to;
            if (match->phrase->says != LEXICON_DAY || next->phrase->says != LEXICON_DAY ||
                !next->has_day || between != 1 || !goes_on(reading, match->to, next->from) ||
                !lexicon_is_and(&reading->words[match->to]))
                continue;
            match->has_day = true;
            match->day = next->day;
        }
    }
}

void lexicon_date(struct reading *reading)
{
    struct told_day *days = NULL;
    reading->loose = WHEN_UNKNOWN_DAY;
    if (reading->today == WHEN_UNKNOWN_DAY || !tells_happening(reading))
        return;
    for (int i = 0; i < reading->count; i++)
        reading->day[i] = day_word(reading, i);
    int count = find_days(reading, &days), m = 0, d = 0;
    bool *taken = xcalloc((size_t)count + 1, sizeof *taken);
    for (int i = 0; i < count; i++)
        taken[i] = is_spent(reading, &days[i]);
    reading->loose = WHEN_UNKNOWN_DAY;
    while (nearest(reading, days, count, taken, &m, &d)) {
        struct lexicon_match *match = &reading->matches[m];
        share_words(reading, match, days[d].day);
        match->has_day = taken[d] = true;
        match->day = days[d].day;
        match->from = match->from < days[d].from ? match->from : days[d].from;
        match->to = match->to > days[d].to ? match->to : days[d].to;
    }
    share_joined(reading);
    share_found(reading);
    for (int i = 0; i < count; i++)
        if ((!taken[i] || is_others(reading, &days[i])) && days[i].day < reading->today &&
            days[i].day > reading->loose)
            reading->loose = days[i].day;
    free(taken);
    free(days);
}
