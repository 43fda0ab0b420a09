#include "intake/told_name.h"
#include "base/text.h"
#include "intake/mask_name.h"
#include "intake/title.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

enum { WORDS_MOST = 4 };

static const char *const PARTICLES[] = {"de",  "del", "la", "van", "von",
                                        "der", "di",  "da", "dos", NULL};
/* Behind "this is", before a number or below a story these are no persons. */
static const char *const NO_NAMES[] = {
    "i",       "we",       "it",       "the",       "a",        "my",      "your",     "our",
    "this",    "that",     "please",   "thanks",    "thank",    "you",     "sent",     "from",
    "and",     "but",      "not",      "very",      "so",       "bakery",  "foods",    "food",
    "deli",    "super",    "sandwich", "english",   "muffin",   "muffins", "customer", "manager",
    "service", "quality",  "team",     "me",        "back",     "us",      "at",       "on",
    "sauce",   "milk",     "flour",    "protein",   "lecithin", "oil",     "free",     "wheat",
    "white",   "whole",    "grain",    "sourdough", "bagel",    "bagels",  "buns",     "rolls",
    "loaves",  "phone",    "cell",     "home",      "work",     "number",  "tel",      "mobile",
    "upc",     "product",  "brand",    "company",   "inc",      "llc",     "sent",     "iphone",
    "sick",    "ill",      "angry",    "upset",     "best",     "kind",    "doctor",   "poison",
    "control", "hospital", "el",       "los",       "las",      "una",     "un",       "hola",
    "tel",     "telefono", NULL};

/* Nor is a day by itself, in the languages of the lexicon and their neighbours: "llame Sábado
 * 555-0142"; beside another word it is a part of a name: "Ana Domingo". */
static const char *const DAYS[] = {
    "saturday",  "sunday",     "tuesday",  "wednesday", "thursday", "lunes",     "martes",
    "miercoles", "jueves",     "viernes",  "sabado",    "domingo",  "montag",    "dienstag",
    "mittwoch",  "donnerstag", "freitag",  "samstag",   "sonntag",  "lundi",     "mardi",
    "mercredi",  "jeudi",      "vendredi", "samedi",    "dimanche", "hoy",       "ayer",
    "manana",    "heute",      "gestern",  "today",     "tomorrow", "yesterday", NULL};

bool told_name_word(const char *at, struct told_word *ret)
{
    size_t length = mask_name_word_at(at), to = 0;
    if (!length)
        return false;
    *ret = (struct told_word){.at = at, .length = length};
    char *said = xstrndup(at, length), *plain = mask_name_plain(said);
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

const char *told_name_skip(const char *at, const char *what)
{
    return at + strspn(at, what);
}

static void take_word(struct told_name *name, const struct told_word *word)
{
    name->from = name->from ? name->from : word->at;
    name->to = word->at + word->length;
    name->words++;
    name->common += mask_words_common(word->folded) || told_name_is_among(word->folded, DAYS);
}

void told_name_read(const char *at, struct told_name *ret)
{
    struct told_word word;
    *ret = (struct told_name){0};
    while (ret->words < WORDS_MOST && told_name_word(at, &word)) {
        const char *end = at + word.length;
        bool title = title_is(word.folded);
        bool capital = is_capital(at) && !told_name_is_among(word.folded, NO_NAMES);
        if (!title && !capital && !(ret->words && told_name_is_among(word.folded, PARTICLES)))
            return;
        if (!title && capital)
            take_word(ret, &word);
        bool initial = title || word.length == 1;
        const char *next = told_name_skip(end + (initial && *end == '.'), " ");
        if (next == end && *end == '-')
            next++;
        if (next == end)
            return;
        at = next;
    }
}

bool told_name_is_not(const char *word)
{
    return told_name_is_among(word, NO_NAMES) || told_name_is_among(word, DAYS) ||
           told_name_is_among(word, PARTICLES);
}

bool told_name_is_among(const char *word, const char *const *words)
{
    while (*words && strcmp(word, *words) != 0)
        words++;
    return *words != NULL;
}
