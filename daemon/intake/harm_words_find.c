/* Finding a language's patterns in a text: set by set in the order of the file, so that a pattern
 * may ask for what earlier sets found. */
#include "base/text.h"
#include "intake/harm_words_inside.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { FILLERS_MOST = 3 };

static void add_span(struct harm_spans *spans, int from, int to)
{
    assert(from >= 0 && from < to);
    if (spans->count == spans->capacity) {
        spans->capacity = spans->capacity ? 2 * spans->capacity : 8;
        spans->items = xrealloc(spans->items, (size_t)spans->capacity * sizeof *spans->items);
    }
    assert(spans->count < spans->capacity);
    spans->items[spans->count++] = (struct harm_span){from, to};
}

/* By where they begin, the longest first. */
static int by_place(const void *left, const void *right)
{
    const struct harm_span *a = left, *b = right;
    return a->from != b->from ? (a->from > b->from) - (a->from < b->from)
                              : (a->to < b->to) - (a->to > b->to);
}

bool harm_words_text_has(const struct harm_text *text, int at, int set)
{
    return at >= 0 && at < text->count && (text->tokens[at].sets[set / 64] >> set % 64 & 1);
}

/* The first, the longest, of the set's spans that begin at `at`; its index. */
static int first_at(const struct harm_spans *spans, int at)
{
    assert(spans->count >= 0);
    int low = 0, high = spans->count;
    while (low < high) {
        int middle = low + (high - low) / 2;
        if (spans->items[middle].from < at)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

int harm_words_text_end(const struct harm_text *text, int at, int set)
{
    const struct harm_spans *spans = &text->spans[set];
    return harm_words_text_has(text, at, set) ? spans->items[first_at(spans, at)].to : -1;
}

static bool is_idle(const struct harm_text *text, int from, int to)
{
    for (int at = from; at < to; at++)
        if (text->tokens[at].idle)
            return true;
    return false;
}

/* Past the end of the longest of the set's spans at `at` that holds no idle word; else -1. */
static int awake_end(const struct harm_text *text, int at, int set)
{
    const struct harm_spans *spans = &text->spans[set];
    if (!harm_words_text_has(text, at, set))
        return -1;
    for (int i = first_at(spans, at); i < spans->count && spans->items[i].from == at; i++)
        if (!is_idle(text, at, spans->items[i].to))
            return spans->items[i].to;
    return -1;
}

/* Past the item's end if it stands at `at`, else -1. */
static int item_end(const struct harm_text *text, const struct harm_item *item, int at, bool awake)
{
    assert(at >= 0 && at < text->count);
    const struct harm_token *token = &text->tokens[at];
    int end = -1;
    if (awake && token->idle)
        return -1;
    for (int i = item->first; i < item->first + item->count && end < 0; i++) {
        int option = text->language->options[i];
        if (option < 0)
            end = awake ? awake_end(text, at, ~option) : harm_words_text_end(text, at, ~option);
        for (int k = 0; option >= 0 && k < HARM_OWN && token->own[k] >= 0; k++)
            end = token->own[k] == option ? at + 1 : end;
    }
    if (item->begins && at > 0 && text->words[at].before == PAUSE_NONE)
        return -1;
    if (item->ends && end >= 0 && end < text->count && text->words[end].before == PAUSE_NONE)
        return -1;
    return end;
}

struct search {
    struct harm_text *text;
    const struct harm_item *items;
    int count, kept;
    enum pause most; /* that may lie between two items */
    bool awake;      /* idle words stand for nothing, fillers may stand anywhere */
    int *kept_end;
    struct harm_span *found; /* by item */
    bool rouses, lulls;      /* the words of its items are idle no more, or become so */
};

/* May the word at `at` stand between two items? Counts it. */
static bool may_stand(const struct search *s, int at, int between, int *fillers, int *others)
{
    const struct harm_text *text = s->text;
    const struct harm_language *language = text->language;
    if (!text->tokens[at].idle && harm_words_text_has(text, at, language->context[CONTEXT_DENY]))
        return false;
    if (s->awake && harm_words_text_has(text, at, language->filler) && (*fillers)++ < FILLERS_MOST)
        return true;
    return (*others)++ < between;
}

/* What stands between the items of an idle pattern may say something of its own. */
static void settle_idle(const struct search *s, int k, int from, int to)
{
    for (int at = from; k < s->kept && (s->lulls || s->rouses) && at < to; at++)
        s->text->tokens[at].idle = s->lulls;
}

static bool is_like(const char *a, const char *b)
{
    size_t length = strlen(a) < strlen(b) ? strlen(a) : strlen(b);
    return length > 2 ? strncmp(a, b, length) == 0 : strcmp(a, b) == 0;
}

/* "raisin" in "raisin loaf", "raisins" too */
static bool holds(const struct harm_text *text, struct harm_span all, struct harm_span part)
{
    for (int at = part.from; at < part.to; at++) {
        bool held = false;
        for (int k = all.from; k < all.to; k++)
            held = held || is_like(text->words[k].text, text->words[at].text);
        if (!held)
            return false;
    }
    return true;
}

/* The item that this one must differ from: the last of the same set, else the first that is a
 * set. */
static int other_of(const struct search *s, int k)
{
    const int *options = s->text->language->options;
    int i = k - 1, first = 0;
    while (i >= 0 && options[s->items[i].first] != options[s->items[k].first])
        i--;
    while (first < k && options[s->items[first].first] >= 0)
        first++;
    assert(i >= 0 || first < k); /* the loader took none that has nothing before it */
    return i >= 0 ? i : first;
}

static bool is_again(const struct search *s, int k)
{
    if (!s->items[k].another)
        return false;
    struct harm_span other = s->found[other_of(s, k)], own = s->found[k];
    return holds(s->text, other, own) || holds(s->text, own, other);
}

/* Do the items from `k` on stand from `at` on? */
static bool match_at(const struct search *s, int k, int at)
{
    assert(k >= 0 && k < s->count);
    const struct harm_text *text = s->text;
    int end = item_end(text, &s->items[k], at, s->awake);
    if (end < 0)
        return false;
    s->found[k] = (struct harm_span){at, end};
    if (is_again(s, k))
        return false;
    if (k + 1 == s->kept)
        *s->kept_end = end;
    if (k + 1 == s->count) {
        settle_idle(s, k, at, end);
        return true;
    }
    int between = s->items[k + 1].between, fillers = 0, others = 0;
    enum pause most = between ? s->most : PAUSE_NONE;
    for (int next = end; next < text->count && text->words[next].before <= most; next++) {
        if (match_at(s, k + 1, next)) {
            settle_idle(s, k, at, end);
            return true;
        }
        if (!may_stand(s, next, between, &fillers, &others))
            return false;
    }
    return false;
}

static void try_at(struct harm_text *text, const struct search *s, int set, int at)
{
    assert(at >= 0 && at < text->count);
    if (match_at(s, 0, at))
        add_span(&text->spans[set], at, *s->kept_end);
}

/* Does anything that the item asks for stand in the text at all? */
static bool may_occur(const struct harm_text *text, const struct harm_item *item)
{
    for (int i = item->first; i < item->first + item->count; i++) {
        int option = text->language->options[i];
        if (option >= 0 ? text->heads[option] >= 0 : text->spans[~option].count > 0)
            return true;
    }
    return false;
}

/* Wherever its first item stands. */
static void find_pattern(struct harm_text *text, const struct harm_pattern *pattern, int set,
                         bool awake)
{
    assert(pattern->count > 0 && pattern->kept > 0 && pattern->kept <= pattern->count);
    const struct harm_language *language = text->language;
    for (int k = 0; k < pattern->count; k++)
        if (!may_occur(text, &language->items[pattern->first + k]))
            return;
    int kept_end = 0;
    struct harm_span found[HARM_ITEMS];
    const struct search s = {text,
                             &language->items[pattern->first],
                             pattern->count,
                             pattern->kept,
                             set == language->context[CONTEXT_IDLE] ? PAUSE_NONE : PAUSE_COMMA,
                             awake,
                             &kept_end,
                             found,
                             set == language->context[CONTEXT_WAKE],
                             set == language->context[CONTEXT_IDLE]};
    for (int i = 0; i < s.items[0].count; i++) {
        int option = language->options[s.items[0].first + i];
        if (option >= 0) {
            for (int place = text->heads[option]; place >= 0; place = text->places[place].to)
                try_at(text, &s, set, text->places[place].from);
            continue;
        }
        const struct harm_spans *spans = &text->spans[~option];
        for (int k = 0; k < spans->count; k++)
            if (!k || spans->items[k].from != spans->items[k - 1].from)
                try_at(text, &s, set, spans->items[k].from);
    }
}

/* The first pattern from `at` on that may stand; few of a language's thousands do. `end` or beyond:
 * there is none. */
static int next_that_may(const struct harm_text *text, int at, int end)
{
    while (at < end) {
        uint64_t rest = text->may[at / 64] >> at % 64;
        if (rest)
            return at + __builtin_ctzll(rest);
        at += 64 - at % 64;
    }
    return end;
}

void harm_words_text_find(struct harm_text *text, int set, bool awake)
{
    const struct harm_language *language = text->language;
    const struct harm_set *patterns = &language->sets[set];
    struct harm_spans *spans = &text->spans[set];
    const int end = patterns->first + patterns->count;
    for (int i = next_that_may(text, patterns->first, end); i < end;
         i = next_that_may(text, i + 1, end))
        find_pattern(text, &language->patterns[i], set, awake);
    if (spans->count)
        qsort(spans->items, (size_t)spans->count, sizeof *spans->items, by_place);
    for (int i = 0; i < spans->count; i++)
        text->tokens[spans->items[i].from].sets[set / 64] |= UINT64_C(1) << set % 64;
}
