/* Finding the lot of a complaint from what its form says. */
#ifndef ODDLOAF_DESK_PLACING_H
#define ODDLOAF_DESK_PLACING_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "lots/standing.h"
#include "store/complaint.h"

struct placing {
    struct complaint_lots lots;
    int64_t product_id;  /* of the product the form names, 0 if unknown */
    int64_t read_lot_id; /* of the lot whose code was read, 0 if there is none */
    char store[LENGTH_TRADE + 1], route[LENGTH_TRADE + 1]; /* as on record, "" */
    char plant[LENGTH_CODE + 1]; /* that is named, as the settings or lots name it, "" none */
};

/* How it is read, now and whenever it is read again: in the zone of the plant that it names (once
 * logged it names one that is known), else of the one that alone writes such codes as it names,
 * else of the one whose people took it (`of_plant`; NULL: not known, or of no single one), else of
 * the company. The rest is the caller's. */
struct form_options placing_options(const struct desk *desk, const json_t *complaint,
                                    const char *of_plant);
int placing_find(const struct desk *desk, struct store *store, const struct complaint_form *form,
                 struct placing *ret, struct error *err);
/* The plant that somebody names, as the settings or lots on record name it; "" it is none of them,
 * or `said` is NULL or "". */
int placing_plant(const struct desk *desk, struct store *store, const char *said,
                  char found[static LENGTH_CODE + 1], struct error *err);
struct placing_all {
    struct complaint_lot lot[LOT_MATCH_ALL]; /* likeliest first */
    int count;
    int64_t left_out; /* so many more fit as well */
};
/* Every lot that the newest complaint of a case may be about, as the records are now: more than are
 * kept with it. */
int placing_all(const struct desk *desk, struct store *store, int64_t case_id,
                struct placing_all *ret, struct error *err);
/* The complaint as the store takes it. Borrows form and body; without contact data. */
void placing_complaint(const struct complaint_form *form, const struct placing *placing,
                       const char *body, int64_t now_ms, struct complaint_new *ret);

/* How it stands to the lots, in JSON: what lots/standing.h sets, and "lots". */
void placing_json(const struct desk *desk, struct store *store, const struct complaint_form *form,
                  const struct complaint_lots *lots, json_t *into);
/* The same of what was placed before, with the records as they are now. Of the query, text, time of
 * receipt and zone count. */
int placing_standing(const struct desk *desk, struct store *store, const struct lot_query *query,
                     const struct complaint_lots *lots, struct standing *ret);

/* The code that was read whole, as the plant writes it, whether a record bears it or not; "" if
 * none was. Two that differ are of two lots. Of the query, text, time of receipt and zone count. */
void placing_code(const struct desk *desk, struct store *store, const struct lot_query *query,
                  const struct complaint_lots *lots, char out[LOT_MATCH_CODE]);
/* The same of a complaint on record. */
void placing_code_of(const struct desk *desk, struct store *store, int64_t complaint_id,
                     char out[LOT_MATCH_CODE]);

#endif
