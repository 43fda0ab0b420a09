/* Inside tables/ only: a map as it was read. */
#ifndef ODDLOAF_TABLES_COLUMN_MAP_INSIDE_H
#define ODDLOAF_TABLES_COLUMN_MAP_INSIDE_H

#include "tables/column_map.h"

enum { COLUMN_KEY = 160, COLUMN_NAME = 80, COLUMN_PARTS = 16 };
/* in place of a kind of record; -1 is one that nobody knows */
enum { COLUMN_COMPLAINTS = -2 };

enum column_type { COLUMN_TEXT, COLUMN_NUMBER, COLUMN_DAY, COLUMN_TIME };

/* Where cells go: a field of a complaint, or a column of a kind of record. */
struct column_target {
    char name[COLUMN_NAME]; /* "core_at_pack" */
    char unit[COLUMN_UNIT]; /* "degF"; "" if none is given */
    enum column_type type;
};

struct column_part {
    int kind;            /* enum record_kind, or COLUMN_COMPLAINTS */
    int header;          /* line of the column names; 0: the first that is not blank */
    json_t *columns;     /* folded column → list of targets as written; empty: left out */
    json_t *shown;       /* target's name → the column as the map writes it, the first */
    json_t *values;      /* target's name → {folded word: our word} */
    json_t *dates;       /* target's name → form */
    json_t *constants;   /* target as written → text */
    const json_t *needs; /* of names; NULL if there are none. Borrowed of `kept` */
    json_t *kept;
};

struct column_map {
    struct column_part parts[COLUMN_PARTS];
    int count;
    char sheet[128];               /* "" the first */
    char zone[64];                 /* "" the plant's */
    char decimal[2], thousands[2]; /* "" for thousands: none */
    json_t *units;                 /* folded → ours */
};

/* What `text`, "name" or "name [unit]", means for a kind; why it means nothing in `err`. */
int column_map_target(const struct column_part *part, const struct catalogue *catalogue,
                      const char *text, struct column_target *ret, struct error *err);
/* Our word for the file's word; `value` itself if the part has none. */
const char *column_map_word(const struct column_part *part, const char *name, const char *value);

#endif
