/* The lots of a period, which of them failed, and what they share: the table that tracing reads.
 * Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_LOTS_H
#define ODDLOAF_PATTERNS_TRACE_LOTS_H

#include "base/error.h"
#include "base/length.h"
#include "base/when.h"
#include "store/evidence.h"
#include <stdbool.h>
#include <stddef.h>

struct trace_lot {
    int64_t lot_id, packed_from_ms, packed_to_ms, units;
    int32_t week; /* days since 1970 of that ISO week's Monday */
    char lot[LENGTH_CODE + 1], plant[LENGTH_CODE + 1], line[LENGTH_CODE + 1];
    int64_t
        due; /* the units that complaints can be in about: all of them when read (trace_due.h) */
    int complaints;
    bool failed, excluded; /* excluded: neither failed nor a fair comparison; false when read */
};

/* How likely a store is on a route, level + 1. */
struct trace_lean {
    size_t route;
    double share;
};

struct trace_level {
    char *factor, *level; /* "film" "PF-1204" */
    char *plant;  /* of what is a plant's own (line, line-hour, shift, mix, route): whose, "" not
                     known; of all else "" */
    size_t *lots; /* indexes, ascending, each once */
    size_t count, capacity;
    size_t same;     /* first level on exactly the same lots: set by trace_test_all() */
    size_t retailer; /* of a store: level + 1 of whose it is, 0 not known */
    /* A store that only callers name (trace_named.h): about other symptoms and about this one so
     * often; its part of the lots above. */
    bool only_named;
    int named, named_own;
    double told;
    struct trace_lean *leans; /* NULL: nothing is known */
    size_t lean_count;
};

/* Where lots went, and what callers name of it: levels + 1, 0 not known. By lot. */
struct trace_sent {
    size_t lot, route, store, retailer;
    double units;  /* of reports: 1 */
    int64_t at_ms; /* of reports: received */
};

struct trace_trips {
    struct trace_sent *rows;
    size_t count, capacity;
};

struct trace_lots {
    const struct store *store; /* they were read from, for whoever asks it; NULL: nobody */
    struct trace_trips sent, reports;
    struct trace_lot *lots; /* by packing time */
    size_t count, capacity;
    struct trace_level *levels;
    size_t level_count, level_capacity;
    size_t *slots; /* hash of levels: index + 1 */
    size_t slot_count;
};

struct trace_lots *trace_lots_new(void);
void trace_lots_free(struct trace_lots *t); /* NULL is fine */
/* Lots are added by packing time, each once; copied. Returns its index. */
size_t trace_lots_add(struct trace_lots *t, const struct trace_lot *lot);
/* Marks that a lot carries a level, "" none; within one level lots come in ascending order. What is
 * a plant's own is the lot's plant's. */
void trace_lots_share(struct trace_lots *t, size_t lot, const char *factor, const char *level);

/* The level, made if it is none yet; it moves when another one is made. */
struct trace_level *trace_lots_level(struct trace_lots *t, const char *factor, const char *level,
                                     const char *plant);
/* Each lot once, in ascending order. */
void trace_lots_add_to(struct trace_level *level, size_t lot);
/* Moves *at on to a lot, which is best asked for in the order of lots; false if it is none. */
bool trace_lots_seek(const struct trace_lots *t, size_t *at, int64_t lot_id);

/* Adds to `sent` or `reports` where units of a lot went, or what a caller named of it ("" not
 * known): what is no level of any lot is not known. Lots come in ascending order. */
void trace_lots_send(struct trace_lots *t, struct trace_trips *to, size_t lot,
                     const struct evidence_dispatch *row);
struct trace_asked {
    const char *symptom;
    struct when_span packed;
    int64_t until_ms; /* complaints received from then on are left out */
};
struct trace_packed {
    struct when_span span;
    const char *plant; /* NULL or "": of all */
};
/* Everything about the lots packed then: lines, products, shifts, materials, routes … */
int trace_lots_read(struct store *store, const struct tz *tz, const struct trace_packed *of,
                    struct trace_lots **ret, struct error *err);
/* Complaints of the symptom are counted on them, in place of what was counted before: after
 * trace_named_read(). `packed` is what they were read of. */
int trace_lots_report(struct trace_lots *t, struct store *store, const struct trace_asked *asked,
                      struct error *err);

#endif
