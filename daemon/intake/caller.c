#include "intake/caller.h"
#include "base/text.h"
#include "intake/fields.h"
#include "intake/mask.h"
#include "intake/mask_name.h"
#include <ctype.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { WORD_SIZE = 48, NAME_WORDS = 4, PHRASE_WORDS = 3, PHONE_LEAST = 7 };

/* ---- numbers and addresses ---- */

struct search {
    const char *story;
    char *phone, *email;
};

static bool is_one_of(const char *word, const char *const *words)
{
    while (*words && strcmp(word, *words) != 0)
        words++;
    return *words != NULL;
}

/* "order 6075550142": told as something else. */
static bool is_other_number(const char *story, const char *at)
{
    static const char *const OTHERS[] = {
        "order", "ticket", "invoice", "receipt", "upc",    "ean",   "gtin",     "barcode", "lot",
        "code",  "batch",  "ref",     "case",    "pedido", "lote",  "codigo",   "factura", "item",
        "sku",   "plu",    "card",    "boleta",  "recibo", "serie", "tracking", NULL};
    char word[WORD_SIZE];
    const char *to = at;
    while (to > story && strchr(" .:#", to[-1]))
        to--;
    const char *from = to;
    while (from > story && isalpha((unsigned char)from[-1]))
        from--;
    char *said = xstrndup(from, (size_t)(to - from));
    bool other = is_one_of(text_fold(said, word, sizeof word), OTHERS);
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
    struct mask_options options = {
        .code = json_string_value(json_object_get(complaint, "lot_text")), .sure = true};
    *s = (struct search){.story = story};
    for (int pass = 0; pass < 2 && !s->phone; pass++) {
        free(mask_text(story, &options, on_found, s));
        options.sure = false;
    }
}

/* ---- names ---- */

/* What must be so for words behind a phrase to be a name. */
enum needs {
    NAME,          /* nothing more */
    TWO,           /* a first and a family name */
    BEFORE_NUMBER, /* a number behind it */
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
               {{"gracias"}, LAST}};

static const char *const TITLES[] = {"mr", "mrs", "ms", "miss", "mx", "dr", "sr", "sra", NULL};
static const char *const PARTICLES[] = {"de",  "del", "la", "van", "von",
                                        "der", "di",  "da", "dos", NULL};
/* Behind "this is", before a number or below a story these are no persons. */
static const char *const NO_NAMES[] = {
    "i",       "we",       "it",       "the",       "a",        "my",        "your",     "our",
    "this",    "that",     "please",   "thanks",    "thank",    "you",       "sent",     "from",
    "and",     "but",      "not",      "very",      "so",       "bakery",    "foods",    "food",
    "deli",    "super",    "sandwich", "english",   "muffin",   "muffins",   "customer", "manager",
    "service", "quality",  "team",     "me",        "back",     "us",        "at",       "on",
    "sauce",   "milk",     "flour",    "protein",   "lecithin", "oil",       "free",     "wheat",
    "white",   "whole",    "grain",    "sourdough", "bagel",    "bagels",    "buns",     "rolls",
    "loaves",  "phone",    "cell",     "home",      "work",     "number",    "tel",      "mobile",
    "upc",     "product",  "brand",    "company",   "inc",      "llc",       "sent",     "iphone",
    "sick",    "ill",      "angry",    "upset",     "best",     "kind",      "doctor",   "poison",
    "control", "hospital", "saturday", "sunday",    "tuesday",  "wednesday", "thursday", "el",
    "los",     "las",      "una",      "un",        "hola",     "tel",       "telefono", NULL};

struct word {
    const char *at;
    size_t length;
    char folded[WORD_SIZE];
};

/* The word at `at`, folded and without apostrophes; false if there is none. */
static bool read_word(const char *at, struct word *ret)
{
    size_t length = mask_word_at(at), to = 0;
    if (!length)
        return false;
    *ret = (struct word){.at = at, .length = length};
    char *said = xstrndup(at, length), *plain = mask_plain(said);
    text_fold(plain, ret->folded, sizeof ret->folded);
    for (const char *c = ret->folded; *c; c++)
        if (*c != '\'')
            ret->folded[to++] = *c;
    ret->folded[to] = '\0';
    free(plain);
    free(said);
    return true;
}

static bool is_capital(const char *at)
{
    unsigned char first = (unsigned char)at[0], second = (unsigned char)at[1];
    return isupper(first) || (first == 0xC3 && second <= 0x9E) || first == 0xC4 || first == 0xC5;
}

static const char *skip(const char *at, const char *what)
{
    return at + strspn(at, what);
}

struct name {
    const char *from, *to;
    int words, common; /* of them, words of other things as well */
};

static void take_word(struct name *name, const struct word *word)
{
    name->from = name->from ? name->from : word->at;
    name->to = word->at + word->length;
    name->words++;
    name->common += mask_words_common(word->folded);
}

/* The words in capitals from `at` on, particles between them; titles are none of it. */
static void read_name(const char *at, struct name *ret)
{
    struct word word;
    *ret = (struct name){0};
    while (ret->words < NAME_WORDS && read_word(at, &word)) {
        const char *end = at + word.length;
        bool title = is_one_of(word.folded, TITLES);
        bool capital = is_capital(at) && !is_one_of(word.folded, NO_NAMES);
        if (!title && !capital && !(ret->words && is_one_of(word.folded, PARTICLES)))
            return;
        if (!title && capital)
            take_word(ret, &word);
        bool initial = title || word.length == 1;
        const char *next = skip(end + (initial && *end == '.'), " ");
        if (next == end && *end == '-')
            next++;
        if (next == end)
            return;
        at = next;
    }
}

/* A number to dial, or an address, behind the name: "at 555-0142", ": anna@mill.example". */
static bool number_follows(const char *at)
{
    static const char *const BETWEEN[] = {"at", "on",     "under", "tel", "phone", "cell", "mobile",
                                          "is", "number", "al",    "en",  "my",    NULL};
    struct word word;
    for (at = skip(at, " ,.:;-(\n"); read_word(at, &word) && is_one_of(word.folded, BETWEEN);)
        at = skip(at + word.length, " ,.:;-(\n");
    int digits = 0;
    for (const char *c = at; *c && strchr("0123456789+() -./", *c); c++)
        digits += isdigit((unsigned char)*c) != 0;
    return digits >= PHONE_LEAST || strcspn(at, "@") < strcspn(at, " \n");
}

/* "This is Ann Beaumont from Store 12", not "this is Country Oat bread". */
static bool is_whole(const char *end)
{
    static const char *const ON[] = {"from", "calling", "speaking", "here",  "again", "at",
                                     "and",  "of",      "de",       "desde", "y",     NULL};
    struct word word;
    return !read_word(skip(end, " "), &word) || is_one_of(word.folded, ON);
}

static bool ends_story(const char *at)
{
    at = skip(at, " ,.:;!-()\n\r\t");
    return !*at || number_follows(at);
}

static bool is_met(const struct name *name, enum needs needs)
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
    case LAST:
        return ends_story(name->to);
    }
    return false;
}

/* What stands behind the phrase that begins at `at`, NULL if none does. */
static const char *behind(const char *at, const char *const *phrase)
{
    struct word word;
    for (int i = 0; i < PHRASE_WORDS && phrase[i]; i++) {
        at = i ? skip(at, " ") : at;
        if (!read_word(at, &word) || strcmp(word.folded, phrase[i]) != 0)
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

static bool take_name(const char *at, enum needs needs, struct name *ret)
{
    read_name(skip(at, " ,:\n\r"), ret);
    return is_met(ret, needs);
}

static bool name_at(const char *story, const char *at, struct name *ret)
{
    const char *signature = signed_at(story, at);
    if (signature)
        return take_name(signature, LAST, ret) && ret->words > 1;
    if (!mask_name_begins(story, at))
        return false;
    for (size_t i = 0; i < sizeof PHRASES / sizeof *PHRASES; i++) {
        const char *next = behind(at, PHRASES[i].words);
        if (next && take_name(next, PHRASES[i].needs, ret))
            return true;
    }
    return false;
}

/* malloc'd; NULL if none is told. */
static char *find_name(const char *story)
{
    bool capitals = true; /* where all is written in them they tell nothing */
    struct name name;
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

void caller_fill(json_t *complaint, const char *story)
{
    const json_t *contact = json_object_get(complaint, "contact");
    struct search found;
    if (contact && !json_is_object(contact) && !json_is_null(contact))
        return; /* will be refused */
    if (json_is_null(contact))
        json_object_del(complaint, "contact");
    search(story, complaint, &found);
    set(complaint, "contact/phone", found.phone);
    set(complaint, "contact/email", found.email);
    set(complaint, "contact/name", find_name(story));
}
