/* What is usual of a product at a plant: its recent lots, and the middle and spread of what they
 * read. */
#include "base/text.h"
#include "base/tz_of.h"
#include "facts/company_day.h"
#include "facts/facts.h"
#include "stats/robust.h"
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Makes the mean absolute deviation of a normal sample estimate its sigma: sqrt(pi / 2). */
#define MEAN_NORMAL 1.2533141373155003

static void destroy_baseline(struct cache_object *cached)
{
    struct fact_baseline *baseline = (struct fact_baseline *)(void *)cached;
    free(baseline->usual);
    free(baseline);
}

struct robust_scale facts_spread(double *values, size_t n)
{
    double sum = 0;
    struct robust_scale scale = robust_measure(values, n); /* leaves absolute deviations */
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    if (scale.deviation <= 0 && n > 0)
        scale.deviation = MEAN_NORMAL * sum / (double)n;
    return scale;
}

/* `least` is the smallest spread to be had; 0: 2 % of the median. Recent lots that all read the
 * same would make any difference infinitely strange. */
static void scale_of(struct fact_usual *usual, int part, double *values, double least)
{
    struct robust_scale scale = facts_spread(values, (size_t)usual->count);
    if (!(least > 0))
        least = 0.02 * fabs(scale.median);
    usual->median[part] = scale.median;
    usual->spread[part] = fmax(scale.deviation, least > 0 ? least : 1);
}

static void usual_ages(const struct lot_record *const *records, int count,
                       struct fact_usual ret[MATERIALS])
{
    double values[MATERIALS][FACTS_BASELINE_LOTS], days[MATERIALS];
    for (int i = 0; i < count; i++) {
        lot_record_ages(records[i], days);
        for (int m = 0; m < MATERIALS; m++)
            if (!isnan(days[m]))
                values[m][ret[m].count++] = days[m];
    }
    for (int m = 0; m < MATERIALS; m++)
        scale_of(&ret[m], PART_MEDIAN, values[m], 1);
}

static void usual_of(const struct lot_record *const *records, int count, const char *quantity,
                     int64_t until_ms, struct fact_usual *ret)
{
    double values[3][FACTS_BASELINE_LOTS];
    *ret = (struct fact_usual){0};
    snprintf(ret->quantity, sizeof ret->quantity, "%s", quantity);
    for (int i = 0; i < count; i++) {
        const struct lot_series *series = lot_record_series(records[i], quantity);
        if (!series || series->count == 0)
            continue;
        struct lot_summary summary = lot_record_summary(records[i], series, until_ms);
        if (summary.count == 0)
            continue;
        values[PART_MEDIAN][ret->count] = summary.median;
        values[PART_MIN][ret->count] = summary.min;
        values[PART_MAX][ret->count++] = summary.max;
    }
    for (int part = 0; part < 3; part++)
        scale_of(ret, part, values[part], 0);
}

static void fill_baseline(struct fact_baseline *baseline, const struct lot_record *const *records,
                          int count, int64_t until_ms)
{
    usual_ages(records, count, baseline->ages);
    for (int i = 0; i < count; i++)
        for (int s = 0; s < records[i]->series_count; s++) {
            const struct lot_series *series = &records[i]->series[s];
            if (series->count == 0 || facts_usual(baseline, series->quantity))
                continue;
            baseline->usual =
                xrealloc(baseline->usual, (size_t)(baseline->count + 1) * sizeof *baseline->usual);
            usual_of(records, count, series->quantity, until_ms,
                     &baseline->usual[baseline->count++]);
        }
}

struct recent {
    const struct lot_record *lot[FACTS_BASELINE_LOTS];
    int count;
};

/* The newest lots of the product at its plant packed before. What was read is there even if it
 * fails. */
static int read_recent(const struct facts_source *source, const struct lot_records *records,
                       const struct evidence_lot *lot, int64_t before_ms, struct recent *ret,
                       struct error *err)
{
    const struct evidence_made_at of = {lot->product_id, lot->plant};
    int64_t id[FACTS_BASELINE_LOTS];
    struct store_ids ids = {id, 0, FACTS_BASELINE_LOTS};
    const struct when_span packed = {before_ms - FACTS_BASELINE_DAYS * WHEN_DAY_MS, before_ms};
    int rc = evidence_lots_of_product(records->store, &of, packed, &ids, err);
    while (!rc && ret->count < ids.count) {
        rc = lot_record_get(source->lots, records, id[ret->count], &ret->lot[ret->count], err);
        ret->count += rc == 0;
    }
    return rc;
}

static void forget_recent(struct recent *recent)
{
    while (recent->count > 0)
        lot_record_unref(recent->lot[--recent->count]);
}

/* Recent are those packed before the lot's day at the plant. */
static int64_t day_start_ms(const struct facts_source *source, const struct lot_record *record)
{
    const struct tz *tz = tz_of(source->tz, record->lot.plant);
    return tz_day_start_ms(tz, tz_day(tz, record->lot.packed_from_ms));
}

int facts_recent(const struct facts_source *source, const struct lot_records *records,
                 const struct lot_record *record, facts_recent_each each, void *arg,
                 struct error *err)
{
    struct recent recent = {.count = 0};
    int rc = read_recent(source, records, &record->lot, day_start_ms(source, record), &recent, err);
    for (int i = 0; i < recent.count && !rc; i++)
        rc = each(arg, recent.lot[i]);
    forget_recent(&recent);
    return rc;
}

int facts_baseline(const struct facts_source *source, const struct lot_records *records,
                   const struct lot_record *record, int64_t as_of_ms,
                   const struct fact_baseline **ret, struct error *err)
{
    const struct tz *tz = tz_of(source->tz, record->lot.plant);
    int32_t packed_day = tz_day(tz, record->lot.packed_from_ms);
    /* the same for all lots and complaints of a day, so that a kept one answers alike */
    int64_t until_ms = tz_day_start_ms(tz, tz_day(tz, as_of_ms));
    struct cache_key key = {
        company_day_own((uint64_t)record->lot.product_id, company_day_plant(record->lot.plant)),
        (uint64_t)packed_day, (uint64_t)until_ms};
    struct fact_baseline *baseline = cache_get(source->baselines, key, records->serial);
    if (baseline) {
        *ret = baseline;
        return 0;
    }
    struct recent recent = {.count = 0};
    int rc = read_recent(source, records, &record->lot, day_start_ms(source, record), &recent, err);
    if (!rc) {
        baseline = xcalloc(1, sizeof *baseline);
        cache_object_init(&baseline->cached, destroy_baseline);
        fill_baseline(baseline, recent.lot, recent.count, until_ms);
        cache_put(source->baselines, key, records->serial, baseline);
        *ret = baseline;
    }
    forget_recent(&recent);
    return rc;
}

const struct fact_usual *facts_usual(const struct fact_baseline *baseline, const char *quantity)
{
    for (int i = 0; i < baseline->count; i++)
        if (strcmp(baseline->usual[i].quantity, quantity) == 0)
            return &baseline->usual[i];
    return NULL;
}
