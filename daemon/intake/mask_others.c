#include "intake/mask_others.h"
#include "intake/mask_name.h"
#include "intake/title.h"
#include "intake/told_name.h"
#include <ctype.h>
#include <stdlib.h>
#include <string.h>

/* Folded and sorted. Words for persons, in English and Spanish. */
static const char *const PERSONS[] = {
    "abuela",     "abuelo",        "amiga",       "amigo",     "aunt",        "auntie",
    "baby",       "babysitter",    "bebe",        "boss",      "boyfriend",   "brother",
    "brothers",   "casera",        "casero",      "child",     "children",    "colleague",
    "companera",  "companero",     "cousin",      "coworker",  "cunada",      "cunado",
    "dad",        "daddy",         "daughter",    "daughters", "esposa",      "esposo",
    "father",     "fiance",        "fiancee",     "flatmate",  "friend",      "friends",
    "girlfriend", "granddaughter", "grandfather", "grandma",   "grandmother", "grandpa",
    "grandson",   "granny",        "hermana",     "hermano",   "hija",        "hijas",
    "hijo",       "hijos",         "housemate",   "husband",   "jefa",        "jefe",
    "kid",        "kids",          "landlady",    "landlord",  "madre",       "maestra",
    "mama",       "marido",        "mate",        "mom",       "mommy",       "mother",
    "mujer",      "mum",           "nan",         "nana",      "nanny",       "neighbor",
    "neighbors",  "neighbour",     "neighbours",  "nena",      "nene",        "nephew",
    "niece",      "nieta",         "nieto",       "novia",     "novio",       "nuera",
    "nurse",      "padre",         "papa",        "partner",   "prima",       "primo",
    "roommate",   "sister",        "sisters",     "sobrina",   "sobrino",     "son",
    "sons",       "stepdaughter",  "stepson",     "suegra",    "suegro",      "teacher",
    "tenant",     "tia",           "tio",         "toddler",   "twins",       "uncle",
    "vecina",     "vecinas",       "vecino",      "vecinos",   "wife",        "yerno"};
enum { PERSON_COUNT = sizeof PERSONS / sizeof PERSONS[0] };
/* Whose they are, before a word for a person. */
static const char *const WHOSE[] = {"my", "our", "his", "her",     "their",   "the",
                                    "a",  "mi",  "mis", "nuestro", "nuestra", "nuestros",
                                    "su", "la",  "el",  "una",     "un",      NULL};
/* Between a word for a person and the name. */
static const char *const BETWEEN[] = {"is",      "named",   "called", "name",   "names",
                                      "whose",   "se",      "llama",  "nombre", "de",
                                      "llamada", "llamado", "next",   "door",   NULL};
enum { BETWEEN_MOST = 4 };

/* With a capital or without: what is told of people, none of whose names it is. */
static const char *const TOLD[] = {
    "was",    "were",    "has",      "had",      "have",     "got",     "ate",      "eats",
    "said",   "says",    "found",    "felt",     "can",      "could",   "did",      "does",
    "will",   "would",   "to",       "for",      "with",     "in",      "who",      "when",
    "after",  "because", "allergic", "allergy",  "celiac",   "coeliac", "diabetic", "pregnant",
    "nut",    "nuts",    "peanut",   "peanuts",  "egg",      "eggs",    "sesame",   "soy",
    "gluten", "dairy",   "fish",     "alergico", "alergica", "celiaco", "celiaca",  "comio",
    "dijo",   "tiene",   "tuvo",     "fue",      "esta",     "que",     "hospital", NULL};

static bool is_capital(const char *at)
{
    return text_is_capital(at) && !(isupper((unsigned char)at[0]) && isupper((unsigned char)at[1]));
}

/* A text and its words in small letters, folded, by the alphabet: looked up for every name. */
struct told_text {
    const char *text;
    char (*small)[TOLD_NAME_WORD];
    size_t count;
};

static int by_letters(const void *left, const void *right)
{
    return strcmp(left, right);
}

static void take_small(const char *text, struct told_text *ret)
{
    struct told_word word;
    *ret = (struct told_text){.text = text};
    ret->small = xmalloc((strlen(text) + 1) * sizeof *ret->small);
    for (const char *at = text; *at; at++)
        if (islower((unsigned char)*at) && mask_name_begins(text, at) && told_name_word(at, &word))
            memcpy(ret->small[ret->count++], word.folded, sizeof word.folded);
    qsort(ret->small, ret->count, sizeof *ret->small, by_letters);
}

/* The word stands in small letters too. */
static bool is_word_of(const struct told_text *told, const struct told_word *name)
{
    return bsearch(name->folded, told->small, told->count, sizeof *told->small, by_letters);
}

/* A word that stands for other things as well is no name by itself, nor is one that the story has
 * in small letters. */
static bool is_name(const struct told_text *told, const struct told_name *name)
{
    struct told_word word;
    for (const char *at = name->from; name->words && at < name->to; at++) {
        if (!is_capital(at) || !mask_name_begins(told->text, at) || !told_name_word(at, &word))
            continue;
        if (told_name_is_among(word.folded, TOLD) || is_word_of(told, &word))
            return false;
    }
    return name->words > name->common;
}

/* Capitals tell nothing where there is none behind another word, or every word has one. */
static bool capitals_tell(const char *text)
{
    int capitals = 0, small = 0;
    for (const char *at = text; *at; at++) {
        if (at == text || at[-1] != ' ')
            continue;
        capitals += is_capital(at) && mask_name_word_at(at) > 1;
        small += islower((unsigned char)*at) != 0;
    }
    return capitals > 0 && capitals <= small;
}

static int by_word(const void *word, const void *row)
{
    return strcmp(word, *(const char *const *)row);
}

static bool is_person(const char *word)
{
    return bsearch(word, PERSONS, PERSON_COUNT, sizeof *PERSONS, by_word) != NULL;
}

/* Once each. */
static void add(struct text_buffer *names, const struct told_name *name)
{
    char *own = xstrndup(name->from, (size_t)(name->to - name->from));
    const char *at = names->data;
    while (at && (at = strstr(at, own)) && at[strlen(own)] && at[strlen(own)] != ',')
        at++;
    free(own);
    if (at)
        return;
    text_append(names, ", ");
    text_append_bytes(names, name->from, (size_t)(name->to - name->from));
}

/* Behind a word for a person: the name, and one more behind "and". */
static void find_behind(const struct told_text *told, const char *at, struct text_buffer *names)
{
    static const char *const AND[] = {"and", "y", NULL};
    struct told_word word;
    struct told_name name;
    for (int i = 0; i < BETWEEN_MOST; i++) {
        at = told_name_skip(at, " ,(");
        if (!told_name_word(at, &word) || !told_name_is_among(word.folded, BETWEEN))
            break;
        at += word.length;
    }
    for (bool more = true; more; at = told_name_skip(word.at + word.length, " ")) {
        told_name_read(at, &name);
        if (!is_name(told, &name))
            return;
        add(names, &name);
        more = told_name_word(told_name_skip(name.to, " "), &word) &&
               told_name_is_among(word.folded, AND);
        if (!more)
            return;
    }
}

/* "Petra Lind, my neighbour" or "Petra Lind (my sister)". */
static bool is_somebodys(const char *at)
{
    struct told_word word;
    const char *from = told_name_skip(at, " ,(");
    if (from == at || !told_name_word(from, &word) || !told_name_is_among(word.folded, WHOSE))
        return false;
    return told_name_word(told_name_skip(word.at + word.length, " "), &word) &&
           is_person(word.folded);
}

void mask_others_find(const char *text, struct text_buffer *names)
{
    struct told_word word;
    struct told_name name;
    struct told_text told;
    if (!capitals_tell(text))
        return;
    take_small(text, &told);
    for (const char *at = text; *at; at++) {
        if (!mask_name_begins(text, at) || !told_name_word(at, &word))
            continue;
        const char *end = at + word.length;
        if (is_person(word.folded)) {
            find_behind(&told, end, names);
        } else if (title_is(word.folded)) {
            told_name_read(told_name_skip(end + (*end == '.'), " "), &name);
            if (is_name(&told, &name))
                add(names, &name);
        } else {
            told_name_read(at, &name);
            if (name.words && is_somebodys(name.to) && is_name(&told, &name))
                add(names, &name);
        }
    }
    free(told.small);
}
