#include "intake/harm_note.h"
#include "base/text.h"
#include <stdbool.h>

static int only(struct harm_heard **heard, int kind, size_t from, size_t to)
{
    *heard = xrealloc(*heard, sizeof **heard);
    **heard = (struct harm_heard){kind, from, to};
    return 1;
}

static bool is_said(const struct harm_heard *heard, int count)
{
    return count && heard->kind != HARM_WORDS_POSSIBLE;
}

/* Is everything that phrases say doubted? Of a kind that no weight was learned of nothing is. */
static bool all_doubted(const struct harm_weights *weights, const char *text,
                        const struct harm_heard *heard, int count)
{
    for (int i = 0; i < count; i++)
        if (heard[i].kind >= HARM_WEIGHTS_KINDS ||
            !harm_weights_doubt(weights, text, heard[i].from, heard[i].to))
            return false;
    return true;
}

int harm_note_read(const struct harm_words *words, const struct harm_weights *weights,
                   const char *text, struct harm_heard **ret_heard)
{
    struct harm_heed heed;
    int count = harm_words_read(words, text, ret_heard, &heed);
    if (is_said(*ret_heard, count))
        return all_doubted(weights, text, *ret_heard, count)
                   ? only(ret_heard, HARM_WORDS_POSSIBLE, (*ret_heard)->from, (*ret_heard)->to)
                   : count;
    struct harm_weighed weighed = harm_weights_read(weights, text);
    /* what was denied is less likely than the same words undenied, so it takes more */
    bool as_possible = heed.denied && !count;
    if (weighed.weight == HARM_WEIGHT_SAID)
        return only(ret_heard, as_possible ? HARM_WORDS_POSSIBLE : weighed.kind, weighed.from,
                    weighed.to);
    if (weighed.weight == HARM_WEIGHT_POSSIBLE && !count && !as_possible)
        return only(ret_heard, HARM_WORDS_POSSIBLE, weighed.from, weighed.to);
    if (weights && heed.unread && !count)
        return only(ret_heard, HARM_NOTE_UNREAD, heed.from, heed.to);
    return count;
}
