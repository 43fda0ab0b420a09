/* Looking lots up: by their code as people read it, by code date, line, product and time, and
 * where they were sent. Every look-up of lots is bounded by an index and by a limit or the
 * caller's capacity, so that it costs the same at ten million lots as at ten thousand. */
#ifndef ODDLOAF_STORE_LOT_FIND_H
#define ODDLOAF_STORE_LOT_FIND_H

#include "base/length.h"
#include "store/store.h"
#include <stddef.h>

enum { LOT_FIND_CODE = 64 }; /* of a code and of what may be read as one */
/* In SQL: does a text that a caller gave as a code have a folded code? One of fewer than four
 * characters is in too many: it must be the whole text. */
#define LOT_FIND_SAYS(said, fold)                                                                  \
    "(instr(" LOT_FIND_FOLDED(said) ", " fold ") > 0 AND (length(" fold                            \
                                    ") > 3 OR " LOT_FIND_FOLDED(said) " = " fold "))"
#define LOT_FIND_FOLDED(said)                                                                      \
    "replace(replace(replace(replace(replace(upper(" said                                          \
    "), ' ', ''), '-', ''), '.', ''), '/', ''), '_', '')"

/* The code as look-ups see it: ASCII letters made upper case, digits, nothing else
 * ("L2 6321 b0412" gives "L26321B0412"). What lot.fold holds. Cut to fit; returns `out`. */
char *lot_find_fold(const char *code, char *out, size_t size);

struct lot_find_row {
    int64_t lot_id, product_id;
    char code[LOT_FIND_CODE], fold[LOT_FIND_CODE];
    char plant[LENGTH_CODE + 1], line[LENGTH_CODE + 1], shift[LENGTH_CODE + 1];
    char product[LOT_FIND_CODE]; /* the product's code */
    int64_t packed_from_ms, packed_to_ms, units;
    int32_t code_day;
    int shelf_life_days;
};

/* A caller's array, filled in turn by the functions below. */
struct lot_find_rows {
    struct lot_find_row *row;
    size_t count, capacity;
    bool overflow; /* a look-up found more than fitted */
};

/* ERROR_NOT_FOUND if there is none. */
int lot_find_by_id(struct store *store, int64_t lot_id, struct lot_find_row *ret,
                   struct error *err);
/* The lot whose code is exactly `code`, letter for letter. ERROR_NOT_FOUND if there is none. */
int lot_find_by_code(struct store *store, const char *code, struct lot_find_row *ret,
                     struct error *err);
/* Appends at most `limit` rows. */
int lot_find_by_fold(struct store *store, const char *fold, size_t limit,
                     struct lot_find_rows *rows, struct error *err);

/* A stretch of the index of folded codes, in its order. */
struct lot_find_key {
    int64_t lot_id;
    char fold[LOT_FIND_CODE];
};
struct lot_find_keys {
    struct lot_find_key *key; /* the caller's array */
    size_t count, capacity;
};
/* The keys >= `from` that there is room for, up to and with the first that does not begin with the
 * first `prefix` bytes of `from`. They replace what was there. */
int lot_find_keys(struct store *store, const char *from, size_t prefix, struct lot_find_keys *ret,
                  struct error *err);

/* Keys of the lots packed in a stretch of time, or of one code date: `each` is called with every
 * one, at most `limit`, newest first where it is a time; its non-zero answer stops and is returned.
 * *ret_overflow is set when there were more. */
typedef int (*lot_find_each)(void *arg, const struct lot_find_key *key);
struct lot_find_where {
    int64_t product_id;       /* 0 any */
    const char *plant, *line; /* NULL any; a line goes with a time */
    int32_t code_day;         /* WHEN_UNKNOWN_DAY: */
    struct when_span packed;  /* … packed then */
    size_t limit;
};
int lot_find_each_key(struct store *store, const struct lot_find_where *where, lot_find_each each,
                      void *arg, bool *ret_overflow, struct error *err);

/* A line is its plant's; plant "" is that of lots that name none. */
struct lot_find_line {
    char plant[LENGTH_CODE + 1], line[LENGTH_CODE + 1];
};
/* Goes on to the next one after it that lots on record were packed on, by plant and name; line "":
 * it was the last, or, before the first, which is found from "" and "", there is none. */
int lot_find_next_line(struct store *store, struct lot_find_line *line, struct error *err);
/* All of them, in that order. */
int lot_find_lines(struct store *store, int (*each)(void *arg, const struct lot_find_line *line),
                   void *arg, struct error *err);
/* The plants that lots on record name, in the order of their names. */
int lot_find_plants(struct store *store, int (*each)(void *arg, const char *plant), void *arg,
                    struct error *err);

struct lot_find_product {
    int64_t product_id;
    char product[LOT_FIND_CODE], name[LENGTH_NAME + 1];
    int shelf_life_days;
};
/* ERROR_NOT_FOUND if there is none. */
int lot_find_product_by_code(struct store *store, const char *product, struct lot_find_product *ret,
                             struct error *err);
/* A product with what it may be called by. Text lives until the callback returns. */
struct lot_find_called {
    int64_t product_id;
    const char *product, *name, *family;
    const char *gtin; /* 14 digits, "" */
    const char *also; /* other codes and names of it, a ';' between, "" */
    int shelf_life_days;
};
/* Every product, or only those that have `also`, in the order of their codes. A callback's non-zero
 * answer stops and is returned. */
typedef int (*lot_find_each_called)(void *arg, const struct lot_find_called *row);
int lot_find_called(struct store *store, bool only_also, lot_find_each_called each, void *arg,
                    struct error *err);
/* `gtin14` has 14 digits; products that were loaded with 8, 12 or 13 digits are found too. */
int lot_find_product_by_gtin(struct store *store, const char *gtin14, struct lot_find_product *ret,
                             struct error *err);

/* Where a lot went: units in all, units to that store (or, store NULL, on that route), and to how
 * many different stores (routes). All 0: nothing is known of its dispatch. */
struct lot_find_sent {
    int64_t units, units_there;
    int places;
};
int lot_find_sent(struct store *store, int64_t lot_id, const char *store_name, const char *route,
                  struct lot_find_sent *ret, struct error *err);

/* The routes it was sent on, in the order of their names. */
int lot_find_routes(struct store *store, int64_t lot_id,
                    int (*each)(void *arg, const char *route, int64_t units), void *arg,
                    struct error *err);

/* When the first and the newest lot on record were packed; WHEN_UNKNOWN_MS if there is none. */
int lot_find_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_newest_ms,
                  struct error *err);

/* When the plant's first lot on record was packed; "": of all. WHEN_UNKNOWN_MS if there is none. */
int lot_find_first(struct store *store, const char *plant, int64_t *ret_ms, struct error *err);

/* Is a store or route of exactly that name in any dispatch? */
enum lot_find_place { LOT_FIND_STORE, LOT_FIND_ROUTE };
int lot_find_place_known(struct store *store, enum lot_find_place kind, const char *name,
                         bool *ret_known, struct error *err);

/* The stores or routes that any dispatch names, in the order of their names. */
int lot_find_places(struct store *store, enum lot_find_place kind,
                    int (*each)(void *arg, const char *name), void *arg, struct error *err);

/* How much was on sale: judged from the last lots packed before `before_ms`. All 0 if none. */
struct lot_find_volume {
    double units_per_day, lots_per_day, shelf_life_days;
    int64_t newest_ms; /* when the last of them was packed */
    int products;      /* in the product table */
};
int lot_find_volume(struct store *store, int64_t before_ms, struct lot_find_volume *ret,
                    struct error *err);

#endif
