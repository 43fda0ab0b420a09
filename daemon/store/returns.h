/* Goods that came back, and what was sent out, for rates of the one over the other.
 * Text of a row lives until its callback returns; a callback's non-zero answer stops and is
 * returned. */
#ifndef ODDLOAF_STORE_RETURNS_H
#define ODDLOAF_STORE_RETURNS_H

#include "store/store.h"
#include <stdbool.h>

struct returns_row {
    int64_t case_id, received_ms;
    int64_t units; /* that came back; the packs complained about where units were not given */
    const char *complaint, *symptom;
    const char *route;                   /* as said, else the one the lot went to that store by */
    const char *store, *product, *plant; /* plant: the complaint's, "" not known */
    const char *body;                    /* JSON, without contact */
};
typedef int (*returns_each)(void *arg, const struct returns_row *row);
/* Complaints of channel "return" received then, by receipt. */
int returns_received(struct store *store, struct when_span span, returns_each each, void *arg,
                     struct error *err);

/* Whether any return of that plant (NULL or "": of any) was ever received that still stands. */
int returns_any(struct store *store, const char *plant, bool *ret_any, struct error *err);

struct returns_sent {
    const char *route, *store, *product, *plant;
    int64_t units;
};
typedef int (*returns_sent_each)(void *arg, const struct returns_sent *row);
/* Units dispatched then, summed by route, store, product and plant; route by route. */
int returns_dispatched(struct store *store, struct when_span span, returns_sent_each each,
                       void *arg, struct error *err);

#endif
