#include "intake/title.h"
#include <stddef.h>
#include <string.h>

static const struct {
    const char *word;
    bool is_short;
} TITLES[] = {{"mr", true},    {"mrs", true},     {"ms", true},        {"mx", true},
              {"dr", true},    {"dra", true},     {"prof", true},      {"sr", true},
              {"sra", true},   {"srta", true},    {"mme", true},       {"miss", false},
              {"herr", false}, {"frau", false},   {"senor", false},    {"senora", false},
              {"dona", false}, {"madame", false}, {"monsieur", false}, {"sir", false}};

static bool is_among(const char *folded, bool only_short)
{
    for (size_t i = 0; i < sizeof TITLES / sizeof TITLES[0]; i++)
        if ((TITLES[i].is_short || !only_short) && strcmp(TITLES[i].word, folded) == 0)
            return true;
    return false;
}

bool title_is(const char *folded)
{
    return is_among(folded, false);
}

bool title_is_short(const char *folded)
{
    return is_among(folded, true);
}
