#include "base/words.h"
#include <assert.h>
#include <stdio.h>
#include <string.h>

int words_place(const char *words, const char *word)
{
    assert(words && word);
    size_t length = strlen(word);
    int place = 0;
    for (const char *at = words; *at; at += strspn(at, " "), place++) {
        size_t next = strcspn(at, " ");
        if (next == length && strncmp(at, word, length) == 0)
            return place;
        at += next;
    }
    return -1;
}

bool words_has(const char *words, const char *word)
{
    return words_place(words, word) >= 0;
}

const char *words_at(const char *words, int place, char *buffer, size_t size)
{
    const char *at = words;
    for (; place > 0 && *at; place--) {
        at += strcspn(at, " ");
        at += strspn(at, " ");
    }
    snprintf(buffer, size, "%.*s", place == 0 ? (int)strcspn(at, " ") : 0, at);
    return buffer;
}

void words_or(const char *words, struct text_buffer *out)
{
    for (const char *at = words; *at;) {
        size_t next = strcspn(at, " "), gap = strspn(at + next, " ");
        text_append_bytes(out, at, next);
        at += next + gap;
        if (*at)
            text_append(out, strchr(at, ' ') ? ", " : " or ");
    }
}
