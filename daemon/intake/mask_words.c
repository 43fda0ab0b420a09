/* Names that are words of a note as well: alone they are read as the word. Colours in the languages
 * of the lexicon; first and family names that are ordinary English, common practice, no source.
 * Trades that are hardly said of bread but are names of many ("Smith", "Cooper") are none of them.
 */
#include "intake/mask_name.h"
#include <string.h>

static const char *const WORDS[] = {
    "brown",   "green",    "black", "white",    "gray",   "grey",   "blue",    "pink",     "red",
    "yellow",  "orange",   "olive", "amber",    "violet", "purple", "golden",  "gold",     "silver",
    "tan",     "rusty",    "rose",  "verde",    "blanco", "negro",  "rojo",    "azul",     "gris",
    "rosa",    "moreno",   "rubio", "amarillo", "vert",   "blanc",  "noir",    "rouge",    "bleu",
    "brun",    "weiss",    "braun", "grun",     "blau",   "rot",    "schwarz", "grau",     "gelb",
    "april",   "may",      "june",  "august",   "march",  "summer", "winter",  "autumn",   "spring",
    "monday",  "friday",   "day",   "week",     "baker",  "miller", "cook",    "bread",    "rice",
    "rye",     "berry",    "honey", "ginger",   "pepper", "sage",   "basil",   "rosemary", "olives",
    "cherry",  "lemon",    "bean",  "beans",    "bun",    "roll",   "crumb",   "crust",    "salt",
    "butter",  "apple",    "oats",  "barley",   "corn",   "mill",   "mills",   "bush",     "wood",
    "woods",   "stone",    "rock",  "hill",     "field",  "fields", "brook",   "lake",     "rivers",
    "river",   "sand",     "sands", "snow",     "frost",  "rain",   "dew",     "moss",     "moldy",
    "mold",    "mould",    "spot",  "spots",    "bloom",  "flower", "flowers", "store",    "shop",
    "market",  "price",    "sale",  "page",     "case",   "box",    "bag",     "bags",     "pack",
    "cash",    "will",     "mark",  "marks",    "long",   "short",  "little",  "small",    "large",
    "sharp",   "strong",   "hard",  "soft",     "rich",   "poor",   "young",   "old",      "new",
    "good",    "best",     "wise",  "noble",    "fair",   "dry",    "moist",   "cold",     "warm",
    "fresh",   "early",    "late",  "north",    "south",  "east",   "west",    "street",   "lane",
    "park",    "parks",    "house", "home",     "church", "hall",   "kitchen", "door",     "bird",
    "fly",     "wolf",     "fox",   "fish",     "hand",   "hands",  "head",    "back",     "foot",
    "hair",    "heel",     "nails", "nail",     "glass",  "metal",  "steel",   "iron",     "cotton",
    "plastic", "driver",   "sweet", "bitter",   "sour",   "smart",  "swift",   "love",     "king",
    "major",   "son",      "one",   "two",      "three",  "ten",    "lot",     "code",     "date",
    "time",    "said",     "say",   "take",     "ring",   "call",   "line",    "inside",   "top",
    "side",    "end",      "cut",   "slice",    "loaf",   "toast",  "pan",     "paz",      "flores",
    "campo",   "panadero", "bueno", "casa",     "tienda"};

/* Written with a capital whether they are a name or not. */
static const char *const DATES[] = {"april",  "may",    "june",   "march",
                                    "august", "monday", "friday", NULL};

bool mask_words_common(const char *folded)
{
    for (size_t i = 0; i < sizeof WORDS / sizeof WORDS[0]; i++)
        if (strcmp(WORDS[i], folded) == 0)
            return true;
    return false;
}

bool mask_words_dates(const char *folded)
{
    const char *const *date = DATES;
    while (*date && strcmp(*date, folded) != 0)
        date++;
    return *date != NULL;
}
