#include "desk/apart_codes.h"
#include "base/text.h"
#include "store/lot_find.h"
#include <assert.h>
#include <ctype.h>
#include <string.h>

enum {
    DIGITS_LEAST = 7,
    WORDS_MOST = 4
}; /* fewer are no phone number; of a code: "L2 6 321 B0412" */

static const char BLANKS[] = " \t\r\n", AROUND[] = ".,;:!?()[]{}'\"";

struct looking {
    const struct desk *desk;
    struct store *store;
    int64_t newest_ms; /* lot on record: a code's year is read as of then */
};

static size_t digits_in(const char *from, const char *to)
{
    size_t digits = 0;
    for (; from < to; from++)
        digits += isdigit((unsigned char)*from) != 0;
    return digits;
}

static bool has_letter(const char *code)
{
    while (*code && !isalpha((unsigned char)*code))
        code++;
    return *code != '\0';
}

static bool is_on_record(struct store *store, const char *code)
{
    char fold[LOT_FIND_CODE];
    struct lot_find_row row;
    struct lot_find_rows rows = {&row, 0, 1, false};
    lot_find_fold(code, fold, sizeof fold);
    return *fold && lot_find_by_fold(store, fold, 1, &rows, NULL) == 0 && rows.count > 0;
}

/* Digits alone are left to the records: a number to dial fits many a pattern of them. */
static bool fits_pattern(const struct looking *l, const char *code)
{
    struct lot_parsed parsed;
    if (!l->desk || !l->desk->matcher || l->newest_ms == WHEN_UNKNOWN_MS || !has_letter(code))
        return false;
    match_understand(l->desk->matcher, code, NULL, l->newest_ms, l->desk->tz, &parsed);
    return parsed.whole && *parsed.pattern && !*parsed.beside && !*parsed.wrong;
}

static bool is_code(const struct looking *l, const char *from, const char *to)
{
    char code[LOT_FIND_CODE];
    size_t length = (size_t)(to - from);
    if (to <= from || length >= sizeof code)
        return false;
    memcpy(code, from, length);
    code[length] = '\0';
    return digits_in(code, code + length) >= DIGITS_LEAST &&
           (is_on_record(l->store, code) || fits_pattern(l, code));
}

/* Behind the longest code that begins at the word there; NULL if none does. */
static const char *code_end(const struct looking *l, const char *word)
{
    const char *from = word + strspn(word, AROUND), *end = word, *found = NULL;
    for (int words = 0; words < WORDS_MOST && *end; words++) {
        end += strspn(end, BLANKS);
        end += strcspn(end, BLANKS);
        const char *to = end;
        while (to > from && strchr(AROUND, to[-1]))
            to--;
        found = is_code(l, from, to) ? to : found;
    }
    return found;
}

char *apart_codes(const struct desk *desk, struct store *store, const char *text, const char *given)
{
    struct looking l = {desk, store, WHEN_UNKNOWN_MS};
    struct text_buffer codes = {0};
    int64_t first_ms;
    assert(store && text);
    text_append(&codes, given ? given : "");
    size_t left = digits_in(text, text + strlen(text)); /* from `at` on: counted once */
    if (left >= DIGITS_LEAST)
        lot_find_span(store, &first_ms, &l.newest_ms, NULL);
    for (const char *at = text + strspn(text, BLANKS); *at && left >= DIGITS_LEAST;) {
        const char *from = at, *end = code_end(&l, at);
        if (end) {
            text_append(&codes, "\n");
            text_append_bytes(&codes, at, (size_t)(end - at));
        }
        at = end ? end : at;
        at += strcspn(at, BLANKS);
        at += strspn(at, BLANKS);
        left -= digits_in(from, at);
    }
    return text_take(&codes);
}
