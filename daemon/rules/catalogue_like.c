/* What somebody may have meant by a name or a word that the catalogue does not have. */
#include "base/text.h"
#include "base/units.h"
#include "rules/catalogue_inside.h"
#include <string.h>

enum { NAME_BYTES = 64 };

/* "Crumb pH" and "crumb-pH" are written "crumb_ph" here. */
static void plain(const char *said, char out[NAME_BYTES])
{
    text_fold(said, out, NAME_BYTES);
    for (char *p = out; *p; p++)
        *p = *p == ' ' || *p == '-' ? '_' : *p;
}

/* Letters that were changed, left out, added, or swapped with their neighbour (the restricted
 * edit distance of Damerau 1964). Both shorter than NAME_BYTES. */
static size_t distance(const char *a, const char *b)
{
    size_t row[3][NAME_BYTES + 1], length = strlen(b);
    for (size_t j = 0; j <= length; j++)
        row[0][j] = j;
    for (size_t i = 1; a[i - 1]; i++) {
        size_t *now = row[i % 3], *last = row[(i + 2) % 3], *before = row[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= length; j++) {
            size_t best = last[j - 1] + (a[i - 1] != b[j - 1]);
            best = last[j] + 1 < best ? last[j] + 1 : best;
            best = now[j - 1] + 1 < best ? now[j - 1] + 1 : best;
            bool swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
            now[j] = swapped && before[j - 2] + 1 < best ? before[j - 2] + 1 : best;
        }
    }
    return row[strlen(a) % 3][length];
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
    size_t whole = distance(said, name), without = distance(said, stem);
    size_t least = whole < without ? whole : without;
    if (least <= (most ? most : 1) && length > 2)
        return least;
    return length > 3 && (strstr(name, said) || strstr(said, stem)) ? most + 2 : SIZE_MAX;
}

const struct catalogue_quantity *catalogue_said(const struct catalogue *c, const char *name)
{
    char said[NAME_BYTES];
    plain(name, said);
    return catalogue_quantity(c, said);
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
    return far < NAME_BYTES ? far : NAME_BYTES + distance(said, name);
}

int catalogue_nearest(const struct catalogue *c, const char *name,
                      const char *ret[CATALOGUE_NEAREST])
{
    char said[NAME_BYTES];
    size_t far[CATALOGUE_NEAREST];
    int count = 0;
    plain(name, said);
    for (int i = 0; i < c->quantity_count; i++) {
        size_t one = far_from(said, c->quantities[i].name);
        int at = 0;
        while (at < count && far[at] <= one)
            at++;
        if (at == CATALOGUE_NEAREST || c->quantities[i].of != QUANTITY_OF_LOT)
            continue;
        count += count < CATALOGUE_NEAREST;
        for (int k = count - 1; k > at; k--) {
            far[k] = far[k - 1];
            ret[k] = ret[k - 1];
        }
        far[at] = one;
        ret[at] = c->quantities[i].name;
    }
    return count;
}

const char *catalogue_word(const struct catalogue_quantity *quantity, const char *said)
{
    char word[NAME_BYTES];
    text_fold(said, word, sizeof word);
    word[strcspn(word, " .,;(")] = '\0';
    const struct field_word *found = fields_word(quantity->words, word);
    return found ? found->word : NULL;
}
