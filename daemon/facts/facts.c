#include "facts/facts.h"
#include "base/text.h"
#include "store/company_count.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ---- what the lot's own records say, kept ---- */

struct kept {
    struct cache_object cached;
    const struct lot_record *record; /* whose words the facts borrow */
    struct fact facts[];
};

static void destroy(struct cache_object *cached)
{
    struct kept *kept = (struct kept *)(void *)cached;
    lot_record_unref(kept->record);
    free(kept);
}

static bool any_measured(const struct case_input *input)
{
    for (int i = 0; i < input->count; i++)
        if (json_object_size(json_object_get(input->complaints[i].body, "measured")) > 0)
            return true;
    return false;
}

/* Quantities and places are the same for every case of the symptom on the lot at that instant,
 * unless a return was measured. */
static int facts_of_records(const struct facts_job *job, struct error *err)
{
    struct fact_set *set = job->set;
    size_t bytes = (size_t)job->source->rules->lot_slots * sizeof set->lot[0];
    struct cache_key key = {(uint64_t)set->record->lot.lot_id * 4 + (uint64_t)job->input->symptom,
                            (uint64_t)job->input->as_of_ms, 0};
    bool keep = !any_measured(job->input);
    struct kept *kept = keep ? cache_get(job->source->records, key, job->records.serial) : NULL;
    if (kept) {
        memcpy(set->lot, kept->facts, bytes);
        cache_object_unref((void *)set->record);
        set->record = cache_object_ref((void *)kept->record);
        cache_object_unref(kept);
        return 0;
    }
    int rc = facts_lot(job, err);
    if (!rc)
        rc = facts_place(job, err);
    if (rc || !keep)
        return rc;
    kept = xcalloc(1, sizeof *kept + bytes);
    cache_object_init(&kept->cached, destroy);
    kept->record = cache_object_ref((void *)set->record);
    memcpy(kept->facts, set->lot, bytes);
    cache_put(job->source->records, key, job->records.serial, kept);
    cache_object_unref(kept);
    return 0;
}

int facts_gather(const struct facts_source *source, struct store *store,
                 const struct case_input *input, int64_t lot_id, struct fact_set *ret,
                 struct error *err)
{
    struct facts_job job = {
        .source = source, .input = input, .set = ret, .packed_day = WHEN_UNKNOWN_DAY};
    fact_set_init(ret, source->rules, input->count);
    int rc = lot_record_all(store, source->rules, source->tz, &job.records, err);
    if (!rc && lot_id > 0) {
        rc = lot_record_get(source->lots, &job.records, lot_id, &ret->record, err);
        if (!rc)
            job.packed_day = tz_day(facts_tz(&job), ret->record->lot.packed_from_ms);
    }
    if (!rc)
        facts_observed(&job);
    if (!rc && ret->record) {
        facts_dispatch(&job);
        rc = facts_of_records(&job, err);
        if (!rc)
            rc = facts_company(&job, err);
        if (!rc)
            rc = facts_model(&job, err);
    }
    if (rc)
        fact_set_clear(ret);
    return rc;
}
