/* The plant's log before the lot passed: as-of joins by place, line and time. */
#include "base/text.h"
#include "facts/facts.h"
#include "stats/robust.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    LOG_BLOCK_DAYS = 28,
    LOG_BEFORE_DAYS = 90,
    FILTER_BEFORE_DAYS = 400,
    LOG_AFTER_DAYS = 8,
    FRESH_DAYS = 14,
    NEXT_DAYS = 7,
    PEAK_DAYS = 7
};

struct entry {
    int64_t at_ms;
    double value;
    bool own_line; /* rather than of no line */
};

/* One place's entries of one quantity for one line of a plant, around a block of days: one series
 * serves all lots packed in it. */
struct log_series {
    struct cache_object cached;
    struct entry *entries; /* by time */
    int count;
};

static void destroy_log(struct cache_object *cached)
{
    struct log_series *log = (struct log_series *)(void *)cached;
    free(log->entries);
    free(log);
}

static int take_entry(void *arg, const struct evidence_entry *row)
{
    struct log_series *log = arg;
    log->entries = xrealloc(log->entries, (size_t)(log->count + 1) * sizeof *log->entries);
    log->entries[log->count++] = (struct entry){row->at_ms, row->value, *row->line != '\0'};
    return 0;
}

static int log_get(const struct facts_job *job, const char *place, const char *quantity,
                   const struct log_series **ret, struct error *err)
{
    const char *plant = job->set->record->lot.plant, *line = job->set->record->lot.line;
    int32_t block = job->packed_day / LOG_BLOCK_DAYS;
    struct cache_key key = {cache_hash(cache_hash(0, place), quantity),
                            cache_hash(cache_hash(0, plant), line), (uint64_t)(int64_t)block};
    struct log_series *log = cache_get(job->source->logs, key, job->records.serial);
    if (log) {
        *ret = log;
        return 0;
    }
    int64_t from_ms = tz_day_start_ms(facts_tz(job), block * LOG_BLOCK_DAYS);
    int days = strcmp(quantity, "filter_changed") == 0 ? FILTER_BEFORE_DAYS : LOG_BEFORE_DAYS;
    log = xcalloc(1, sizeof *log);
    cache_object_init(&log->cached, destroy_log);
    const struct evidence_spot spot = {place, quantity, plant, line};
    const struct when_span span = {from_ms - (int64_t)days * WHEN_DAY_MS,
                                   from_ms + (LOG_BLOCK_DAYS + LOG_AFTER_DAYS) * WHEN_DAY_MS};
    int rc = evidence_plantlog(job->records.store, &spot, span, take_entry, log, err);
    if (rc) {
        cache_object_unref(log);
        return rc;
    }
    cache_put(job->source->logs, key, job->records.serial, log);
    *ret = log;
    return 0;
}

/* Entries until an instant; of those the last. */
static int before(const struct log_series *log, int64_t ms)
{
    int low = 0, high = log->count;
    while (low < high) {
        int middle = (low + high) / 2;
        if (log->entries[middle].at_ms <= ms)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

/* Counts of colonies spread by factors, not by steps: compared on the scale log(1 + x). */
static double scale(const char *quantity, double value)
{
    return fact_set_is_sample(quantity) ? log1p(fmax(value, 0)) : value;
}

static void take_z(const struct log_series *log, int until, const char *quantity, struct fact *fact)
{
    double values[256];
    int count = 0;
    for (int i = until - 1; i >= 0 && count < 256 &&
                            log->entries[i].at_ms >= fact->at_ms - LOG_BEFORE_DAYS * WHEN_DAY_MS;
         i--)
        values[count++] = scale(quantity, log->entries[i].value);
    if (count < FACTS_BASELINE_LEAST)
        return;
    struct robust_scale usual = facts_spread(values, (size_t)count);
    /* one colony more or less on a nearly clean plate, one yes among noes: chance */
    double least = fact_set_is_sample(quantity) ? 0.35 : fmax(0.05 * fabs(usual.median), 0.25);
    fact->usual = fact_set_is_sample(quantity) ? expm1(usual.median) : usual.median;
    fact->z = robust_z(scale(quantity, fact->value), usual, least);
}

static void take_logged(const struct facts_job *job, const struct fact_name *name,
                        const struct log_series *log, struct fact *fact)
{
    const struct evidence_lot *lot = &job->set->record->lot;
    int64_t packed = lot->packed_from_ms, as_of = job->input->as_of_ms;
    int last = before(log, packed < as_of ? packed : as_of);
    int next = before(log, lot->packed_to_ms);
    const struct entry *found = NULL;
    if (name->code == PLACE_LAST && last > 0 &&
        log->entries[last - 1].at_ms >= packed - FRESH_DAYS * WHEN_DAY_MS)
        found = &log->entries[last - 1];
    bool has_next = next < log->count && log->entries[next].at_ms <= as_of &&
                    log->entries[next].at_ms <= lot->packed_to_ms + NEXT_DAYS * WHEN_DAY_MS;
    if (name->code == PLACE_NEXT && has_next)
        found = &log->entries[next];
    if (name->code == PLACE_PEAK) {
        for (int i = last - 1; i >= 0 && log->entries[i].at_ms >= packed - PEAK_DAYS * WHEN_DAY_MS;
             i--)
            if (!found || log->entries[i].value > found->value)
                found = &log->entries[i];
        if (has_next && (!found || log->entries[next].value > found->value))
            found = &log->entries[next];
    }
    if (!found)
        return;
    fact_set_number(fact, found->value);
    fact->at_ms = found->at_ms;
    /* against the entries before the one looked at, so that it does not hide in its own spread */
    int own = (int)(found - log->entries);
    take_z(log, own < last ? own : last, name->quantity, fact);
}

static void take_cleaned(const struct facts_job *job, const struct log_series *log,
                         struct fact *fact)
{
    int64_t packed = job->set->record->lot.packed_from_ms;
    int until = before(log, packed), gaps = 0;
    double gap_h[128];
    int64_t last = WHEN_UNKNOWN_MS, earlier = WHEN_UNKNOWN_MS;
    for (int i = 0; i < until; i++) {
        if (log->entries[i].value < 0.5 ||
            log->entries[i].at_ms < packed - LOG_BEFORE_DAYS * WHEN_DAY_MS)
            continue;
        earlier = last;
        last = log->entries[i].at_ms;
        if (earlier != WHEN_UNKNOWN_MS && gaps < 128)
            gap_h[gaps++] = (double)(last - earlier) / (double)WHEN_HOUR_MS;
    }
    if (last == WHEN_UNKNOWN_MS)
        return;
    fact_set_number(fact, (double)(packed - last) / (double)WHEN_HOUR_MS);
    fact->at_ms = last;
    if (gaps >= FACTS_BASELINE_LEAST)
        fact->usual = robust_median(gap_h, (size_t)gaps);
}

static void take_missed(const struct facts_job *job, const struct log_series *log,
                        struct fact *fact)
{
    int64_t packed = job->set->record->lot.packed_from_ms;
    int until = before(log, packed), missed = 0, seen = 0;
    for (int i = until - 1; i >= 0; i--) {
        if (log->entries[i].at_ms < packed - 7 * WHEN_DAY_MS)
            break;
        seen++;
        missed += log->entries[i].value < 0.5;
    }
    if (seen)
        fact_set_number(fact, missed);
}

static void take_filter(const struct facts_job *job, const struct log_series *log,
                        struct fact *fact)
{
    int64_t packed = job->set->record->lot.packed_from_ms;
    for (int i = before(log, packed) - 1; i >= 0; i--)
        if (log->entries[i].value >= 0.5) {
            fact_set_number(fact, (double)(packed - log->entries[i].at_ms) / (double)WHEN_DAY_MS);
            fact->at_ms = log->entries[i].at_ms;
            return;
        }
}

/* A sample tells of a place as it was then; what cleaning left of that the lot met. */
static int take_cleanings(const struct facts_job *job, const struct fact_name *name,
                          struct fact *fact, struct error *err)
{
    const struct evidence_lot *lot = &job->set->record->lot;
    const struct log_series *log;
    int rc = log_get(job, name->place, "cleaned", &log, err);
    if (rc)
        return rc;
    bool since = name->code == PLACE_NEXT;
    int64_t from_ms = since ? lot->packed_to_ms : fact->at_ms;
    int64_t to_ms = since ? fact->at_ms : lot->packed_from_ms;
    for (int i = before(log, from_ms); i < log->count && log->entries[i].at_ms < to_ms; i++)
        fact->cleanings += log->entries[i].value >= 0.5;
    cache_object_unref((void *)log);
    return 0;
}

static bool is_sampled(const struct fact_name *name, const struct fact *fact)
{
    return fact->known && (name->code == PLACE_LAST || name->code == PLACE_NEXT) &&
           fact_set_is_sample(name->quantity);
}

static int take_place(const struct facts_job *job, const struct fact_name *name, struct fact *fact,
                      struct error *err)
{
    static const char *const OWN[] = {[PLACE_HOURS_SINCE_CLEANED] = "cleaned",
                                      [PLACE_CLEANING_MISSED] = "cleaned",
                                      [PLACE_DAYS_SINCE_FILTER] = "filter_changed"};
    const char *quantity = name->code <= PLACE_PEAK ? name->quantity : OWN[name->code];
    const struct log_series *log;
    int rc = log_get(job, name->place, quantity, &log, err);
    if (rc)
        return rc;
    switch (name->code) {
    case PLACE_HOURS_SINCE_CLEANED:
        take_cleaned(job, log, fact);
        break;
    case PLACE_CLEANING_MISSED:
        take_missed(job, log, fact);
        break;
    case PLACE_DAYS_SINCE_FILTER:
        take_filter(job, log, fact);
        break;
    default:
        take_logged(job, name, log, fact);
    }
    cache_object_unref((void *)log);
    return is_sampled(name, fact) ? take_cleanings(job, name, fact, err) : 0;
}

int facts_place(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    int rc = 0;
    for (int f = 0; !rc && f < rules->fact_count; f++)
        if (facts_wanted(job, f, FACT_PLACE))
            rc = take_place(job, &rules->facts[f].name, fact_set_at(job->set, f, 0), err);
    return rc;
}

int facts_window(const struct facts_job *job, const char *place, struct facts_window *ret,
                 struct error *err)
{
    int64_t packed = job->set->record->lot.packed_from_ms;
    const struct log_series *log;
    int rc = log_get(job, place, "cleaned", &log, err);
    if (rc)
        return rc;
    int before_at = before(log, packed), at = before_at - 1, next = before_at;
    while (at >= 0 && log->entries[at].value < 0.5)
        at--;
    while (next < log->count && log->entries[next].value < 0.5)
        next++;
    *ret = (struct facts_window){.known = at >= 0};
    if (at >= 0) {
        ret->own_line = log->entries[at].own_line;
        ret->span.from_ms = log->entries[at].at_ms;
        /* not cleaned since, as far as is known by then: the window is still open */
        ret->span.to_ms = next < log->count && log->entries[next].at_ms <= job->input->as_of_ms
                              ? log->entries[next].at_ms
                              : job->input->as_of_ms;
    }
    cache_object_unref((void *)log);
    return 0;
}
