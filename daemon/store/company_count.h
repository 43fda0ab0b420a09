/* Counts of settled complaints by the lot they are about, kept in the order in which "how many
 * complaints did the lots packed around then have by that time" is one range read, and the serial
 * numbers that let a cache of such reads know when it is out of date.
 * The counting functions run inside the writer's transaction. */
#ifndef ODDLOAF_STORE_COMPANY_COUNT_H
#define ODDLOAF_STORE_COMPANY_COUNT_H

#include "store/store.h"

/* A complaint of this symptom, received then, is about this lot (delta +1; ERROR_NOT_FOUND for an
 * unknown lot) or no longer is (-1; nothing to do if none was counted so). */
int company_count(struct store *store, int64_t lot_id, const char *symptom, int64_t received_ms,
                  int delta, struct error *err);

/* The same of all complaints about a lot, whose packing time is about to change (-1) or did (+1).
 */
int company_count_lot(struct store *store, int64_t lot_id, int delta, struct error *err);

/* Production records changed (any kind; once a transaction is enough). */
int company_count_records_changed(struct store *store, struct error *err);
/* Grows with every company_count_records_changed(). */
int company_count_records_serial(struct store *store, int64_t *ret, struct error *err);

/* What is read of them: one symptom, on lots that began to be packed on these UTC days. */
struct company_count_scope {
    const char *symptom;
    int32_t from_day, to_day; /* [from, to] */
};
struct company_day_row {
    int32_t packed_day; /* UTC day the lots began to be packed */
    int64_t serial;     /* grows with every count of that day */
};
typedef int (*company_day_each)(void *arg, const struct company_day_row *row);
/* Days with counts, ascending. */
int company_count_days(struct store *store, const struct company_count_scope *scope,
                       company_day_each each, void *arg, struct error *err);
/* Sum of those serials: one number that changes when any of the days does. */
int company_count_days_serial(struct store *store, const struct company_count_scope *scope,
                              int64_t *ret, struct error *err);

struct company_row {
    int64_t lot_id, received_ms;
    int32_t packed_day;
    int count;
};
typedef int (*company_each)(void *arg, const struct company_row *row);
/* Counts by day, lot and time. */
int company_count_list(struct store *store, const struct company_count_scope *scope,
                       company_each each, void *arg, struct error *err);

#endif
