/* Company evidence as facts. */
#include "triage/facts.h"
#include <string.h>

static void take(struct fact *fact, struct company_factor factor)
{
    if (!factor.known)
        return;
    fact_set_number(fact, factor.rate);
    fact->bits = factor.bits;
    fact->observed = factor.observed;
    fact->expected = factor.expected;
    fact->lots = factor.lots;
    fact->target = 1;
}

static int take_window(const struct facts_job *job, const struct company_view *view,
                       const char *place, struct fact *fact, struct error *err)
{
    bool known = false, own_line = false;
    int64_t from_ms = 0, to_ms = 0;
    int rc = facts_window(job, place, &known, &from_ms, &to_ms, &own_line, err);
    if (!rc && known)
        take(fact,
             company_of_window(view, own_line ? job->set->record->lot.line : "", from_ms, to_ms));
    return rc;
}

/* A complaint that names its store only is on the route that serves it. */
static const char *route_of(const struct facts_job *job, const struct case_complaint *complaint)
{
    const struct lot_record *record = job->set->record;
    if (*complaint->route || !*complaint->store)
        return complaint->route;
    for (int i = 0; i < record->dispatch_count; i++)
        if (strcmp(record->dispatches[i].store, complaint->store) == 0)
            return record->dispatches[i].route;
    return "";
}

static int same_trade(const struct facts_job *job, int factor, const char *level)
{
    int count = 0;
    for (int i = 0; i < job->input->count; i++) {
        const struct case_complaint *other = &job->input->complaints[i];
        const char *name = factor == FACTOR_ROUTE ? route_of(job, other) : other->store;
        count += strcmp(name, level) == 0;
    }
    return count;
}

static void take_trade(const struct facts_job *job, const struct company_view *view, int fact,
                       int factor)
{
    const char *last = "";
    struct company_factor kept = {0};
    for (int i = 0; i < job->input->count; i++) {
        const struct case_complaint *complaint = &job->input->complaints[i];
        const char *level = factor == FACTOR_ROUTE ? route_of(job, complaint) : complaint->store;
        if (!*level)
            continue;
        if (strcmp(level, last) != 0)
            kept = company_of_trade(view, factor, level, same_trade(job, factor, level));
        last = level;
        take(fact_set_at(job->set, fact, i), kept);
    }
}

int facts_company(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    struct company_view *view;
    int rc =
        company_view_open(job->source->company, job->store, rules, job->input->symptom,
                          job->set->record, job->input->as_of_ms, job->records_serial, &view, err);
    if (rc)
        return rc;
    for (int f = 0; !rc && f < rules->fact_count; f++) {
        const struct fact_name *name = &rules->facts[f].name;
        if (name->kind != FACT_COMPANY)
            continue;
        if (name->code == FACTOR_WINDOW)
            rc = take_window(job, view, name->place, fact_set_at(job->set, f, 0), err);
        else if (name->per_complaint)
            take_trade(job, view, f, name->code);
        else
            take(fact_set_at(job->set, f, 0), company_of_factor(view, name->code));
    }
    company_view_close(view);
    return rc;
}
