#include "patterns/trace_lots.h"
#include "base/hash.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "store/evidence.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { SLOTS_FIRST = 1024 };

struct trace_lots *trace_lots_new(void)
{
    struct trace_lots *t = xcalloc(1, sizeof *t);
    t->slot_count = SLOTS_FIRST;
    t->slots = xcalloc(t->slot_count, sizeof *t->slots);
    return t;
}

void trace_lots_free(struct trace_lots *t)
{
    if (!t)
        return;
    for (size_t i = 0; i < t->level_count; i++) {
        free(t->levels[i].factor);
        free(t->levels[i].level);
        free(t->levels[i].plant);
        free(t->levels[i].lots);
        free(t->levels[i].leans);
    }
    free(t->levels);
    free(t->sent.rows);
    free(t->reports.rows);
    free(t->lots);
    free(t->slots);
    free(t);
}

size_t trace_lots_add(struct trace_lots *t, const struct trace_lot *lot)
{
    if (t->count == t->capacity) {
        t->capacity = t->capacity ? t->capacity * 2 : 256;
        t->lots = xrealloc(t->lots, t->capacity * sizeof *t->lots);
    }
    t->lots[t->count] = *lot;
    t->lots[t->count].due = lot->units;
    return t->count++;
}

/* ---- levels ---- */

/* Lines are a plant's; what suppliers and retailers have in hand spans plants. */
static bool is_own(const char *factor)
{
    static const char *const OWN[] = {"line", "line-hour", "shift", "mix", "route"};
    for (size_t i = 0; i < sizeof OWN / sizeof OWN[0]; i++) {
        if (strcmp(OWN[i], factor) == 0)
            return true;
    }
    return false;
}

/* Of all words, a NUL behind each. */
static size_t hash_level(const char *factor, const char *level, const char *plant)
{
    uint64_t hash = hash_bytes(HASH_EMPTY, factor, strlen(factor) + 1);
    hash = hash_bytes(hash, level, strlen(level) + 1);
    return (size_t)hash_bytes(hash, plant, strlen(plant) + 1);
}

static size_t *find_slot(struct trace_lots *t, const char *factor, const char *level,
                         const char *plant)
{
    size_t at = hash_level(factor, level, plant) & (t->slot_count - 1);
    for (; t->slots[at]; at = (at + 1) & (t->slot_count - 1)) {
        const struct trace_level *l = &t->levels[t->slots[at] - 1];
        if (strcmp(l->level, level) == 0 && strcmp(l->factor, factor) == 0 &&
            strcmp(l->plant, plant) == 0)
            break;
    }
    return &t->slots[at];
}

static void grow_slots(struct trace_lots *t)
{
    free(t->slots);
    t->slot_count *= 2;
    t->slots = xcalloc(t->slot_count, sizeof *t->slots);
    for (size_t i = 0; i < t->level_count; i++)
        *find_slot(t, t->levels[i].factor, t->levels[i].level, t->levels[i].plant) = i + 1;
}

struct trace_level *trace_lots_level(struct trace_lots *t, const char *factor, const char *level,
                                     const char *plant)
{
    size_t *slot = find_slot(t, factor, level, plant);
    if (*slot)
        return &t->levels[*slot - 1];
    if (t->level_count == t->level_capacity) {
        t->level_capacity = t->level_capacity ? t->level_capacity * 2 : 256;
        t->levels = xrealloc(t->levels, t->level_capacity * sizeof *t->levels);
    }
    t->levels[t->level_count++] = (struct trace_level){
        .factor = xstrdup(factor), .level = xstrdup(level), .plant = xstrdup(plant)};
    *slot = t->level_count;
    if (t->level_count * 2 > t->slot_count)
        grow_slots(t);
    return &t->levels[t->level_count - 1];
}

void trace_lots_share(struct trace_lots *t, size_t lot, const char *factor, const char *level)
{
    if (!*level)
        return;
    struct trace_level *l =
        trace_lots_level(t, factor, level, is_own(factor) ? t->lots[lot].plant : "");
    if (!l->count || l->lots[l->count - 1] != lot)
        trace_lots_add_to(l, lot);
}

void trace_lots_add_to(struct trace_level *l, size_t lot)
{
    if (l->count == l->capacity) {
        l->capacity = l->capacity ? l->capacity * 2 : 8;
        l->lots = xrealloc(l->lots, l->capacity * sizeof *l->lots);
    }
    l->lots[l->count++] = lot;
}

/* ---- where they went ---- */

static size_t known_level(struct trace_lots *t, const char *factor, const char *level,
                          const char *plant)
{
    return *level ? *find_slot(t, factor, level, plant) : 0;
}

void trace_lots_send(struct trace_lots *t, struct trace_trips *to, size_t lot,
                     const struct evidence_dispatch *row)
{
    struct trace_sent sent = {.lot = lot,
                              .route = known_level(t, "route", row->route, t->lots[lot].plant),
                              .store = known_level(t, "store", row->store, ""),
                              .retailer = known_level(t, "retailer", row->retailer, ""),
                              .units = (double)row->units,
                              .at_ms = row->at_ms};
    struct trace_level *store = sent.store ? &t->levels[sent.store - 1] : NULL;
    if (store && sent.retailer)
        store->retailer = sent.retailer;
    else if (store) /* callers name stores */
        sent.retailer = store->retailer;
    struct trace_sent *last = to->count ? &to->rows[to->count - 1] : NULL;
    if (to == &t->sent && last && last->lot == lot && last->route == sent.route &&
        last->store == sent.store && last->retailer == sent.retailer) {
        last->units += sent.units;
        return;
    }
    if (!to->rows || to->count == to->capacity) {
        to->capacity = to->capacity ? to->capacity * 2 : 1024;
        to->rows = xrealloc(to->rows, to->capacity * sizeof *to->rows);
    }
    to->rows[to->count++] = sent;
}

/* ---- reading ---- */

struct reading {
    struct trace_lots *t;
    const struct tz *tz;
    const char *plant; /* the only one that is read; "": all */
    int64_t until_ms;
    size_t at; /* the lot last met: rows come in the order of the lots */
};

static int add_lot(void *arg, const struct evidence_packed *row)
{
    struct reading *r = arg;
    char hour[80];
    const struct tz *tz = tz_of(r->tz, row->plant);
    struct civil local = tz_civil(tz, row->packed_from_ms);
    if (*r->plant && strcmp(r->plant, row->plant) != 0)
        return 0;
    struct trace_lot lot = {
        .lot_id = row->lot_id,
        .packed_from_ms = row->packed_from_ms,
        .packed_to_ms = row->packed_to_ms,
        .units = row->units,
        .week = iso_week_monday(iso_week_of(tz_day(tz, row->packed_from_ms))),
    };
    text_clip(row->line, lot.line, sizeof lot.line);
    text_clip(row->plant, lot.plant, sizeof lot.plant);
    size_t at = trace_lots_add(r->t, &lot);
    trace_lots_share(r->t, at, "line", row->line);
    trace_lots_share(r->t, at, "shift", row->shift);
    trace_lots_share(r->t, at, "plant", row->plant);
    snprintf(hour, sizeof hour, "%s %02d:00", row->line, local.hour);
    trace_lots_share(r->t, at, "line-hour", hour);
    return 0;
}

bool trace_lots_seek(const struct trace_lots *t, size_t *at, int64_t lot_id)
{
    size_t start = *at;
    for (; *at < t->count; ++*at) {
        if (t->lots[*at].lot_id == lot_id)
            return true;
    }
    for (*at = 0; *at < start && *at < t->count; ++*at) {
        if (t->lots[*at].lot_id == lot_id)
            return true;
    }
    return false;
}

static bool seek(struct reading *r, int64_t lot_id)
{
    return trace_lots_seek(r->t, &r->at, lot_id);
}

static int add_share(void *arg, const struct evidence_share *row)
{
    struct reading *r = arg;
    char level[160];
    if (!seek(r, row->lot_id))
        return 0;
    trace_lots_share(r->t, r->at, row->kind, row->level);
    if (*row->supplier && strcmp(row->kind, "store") != 0) {
        snprintf(level, sizeof level, "%s from %s", row->kind, row->supplier);
        trace_lots_share(r->t, r->at, "supplier", level);
    }
    return 0;
}

static int add_report(void *arg, const struct evidence_report *row)
{
    struct reading *r = arg;
    const struct evidence_dispatch named = {.route = row->route,
                                            .store = row->store,
                                            .retailer = "",
                                            .units = 1,
                                            .at_ms = row->received_ms};
    if (row->received_ms >= r->until_ms || !seek(r, row->lot_id))
        return 0;
    r->t->lots[r->at].complaints++;
    trace_lots_send(r->t, &r->t->reports, r->at, &named);
    return 0;
}

static int add_sent(void *arg, const struct evidence_dispatch *row)
{
    struct reading *r = arg;
    if (seek(r, row->lot_id)) {
        trace_lots_share(r->t, r->at, "retailer", row->retailer);
        trace_lots_send(r->t, &r->t->sent, r->at, row);
    }
    return 0;
}

static int add_name(void *arg, const struct evidence_named *row)
{
    struct reading *r = arg;
    if (!seek(r, row->lot_id))
        return 0;
    text_clip(row->lot, r->t->lots[r->at].lot, sizeof r->t->lots[r->at].lot);
    trace_lots_share(r->t, r->at, "product", row->product);
    return 0;
}

int trace_lots_read(struct store *store, const struct tz *tz, const struct trace_packed *of,
                    struct trace_lots **ret, struct error *err)
{
    struct trace_lots *t = trace_lots_new();
    const struct when_span packed = of->span;
    const struct evidence_line lines = {of->plant ? of->plant : "", ""};
    struct reading r = {t, tz, lines.plant, INT64_MAX, 0};
    t->store = store;
    int rc = evidence_packed(store, packed, add_lot, &r, err);
    if (!rc)
        rc = evidence_made(store, packed, add_share, &r, err);
    if (!rc)
        rc = evidence_preserving(store, packed, &lines, add_share, &r, err);
    if (!rc)
        rc = evidence_traded(store, packed, add_share, &r, err);
    if (!rc)
        rc = evidence_named(store, packed, add_name, &r, err);
    if (!rc)
        rc = evidence_sent(store, packed, add_sent, &r, err);
    if (rc)
        trace_lots_free(t);
    else
        *ret = t;
    return rc;
}

int trace_lots_report(struct trace_lots *t, struct store *store, const struct trace_asked *asked,
                      struct error *err)
{
    struct reading r = {t, NULL, "", asked->until_ms, 0};
    t->reports.count = 0;
    for (size_t i = 0; i < t->count; i++)
        t->lots[i].complaints = 0;
    return evidence_reports(store, asked->symptom, asked->packed, add_report, &r, err);
}
