#include "lots/named_in_text.h"
#include "base/text.h"
#include "lots/said_words.h"
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TOKENS = 400, RUNS = 16, NEAR = 3, LETTERS = 3 };

struct token {
    size_t from, to; /* bytes of the text */
    char word[32];   /* folded; "" for a longer one */
};

/* Words of the text that are words of one name, in its order. */
struct run {
    size_t first, count; /* tokens */
};

struct looking {
    const char *text;
    enum named_in_text_kind kind;
    size_t count, runs;
    struct token token[TOKENS];
    struct run run[RUNS];
    struct {
        int64_t product; /* whose name or family has the word; 0: none, -1: several */
        size_t token;
    } good[RUNS];
    size_t goods;
};

/* ---- words about a name ---- */

static const char *const EMPTY[] = {"the", "a",    "an",     "of",   "our",   "your",   "my",
                                    "el",  "la",   "los",    "las",  "de",    "del",    "un",
                                    "una", "some", "street", "loaf", "bread", "loaves", NULL};
static const char *const BEFORE_PRODUCT[] = {"of", "your", "our", "de", "su", NULL};
static const char *const BEFORE_PART[] = {"of", "your",   "our", "de", "su", "the",
                                          "my", "bought", "el",  "la", "mi", NULL};
static const char *const AFTER_PRODUCT[] = {"bread", "loaf",  "loaves", "bun",
                                            "buns",  "rolls", "bagels", NULL};
static const char *const BEFORE_STORE[] = {"from", "at",  "in",  "bought", "store",  "shop",
                                           "en",   "del", "de",  "tienda", "branch", "bei",
                                           "beim", "im",  "vom", NULL};
static const char *const AFTER_STORE[] = {"store",  "shop",     "market", "supermarket",
                                          "branch", "location", NULL};
static const char *const NUMBERED[] = {"store", "shop", "tienda", "branch", "outlet",
                                       "no",    "nr",   "number", "numero", NULL};
/* The first word of a store's name says it behind these: "at Quayside", but not "at home". */
static const char *const BEFORE_FIRST[] = {"at", "from", "bei", "beim", "vom", NULL};
static const char *const NO_FIRST[] = {"home",   "work",  "night",     "best",   "first", "last",
                                       "least",  "lunch", "breakfast", "dinner", "noon",  "once",
                                       "school", "room",  "fresh",     "local",  "this",  "that",
                                       "our",    "their", "market",    "shop",   "store", NULL};
/* "bought a rye", "a loaf of rye": one word of a product's name */
static const char *const BUYING[] = {"bought",    "purchased", "grabbed", "up",  "compre", "compro",
                                     "compramos", "comprado",  "compran", "got", NULL};
static const char *const LOAVES[] = {"loaf", "loaves", "pack", "packs", "bag", "bags", NULL};
static const char *const ONE[] = {"a", "an", "one", "un", "una", NULL};
/* Goods that are no other thing: such a word alone is a product where one alone has it. */
static const char *const GOODS[] = {
    "bun",      "bagel",    "roll",     "tortilla",  "muffin",    "baguette", "brioche",
    "ciabatta", "focaccia", "pita",     "naan",      "croissant", "pretzel",  "scone",
    "crumpet",  "donut",    "doughnut", "panettone", "concha",    "bolillo",  "telera",
    "bollo",    "challah",  "stollen",  "brezel",    "brotchen",  NULL};
static const char *const OTHER[] = {"not", "unlike", "than", "besides", NULL};

static bool is_one_of(const char *const *list, const char *word)
{
    for (; *list; list++)
        if (strcmp(*list, word) == 0)
            return true;
    return false;
}

static bool has_letters(const char *word)
{
    return strlen(word) >= LETTERS && !isdigit((unsigned char)word[0]);
}

/* ---- the text ---- */

static bool is_in_word(char c)
{
    return isalnum((unsigned char)c) || (unsigned char)c >= 0x80 || c == '\'';
}

static void take_tokens(struct looking *l)
{
    for (size_t at = 0; l->text[at] && l->count < TOKENS;) {
        size_t from = at;
        char raw[64];
        while (is_in_word(l->text[at]))
            at++;
        if (at == from) {
            at++;
            continue;
        }
        struct token *t = &l->token[l->count++];
        struct said_words words;
        *t = (struct token){.from = from, .to = at};
        snprintf(raw, sizeof raw, "%.*s", (int)(at - from), l->text + from);
        said_words_take(raw, NULL, &words);
        if (at - from < sizeof t->word && words.count)
            text_clip(words.word[0], t->word, sizeof t->word);
    }
}

static bool is_before(const struct looking *l, size_t token, size_t near, const char *const *list)
{
    for (size_t i = 1; i <= near && i <= token; i++)
        if (is_one_of(list, l->token[token - i].word))
            return true;
    return false;
}

static bool is_after(const struct looking *l, const struct run *run, const char *const *list)
{
    size_t next = run->first + run->count;
    return next < l->count && is_one_of(list, l->token[next].word);
}

/* ---- runs ---- */

/* "buns" is "bun". */
static bool is_word(const char *said, const char *of)
{
    size_t length = strlen(of);
    return strcmp(said, of) == 0 ||
           (has_letters(of) && strncmp(said, of, length) == 0 && !strcmp(said + length, "s"));
}

/* "24oz" and "24 oz" in one, "W24": letters and digits are no word of another thing. */
static bool is_mixed(const char *word)
{
    size_t digits = 0;
    for (const char *c = word; *c; c++)
        digits += isdigit((unsigned char)*c) != 0;
    return digits && digits < strlen(word) && strlen(word) >= LETTERS;
}

static bool is_bought(const struct looking *l, size_t at)
{
    return at >= 2 &&
           ((is_one_of(ONE, l->token[at - 1].word) && is_one_of(BUYING, l->token[at - 2].word)) ||
            (strcmp(l->token[at - 1].word, "of") == 0 && is_one_of(LOAVES, l->token[at - 2].word)));
}

static bool is_announced(const struct looking *l, const struct run *run, bool whole)
{
    const char *word = l->token[run->first].word;
    bool alone = run->count == 1, number = !has_letters(word);
    if (l->kind == NAMED_PRODUCT)
        return (whole && (!alone || is_mixed(word))) ||
               is_before(l, run->first, 1, alone ? BEFORE_PRODUCT : BEFORE_PART) ||
               (!alone && is_bought(l, run->first)) || is_after(l, run, AFTER_PRODUCT);
    if (alone && number)
        return whole && is_before(l, run->first, 1, NUMBERED);
    if (whole && !alone && is_one_of(NUMBERED, word)) /* "Store 417" is one, wherever it stands */
        return true;
    return is_before(l, run->first, alone ? 1 : NEAR, BEFORE_STORE) ||
           is_after(l, run, AFTER_STORE);
}

/* `first`: of the name. */
static bool is_said_by_one_word(const struct looking *l, size_t at, bool first)
{
    const char *word = l->token[at].word;
    if (strlen(word) < LETTERS || isdigit((unsigned char)*word) || is_one_of(EMPTY, word))
        return false;
    if (l->kind == NAMED_STORE)
        return first && is_before(l, at, 1, BEFORE_FIRST) && !is_one_of(NO_FIRST, word);
    return is_bought(l, at);
}

/* A part of a name has two words, one of them of it alone. */
static bool says_a_name(const struct looking *l, const struct run *run, bool whole, bool first)
{
    if (run->count == 1 && is_said_by_one_word(l, run->first, first))
        return true;
    if (run->count == 1 && l->kind == NAMED_STORE && is_one_of(NUMBERED, l->token[run->first].word))
        return false;
    size_t own = 0;
    for (size_t i = 0; i < run->count; i++) {
        const char *word = l->token[run->first + i].word;
        own += has_letters(word) && !is_one_of(EMPTY, word);
    }
    return (run->count > 1 ? own > 0 : whole) && is_announced(l, run, whole) &&
           !is_before(l, run->first, 1, OTHER);
}

static bool overlap(const struct run *a, const struct run *b)
{
    return a->first < b->first + b->count && b->first < a->first + a->count;
}

/* The longest of those that lie on each other stays. */
static void add_run(struct looking *l, const struct run *run)
{
    size_t kept = 0;
    for (size_t i = 0; i < l->runs; i++)
        if (overlap(&l->run[i], run) && l->run[i].count >= run->count)
            return;
    for (size_t i = 0; i < l->runs; i++)
        if (!overlap(&l->run[i], run))
            l->run[kept++] = l->run[i];
    l->runs = kept;
    if (l->runs < RUNS)
        l->run[l->runs++] = *run;
}

/* "24 oz", "6er": who tells of a loaf leaves it out. */
static bool is_rest_size(const struct said_words *words, size_t from)
{
    while (from < words->count &&
           (isdigit((unsigned char)words->word[from][0]) || strlen(words->word[from]) < LETTERS))
        from++;
    return from == words->count;
}

/* "Tienda 417" is "Store 417": what says no more than that it is one may be left out. */
static bool is_name_begun(const struct looking *l, const struct said_words *words, size_t from)
{
    size_t passed = 0;
    while (l->kind == NAMED_STORE && passed < from && is_one_of(NUMBERED, words->word[passed]))
        passed++;
    return passed == from;
}

static void look_for(struct looking *l, const char *name)
{
    struct said_words words;
    said_words_take(name, NULL, &words);
    for (size_t at = 0; at < l->count; at++)
        for (size_t w = 0; w < words.count; w++) {
            struct run run = {.first = at};
            while (at + run.count < l->count && w + run.count < words.count &&
                   is_word(l->token[at + run.count].word, words.word[w + run.count]))
                run.count++;
            if (run.count &&
                says_a_name(l, &run,
                            is_name_begun(l, &words, w) && is_rest_size(&words, w + run.count),
                            w == 0))
                add_run(l, &run);
        }
}

static void look_for_goods(struct looking *l, const struct lot_find_called *row)
{
    char text[SAID_WORDS_TEXT];
    struct said_words of;
    snprintf(text, sizeof text, "%s %s %s", row->name, row->also, row->family);
    said_words_take(text, NULL, &of);
    for (size_t g = 0; g < l->goods; g++)
        for (size_t w = 0; w < of.count; w++) {
            const char *said = l->token[l->good[g].token].word;
            int64_t *product = &l->good[g].product;
            if ((is_word(said, of.word[w]) || is_word(of.word[w], said)) &&
                *product != row->product_id)
                *product = *product ? -1 : row->product_id;
        }
}

static void take_goods(struct looking *l)
{
    for (size_t at = 0; at < l->count && l->goods < RUNS; at++) {
        bool good = false;
        for (const char *const *word = GOODS; *word; word++)
            good = good || is_word(l->token[at].word, *word);
        if (good && !is_before(l, at, 1, OTHER))
            l->good[l->goods++].token = at;
    }
}

/* Nothing else names one: all goods that are spoken of are of one product. */
static void add_goods(struct looking *l)
{
    const size_t none = l->runs;
    for (size_t g = 0; !none && g < l->goods; g++)
        if (l->good[g].product <= 0 || l->good[g].product != l->good[0].product)
            return;
    if (!none && l->goods)
        l->run[l->runs++] = (struct run){l->good[0].token, 1};
}

static int look_for_store(void *arg, const char *name)
{
    look_for(arg, name);
    return 0;
}

static int look_for_product(void *arg, const struct lot_find_called *row)
{
    look_for_goods(arg, row);
    look_for(arg, row->product);
    look_for(arg, row->name);
    for (const char *also = row->also; *also; also += *also == ';') {
        char name[LENGTH_NAME + 1];
        size_t length = strcspn(also, ";");
        snprintf(name, sizeof name, "%.*s", (int)length, also);
        look_for(arg, name);
        also += length;
    }
    return 0;
}

/* ---- the answer ---- */

/* Is each word of one in the other? */
static bool is_same_thing(const struct looking *l, const struct run *a, const struct run *b)
{
    const struct run *few = a->count < b->count ? a : b, *many = few == a ? b : a;
    for (size_t i = 0; i < few->count; i++) {
        bool found = false;
        for (size_t k = 0; k < many->count; k++)
            found = found || !strcmp(l->token[few->first + i].word, l->token[many->first + k].word);
        if (!found)
            return false;
    }
    return true;
}

static void answer(const struct looking *l, struct named_in_text *ret)
{
    const struct run *best = l->runs ? &l->run[0] : NULL;
    for (size_t i = 1; i < l->runs; i++) {
        if (!is_same_thing(l, best, &l->run[i]))
            return;
        best = l->run[i].count > best->count ? &l->run[i] : best;
    }
    if (!best)
        return;
    ret->from = l->token[best->first].from;
    ret->to = l->token[best->first + best->count - 1].to;
}

int named_in_text_find(struct store *store, enum named_in_text_kind kind, const char *text,
                       struct named_in_text *ret, struct error *err)
{
    struct looking *l = xcalloc(1, sizeof *l);
    *ret = (struct named_in_text){.from = 0};
    l->text = text;
    l->kind = kind;
    take_tokens(l);
    int rc = 0;
    if (l->count && kind == NAMED_PRODUCT) {
        take_goods(l);
        rc = lot_find_called(store, false, look_for_product, l, err);
        if (!rc)
            add_goods(l);
    } else if (l->count)
        rc = lot_find_places(store, LOT_FIND_STORE, look_for_store, l, err);
    if (!rc)
        answer(l, ret);
    free(l);
    return rc;
}
