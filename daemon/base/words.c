#include "base/words.h"
#include <assert.h>
#include <string.h>

bool words_has(const char *words, const char *word)
{
    assert(words && word);
    size_t length = strlen(word);
    for (const char *at = words; *at; at += strspn(at, " ")) {
        size_t next = strcspn(at, " ");
        if (next == length && strncmp(at, word, length) == 0)
            return true;
        at += next;
    }
    return false;
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
