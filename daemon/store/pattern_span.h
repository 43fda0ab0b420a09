/* Sums over days: whole weeks from what is kept, the days at either end from complaints and lots,
 * so that a year costs hardly more than a week. */
#ifndef ODDLOAF_STORE_PATTERN_SPAN_H
#define ODDLOAF_STORE_PATTERN_SPAN_H

#include "store/pattern.h"

/* A plant's whole weeks are by its own clock; the days before and behind them are those of the zone
 * that the span was made in, for all plants. */
struct pattern_span {
    struct when_span all;   /* [from, to): the days, cut off */
    int from_week, to_week; /* whole weeks within; none if from > to */
    /* before the first lies what is of an earlier week by any clock, behind the other what is of a
     * later one; `all` itself where there are no such days */
    int64_t first_until_ms, last_from_ms;
};
/* The days [from_day, to_day) of the zone, cut off at `now`. */
struct pattern_span pattern_span(const struct tz *tz, int32_t from_day, int32_t to_day,
                                 int64_t now_ms);

/* Complaints received in it, and units packed in it: a sum a series, with no week. */
int pattern_span_received(struct store *store, const struct pattern_span *span,
                          pattern_count_each each, void *arg, struct error *err);
int pattern_span_units(struct store *store, const struct pattern_span *span,
                       pattern_count_each each, void *arg, struct error *err);

/* A complaint's share in a level: 1, of causes millionths. */
struct pattern_part {
    int64_t complaint_id, n;
    const char *factor, *level, *plant;
    int64_t lot_id; /* 0: open */
};
typedef int (*pattern_part_each)(void *arg, const struct pattern_part *row);
/* Of all complaints of the scope's symptom received in its span, by complaint. Reads those
 * complaints. */
int pattern_span_parts(struct store *store, const struct pattern_scope *scope,
                       pattern_part_each each, void *arg, struct error *err);

/* Those of them whose case reports harm, or may: no cause is named of such. By id. */
typedef int (*pattern_id_each)(void *arg, int64_t complaint_id);
int pattern_span_harm(struct store *store, const struct pattern_scope *scope, pattern_id_each each,
                      void *arg, struct error *err);

/* A lot that complaints are about. Text lives until the callback returns. */
struct pattern_hit {
    int64_t lot_id, units;
    int32_t code_day;
    int64_t case_id, newest_ms; /* of its newest such complaint */
    int64_t complaints;         /* such ones of the lot */
    const char *lot;
};
typedef int (*pattern_hit_each)(void *arg, const struct pattern_hit *row);
/* Lots on record of the complaints of the scope's symptom received in its span that count for a
 * level of a factor, of its plant where a level is a plant's own; of causes, that are most likely
 * its. Reads those complaints. */
int pattern_span_hit(struct store *store, const struct pattern_scope *scope,
                     const struct pattern_series *level, pattern_hit_each each, void *arg,
                     struct error *err);

#endif
