/* What somebody may have meant by a name or a word that the catalogue does not have. */
#include "base/near.h"
#include "base/text.h"
#include "base/units.h"
#include "rules/catalogue_inside.h"
#include <ctype.h>
#include <string.h>

enum { NAME_BYTES = NEAR_BYTES, TITLE_BYTES = 136 };

/* "Crumb pH" and "crumb-pH" are written "crumb_ph" here. */
static void plain(const char *said, char out[NAME_BYTES])
{
    text_fold(said, out, NAME_BYTES);
    for (char *p = out; *p; p++)
        *p = *p == ' ' || *p == '-' ? '_' : *p;
}

/* 0 the same, up to a letter in four otherwise; a part of the name counts as one letter more than
 * that. SIZE_MAX: not like it. */
static size_t unlike(const char *said, const char *name)
{
    char stem[NAME_BYTES];
    const char *suffix = name + strlen(name);
    size_t length = strlen(said), most = length / 4;
    units_promised(name, &suffix);
    text_clip(name, stem, sizeof stem);
    if ((size_t)(suffix - name) < sizeof stem)
        stem[suffix - name] = '\0';
    size_t whole = near_edits(said, name), without = near_edits(said, stem);
    size_t least = whole < without ? whole : without;
    if (least <= (most ? most : 1) && length > 2)
        return least;
    return length > 3 && (strstr(name, said) || strstr(said, stem)) ? most + 2 : SIZE_MAX;
}

/* The words of a title as people write it, each between blanks, without what stands in brackets:
 * that is a unit. */
static void title_words(const char *said, char out[TITLE_BYTES])
{
    char folded[TITLE_BYTES - 2];
    size_t length = 0;
    bool bracket = false;
    text_fold(said, folded, sizeof folded);
    out[length++] = ' ';
    for (const char *p = folded; *p; p++) {
        bool letter = (unsigned char)*p >= 0x80 || isalnum((unsigned char)*p);
        bracket = (bracket || *p == '[' || *p == '(') && *p != ']' && *p != ')';
        if (letter && !bracket)
            out[length++] = *p;
        else if (out[length - 1] != ' ')
            out[length++] = ' ';
    }
    if (out[length - 1] != ' ')
        out[length++] = ' ';
    out[length] = '\0';
}

/* Whether each word of the one is one of the other. */
static bool holds_words(const char *of, const char *words)
{
    char word[TITLE_BYTES];
    for (const char *p = words; p[1]; p += strcspn(p + 1, " ") + 1) {
        size_t length = strcspn(p + 1, " ") + 2;
        text_clip(p, word, length + 1);
        if (!strstr(of, word))
            return false;
    }
    return true;
}

/* How a title is named: 0 not, 1 by some of its words, 2 by all, in whatever order. */
static int titled(const struct catalogue_quantity *quantity, const char *words)
{
    char title[TITLE_BYTES];
    title_words(quantity->title, title);
    if (!words[1] || !holds_words(title, words))
        return 0;
    return 1 + holds_words(words, title);
}

const struct catalogue_quantity *catalogue_said(const struct catalogue *c, const char *name)
{
    char said[NAME_BYTES], words[TITLE_BYTES];
    plain(name, said);
    const struct catalogue_quantity *found = catalogue_quantity(c, said), *by_title = NULL;
    title_words(name, words);
    for (int i = 0; !found && i < c->quantity_count; i++) {
        if (titled(&c->quantities[i], words) < 2)
            continue;
        if (by_title) /* two of one title: neither is meant */
            return NULL;
        by_title = &c->quantities[i];
    }
    return found ? found : by_title;
}

const char *catalogue_like(const struct catalogue *c, const char *name)
{
    char said[NAME_BYTES];
    const char *best = NULL;
    size_t least = SIZE_MAX;
    plain(name, said);
    for (int i = 0; i < c->quantity_count; i++) {
        size_t far = unlike(said, c->quantities[i].name);
        if (far < least) {
            least = far;
            best = c->quantities[i].name;
        }
    }
    return best;
}

/* How far a name is, of those that are like it before all others. */
static size_t far_from(const char *said, const char *name)
{
    size_t far = unlike(said, name);
    return far < NAME_BYTES ? far : NAME_BYTES + near_edits(said, name);
}

/* The nearest so far, the nearest first. */
struct nearest {
    size_t far[CATALOGUE_NEAREST];
    const char **name;
    int count;
};

static void take_near(struct nearest *n, size_t far, const char *name)
{
    int at = 0;
    while (at < n->count && n->far[at] <= far)
        at++;
    if (at == CATALOGUE_NEAREST)
        return;
    n->count += n->count < CATALOGUE_NEAREST;
    for (int k = n->count - 1; k > at; k--) {
        n->far[k] = n->far[k - 1];
        n->name[k] = n->name[k - 1];
    }
    n->far[at] = far;
    n->name[at] = name;
}

int catalogue_nearest(const struct catalogue *c, const char *name,
                      const char *ret[CATALOGUE_NEAREST])
{
    char said[NAME_BYTES], words[TITLE_BYTES];
    struct nearest n = {.name = ret};
    plain(name, said);
    title_words(name, words);
    for (int i = 0; i < c->quantity_count; i++) {
        const struct catalogue_quantity *one = &c->quantities[i];
        if (one->of == QUANTITY_OF_LOT)
            take_near(&n, titled(one, words) ? 0 : far_from(said, one->name), one->name);
    }
    return n.count;
}

int catalogue_nearest_place(const struct catalogue *c, const char *name,
                            const char *ret[CATALOGUE_NEAREST])
{
    char said[NAME_BYTES];
    struct nearest n = {.name = ret};
    plain(name, said);
    for (char *p = said; *p; p++)
        *p = *p == '_' ? '-' : *p;
    for (int i = 0; i < c->place_count; i++)
        take_near(&n, far_from(said, c->places[i].place), c->places[i].place);
    return n.count;
}

const char *catalogue_word(const struct catalogue_quantity *quantity, const char *said)
{
    char word[NAME_BYTES];
    text_fold(said, word, sizeof word);
    word[strcspn(word, " .,;(")] = '\0';
    const struct field_word *found = fields_word(quantity->words, word);
    return found ? found->word : NULL;
}
