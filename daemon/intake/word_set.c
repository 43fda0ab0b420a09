#include "intake/word_set.h"
#include "base/hash.h"
#include "base/text.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { LEAST = 1024 };

/* Where it stands, or would. */
static size_t place_of(const struct word_set *set, const char *word)
{
    size_t at = hash_text(word) & (set->size - 1);
    while (set->table[at] && strcmp(set->table[at], word) != 0)
        at = (at + 1) & (set->size - 1);
    return at;
}

void word_set_reserve(struct word_set *set, size_t more)
{
    const struct word_set old = *set;
    size_t size = old.size ? old.size : LEAST;
    while (size < 2 * (old.count + more))
        size *= 2;
    if (size == old.size)
        return;
    set->size = size;
    set->table = xcalloc(size, sizeof *set->table);
    for (size_t i = 0; i < old.size; i++)
        if (old.table[i])
            set->table[place_of(set, old.table[i])] = old.table[i];
    free(old.table);
}

void word_set_add(struct word_set *set, const char *word)
{
    assert(word);
    word_set_reserve(set, 1);
    size_t at = place_of(set, word);
    set->count += !set->table[at];
    set->table[at] = word;
}

bool word_set_has(const struct word_set *set, const char *word)
{
    return set->size && set->table[place_of(set, word)];
}

void word_set_free(struct word_set *set)
{
    free(set->table);
    *set = (struct word_set){0};
}
