#include "intake/caller.h"
#include "base/text.h"
#include "intake/fields.h"
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
    LAST           /* it ends the story, but for numbers and addresses */
};

static const struct {
    const char *words[PHRASE_WORDS];
    enum needs needs;
} PHRASES[] = {{{"my", "name", "is"}, NAME},
               {{"my", "names"}, NAME},
               {{"me", "llamo"}, NAME},
               {{"mi", "nombre", "es"}, NAME},
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
               {{"regards"}, LAST},
               {{"sincerely"}, LAST},
               {{"thanks"}, LAST},
               {{"thank", "you"}, LAST},
               {{"cheers"}, LAST},
               {{"saludos"}, LAST},
               {{"atentamente"}, LAST},
               {{"gracias"}, LAST},
               {{"can", "reach"}, AT},
               {{"soy", "la", "senora"}, NAME},
               {{"soy", "la", "sra"}, NAME},
               {{"soy", "el", "senor"}, NAME},
               {{"soy", "el", "sr"}, NAME},
               {{"ich", "heisse"}, NAME},
               {{"ich", "heise"}, NAME},
               {{"mein", "name", "ist"}, NAME},
               {{"hier", "spricht"}, NAME},
               {{"hier", "ist"}, TWO},
               {{"ich", "bin"}, TWO},
               {{"freundlichen", "grussen"}, LAST},
               {{"freundlichen", "gruessen"}, LAST},
               {{"freundliche", "grusse"}, LAST},
               {{"freundliche", "gruesse"}, LAST},
               {{"viele", "grusse"}, LAST},
               {{"viele", "gruesse"}, LAST},
               {{"gruss"}, LAST}};

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
    if (name->words == 0 || name->common == name->words)
        return false;
    bool number = number_follows(name->to);
    switch (needs) {
    case NAME:
        return true;
    case TWO:
        return number || (name->words > 1 && is_whole(name->to));
    case BEFORE_NUMBER:
        return number;
    case AT:
        return number || is_at(name->to);
    case LAST:
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

static bool take_name(const char *at, enum needs needs, struct told_name *ret)
{
    told_name_read(told_name_skip(at, " ,:\n\r"), ret);
    return is_met(ret, needs);
}

/* "Verena Koskie here." or "Verena Koskie hier, …". */
static bool is_here(const char *story, const char *at, struct told_name *ret)
{
    static const char *const HERE[] = {"here", "hier", NULL};
    static const char *const ON[] = {"again", "from", "calling", "with", "and", NULL};
    const char *before = at;
    while (before > story && before[-1] == ' ')
        before--;
    if (before > story && !strchr(".,;:!?-\n", before[-1]))
        return false; /* "bought Country Oat here" */
    told_name_read(at, ret);
    if (ret->words < 2 || ret->common || !is_one_of(told_name_skip(ret->to, " ,"), HERE))
        return false;
    const char *end = told_name_skip(ret->to, " ,") + strlen("here");
    const char *next = told_name_skip(end, " ");
    return !*next || strchr(",.;:!-\n", *next) || is_one_of(next, ON);
}

static bool name_at(const char *story, const char *at, struct told_name *ret)
{
    const char *signature = signed_at(story, at);
    if (signature)
        return take_name(signature, LAST, ret) && ret->words > 1;
    struct told_word first;
    if (!mask_name_begins(story, at) || !told_name_word(at, &first))
        return false;
    for (size_t i = 0; i < sizeof PHRASES / sizeof *PHRASES; i++) {
        const char *next = behind(&first, PHRASES[i].words);
        if (next && take_name(next, PHRASES[i].needs, ret))
            return true;
    }
    return is_here(story, at, ret);
}

/* malloc'd; NULL if none is told. */
static char *find_name(const char *story)
{
    bool capitals = true; /* where all is written in them they tell nothing */
    struct told_name name;
    for (const char *at = story; *at; at++)
        capitals = capitals && !islower((unsigned char)*at);
    for (const char *at = story; *at && !capitals; at++)
        if (name_at(story, at, &name))
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

void caller_fill(json_t *complaint, const char *story)
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
    set(complaint, "contact/name", find_name(story));
}
