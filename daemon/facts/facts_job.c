#include "base/tz_of.h"
#include "facts/facts.h"
#include <math.h>

const struct tz *facts_tz(const struct facts_job *job)
{
    return tz_of(job->source->tz, job->set && job->set->record ? job->set->record->lot.plant : "");
}

double facts_age_days(const struct facts_job *job, int i)
{
    const struct case_complaint *complaint = &job->input->complaints[i];
    int32_t day = complaint->found_day;
    if (job->packed_day == WHEN_UNKNOWN_DAY)
        return NAN;
    if (day == WHEN_UNKNOWN_DAY)
        day = tz_day(facts_tz(job), complaint->received_ms);
    /* found before it was packed: a wrong date or a wrong lot says nothing of age */
    return day < job->packed_day || day > job->packed_day + 400 ? NAN
                                                                : (double)(day - job->packed_day);
}

bool facts_wanted(const struct facts_job *job, int f, enum fact_kind kind)
{
    const struct rule_fact *fact = &job->source->rules->facts[f];
    return fact->name.kind == kind && fact->symptoms & 1u << job->input->symptom;
}
