/* What laboratories found and retained samples showed of a lot, entered by hand. One result stands
 * for each lot, quantity, laboratory and sample number: sent again it changes nothing, another one
 * takes its place, and what stood before stays on record. A quantity that no rule knows is kept as
 * it was written. */
#ifndef ODDLOAF_STORE_MEASURED_H
#define ODDLOAF_STORE_MEASURED_H

#include "base/length.h"
#include "base/when.h"
#include "store/store.h"

/* Text lives until the callback returns, or is the caller's; "" where there is none. */
struct measured_row {
    int64_t id, lot_id;
    const char *quantity, *lab, *sample; /* with the lot: which result this is */
    const char *said;                    /* as it was written: "104 degF" */
    double value;                        /* in `unit`; NAN: words */
    const char *unit, *word;             /* word: one of the rules' ("penicillium") */
    const char *method, *note;           /* to put: NULL leaves what stands */
    int64_t at_ms;   /* of the test; to put: WHEN_UNKNOWN_MS leaves what stands, or
                        is logged_ms */
    int64_t case_id; /* it was asked for by; 0: none; to put: 0 leaves what stands */
    const char *by_name, *user;
    int64_t logged_ms;
    const char *reason; /* to put: why it is corrected or taken back */
};

enum measured_outcome { MEASURED_SAME, MEASURED_NEW, MEASURED_CORRECTED, MEASURED_TAKEN_BACK };

/* In the writer's transaction. What stood is told by measured_find() before. */
int measured_put(struct store *store, const struct measured_row *row, enum measured_outcome *ret,
                 struct error *err);
/* Of `row`: lot, quantity, laboratory, sample, reason, by_name, logged_ms. ERROR_NOT_FOUND if none
 * stands. In the writer's transaction. */
int measured_take_back(struct store *store, const struct measured_row *row, struct error *err);

typedef int (*measured_each)(void *arg, const struct measured_row *row);
/* Those of a lot that stand, by quantity and time. A callback's non-zero answer stops and is
 * returned; it may ask the database itself. */
int measured_of_lot(struct store *store, int64_t lot_id, measured_each each, void *arg,
                    struct error *err);
/* Those that stand, were entered in the span and are told in words or with a note, of lots that are
 * seen (store/seen.h), the newest first. `held`: a hold stands on the lot; `decided`: one has ended
 * since the result was entered. */
struct measured_lot {
    const char *lot, *plant;
    bool held, decided;
};
typedef int (*measured_each_lot)(void *arg, const struct measured_row *row,
                                 const struct measured_lot *lot);
int measured_in_words(struct store *store, struct when_span entered, measured_each_lot each,
                      void *arg, struct error *err);
/* Those that stand and are told in words or with a note, of all lots, seen or not, entered behind
 * the one with the number `id`, by their numbers, which rise in the order of their writing;
 * MEASURED_AT_ONCE at most. The callback asks the database nothing. */
enum { MEASURED_AT_ONCE = 4096 };
int measured_words_behind(struct store *store, int64_t id, measured_each each, void *arg,
                          struct error *err);
/* Kept with a connection that only reads, for whoever reads them so: of which lots which result was
 * picked out; at first all 0. */
enum { MEASURED_PICKS = 512 };
struct measured_pick {
    int64_t lot_id, id;
};
struct measured_reading {
    int64_t by;      /* by which words */
    int64_t last_id; /* read so far */
    int count;
    struct measured_pick pick[MEASURED_PICKS];
};
struct measured_reading *measured_reading(struct store *store);
/* What has become of one of these; `seen`: its lot is. */
struct measured_fate {
    char lot[LENGTH_CODE + 1];
    bool stands, seen, held, decided;
};
int measured_fate(struct store *store, int64_t id, struct measured_fate *ret, struct error *err);
/* The one that stands of `key`'s lot, quantity, laboratory and sample, if any. */
int measured_find(struct store *store, const struct measured_row *key, measured_each each,
                  void *arg, struct error *err);

#endif
