#include "lots/said_words.h"
#include "base/text.h"
#include <ctype.h>
#include <string.h>

enum { BEGINNING_LEAST = 3 };

static bool is_in_word(char c)
{
    return isalnum((unsigned char)c) || (unsigned char)c >= 0x80;
}

static bool is_passed(const char *const *passed, const char *word)
{
    for (; passed && *passed; passed++)
        if (strcmp(*passed, word) == 0)
            return true;
    return false;
}

static const char *without_zeros(const char *word)
{
    size_t zeros = strspn(word, "0");
    if (zeros && !word[zeros])
        zeros--; /* nothing but zeros is 0 */
    return zeros && isdigit((unsigned char)word[zeros]) ? word + zeros : word;
}

static void leave_out_passed(struct said_words *w, const char *const *passed)
{
    size_t kept = 0;
    const char *word[SAID_WORDS_MOST];
    for (size_t i = 0; i < w->count; i++)
        if (!is_passed(passed, w->word[i]))
            word[kept++] = w->word[i];
    if (kept == 0)
        return;
    memcpy(w->word, word, kept * sizeof *word);
    w->count = kept;
}

void said_words_take(const char *text, const char *const *passed, struct said_words *ret)
{
    *ret = (struct said_words){.count = 0};
    text_fold(text, ret->text, sizeof ret->text);
    for (char *at = ret->text; *at && ret->count < SAID_WORDS_MOST;) {
        if (*at == '\'') { /* "baker's" is one word */
            memmove(at, at + 1, strlen(at));
            continue;
        }
        if (!is_in_word(*at)) {
            at++;
            continue;
        }
        char *end = at;
        while (is_in_word(*end) || *end == '\'') {
            if (*end == '\'')
                memmove(end, end + 1, strlen(end));
            else
                end++;
        }
        bool last = !*end;
        *end = '\0';
        ret->word[ret->count++] = without_zeros(at);
        at = last ? end : end + 1;
    }
    leave_out_passed(ret, passed);
}

static void join(const struct said_words *w, char *out)
{
    size_t at = 0;
    for (size_t i = 0; i < w->count; i++) {
        size_t length = strlen(w->word[i]);
        memcpy(out + at, w->word[i], length);
        at += length;
    }
    out[at] = '\0';
}

bool said_words_same(const struct said_words *a, const struct said_words *b)
{
    char one[SAID_WORDS_TEXT], other[SAID_WORDS_TEXT];
    join(a, one);
    join(b, other);
    return *one && strcmp(one, other) == 0;
}

/* "buns" is "bun". */
static bool is_plural(const char *word, const char *of)
{
    size_t length = strlen(of);
    return length >= BEGINNING_LEAST && strncmp(word, of, length) == 0 && word[length] == 's' &&
           !word[length + 1];
}

static bool is_word_of(const char *word, const struct said_words *whole)
{
    size_t length = strlen(word);
    bool begins = length >= BEGINNING_LEAST && isalpha((unsigned char)word[0]);
    for (size_t i = 0; i < whole->count; i++)
        if (strcmp(word, whole->word[i]) == 0 || is_plural(word, whole->word[i]) ||
            (begins && strncmp(word, whole->word[i], length) == 0))
            return true;
    return false;
}

bool said_words_part(const struct said_words *part, const struct said_words *whole)
{
    for (size_t i = 0; i < part->count; i++)
        if (!is_word_of(part->word[i], whole))
            return false;
    return part->count > 0;
}

bool said_words_letters(const struct said_words *words)
{
    for (size_t i = 0; i < words->count; i++)
        if (strlen(words->word[i]) >= BEGINNING_LEAST && !isdigit((unsigned char)words->word[i][0]))
            return true;
    return false;
}
