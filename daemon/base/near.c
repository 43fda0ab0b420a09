#include "base/near.h"
#include "base/words.h"
#include <stdbool.h>
#include <stdint.h>
#include <string.h>

enum { LETTERS_AN_EDIT = 3, STEM_LEAST = 4 };

size_t near_edits(const char *a, const char *b)
{
    size_t row[3][NEAR_BYTES + 1], length = strlen(b);
    if (length >= NEAR_BYTES || strlen(a) >= NEAR_BYTES)
        return NEAR_BYTES;
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

struct near near_to(const char *said)
{
    return (struct near){.said = said, .edits = SIZE_MAX};
}

void near_try(struct near *near, const char *word)
{
    size_t said = strlen(near->said), length = strlen(word);
    size_t shorter = said < length ? said : length, most = shorter / LETTERS_AN_EDIT;
    size_t edits = near_edits(near->said, word);
    bool stem = shorter >= STEM_LEAST && (strstr(near->said, word) || strstr(word, near->said));
    if (edits > (most ? most : 1) && stem)
        edits = NEAR_BYTES; /* behind all slips */
    else if (edits > (most ? most : 1) || edits >= shorter)
        return;
    if (edits < near->edits) {
        near->edits = edits;
        near->word = word;
    }
}

void near_try_each(struct near *near, const char *words, char best[static NEAR_BYTES])
{
    char word[NEAR_BYTES];
    for (int i = 0; *words_at(words, i, word, sizeof word); i++) {
        near_try(near, word);
        if (near->word == word)
            near->word = memcpy(best, word, strlen(word) + 1);
    }
}

void near_hint(const struct near *near, const char *usual, struct error *err)
{
    if (near->word)
        error_hint(err, "did you mean %s?", near->word);
    else if (*usual)
        error_hint(err, "%s", usual);
}
