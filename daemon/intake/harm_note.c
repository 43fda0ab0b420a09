#include "intake/harm_note.h"
#include "base/text.h"
#include <stdbool.h>

static int only(struct harm_heard **heard, int kind, size_t from, size_t to)
{
    *heard = xrealloc(*heard, sizeof **heard);
    **heard = (struct harm_heard){kind, from, to};
    return 1;
}

/* What was denied is less likely than the same words undenied, so it takes more to be heard. */
static enum harm_weight weight_of(const struct harm_weighed *weighed, bool denied)
{
    return denied && weighed->weight > HARM_WEIGHT_LOW ? weighed->weight - 1 : weighed->weight;
}

int harm_note_read(const struct harm_words *words, const struct harm_weights *weights,
                   const char *text, struct harm_heard **ret_heard)
{
    bool denied;
    int count = harm_words_read(words, text, ret_heard, &denied);
    bool said = count && (*ret_heard)->kind != HARM_WORDS_POSSIBLE;
    struct harm_weighed weighed = harm_weights_read(weights, text);
    enum harm_weight weight = weight_of(&weighed, denied && !count);
    if (said && weight == HARM_WEIGHT_NONE)
        return only(ret_heard, HARM_WORDS_POSSIBLE, (*ret_heard)->from, (*ret_heard)->to);
    if (!said && weight == HARM_WEIGHT_SAID)
        return only(ret_heard, weighed.kind, weighed.from, weighed.to);
    if (!count && weight == HARM_WEIGHT_POSSIBLE)
        return only(ret_heard, HARM_WORDS_POSSIBLE, weighed.from, weighed.to);
    return count;
}
