#include "intake/caller.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/lexicon_inside.h"
#include "intake/mask.h"
#include "intake/mask_name.h"
#include "intake/told_name.h"
#include <ctype.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { PHRASE_WORDS = 3, PHONE_LEAST = 7 };

/* ---- numbers and addresses ---- */

struct search {
    const char *story;
    char *phone, *email;
};

/* "order 6075550142": told as something else. */
static bool is_other_number(const char *story, const char *at)
{
    static const char *const OTHERS[] = {
        "order", "ticket", "invoice", "receipt", "upc",    "ean",   "gtin",     "barcode", "lot",
        "code",  "batch",  "ref",     "case",    "pedido", "lote",  "codigo",   "factura", "item",
        "sku",   "plu",    "card",    "boleta",  "recibo", "serie", "tracking", NULL};
    char word[TOLD_NAME_WORD];
    const char *to = at;
    while (to > story && strchr(" .:#", to[-1]))
        to--;
    const char *from = to;
    while (from > story && isalpha((unsigned char)from[-1]))
        from--;
    char *said = xstrndup(from, (size_t)(to - from));
    bool other = told_name_is_among(text_fold(said, word, sizeof word), OTHERS);
    free(said);
    return other;
}

static void keep_phone(struct search *s, const char *at, size_t length)
{
    char digits[64];
    bool plain = true;
    for (size_t i = 0; i < length; i++)
        plain = plain && strchr("0123456789+() -./xet", at[i]);
    if (!is_other_number(s->story, at))
        s->phone =
            plain ? xstrndup(at, length) : xstrdup(mask_digits(at, length, digits, sizeof digits));
}

static void on_found(void *arg, enum mask_kind kind, const char *at, size_t length)
{
    struct search *s = arg;
    if (kind == MASK_PHONE && !s->phone)
        keep_phone(s, at, length);
    /* one that is read out is masked, but nobody can write to it */
    if (kind == MASK_MAIL && !s->email && memchr(at, '@', length) && !memchr(at, ' ', length))
        s->email = xstrndup(at, length);
}

static void search(const char *story, const json_t *complaint, struct search *s)
{
    bool unsure = false;
    struct mask_options options = {.codes =
                                       json_string_value(json_object_get(complaint, "lot_text")),
                                   .sure = true,
                                   .unsure = &unsure};
    *s = (struct search){.story = story};
    free(mask_text(story, &options, on_found, s));
    options.sure = false;
    if (unsure && !s->phone)
        free(mask_text(story, &options, on_found, s));
}

/* ---- names ---- */

/* What must be so for words behind a phrase to be a name. */
enum needs {
    NAME,          /* nothing more */
    TWO,           /* a first and a family name */
    BEFORE_NUMBER, /* a number behind it */
    AT,            /* "at" or a number behind it */
    LAST,          /* it ends the story, but for numbers and addresses */
    COMMA,         /* the same, behind a comma */
    COLON,         /* the field of a form: "Name: Koskie, Verena" */
    TOLD,          /* whatever it is, in small letters too */
    SIGNED         /* it ends the story, in small letters too */
};

static const struct {
    const char *words[PHRASE_WORDS];
    enum needs needs;
} PHRASES[] = {{{"my", "name", "is"}, TOLD},
               {{"my", "names"}, TOLD},
               {{"me", "llamo"}, TOLD},
               {{"mi", "nombre", "es"}, TOLD},
               {{"this", "is"}, TWO},
               {{"i", "am"}, TWO},
               {{"im"}, TWO},
               {{"its"}, BEFORE_NUMBER},
               {{"soy"}, TWO},
               {{"habla"}, TWO},
               {{"call", "me"}, BEFORE_NUMBER},
               {{"call"}, BEFORE_NUMBER},
               {{"call", "me", "back"}, BEFORE_NUMBER},
               {{"reach", "me"}, BEFORE_NUMBER},
               {{"contact"}, BEFORE_NUMBER},
               {{"ring"}, BEFORE_NUMBER},
               {{"phone"}, BEFORE_NUMBER},
               {{"ask", "for"}, BEFORE_NUMBER},
               {{"llame", "a"}, BEFORE_NUMBER},
               {{"llamar", "a"}, BEFORE_NUMBER},
               {{"llameme"}, BEFORE_NUMBER},
               {{"llamenme"}, BEFORE_NUMBER},
               {{"caller"}, BEFORE_NUMBER},
               {{"regards"}, SIGNED},
               {{"sincerely"}, SIGNED},
               {{"thx"}, SIGNED},
               {{"thanks"}, LAST},
               {{"best"}, COMMA},
               {{"signed"}, COMMA},
               {{"name"}, COLON},
               {{"the", "names"}, NAME},
               {{"thank", "you"}, LAST},
               {{"cheers"}, LAST},
               {{"saludos"}, SIGNED},
               {{"atentamente"}, SIGNED},
               {{"gracias"}, LAST},
               {{"can", "reach"}, AT},
               {{"soy", "la", "senora"}, NAME},
               {{"soy", "la", "sra"}, NAME},
               {{"soy", "el", "senor"}, NAME},
               {{"soy", "el", "sr"}, NAME},
               {{"ich", "heisse"}, TOLD},
               {{"ich", "heise"}, TOLD},
               {{"mein", "name", "ist"}, TOLD},
               {{"hier", "spricht"}, NAME},
               {{"hier", "ist"}, TWO},
               {{"ich", "bin"}, TWO},
               {{"freundlichen", "grussen"}, SIGNED},
               {{"freundlichen", "gruessen"}, SIGNED},
               {{"freundliche", "grusse"}, LAST},
               {{"freundliche", "gruesse"}, LAST},
               {{"viele", "grusse"}, LAST},
               {{"viele", "gruesse"}, LAST},
               {{"gruss"}, LAST}};

struct story {
    const char *text;
    const struct lexicon *lexicon;
    bool capitals; /* all of it is written in them: they tell nothing */
};

/* A number to dial, or an address, behind the name: "at 555-0142", ": anna@mill.example". */
static bool number_follows(const char *at)
{
    static const char *const BETWEEN[] = {"at", "on",     "under", "tel", "phone", "cell", "mobile",
                                          "is", "number", "al",    "en",  "my",    NULL};
    struct told_word word;
    for (at = told_name_skip(at, " ,.:;-(\n");
         told_name_word(at, &word) && told_name_is_among(word.folded, BETWEEN);)
        at = told_name_skip(at + word.length, " ,.:;-(\n");
    int digits = 0;
    for (const char *c = at; *c && strchr("0123456789+() -./", *c); c++)
        digits += isdigit((unsigned char)*c) != 0;
    return digits >= PHONE_LEAST || memchr(at, '@', strcspn(at, " \n"));
}

/* "This is Ann Beaumont from Store 12", not "this is Country Oat bread". */
static bool is_whole(const char *end)
{
    static const char *const ON[] = {"from", "calling", "speaking", "here",  "again", "at",
                                     "and",  "of",      "de",       "desde", "y",     NULL};
    struct told_word word;
    return !told_name_word(told_name_skip(end, " "), &word) || told_name_is_among(word.folded, ON);
}

static bool ends_story(const char *at)
{
    at = told_name_skip(at, " ,.:;!-()\n\r\t");
    return !*at || number_follows(at);
}

static bool is_one_of(const char *at, const char *const *words)
{
    struct told_word word;
    return told_name_word(at, &word) && told_name_is_among(word.folded, words);
}

static bool is_at(const char *end)
{
    static const char *const WORDS[] = {"at", "on", "under", NULL};
    return is_one_of(told_name_skip(end, " "), WORDS);
}

static bool is_met(const struct told_name *name, enum needs needs)
{
    if (name->words == 0 || (name->common == name->words && needs != TOLD))
        return false;
    bool number = number_follows(name->to);
    switch (needs) {
    case NAME:
    case TOLD:
    case COLON:
        return true;
    case TWO:
        return number || (name->words > 1 && is_whole(name->to));
    case BEFORE_NUMBER:
        return number;
    case AT:
        return number || is_at(name->to);
    case LAST:
    case COMMA:
    case SIGNED:
        return ends_story(name->to);
    }
    return false;
}

/* What stands behind the phrase that begins with the word, NULL if it does not. */
static const char *behind(const struct told_word *first, const char *const *phrase)
{
    struct told_word word;
    const char *at = first->at + first->length;
    if (strcmp(first->folded, phrase[0]) != 0)
        return NULL;
    for (int i = 1; i < PHRASE_WORDS && phrase[i]; i++) {
        at = told_name_skip(at, " ");
        if (!told_name_word(at, &word) || strcmp(word.folded, phrase[i]) != 0)
            return NULL;
        at += word.length;
    }
    return at;
}

/* Below a story: "— Verena Koskie", "-- Verena", on a line of its own or behind a sentence. */
static const char *signed_at(const char *story, const char *at)
{
    static const char *const DASHES[] = {"\xE2\x80\x94", "\xE2\x80\x93", "--", "-"};
    bool apart = at > story && strchr(" \n", at[-1]);
    for (size_t i = 0; apart && i < sizeof DASHES / sizeof *DASHES; i++)
        if (strncmp(at, DASHES[i], strlen(DASHES[i])) == 0)
            return at + strlen(DASHES[i]);
    return NULL;
}

/* Where capitals tell nothing, a word that the rules read is none of a name. */
static bool is_no_name(const struct lexicon *lexicon, const struct told_word *word)
{
    return word->length <= 2 || told_name_is_not(word->folded) ||
           (lexicon_knows(lexicon, word->folded) && !mask_words_common(word->folded));
}

/* Nothing of the sentence comes behind a name in small letters but what begins another. */
static bool is_apart(const char *end)
{
    static const char *const ON[] = {"i", "we", "my", "the", "it", "your", "phone", NULL};
    const char *next = told_name_skip(end, " ");
    return !*next || strchr(",.;:!-\n(", *next) || is_one_of(next, ON) ||
           (is_whole(end) && isalpha((unsigned char)*next)) || number_follows(end);
}

static void add_small(const struct told_word *word, struct told_name *ret)
{
    ret->from = ret->from ? ret->from : word->at;
    ret->to = word->at + word->length;
    ret->words++;
    ret->common += mask_words_common(word->folded);
}

/* "my name is verena koskie", "my name is Verena koskie": a second word where it ends there. */
static void take_small(const struct story *s, const char *at, struct told_name *ret)
{
    struct told_word word;
    if (ret->words == 0 && told_name_word(at, &word) && !is_no_name(s->lexicon, &word))
        add_small(&word, ret);
    if (ret->words != 1)
        return;
    const char *next = told_name_skip(ret->to, " ");
    if (next > ret->to && told_name_word(next, &word) && !is_no_name(s->lexicon, &word) &&
        !mask_words_common(word.folded) && is_apart(next + word.length))
        add_small(&word, ret);
}

/* "Koskie, Verena" */
static void take_given(struct told_name *ret)
{
    struct told_name given;
    if (ret->words != 1 || *ret->to != ',')
        return;
    told_name_read(told_name_skip(ret->to + 1, " "), &given);
    if (given.words == 1 && given.common == 0 && (!*given.to || strchr(",.;\n", *given.to)))
        ret->to = given.to;
}

static bool take_name(const struct story *s, const char *at, enum needs needs,
                      struct told_name *ret)
{
    *ret = (struct told_name){0};
    if ((needs == COMMA && *at != ',') || (needs == COLON && *at != ':'))
        return false;
    at = told_name_skip(at, " ,:\n\r");
    if (!s->capitals)
        told_name_read(at, ret);
    if (s->lexicon && (needs == TOLD || needs == SIGNED))
        take_small(s, at, ret);
    if (needs == COLON)
        take_given(ret);
    return is_met(ret, needs);
}

/* "Name:", "customer name:", not "product name:". */
static bool begins_field(const char *story, const char *at)
{
    static const char *const WHOSE[] = {"customer", "caller", "contact", "my", NULL};
    while (at > story && at[-1] == ' ')
        at--;
    const char *from = at;
    while (from > story && isalpha((unsigned char)from[-1]))
        from--;
    return at == story || strchr(".,;\n", at[-1]) || (from < at && is_one_of(from, WHOSE));
}

/* "Verena Koskie here." or "Verena Koskie hier, …". */
static bool is_here(const char *story, const char *at, struct told_name *ret)
{
    static const char *const HERE[] = {"here", "hier", "speaking", "calling", NULL};
    static const char *const ON[] = {"again", "from", "calling", "with", "and", "about", NULL};
    const char *before = at;
    while (before > story && before[-1] == ' ')
        before--;
    if (before > story && !strchr(".,;:!?-\n", before[-1]))
        return false; /* "bought Country Oat here" */
    struct told_word word;
    told_name_read(at, ret);
    if (ret->words < 2 || ret->common || !is_one_of(told_name_skip(ret->to, " ,"), HERE) ||
        !told_name_word(told_name_skip(ret->to, " ,"), &word))
        return false;
    const char *end = word.at + word.length;
    const char *next = told_name_skip(end, " ");
    return !*next || strchr(",.;:!-\n", *next) || is_one_of(next, ON);
}

static bool name_at(const struct story *s, const char *at, struct told_name *ret)
{
    const char *signature = signed_at(s->text, at);
    if (signature)
        return take_name(s, signature, LAST, ret) && ret->words > 1;
    struct told_word first;
    if (!mask_name_begins(s->text, at) || !told_name_word(at, &first))
        return false;
    for (size_t i = 0; i < sizeof PHRASES / sizeof *PHRASES; i++) {
        const char *next = behind(&first, PHRASES[i].words);
        if (next && (PHRASES[i].needs != COLON || begins_field(s->text, at)) &&
            take_name(s, next, PHRASES[i].needs, ret))
            return true;
    }
    return !s->capitals && is_here(s->text, at, ret);
}

/* malloc'd; NULL if none is told. */
static char *find_name(const struct lexicon *lexicon, const char *text)
{
    struct story s = {text, lexicon, true};
    struct told_name name;
    for (const char *at = text; *at; at++)
        s.capitals = s.capitals && !islower((unsigned char)*at);
    for (const char *at = text; *at; at++)
        if (name_at(&s, at, &name))
            return xstrndup(name.from, (size_t)(name.to - name.from));
    return NULL;
}

/* ---- all of it ---- */

/* Gives away `said`, which may be NULL. */
static void set(json_t *complaint, const char *field, char *said)
{
    const struct field *f = fields_find(field);
    json_t *given = fields_get(complaint, f);
    bool empty = !given || (json_is_string(given) && !*json_string_value(given));
    if (said && empty && strlen(said) <= (size_t)f->high)
        fields_set_new(complaint, f, json_string(said));
    free(said);
}

/* It will be refused, and is not read: whoever sends a long one takes none of the desk's time. */
static bool is_too_long(const json_t *complaint, const char *story)
{
    return strlen(story) > (size_t)fields_find("note")->high ||
           json_string_length(json_object_get(complaint, "lot_text")) >
               (size_t)fields_find("lot_text")->high;
}

void caller_fill(const struct lexicon *lexicon, json_t *complaint, const char *story)
{
    const json_t *contact = json_object_get(complaint, "contact");
    struct search found;
    if (contact && !json_is_object(contact) && !json_is_null(contact))
        return; /* will be refused */
    if (json_is_null(contact))
        json_object_del(complaint, "contact");
    if (is_too_long(complaint, story))
        return;
    search(story, complaint, &found);
    set(complaint, "contact/phone", found.phone);
    set(complaint, "contact/email", found.email);
    set(complaint, "contact/name", find_name(lexicon, story));
}
