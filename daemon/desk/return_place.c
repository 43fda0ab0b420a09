#include "desk/return_place.h"
#include "base/text.h"
#include <string.h>

enum { NAME = 208, OUTSIDE_ZONE = 4 };

static const char NEAR[] =
    "Move the returned goods now: they must never stand near cooling, slicing or packing, where "
    "their spores reach fresh bread. Take them by a way that passes none of it to the returns dock "
    "or the waste area, closed in bags, and have the spot they stood at cleaned.";
static const char UNKNOWN[] =
    "Say where the returned goods stand. They must never stand near cooling, slicing or packing: "
    "their spores reach fresh bread. Keep them closed, at the returns dock or in the waste area.";

/* Letters and digits alone, lowered: "Returns dock" is "returns-dock". */
static void squeeze(const char *text, char *out, size_t size)
{
    char folded[NAME];
    size_t used = 0;
    text_fold(text, folded, sizeof folded);
    for (const char *c = folded; *c && used + 1 < size; c++)
        if (strchr(" -_.,", *c) == NULL)
            out[used++] = *c;
    out[used] = '\0';
}

static const struct catalogue_place *place_of(const struct catalogue *catalogue, const char *word)
{
    const struct catalogue_place *places = NULL;
    int count = catalogue ? catalogue_places(catalogue, &places) : 0;
    for (int i = 0; i < count; i++) {
        char id[NAME], name[NAME];
        squeeze(places[i].place, id, sizeof id);
        squeeze(places[i].name, name, sizeof name);
        if (strcmp(id, word) == 0 || strcmp(name, word) == 0)
            return &places[i];
    }
    return NULL;
}

const char *return_place_caution(const struct catalogue *catalogue, const char *put_at)
{
    static const char *const NEAR_WORDS[] = {"cool", "slic",  "pack", "bagger",
                                             "film", "bread", "line", "oven"};
    char word[NAME];
    squeeze(put_at ? put_at : "", word, sizeof word);
    const struct catalogue_place *place = place_of(catalogue, word);
    if (place)
        return place->zone >= OUTSIDE_ZONE ? NULL : NEAR;
    for (size_t i = 0; i < sizeof NEAR_WORDS / sizeof NEAR_WORDS[0]; i++)
        if (strstr(word, NEAR_WORDS[i]))
            return NEAR;
    return UNKNOWN;
}
