/* Lots that are not on record, yet or at all. A whole code that no record bears is read right by
 * one explanation: its lot is weighed like any other, with what would be known of it, the day and
 * minute that its code tells. Any text may be a misread code of the days since the newest lot on
 * record: a plant's timetable repeats, so their codes are those of recorded lots with another day.
 *
 * The code date and product of such lots are taken to suit: what the caller says of those must not
 * speak for a neighbour only because the neighbour is on record. */
#include "lots/unrecorded.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "lots/match_inside.h"
#include "store/seen.h"
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* From memory: codes on sale of a plant without a pattern; possible codes for every one that is
 * used (most minutes and numbers are not). */
static const double CODES_WITHOUT_PATTERN = 1e6, CODES_A_LOT = 150;

double unrecorded_rest(const struct matching *m)
{
    const struct agreement *a = &m->matcher->agreement;
    double p = 1;
    if (match_product_known(m) && m->volume.products > (int)m->product.count)
        p *= (double)m->product.count / m->volume.products;
    if (m->code_day != WHEN_UNKNOWN_DAY)
        p *= agreement_code_date_any(a);
    if (m->query->bought_day != WHEN_UNKNOWN_DAY)
        p *= (1 - a->bought_wrong) / (m->volume.shelf_life_days + 1 + AGREEMENT_LATE_DAYS);
    if (m->query->found_day != WHEN_UNKNOWN_DAY)
        p *= 1 - a->found_wrong;
    return p;
}

double unrecorded_codes(const struct matching *m)
{
    double most = m->result->parsed.alternatives;
    for (size_t i = 0; i < m->matcher->pattern_count && m->result->parsed.alternatives <= 0; i++) {
        double codes = code_pattern_alternatives(m->matcher->pattern[i]);
        most = codes > most ? codes : most;
    }
    double least = CODES_A_LOT * m->volume.lots_per_day * m->volume.shelf_life_days;
    most = most > 0 ? most : CODES_WITHOUT_PATTERN;
    assert(most > 0);
    return most > least ? most : least;
}

static int note_first(void *arg, const struct lot_find_key *key)
{
    *(int64_t *)arg = key->lot_id;
    return 1; /* one is enough */
}

/* The last lot like `where` that was packed then, 0 if none. */
static int last_packed(struct store *store, struct lot_find_where where, struct when_span packed,
                       int64_t *ret_lot_id, struct error *err)
{
    bool overflow = false;
    where.packed = packed;
    where.limit = 1;
    *ret_lot_id = 0;
    int rc = lot_find_each_key(store, &where, note_first, ret_lot_id, &overflow, err);
    return rc < 0 ? rc : 0;
}

/* A line packs one lot at a time: between two lots there is no room for one that begins shortly
 * before the second. */
static int find_busy(struct store *store, const struct lot_find_where *of_line, int64_t at_ms,
                     bool *ret, struct error *err)
{
    struct lot_find_row row;
    int64_t before, after = 0;
    const struct when_span day_before = {at_ms - WHEN_DAY_MS, at_ms};
    int rc = last_packed(store, *of_line, day_before, &before, err);
    if (rc < 0 || !before)
        return rc;
    rc = lot_find_by_id(store, before, &row, err);
    if (rc == 0) {
        int64_t takes_ms = row.packed_to_ms - row.packed_from_ms;
        const struct when_span begun = {at_ms, at_ms + takes_ms / 2 + 1};
        rc = last_packed(store, *of_line, begun, &after, err);
        *ret = row.packed_to_ms > at_ms || after;
    }
    return rc;
}

static int find_gap(struct store *store, const struct tz *tz, const struct lot_parsed *parsed,
                    struct unrecorded_code *ret, struct error *err)
{
    enum { LINE_DAYS = 90 };
    const struct lot_find_where of_line = {.plant = parsed->plant,
                                           .line = parsed->line[0] ? parsed->line : NULL,
                                           .code_day = WHEN_UNKNOWN_DAY};
    int64_t later, same_day = 0, before = 0;
    ret->gap = LOT_GAP_AMONG;
    if (parsed->day == WHEN_UNKNOWN_DAY)
        return 0;
    int64_t from_ms = tz_day_start_ms(tz_of(tz, parsed->plant), parsed->day);
    const struct when_span since = {parsed->at_ms, INT64_MAX};
    const struct when_span day = {from_ms, from_ms + WHEN_DAY_MS};
    const struct when_span until = {from_ms - LINE_DAYS * WHEN_DAY_MS, parsed->at_ms};
    int rc = last_packed(store, of_line, since, &later, err);
    if (rc == 0)
        rc = last_packed(store, of_line, day, &same_day, err);
    if (rc == 0 && !later)
        rc = last_packed(store, of_line, until, &before, err);
    if (rc == 0 && of_line.line && parsed->minute >= 0)
        rc = find_busy(store, &of_line, parsed->at_ms, &ret->line_busy, err);
    if (!later)
        ret->gap = before || !of_line.line ? LOT_GAP_LATER : LOT_GAP_LINE;
    else if (!same_day)
        ret->gap = LOT_GAP_DAY;
    return rc;
}

int unrecorded_look(struct store *store, const struct tz *tz, const struct lot_parsed *parsed,
                    struct unrecorded_code *ret, struct error *err)
{
    struct lot_find_row row[2];
    struct lot_find_rows rows = {.row = row, .capacity = 2};
    char read[LOT_MATCH_CODE], printed[LOT_MATCH_CODE];
    lot_find_fold(parsed->text, read, sizeof read);
    lot_find_fold(parsed->code, printed, sizeof printed);
    *ret = (struct unrecorded_code){0};
    int rc = *read ? lot_find_by_fold(store, read, 2, &rows, err) : 0;
    if (rows.count == 1)
        ret->lot_id = row[0].lot_id;
    if (rc == 0 && !rows.count && *printed && strcmp(printed, read) != 0)
        rc = lot_find_by_fold(store, printed, 1, &rows, err);
    ret->found = rows.count > 0;
    if (rc == 0 && parsed->whole && !ret->found &&
        (!parsed->plant[0] || seen_plant(store, parsed->plant)))
        rc = find_gap(store, tz, parsed, ret, err);
    return rc;
}

/* A lot of the text's very code but for the day: then the plant's timetable has that place. */
static const struct lot_find_row *same_place(const struct matching *m)
{
    const struct lot_parsed *parsed = &m->result->parsed;
    int32_t received_day = tz_day(m->query->tz, m->query->received_ms);
    for (size_t i = 0; i < m->rows.count; i++) {
        const struct lot_find_row *row = &m->rows.row[i];
        char code[CODE_PATTERN_CODE], fold[LOT_MATCH_CODE];
        int32_t days = parsed->day - tz_day(tz_of(m->query->tz, row->plant), row->packed_from_ms);
        for (size_t k = 0; k < m->matcher->pattern_count; k++)
            if (code_pattern_later(m->matcher->pattern[k], row->code, received_day, days, code) &&
                !strcmp(lot_find_fold(code, fold, sizeof fold), m->fold))
                return row;
    }
    return NULL;
}

/* Of what was on sale: one place of the day's timetable, or one code of those a day's lots may
 * bear, times how likely a lot of that day is not on record. */
static double prior_of(const struct matching *m)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct lot_parsed *parsed = &m->result->parsed;
    double codes = unrecorded_codes(m), shelf_life_days = m->volume.shelf_life_days;
    if (parsed->at_ms == WHEN_UNKNOWN_MS)
        return a->unrecorded / codes;
    double age_days = (double)(m->query->received_ms - parsed->at_ms) / (double)WHEN_DAY_MS;
    bool day_missing = m->result->gap == LOT_GAP_DAY || m->result->gap == LOT_GAP_LATER;
    double missing = day_missing ? a->unrecorded_day : a->unrecorded;
    const struct lot_find_row *place = m->record.line_busy ? NULL : same_place(m);
    if (place)
        return missing * (double)(place->units > 0 ? place->units : 1) / m->units_on_sale *
               agreement_age(a, age_days, place->shelf_life_days);
    return missing * agreement_age(a, age_days, shelf_life_days) /
           agreement_age_days(a, shelf_life_days) * CODE_PATTERN_DAYS / codes;
}

/* 1 where no date was read: it says nothing. */
static double date_agrees(const struct matching *m, int32_t code_day)
{
    return m->code_day == WHEN_UNKNOWN_DAY
               ? 1
               : agreement_code_date(&m->matcher->agreement, m->code_day, code_day);
}

static double code_date_of(const struct matching *m, int32_t packed_day)
{
    const struct agreement *a = &m->matcher->agreement;
    double best = 0;
    for (size_t i = 0; i < m->rows.count; i++) {
        const struct lot_find_row *row = &m->rows.row[i];
        if (match_product_known(m) && !product_named_fits(&m->product, row->product_id))
            continue;
        int32_t keeps_days =
            row->code_day - tz_day(tz_of(m->query->tz, row->plant), row->packed_from_ms);
        best = fmax(best, date_agrees(m, packed_day + keeps_days));
    }
    return best > 0 ? best : agreement_code_date_any(a);
}

static double rest_of(const struct matching *m, int32_t packed_day, double code_date,
                      int32_t code_day)
{
    const struct agreement *a = &m->matcher->agreement;
    const struct lot_query *q = m->query;
    double p = agreement_bought(a, q->bought_day, packed_day, code_day) *
               agreement_found(a, q->found_day, packed_day);
    if (match_product_known(m))
        p *= agreement_product(a, m->volume.products, true, m->product_scanned);
    return m->code_day != WHEN_UNKNOWN_DAY ? p * code_date : p;
}

double unrecorded_weight(const struct matching *m)
{
    int32_t day = m->result->parsed.day;
    if (m->result->gap == LOT_GAP_NONE || m->units_on_sale <= 0)
        return 0;
    double rest = day == WHEN_UNKNOWN_DAY
                      ? unrecorded_rest(m)
                      : rest_of(m, day, code_date_of(m, day),
                                day + (int32_t)lround(m->volume.shelf_life_days));
    return prior_of(m) * rest * UNRECORDED_READ_RIGHT;
}

/* ---- made since the newest lot on record ---- */

enum { DAYS_BACK = 21, LATER_LOTS = MATCH_CLOSEST * DAYS_BACK };

struct later {
    const struct matching *m;
    int32_t received_day, newest_day;
    float most; /* readings dearer than this are as good as none */
    char (*seen)[LOT_MATCH_CODE];
    size_t count;
    double sum;
};

static bool is_seen(const struct later *later, const char *fold)
{
    for (size_t i = 0; i < later->count; i++)
        if (!strcmp(later->seen[i], fold))
            return true;
    return false;
}

/* A lot like `row`, packed on `day`. */
static void add_later(struct later *later, const struct lot_find_row *row, const char *code,
                      int32_t days)
{
    const struct matching *m = later->m;
    const struct agreement *a = &m->matcher->agreement;
    struct reading_code as_code;
    int64_t packed_ms = row->packed_from_ms + days * WHEN_DAY_MS;
    assert(later->count < LATER_LOTS);
    char *fold = later->seen[later->count];
    lot_find_fold(code, fold, LOT_MATCH_CODE);
    bool read_right = m->result->gap != LOT_GAP_NONE && !strcmp(fold, m->fold);
    if (read_right || packed_ms <= m->volume.newest_ms || packed_ms > m->query->received_ms ||
        walk_cost(&m->matcher->costs, &m->text, fold, later->most) > later->most ||
        is_seen(later, fold))
        return;
    later->count++;
    reading_prepare(code, &as_code);
    double age_days = (double)(m->query->received_ms - packed_ms) / (double)WHEN_DAY_MS;
    int32_t packed_day = tz_day(tz_of(m->query->tz, row->plant), packed_ms),
            code_day = row->code_day + days;
    double units = row->units > 0 ? (double)row->units : 1;
    later->sum += a->unrecorded_day * units * agreement_age(a, age_days, row->shelf_life_days) /
                  m->units_on_sale * rest_of(m, packed_day, date_agrees(m, code_day), code_day) *
                  exp(reading_log_likelihood(&m->matcher->reading, &as_code, &m->text,
                                             m->result->parsed.scanned));
}

static void add_days(struct later *later, const struct lot_find_row *row)
{
    assert(later->received_day >= later->newest_day);
    const struct lot_matcher *matcher = later->m->matcher;
    int32_t packed_day = tz_day(tz_of(later->m->query->tz, row->plant), row->packed_from_ms);
    int32_t first = later->received_day - DAYS_BACK + 1;
    for (int32_t day = later->newest_day > first ? later->newest_day : first;
         day <= later->received_day; day++) {
        char code[CODE_PATTERN_CODE];
        for (size_t i = 0; i < matcher->pattern_count && day > packed_day; i++)
            if (code_pattern_later(matcher->pattern[i], row->code, later->received_day,
                                   day - packed_day, code)) {
                add_later(later, row, code, day - packed_day);
                break;
            }
    }
}

double unrecorded_misread(const struct matching *m)
{
    static const float HOPELESS = 12.0F;
    struct later later = {.m = m,
                          .received_day = tz_day(m->query->tz, m->query->received_ms),
                          .newest_day = tz_day(m->query->tz, m->volume.newest_ms),
                          .most = m->cheapest + HOPELESS};
    if (m->record.found || later.received_day <= later.newest_day)
        return 0;
    later.seen = xmalloc((LATER_LOTS + 1) * sizeof *later.seen);
    for (size_t i = 0; i < m->rows.count; i++)
        add_days(&later, &m->rows.row[i]);
    free(later.seen);
    return later.sum;
}
