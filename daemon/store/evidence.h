/* Reading what is known about a lot: its records, the plant's log before it, where it went, the
 * lots packed around it. Spans are [from, to). Text of a row lives until its callback returns; a
 * callback's non-zero answer stops and is returned. Unknown numbers are NAN, unknown instants
 * WHEN_UNKNOWN_MS. */
#ifndef ODDLOAF_STORE_EVIDENCE_H
#define ODDLOAF_STORE_EVIDENCE_H

#include "base/length.h"
#include "store/store.h"

struct evidence_lot {
    int64_t lot_id, product_id, units;
    int64_t made_from_ms, made_to_ms, packed_from_ms, packed_to_ms;
    int32_t code_day;
    int shelf_life_days;
    double unit_g; /* grams a pack */
    char lot[LENGTH_CODE + 1], plant[LENGTH_CODE + 1], line[LENGTH_CODE + 1],
        shift[LENGTH_CODE + 1];
    char product[LENGTH_CODE + 1], name[LENGTH_NAME + 1], family[16];
};
/* ERROR_NOT_FOUND if unknown. */
int evidence_lot(struct store *store, int64_t lot_id, struct evidence_lot *ret, struct error *err);

struct evidence_reading {
    int64_t quantity_id, at_ms;
    const char *quantity, *mix, *point, *note;
    double value;
};
typedef int (*evidence_reading_each)(void *arg, const struct evidence_reading *row);
/* By quantity and time; a value in its quantity's own unit. */
int evidence_readings(struct store *store, int64_t lot_id, evidence_reading_each each, void *arg,
                      struct error *err);

struct evidence_target {
    int64_t quantity_id;
    const char *quantity;
    double target, low, high;
};
typedef int (*evidence_target_each)(void *arg, const struct evidence_target *row);
/* Those that held on a day. */
int evidence_targets(struct store *store, int64_t product_id, int32_t day,
                     evidence_target_each each, void *arg, struct error *err);

struct evidence_mix {
    const char *mix;
    int64_t at_ms;
    double flour_kg;
};
typedef int (*evidence_mix_each)(void *arg, const struct evidence_mix *row);
int evidence_mixes(struct store *store, int64_t lot_id, evidence_mix_each each, void *arg,
                   struct error *err);

struct evidence_use {
    const char *material, *material_lot, *mix, *unit, *supplier;
    const char *kind, *applied; /* "" not told */
    double amount, active_pct;
};
typedef int (*evidence_use_each)(void *arg, const struct evidence_use *row);
int evidence_uses(struct store *store, int64_t lot_id, evidence_use_each each, void *arg,
                  struct error *err);
/* When a material lot was first used, by start of making; WHEN_UNKNOWN_MS if never. */
int evidence_material_first(struct store *store, const char *material, const char *material_lot,
                            int64_t *ret_ms, struct error *err);

struct evidence_entry {
    int64_t at_ms;
    const char *line;
    double value;
};
typedef int (*evidence_entry_each)(void *arg, const struct evidence_entry *row);
struct evidence_spot {
    const char *place, *quantity;
    const char *plant, *line; /* entries of this plant and line, or of none */
};
/* The plant's log of one spot, by time. */
int evidence_plantlog(struct store *store, const struct evidence_spot *spot, struct when_span span,
                      evidence_entry_each each, void *arg, struct error *err);

struct evidence_dispatch {
    const char *route, *store, *retailer; /* "" not told */
    int64_t at_ms, units;
    double transit_c;
    int64_t lot_id;
};
typedef int (*evidence_dispatch_each)(void *arg, const struct evidence_dispatch *row);
int evidence_dispatches(struct store *store, int64_t lot_id, evidence_dispatch_each each, void *arg,
                        struct error *err);

/* ---- the lots packed in a stretch of time, with what they share ---- */
struct evidence_packed {
    int64_t lot_id, product_id, packed_from_ms, packed_to_ms, units;
    const char *plant, *line, *shift;
};
typedef int (*evidence_packed_each)(void *arg, const struct evidence_packed *row);
/* Those whose packing began in it, by time and id. */
int evidence_packed(struct store *store, struct when_span span, evidence_packed_each each,
                    void *arg, struct error *err);
/* The same in any order: to put thousands of lots in order takes as long as to read them. */
int evidence_packed_any(struct store *store, struct when_span span, evidence_packed_each each,
                        void *arg, struct error *err);
/* Those of one product made at one plant ("": of none that is named), newest first, up to the
 * capacity. */
struct evidence_made_at {
    int64_t product_id;
    const char *plant;
};
int evidence_lots_of_product(struct store *store, const struct evidence_made_at *of,
                             struct when_span span, struct store_ids *ret, struct error *err);
struct evidence_share {
    int64_t lot_id;
    int64_t units;            /* of routes and stores: sent there; else 0 */
    int64_t at_ms;            /* of a mix; of routes and stores, the first dispatch */
    const char *kind, *level; /* "film" "PF-1", "mix" "M1", "route" "R1", "store" "S1" … */
    const char *supplier;     /* of materials, "" if not given; of a store, a route to it */
    const char *plant;        /* of what is asked about (evidence_sharers()): whose */
};
typedef int (*evidence_share_each)(void *arg, const struct evidence_share *row);
/* What the lots packed in that stretch share, by packing and lot: their mixes, then their material
 * lots. */
int evidence_made(struct store *store, struct when_span span, evidence_share_each each, void *arg,
                  struct error *err);
/* The same, the lots in any order. */
int evidence_made_any(struct store *store, struct when_span span, evidence_share_each each,
                      void *arg, struct error *err);
/* Likewise the preserving ingredients that uses tell the kind of, as the kind "preserving":
 * "cultured-wheat", "potassium-sorbate on the surface"; units are the lot's. */
struct evidence_line {
    const char *plant, *line; /* "": any */
};
int evidence_preserving(struct store *store, struct when_span span,
                        const struct evidence_line *line, evidence_share_each each, void *arg,
                        struct error *err);
/* Likewise their routes, then the stores that are known. */
int evidence_traded(struct store *store, struct when_span span, evidence_share_each each, void *arg,
                    struct error *err);
/* Mixes and material lots of one lot. */
int evidence_made_of(struct store *store, int64_t lot_id, evidence_share_each each, void *arg,
                     struct error *err);
/* Lots that one mix or material lot went into, as one of the above names it; at most `limit`. A
 * mix is its plant's, a material lot its supplier's, whatever plants it went to. */
struct evidence_sharer {
    int64_t lot_id, packed_from_ms, product_id;
    bool own; /* of the plant that is asked about */
};
typedef int (*evidence_sharer_each)(void *arg, const struct evidence_sharer *row);
int evidence_sharers(struct store *store, const struct evidence_share *of, int limit,
                     evidence_sharer_each each, void *arg, struct error *err);
/* What the lots packed in that stretch are called and are of, by packing and lot. */
struct evidence_named {
    int64_t lot_id;
    const char *lot, *product;
};
typedef int (*evidence_named_each)(void *arg, const struct evidence_named *row);
int evidence_named(struct store *store, struct when_span span, evidence_named_each each, void *arg,
                   struct error *err);
/* Their dispatches, by packing, lot, route, store and time. */
int evidence_sent(struct store *store, struct when_span span, evidence_dispatch_each each,
                  void *arg, struct error *err);
/* Units of all lots packed in that stretch. */
int evidence_units(struct store *store, struct when_span span, int64_t *ret, struct error *err);

struct evidence_report {
    int64_t lot_id, received_ms;
    const char *store, *route; /* "" not given */
};
typedef int (*evidence_report_each)(void *arg, const struct evidence_report *row);
/* Complaints of one symptom placed on the lots packed on a day (UTC), as they are counted by lot
 * (store/company_count.h); by lot and receipt. */
int evidence_day_reports(struct store *store, const char *symptom, int32_t packed_day,
                         evidence_report_each each, void *arg, struct error *err);
/* Complaints of one symptom placed on the lots packed in that stretch; by packing, lot and receipt.
 */
int evidence_reports(struct store *store, const char *symptom, struct when_span span,
                     evidence_report_each each, void *arg, struct error *err);

#endif
