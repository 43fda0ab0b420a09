/* The counts a week's report rests on: complaints received before one instant, shared out among
 * causes as their cases are ranked today; units as they are on record. Inside patterns/.
 *
 * Index i of a span of n weeks is the week n - 1 - i before the one shown. */
#ifndef ODDLOAF_PATTERNS_WEEK_DATA_H
#define ODDLOAF_PATTERNS_WEEK_DATA_H

#include "base/cuts.h"
#include "base/error.h"
#include "base/when.h"
#include "rules/vocabulary.h"
#include "store/pattern_span.h"
#include "store/store.h"
#include <stdbool.h>
#include <stddef.h>

enum {
    WEEK_SYMPTOMS = SYMPTOMS,
    WEEK_SPAN = 60,     /* weeks read of every level */
    WEEK_HISTORY = 156, /* weeks read of all together: three years, for the season */
    WEEK_DELAYS = 14    /* weeks from packing to receipt that are told apart */
};

/* What lots share, of which the week keeps no counts, as a cut of one level: "film PF-1204". */
struct week_shared {
    struct cut cut; /* its name and where: the two below */
    char name[LENGTH_WORD + 1], where[LENGTH_WORD + 8];
    int64_t *lots; /* that bear it, sorted */
    size_t lot_count;
};

/* A level of a cut. Where counts are fractions they are expected complaints; where units are lent,
 * those of the whole plant. */
struct week_level {
    const struct cut *cut; /* NULL: all together */
    char *level;
    char *plant; /* of a level that is a plant's own (CUT_OWN): whose; "" not known, or nobody's */
    struct week_shared *shared; /* whose `cut` it is; NULL: it is one of base/cuts.h */
    double units[WEEK_SPAN];
    double counts[WEEK_SYMPTOMS][WEEK_SPAN]; /* received */
    double made[WEEK_SYMPTOMS];              /* on what the shown week packed, so far */
};

struct week_data {
    int week;     /* the one shown */
    int now_week; /* that holds `now` */
    int64_t now_ms;
    struct when_span shown;    /* the days of it */
    double passed;             /* share of the shown week that lies before now */
    const char *plant;         /* it is of that plant alone; "" all */
    struct week_level *levels; /* [0]: all together */
    size_t level_count, level_capacity;
    double units[WEEK_HISTORY + WEEK_DELAYS]; /* of all, index as of that longer span */
    double counts[WEEK_SYMPTOMS][WEEK_HISTORY];
    double made[WEEK_SYMPTOMS][WEEK_HISTORY][WEEK_DELAYS]; /* by week of packing and delay */
    double made_all[WEEK_SYMPTOMS][WEEK_HISTORY];          /* later delays too */
    int first_units; /* index in units of the first week that packed anything; its size if none */
};

struct week_data_query {
    struct iso_week week;
    int64_t now_ms;    /* what came later is left out */
    unsigned cuts;     /* the set whose levels are wanted: base/cuts.h */
    const char *plant; /* its complaints, lots and cases alone; NULL or "": all */
};
/* ERROR_BUSY while counts are of another zone. */
int week_data_read(struct store *store, const struct tz *tz, const struct week_data_query *query,
                   struct week_data **ret, struct error *err);
struct week_data_days {
    int32_t from_day, to_day; /* [from, to) */
    int64_t now_ms;
    unsigned cuts;
    const char *plant; /* as above */
};
/* The sums of those days: of units and counts of levels the last index, and the two instants; all
 * else is 0. */
int week_data_read_days(struct store *store, const struct tz *tz, const struct week_data_days *days,
                        struct week_data **ret, struct error *err);
void week_data_free(struct week_data *d); /* NULL is fine */

/* The index of a level that is there, or is added without counts. `shared` is NULL for a cut of
 * base/cuts.h; else it is taken over, its lots with it, and its cut is set. `plant` "": none. */
struct week_named {
    const char *factor, *level, *plant;
};
size_t week_data_level(struct week_data *d, const struct week_named *named,
                       struct week_shared *shared);
/* Whether a complaint's part is one of the level. */
bool week_data_is_of(const struct week_level *level, const struct pattern_part *part);
bool week_data_bears(const struct week_shared *shared, int64_t lot_id);

/* What a place's cause is called ("contamination-slicer" of slicer), into `buffer`, whether rules
 * have it or not, NULL of "". */
const char *week_data_cause_of_place(const char *place, char *buffer, size_t size);

/* "2026-W47" of a week's number. */
char *week_data_name(int week, char buffer[static 16]);

#endif
