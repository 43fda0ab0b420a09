/* What is known of the way to the shelf. */
#include "facts/facts.h"
#include <math.h>
#include <string.h>

static bool mine(const struct lot_dispatch *dispatch, const struct case_complaint *complaint)
{
    if (*complaint->store && *dispatch->store)
        return strcmp(dispatch->store, complaint->store) == 0;
    return *complaint->route && strcmp(dispatch->route, complaint->route) == 0;
}

struct way {
    double transit_sum, transit_units, transit_max;
    int64_t first_ms; /* earliest */
    int count;
};

static struct way way_of(const struct facts_job *job, const struct case_complaint *complaint)
{
    const struct lot_record *record = job->set->record;
    struct way way = {0, 0, NAN, INT64_MAX, 0};
    for (int i = 0; i < record->dispatch_count; i++) {
        const struct lot_dispatch *dispatch = &record->dispatches[i];
        if ((complaint && !mine(dispatch, complaint)) || dispatch->at_ms > job->input->as_of_ms)
            continue;
        way.count++;
        if (dispatch->at_ms < way.first_ms)
            way.first_ms = dispatch->at_ms;
        if (isnan(dispatch->transit_c))
            continue;
        double units = dispatch->units > 0 ? (double)dispatch->units : 1;
        way.transit_sum += dispatch->transit_c * units;
        way.transit_units += units;
        way.transit_max = fmax(way.transit_max, dispatch->transit_c);
    }
    return way;
}

static void take_one(const struct facts_job *job, int code, int i, struct fact *fact)
{
    const struct evidence_lot *lot = &job->set->record->lot;
    struct way all = way_of(job, NULL), way = way_of(job, &job->input->complaints[i]);
    if (way.count == 0)
        way = all;
    switch (code) {
    case DISPATCH_TRANSIT:
        if (way.transit_units > 0)
            fact_set_number(fact, way.transit_sum / way.transit_units);
        break;
    case DISPATCH_TRANSIT_MAX:
        fact_set_number(fact, way.transit_max);
        break;
    case DISPATCH_DAYS_IN_TRADE: {
        double age = facts_age_days(job, i);
        if (way.count && !isnan(age))
            fact_set_number(fact, age + job->packed_day - tz_day(facts_tz(job), way.first_ms));
        break;
    }
    default:
        if (all.count)
            fact_set_number(fact,
                            (double)(all.first_ms - lot->packed_to_ms) / (double)WHEN_HOUR_MS);
    }
}

void facts_dispatch(const struct facts_job *job)
{
    const struct rules *rules = job->source->rules;
    for (int f = 0; f < rules->fact_count; f++)
        if (facts_wanted(job, f, FACT_DISPATCH))
            for (int i = 0; i < job->input->count; i++)
                take_one(job, rules->facts[f].name.code, i, fact_set_at(job->set, f, i));
}
