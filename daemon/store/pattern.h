/* Counts by week behind the weekly pattern. They are kept with every change (store/move.h,
 * store/record_write.h), so reading a week costs the same whether the plant has a thousand
 * complaints or a million.
 *
 * A week is the number of its Monday, (day + 3) / 7 for days since 1970, by the clock of the plant
 * that a complaint, lot or case is of: its own zone or the company's (base/tz_of.h);
 * PATTERN_NO_WEEK: not known, or before PATTERN_FIRST_WEEK. A series is a level of a factor, a
 * plant and a symptom: what is asked of all plants is the sum of theirs. Where `plant` is asked
 * for, NULL and "" are all. Factors: "" (all together) and the names of base/cuts.h but places,
 * whose causes are counted; of units the symptom is "". Counts are complaints, joined reports once
 * and withdrawn ones not; of causes, expected complaints in millionths: a case's complaints times
 * the probability its newest ranking gives the cause, or all of them for the confirmed cause of a
 * settled case.
 *
 * Text of a row lives until its callback returns; a callback's non-zero answer stops and is
 * returned. */
#ifndef ODDLOAF_STORE_PATTERN_H
#define ODDLOAF_STORE_PATTERN_H

#include "base/record_kind.h"
#include "store/store.h"

#define PATTERN_NO_WEEK (-1)
#define PATTERN_MILLION 1e6
enum { PATTERN_FIRST_WEEK = 1566, PATTERN_LAST_WEEK = 6800 }; /* of the years 2000 to 2100 */

int pattern_week_of_day(int32_t day);
int32_t pattern_monday(int week); /* day of its Monday */

/* ---- what is counted ---- */
/* Makes weeks start when they do in `tz` (NULL: UTC), of its plants in theirs, and counts by all
 * cuts of the table. Where the file's counts are of other zones or another table it counts again:
 * that takes as long as reading every complaint and lot. In the writer's transaction. */
int pattern_set_up(struct store *store, const struct tz *tz, struct error *err);
/* ERROR_BUSY if the counts are still of other zones than those of the company that `tz` is of. */
int pattern_check_zone(struct store *store, const struct tz *tz, struct error *err);

/* ---- reading ---- */
struct pattern_series {
    int64_t id;
    const char *factor, *level, *plant, *symptom; /* plant "": of what is nobody's known */
};
typedef int (*pattern_series_each)(void *arg, const struct pattern_series *row);
/* By factor, level and plant: all of a level stand together. */
int pattern_series(struct store *store, pattern_series_each each, void *arg, struct error *err);

struct pattern_count {
    int64_t series_id, n;
    int week, received_week; /* as each function says; the same week where it tells one */
};
typedef int (*pattern_count_each)(void *arg, const struct pattern_count *row);
struct pattern_weeks {
    int from_week, to_week; /* [from, to] */
};
/* Complaints by week of receipt, of those weeks. */
int pattern_received(struct store *store, struct pattern_weeks weeks, pattern_count_each each,
                     void *arg, struct error *err);
/* Units by week of packing, of those weeks; of routes and stores, those sent there. */
int pattern_units(struct store *store, struct pattern_weeks weeks, pattern_count_each each,
                  void *arg, struct error *err);
/* The same of one series. */
int pattern_units_of(struct store *store, int64_t series_id, struct pattern_weeks weeks,
                     pattern_count_each each, void *arg, struct error *err);
/* One series by week of packing (those weeks) and week of receipt. */
int pattern_made(struct store *store, int64_t series_id, struct pattern_weeks weeks,
                 pattern_count_each each, void *arg, struct error *err);
/* Complaints about one week of packing, of all series, by week of receipt. */
int pattern_made_week(struct store *store, int week, pattern_count_each each, void *arg,
                      struct error *err);
/* What complaints received in it count for, by week of packing and of receipt: to take off
 * what an earlier "now" could not know. Reads those complaints. */
int pattern_between(struct store *store, struct when_span span, pattern_count_each each, void *arg,
                    struct error *err);

typedef int (*pattern_open_each)(void *arg, const char *symptom, int opened_week, int64_t n);
/* Open cases by the week they were opened, as they stand. */
int pattern_open(struct store *store, const char *plant, pattern_open_each each, void *arg,
                 struct error *err);

struct pattern_verdict {
    int64_t opened_ms, at_ms; /* first complaint of the case; verdict */
    int place;                /* of the confirmed cause in the ranking; 0: no ranking stood */
    double probability;       /* the ranking's of it, 0 if it did not name it; NAN: no ranking */
    double brier;             /* sum over the ranking's causes of squared errors; NAN likewise */
};
typedef int (*pattern_verdict_each)(void *arg, const struct pattern_verdict *row);
/* Standing verdicts given in it, by time. */
int pattern_verdicts(struct store *store, struct when_span span, const char *plant,
                     pattern_verdict_each each, void *arg, struct error *err);

/* Lots packed in its span at a plant, on a line (or on any but one), with the complaints of a
 * symptom placed on them and received before `until`; with a cause, those complaints' expected
 * number from it.
 * "": any; of the plant NULL, too. */
struct pattern_scope {
    const char *plant, *line, *not_line, *symptom, *cause;
    struct when_span span;
    int64_t until_ms;
};
struct pattern_lot {
    int64_t lot_id, packed_from_ms, units;
    double complaints;
};
typedef int (*pattern_lot_each)(void *arg, const struct pattern_lot *row);
/* By time of packing. */
int pattern_lots(struct store *store, const struct pattern_scope *scope, pattern_lot_each each,
                 void *arg, struct error *err);
/* Complaints of no kind that is ranked, received in it: the body of each, which lives until the
 * callback returns. */
typedef int (*pattern_other_each)(void *arg, const char *body);
int pattern_other(struct store *store, struct when_span span, const char *plant,
                  pattern_other_each each, void *arg, struct error *err);
/* Likewise, of any kind, that report harm. */
int pattern_harm(struct store *store, struct when_span span, const char *plant, int64_t *ret,
                 struct error *err);

/* ---- writing (writer's transaction) ---- */
/* Adds what something counts for, or takes it off: whoever changes a row takes it off before and
 * adds it after. */
enum pattern_way { PATTERN_OUT = -1, PATTERN_IN = 1 };
int pattern_count_complaint(struct store *store, int64_t complaint_id, enum pattern_way way,
                            struct error *err);
/* A store or route that turned out to hold contact data: its series go if nothing counts for them.
 */
int pattern_forget(struct store *store, const char *level, struct error *err);
/* A lot's units, those of it that went out, and the complaints about it. */
int pattern_count_lot(struct store *store, int64_t lot_id, enum pattern_way way, struct error *err);
/* The same of all lots of a product, and complaints about it. */
int pattern_count_product(struct store *store, int64_t product_id, enum pattern_way way,
                          struct error *err);
/* A dispatch that is there; its key as its record has it: lot's id, route, store, time. */
int pattern_count_sent(struct store *store, const struct record_cell *key, enum pattern_way way,
                       struct error *err);
/* The complaints whose route is told by where their lot went: around what writes a dispatch, be it
 * there before or not; its key as above. */
int pattern_count_routed(struct store *store, const struct record_cell *key, enum pattern_way way,
                         struct error *err);
/* A case among the open ones. */
int pattern_count_case(struct store *store, int64_t case_id, enum pattern_way way,
                       struct error *err);
/* What its newest ranking or its verdict shares a case's complaints out among. */
int pattern_count_causes(struct store *store, int64_t case_id, enum pattern_way way,
                         struct error *err);
/* Those are series of its plant from here on: before its complaints are counted there. */
int pattern_name_causes(struct store *store, int64_t case_id, struct error *err);
/* Keeps how good the ranking was that the case's standing verdict met; nothing if it met none. */
int pattern_verdict_given(struct store *store, int64_t case_id, struct error *err);
/* Counts everything again. */
int pattern_recount(struct store *store, struct error *err);
/* Number of weekly counts (of complaints, units, cases and open cases) that differ from what
 * counting again would give; 0 is right. Reads every complaint and lot. */
int pattern_differences(struct store *store, int64_t *ret, struct error *err);

#endif
