#include "triage/facts.h"
#include "store/company_count.h"
#include <math.h>

double facts_age_days(const struct facts_job *job, int i)
{
    const struct case_complaint *complaint = &job->input->complaints[i];
    int32_t day = complaint->found_day;
    if (job->packed_day == WHEN_UNKNOWN_DAY)
        return NAN;
    if (day == WHEN_UNKNOWN_DAY)
        day = tz_day(job->source->tz, complaint->received_ms);
    /* found before it was packed: a wrong date or a wrong lot says nothing of age */
    return day < job->packed_day || day > job->packed_day + 400 ? NAN
                                                                : (double)(day - job->packed_day);
}

bool facts_wanted(const struct facts_job *job, int f, enum fact_kind kind)
{
    const struct rule_fact *fact = &job->source->rules->facts[f];
    return fact->name.kind == kind && fact->symptoms & 1u << job->input->symptom;
}

int facts_gather(const struct facts_source *source, struct store *store,
                 const struct case_input *input, int64_t lot_id, struct fact_set *ret,
                 struct error *err)
{
    struct facts_job job = {source, store, input, ret, 0, WHEN_UNKNOWN_DAY};
    fact_set_init(ret, source->rules, input->count);
    int rc = company_records_serial(store, &job.records_serial, err);
    if (!rc && lot_id > 0) {
        rc = lot_record_get(source->lots, store, job.records_serial, lot_id, &ret->record, err);
        if (!rc)
            job.packed_day = tz_day(source->tz, ret->record->lot.packed_from_ms);
    }
    if (!rc)
        facts_observed(&job);
    if (!rc && ret->record) {
        facts_dispatch(&job);
        rc = facts_lot(&job, err);
        if (!rc)
            rc = facts_place(&job, err);
        if (!rc)
            rc = facts_company(&job, err);
        if (!rc)
            rc = facts_model(&job, err);
    }
    if (rc)
        fact_set_clear(ret);
    return rc;
}
