/* Gathers a case's facts from the complaints and the records, as they stood at the case's newest
 * complaint: nothing that was written, taken or received later is looked at.
 *
 * Windows: baselines of quantities 42 days of the same product before the lot's day of packing; the
 * plant's log 14 days before packing (baseline 90 days), 7 days after. */
#ifndef ODDLOAF_FACTS_FACTS_H
#define ODDLOAF_FACTS_FACTS_H

#include "facts/company.h"
#include "facts/fact_set.h"
#include "models/parameters.h"
#include "stats/robust.h"

struct facts_source {
    const struct rules *rules;
    const struct models_parameters *models;
    const struct tz *tz; /* the plant's; NULL: UTC */
    struct cache *lots, *baselines, *logs, *records, *predictions, *companies;
    struct company *company;
};

/* Facts for one of the case's lots; lot_id 0: what the complaints say alone. */
int facts_gather(const struct facts_source *source, struct store *store,
                 const struct case_input *input, int64_t lot_id, struct fact_set *ret,
                 struct error *err);

/* Median and robust spread (1.4826 median absolute deviation, floored) of a quantity over the
 * recent lots of a product, as of a day. */
struct fact_usual {
    char quantity[LENGTH_WORD + 1];
    int count;
    double median[3], spread[3]; /* by enum fact_part */
};
struct fact_baseline {
    struct cache_object cached;
    struct fact_usual *usual;
    int count;
    struct fact_usual ages[MATERIALS]; /* days in use of the material lots */
};
/* A new reference. */
int facts_baseline(const struct facts_source *source, const struct lot_records *records,
                   const struct lot_record *record, int64_t as_of_ms,
                   const struct fact_baseline **ret, struct error *err);
const struct fact_usual *facts_usual(const struct fact_baseline *baseline, const char *quantity);
/* The lots that a baseline is made of, newest first. A non-zero answer of `each` stops and is
 * returned. */
typedef int (*facts_recent_each)(void *arg, const struct lot_record *record);
int facts_recent(const struct facts_source *source, const struct lot_records *records,
                 const struct lot_record *record, facts_recent_each each, void *arg,
                 struct error *err);

/* The parts; each fills the facts of its kind. */
struct facts_job {
    const struct facts_source *source;
    struct lot_records records;
    const struct case_input *input;
    struct fact_set *set;
    int32_t packed_day; /* plant's calendar; WHEN_UNKNOWN_DAY without a lot */
};
/* Whether fact `f` is of that kind and wanted for the case's symptom. */
bool facts_wanted(const struct facts_job *job, int f, enum fact_kind kind);
void facts_observed(const struct facts_job *job);
int facts_lot(const struct facts_job *job, struct error *err);
int facts_place(const struct facts_job *job, struct error *err);
void facts_dispatch(const struct facts_job *job);
int facts_company(const struct facts_job *job, struct error *err);
int facts_model(const struct facts_job *job, struct error *err);

/* Median and robust spread; where more than half of the values are equal, the mean absolute
 * deviation stands in for the median one (B. Iglewicz & D. C. Hoaglin, "How to Detect and Handle
 * Outliers", 1993). Reorders and overwrites `values`. */
struct robust_scale facts_spread(double *values, size_t n);

/* Between the two cleanings of a place around the lot's packing, as the plant's log has them; where
 * it was not cleaned since, up to as_of. */
struct facts_window {
    bool known;    /* that it was cleaned before */
    bool own_line; /* the log entry is of the lot's line, not of the whole plant */
    struct when_span span;
};
int facts_window(const struct facts_job *job, const char *place, struct facts_window *ret,
                 struct error *err);

/* The zone of the lot's plant, of no lot the company's. */
const struct tz *facts_tz(const struct facts_job *job);
/* Age in days of the loaf when complaint `i` found the fault (else when it came in); NAN. */
double facts_age_days(const struct facts_job *job, int i);

#define FACTS_BASELINE_DAYS 42
#define FACTS_BASELINE_LOTS 60
#define FACTS_BASELINE_LEAST 5

#endif
