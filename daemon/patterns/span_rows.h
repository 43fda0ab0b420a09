/* The complaints of a time, and their cases, one by one: for tables that leave the house. Nothing
 * of the caller, and no note, in which people write what they like. Of more than SPAN_ROWS_MOST
 * complaints the newest are looked at. */
#ifndef ODDLOAF_PATTERNS_SPAN_ROWS_H
#define ODDLOAF_PATTERNS_SPAN_ROWS_H

#include "patterns/span.h"

enum { SPAN_ROWS_MOST = 200000 };

/* Of a plant alone where `plant` is not "" or NULL. */
struct span_rows {
    const struct tz *tz;
    const struct span *span;
    int64_t now_ms;
    const char *plant;
};
/* [{"received_at","symptom","channel","case","lot","lot_text","lot_state",…}], newest first; those
 * after `now` are left out. New reference. */
int span_rows_complaints(struct store *store, const struct span_rows *of, json_t **ret,
                         struct error *err);
/* [{"case","symptom","state","complaints",…}] of those complaints by number, as the cases stand.
 * New reference. */
int span_rows_cases(struct store *store, const struct span_rows *of, json_t **ret,
                    struct error *err);
/* [{"complaint","case","received_at","symptom","harm","possible","lot_text","lot","held","owner"}]
 * of those that report harm, or, `possible`, whose words may speak of it and which nobody has read;
 * newest first. New reference. */
struct span_harm {
    const struct tz *tz;
    struct when_span span;
    const char *plant;
    bool possible;
    const json_t *harm; /* as of struct week_query; with it "grave" where there are such words */
};
int span_rows_harm(struct store *store, const struct span_harm *of, json_t **ret,
                   struct error *err);

#endif
