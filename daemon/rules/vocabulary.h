/* The words that rules may use: facts, and the words an observation can have (intake/fields.h).
 * What is measured (quantities) and where (places) comes from the catalogue; the names of the
 * record format itself are always there. Immutable after loading. */
#ifndef ODDLOAF_RULES_VOCABULARY_H
#define ODDLOAF_RULES_VOCABULARY_H

#include "base/error.h"
#include "base/length.h"
#include "intake/fields.h"
#include <stdbool.h>

/* In the order of the words of the field "symptom"; "other" comes behind them: it is kept and
 * counted, and nothing ranks it. */
enum { SYMPTOM_MOLD, SYMPTOM_OFF_ODOR, SYMPTOM_STALING, SYMPTOMS };
const char *symptom_name(int symptom);
int symptom_of(const char *name); /* -1 unknown, or nothing that is ranked */
#define SYMPTOM_UNKNOWN "no such symptom (mold, off-odor or staling)"

enum fact_kind {
    FACT_OBSERVATION, /* what the complaint says; one value a complaint */
    FACT_QUANTITY,    /* a quantity of the lot: readings, or computed from mixes and uses */
    FACT_LOT,         /* other things known about the lot: FACT_LOT_... */
    FACT_PLACE,       /* the plant's log before the lot passed: FACT_PLACE_... */
    FACT_DISPATCH,    /* after packing: FACT_DISPATCH_...; one value a complaint */
    FACT_COMPANY,     /* complaints that share a factor: FACTOR_... */
    FACT_MODEL        /* a prediction; one value a complaint */
};

/* What a FACT_OBSERVATION is, by code. */
enum {
    SEEN_FIELD, /* a field of the complaint, as it says it */
    SEEN_SEASON,
    SEEN_AGE_DAYS,
    SEEN_RECEIVED_AGE_DAYS,
    SEEN_DAYS_PAST_CODE,
    SEEN_BOUGHT_LIFE_SHARE,
    SEEN_DAYS_AT_HOME,
    SEEN_PACKS,
    SEEN_CODES
};
enum {
    LOT_FAMILY,
    LOT_LINE,
    LOT_SHIFT,
    LOT_PRODUCT,
    LOT_UNITS,
    LOT_PACK_HOURS,
    LOT_SORBATE_USED,
    LOT_MATERIAL_AGE
};
enum {
    PLACE_LAST, /* the last entry of a quantity before the lot was packed */
    PLACE_NEXT,
    PLACE_PEAK,
    PLACE_HOURS_SINCE_CLEANED,
    PLACE_CLEANING_MISSED,
    PLACE_DAYS_SINCE_FILTER
};
enum { DISPATCH_TRANSIT, DISPATCH_TRANSIT_MAX, DISPATCH_DAYS_IN_TRADE, DISPATCH_DELAY_H };
/* Factors that lots share. The material factors follow the order of material_name(). */
enum {
    FACTOR_LOT,
    FACTOR_LINE,
    FACTOR_LINE_HOUR,
    FACTOR_SHIFT,
    FACTOR_PRODUCT,
    FACTOR_MIX,
    FACTOR_PLANT,
    FACTOR_FLOUR,
    FACTOR_INHIBITOR,
    FACTOR_SOFTENER,
    FACTOR_ACID,
    FACTOR_YEAST,
    FACTOR_FAT,
    FACTOR_FILM,
    FACTOR_CLOSURE,
    FACTOR_SUPPLIER,
    FACTOR_ROUTE,
    FACTOR_STORE,
    FACTOR_WINDOW, /* between two cleanings of a place */
    FACTOR_ANY,    /* the largest of the others */
    FACTOR_MOLD,   /* mold complaints of the lot and its line, whatever the case is about */
    FACTORS
};
/* Predictions. The first three compare a change with the lot as specified, in bits; the others are
 * numbers of the lot as recorded. */
enum {
    MODEL_MOLD_AGE,
    MODEL_STALE_AGE,
    MODEL_ROPE_AGE,
    MODEL_CONDENSATE_G,
    MODEL_MOLD_FREE_DAYS,
    MODEL_ODOR_RATIO,      /* acids over their odor thresholds, cold loaf */
    MODEL_ODOR_WARM_RATIO, /* warm loaf */
    MODEL_ENZYME_MIN_RATIO,
    MODEL_FIRMNESS_RATIO, /* over fresh, at the age found */
    MODEL_GUMMY_SHARE,
    MODEL_ROPE_SHARE,
    MODEL_ACID_MMOL_L, /* undissociated, all acids, in crumb water */
    MODEL_ACID_RATIO,  /* the same over the specification's */
    MODELS
};
#define MATERIALS 8
const char *material_name(int material); /* 0 flour … 7 closure */
int material_of(const char *name);       /* -1 another material */

enum fact_part { PART_MEDIAN, PART_MIN, PART_MAX };

struct fact_name {
    char text[2 * LENGTH_WORD + 16]; /* as written: "place.quantity.peak" at the longest */
    enum fact_kind kind;
    int code; /* see the enums above */
    enum fact_part part;
    char place[LENGTH_WORD + 1]; /* where the kind has them */
    char quantity[2 * LENGTH_WORD + 16];
    int material; /* LOT_MATERIAL_AGE */
    bool words;   /* has words, not a number */
    bool per_complaint;
    const struct field_word *allowed; /* words it may have, ended by one without; NULL: any */
    const struct field *field;        /* of SEEN_FIELD */
};

struct vocabulary;
struct catalogue;
/* Of what can be loaded there is what the catalogue names, and nothing else but what is computed.
 * Keeps a reference of it. */
struct vocabulary *vocabulary_new(const struct catalogue *catalogue);
void vocabulary_free(struct vocabulary *vocabulary);
/* ERROR_INVALID: no such fact. */
int vocabulary_fact(const struct vocabulary *vocabulary, const char *name, struct fact_name *ret,
                    struct error *err);
bool vocabulary_place(const struct vocabulary *vocabulary, const char *place);
bool vocabulary_quantity(const struct vocabulary *vocabulary, const char *quantity);
/* The unit of a quantity, "" if none is known. */
const char *vocabulary_unit(const struct vocabulary *vocabulary, const char *quantity);
/* In words ("Core temperature at packing"); the name itself if the files give no words for it. */
const char *vocabulary_quantity_title(const struct vocabulary *vocabulary, const char *quantity);
const char *vocabulary_place_title(const struct vocabulary *vocabulary, const char *place);
/* The static copy of an observation's word ("blue-green"), NULL if it is none of that fact's. */
const char *vocabulary_word(const struct fact_name *fact, const char *word);

#endif
