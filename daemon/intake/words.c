#include "intake/words.h"
#include "base/length.h"
#include <string.h>

const char *const WORDS_SYMPTOM[] = {"mold", "off-odor", "staling", NULL};
const char *const WORDS_CHANNEL[] = {"phone", "web", "store", "route", "return", NULL};
static const char *const COLOUR[] = {
    "blue-green", "black", "white-chalky", "white-fluffy", "pink-orange", "yellow", NULL};
static const char *const WHERE[] = {"cut-face", "top-crust",    "base",     "side",
                                    "heel",     "near-closure", "all-over", NULL};
static const char *const BAG[] = {"sound", "torn", "closure-missing", "seal-open", NULL};
static const char *const KEPT[] = {"counter", "fridge", "freezer", "warm", "unknown", NULL};
static const char *const ODOR[] = {"sour",     "cheesy", "vinegar", "fruity",  "solvent",
                                   "alcohol",  "musty",  "rancid",  "plastic", "hydrocarbon",
                                   "chemical", "smoky",  NULL};
static const char *const CRUMB[] = {"normal", "firm",    "dry",         "crumbly", "gummy",
                                    "sticky", "stringy", "discoloured", NULL};
static const char *const HARM[] = {"illness",        "injury",    "allergic-reaction",
                                   "foreign-matter", "tampering", NULL};
static const char *const DISPOSITION[] = {"hold", "rework", "divert", "destroy", "lab", NULL};

static const struct field FIELDS[] = {
    {"received_at", FIELD_TIME, NULL, 0, 0},
    {"channel", FIELD_WORD, WORDS_CHANNEL, 0, 0},
    {"symptom", FIELD_WORD, WORDS_SYMPTOM, 0, 0},
    {"lot_text", FIELD_TEXT, NULL, 0, 200},
    {"product", FIELD_TEXT, NULL, 0, 120},
    {"code_date", FIELD_DATE, NULL, 0, 0},
    {"store", FIELD_TEXT, NULL, 0, LENGTH_TRADE},
    {"route", FIELD_TEXT, NULL, 0, LENGTH_TRADE},
    {"bought_on", FIELD_DATE, NULL, 0, 0},
    {"found_on", FIELD_DATE, NULL, 0, 0},
    {"observed/colour", FIELD_WORD, COLOUR, 0, 0},
    {"observed/where", FIELD_WORD, WHERE, 0, 0},
    {"observed/spots", FIELD_WHOLE, NULL, 0, 1000},
    {"observed/wet_inside_bag", FIELD_BOOL, NULL, 0, 0},
    {"observed/bag", FIELD_WORD, BAG, 0, 0},
    {"observed/kept", FIELD_WORD, KEPT, 0, 0},
    {"observed/opened_days", FIELD_WHOLE, NULL, 0, 365},
    {"observed/odor", FIELD_WORDS, ODOR, 0, 0},
    {"observed/crumb", FIELD_WORD, CRUMB, 0, 0},
    {"packs", FIELD_WHOLE, NULL, 1, 100000},
    {"harm", FIELD_WORDS, HARM, 0, 0},
    {"note", FIELD_TEXT, NULL, 0, 4000},
    {"units", FIELD_WHOLE, NULL, 1, 1000000},
    {"inspected_at", FIELD_TIME, NULL, 0, 0},
    {"reason", FIELD_TEXT, NULL, 0, 200},
    {"put_at", FIELD_TEXT, NULL, 0, 80},
    {"disposition", FIELD_WORD, DISPOSITION, 0, 0},
    {"same_as", FIELD_ID, NULL, 0, 0},
    {NULL, FIELD_TEXT, NULL, 0, 0},
};

const struct field *words_fields(void)
{
    return FIELDS;
}

const struct field *words_field(const char *name)
{
    for (const struct field *f = FIELDS; f->name; f++) {
        if (strcmp(f->name, name) == 0)
            return f;
    }
    return NULL;
}

bool words_has(const char *const *words, const char *word)
{
    for (; *words; words++) {
        if (strcmp(*words, word) == 0)
            return true;
    }
    return false;
}
