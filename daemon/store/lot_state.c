#include "store/lot_state.h"
#include <stddef.h>
#include <string.h>

static const char *const WORDS[] = {[LOT_UNKNOWN] = "unknown",
                                    [LOT_NOT_ON_RECORD] = "not-on-record",
                                    [LOT_SEVERAL] = "several",
                                    [LOT_LIKELY] = "likely",
                                    [LOT_EXACT] = "exact"};

const char *lot_state_word(enum lot_state state)
{
    return WORDS[state];
}

enum lot_state lot_state_of(const char *word)
{
    for (size_t i = 0; word && i < sizeof WORDS / sizeof WORDS[0]; i++)
        if (strcmp(WORDS[i], word) == 0)
            return (enum lot_state)i;
    return LOT_UNKNOWN;
}

bool lot_state_names_one(enum lot_state state)
{
    return state >= LOT_LIKELY;
}
