#include "intake/other_kind.h"
#include "base/text.h"
#include "base/words.h"
#include <stdbool.h>
#include <string.h>

enum { NOTE_BYTES = 4096 };

/* Words of the caller as they are folded, English and Spanish, "|" between them: whole words, or
 * their beginning where a "*" ends them. From memory. In this order, the gravest first: a complaint
 * is counted once. */
static const struct {
    struct other_kind is;
    const char *harm; /* of the report */
    const char *bags; /* observed/bag, blanks between */
    const char *said;
} KINDS[] = {
    {{"wrong-label", "wrong label or product"},
     "wrong-label",
     "",
     "wrong label|wrong bread|wrong product|mislabel*|not what it says|another product|different "
     "bread|etiqueta equivocada|otro producto|otro pan|no es lo que dice"},
    {{"underweight", "too light or too few"},
     NULL,
     "",
     "underweight|under weight|too light|light weight|short weight|weighs less|weighed less|weighs "
     "only|weighed only|missing slices|slices missing|fewer slices|half empty|half full|too small|"
     "pesa menos|pesa poco|falta peso|faltan rebanadas|menos rebanadas|faltan"},
    {{"torn-bag", "torn or open bag"},
     NULL,
     "torn closure-missing seal-open",
     "torn|ripped|hole in the bag|hole in bag|open bag|bag was open|bag open|unsealed|no clip|no "
     "tie|"
     "bolsa rota|bolsa abierta|sin cierre|rota"},
    {{"taste", "another taste"},
     NULL,
     "",
     "taste*|flavor*|flavour*|too salty|salty|bland|no salt|sabor*|sabe|salado|insipido"},
    {{"damaged", "squashed or broken"},
     NULL,
     "",
     "squash*|crush*|smash*|flattened|broken|misshap*|deformed|aplastad*|roto|quebrad*"},
    {{"bake", "burnt or not baked through"},
     NULL,
     "",
     "burn*|too dark|scorched|raw|underbaked|undercooked|doughy|overbaked|quemad*|crudo|cruda|mal "
     "cocid*"},
    {{"else", "something else"}, NULL, "", ""},
};
enum { COUNT = sizeof KINDS / sizeof *KINDS };

const struct other_kind *other_kind_at(int place)
{
    return place >= 0 && place < COUNT ? &KINDS[place].is : NULL;
}

/* Letters and digits, one blank before, between and behind the words. */
static void plain(const char *text, char out[static NOTE_BYTES])
{
    char folded[NOTE_BYTES];
    size_t length = 1;
    out[0] = ' ';
    for (const char *at = text_fold(text, folded, sizeof folded); *at && length + 2 < NOTE_BYTES;
         at++) {
        bool letter = (*at >= 'a' && *at <= 'z') || (*at >= '0' && *at <= '9');
        if (letter)
            out[length++] = *at;
        else if (out[length - 1] != ' ' && *at != '\'')
            out[length++] = ' ';
    }
    if (out[length - 1] != ' ')
        out[length++] = ' ';
    out[length] = '\0';
}

/* "not torn", "no hole in the bag" tell of none. */
static bool is_denied(const char *note, const char *at)
{
    static const char *const BEFORE[] = {" not ", " no ", " isnt ", " wasnt ", " never ", " sin "};
    for (size_t i = 0; i < sizeof BEFORE / sizeof *BEFORE; i++) {
        size_t length = strlen(BEFORE[i]);
        if ((size_t)(at - note) + 1 >= length && strncmp(at + 1 - length, BEFORE[i], length) == 0)
            return true;
    }
    return false;
}

static bool says(const char *note, const char *phrase, size_t length)
{
    bool begins = length && phrase[length - 1] == '*';
    length -= begins;
    for (const char *at = note; (at = strchr(at, ' ')) && at[1]; at++)
        if (strncmp(at + 1, phrase, length) == 0 && (begins || at[1 + length] == ' ') &&
            !is_denied(note, at))
            return true;
    return false;
}

static bool says_any(const char *note, const char *phrases)
{
    for (; *phrases; phrases += strspn(phrases, "|")) {
        size_t length = strcspn(phrases, "|");
        if (says(note, phrases, length))
            return true;
        phrases += length;
    }
    return false;
}

static bool reports(const json_t *body, const char *harm)
{
    size_t i;
    const json_t *one;
    json_array_foreach(json_object_get(body, "harm"), i, one)
    {
        if (harm && strcmp(json_string_value(one) ? json_string_value(one) : "", harm) == 0)
            return true;
    }
    return false;
}

const struct other_kind *other_kind_of(const json_t *body)
{
    char note[NOTE_BYTES];
    const char *said = json_string_value(json_object_get(body, "note"));
    const char *bag = json_string_value(json_object_get(json_object_get(body, "observed"), "bag"));
    plain(said ? said : "", note);
    for (int i = 0; i < COUNT; i++)
        if (reports(body, KINDS[i].harm) || (bag && words_has(KINDS[i].bags, bag)) ||
            says_any(note, KINDS[i].said))
            return &KINDS[i].is;
    return &KINDS[COUNT - 1].is;
}
