/* Company evidence as facts. What was worked out for a case is kept until a count changes. */
#include "base/text.h"
#include "facts/facts.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Factors by fact and complaint, in the order in which walk() comes to them. */
struct kept {
    struct cache_object cached;
    int count;
    struct company_factor factors[];
};

static void destroy(struct cache_object *cached)
{
    free((struct kept *)(void *)cached);
}

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

static const char *level_of(const struct facts_job *job, int factor, int i)
{
    const struct case_complaint *complaint = &job->input->complaints[i];
    return factor == FACTOR_ROUTE ? route_of(job, complaint) : complaint->store;
}

static int work_window(const struct facts_job *job, const struct company_view *view,
                       const char *place, struct company_factor *ret, struct error *err)
{
    struct facts_window window;
    int rc = facts_window(job, place, &window, err);
    *ret = (struct company_factor){0};
    if (!rc && window.known)
        *ret =
            company_of_window(view, window.own_line ? job->set->record->lot.line : "", window.span);
    return rc;
}

/* Of complaint `i`, whose facts stand at so_far[i], after those of the complaints before it. */
static int work_trade(const struct facts_job *job, const struct company_view *view, int factor,
                      int i, struct company_factor *so_far, struct error *err)
{
    struct company_trade trade = {factor, level_of(job, factor, i), 0};
    so_far[i] = (struct company_factor){0};
    if (!*trade.level)
        return 0;
    for (int k = 0; k < job->input->count; k++) {
        bool same = strcmp(level_of(job, factor, k), trade.level) == 0;
        if (same && k < i) {
            so_far[i] = so_far[k];
            return 0;
        }
        trade.own += same;
    }
    return company_of_trade(view, &job->records, &trade, &so_far[i], err);
}

static struct company_around around_of(const struct facts_job *job, int symptom)
{
    return (struct company_around){job->source->rules, symptom, job->set->record,
                                   job->input->as_of_ms};
}

/* Mold on the lot and its line, for a case about something else. */
static int work_mold(const struct facts_job *job, struct company_factor *ret, struct error *err)
{
    const struct company_around around = around_of(job, SYMPTOM_MOLD);
    struct company_view *view;
    int rc = company_view_open(job->source->company, &job->records, &around, &view, err);
    *ret = (struct company_factor){0};
    if (rc)
        return rc;
    *ret = company_of_lot_and_line(view);
    company_view_close(view);
    return 0;
}

static int work_all(const struct facts_job *job, struct kept *kept, struct error *err)
{
    const struct rules *rules = job->source->rules;
    const struct company_around around = around_of(job, job->input->symptom);
    struct company_view *view;
    int rc = company_view_open(job->source->company, &job->records, &around, &view, err);
    if (rc)
        return rc;
    for (int f = 0; !rc && f < rules->fact_count; f++) {
        const struct fact_name *name = &rules->facts[f].name;
        struct company_factor *at = &kept->factors[kept->count];
        if (!facts_wanted(job, f, FACT_COMPANY))
            continue;
        if (name->per_complaint) {
            for (int i = 0; i < job->input->count && !rc; i++)
                rc = work_trade(job, view, name->code, i, at, err);
            kept->count += job->input->count;
            continue;
        }
        if (name->code == FACTOR_WINDOW)
            rc = work_window(job, view, name->place, at, err);
        else if (name->code == FACTOR_MOLD)
            rc = work_mold(job, at, err);
        else
            *at = company_of_factor(view, name->code);
        kept->count++;
    }
    company_view_close(view);
    return rc;
}

static struct cache_key key_of(const struct facts_job *job)
{
    /* the same lot at the same instant with other callers' stores is another case */
    uint64_t callers = 0;
    for (int i = 0; i < job->input->count; i++)
        callers = cache_hash(cache_hash(callers, job->input->complaints[i].store),
                             job->input->complaints[i].route);
    return (struct cache_key){(uint64_t)job->set->record->lot.lot_id * 4 +
                                  (uint64_t)job->input->symptom,
                              (uint64_t)job->input->as_of_ms, callers};
}

/* What the results depend on: the counts of the case's symptom and, where a rule asks for it, of
 * mold. */
static int stamp_of(const struct facts_job *job, int64_t *ret, struct error *err)
{
    const struct facts_source *source = job->source;
    int mold = rules_fact(source->rules, "company.mold");
    const struct company_around own = around_of(job, job->input->symptom);
    const struct company_around of_mold = around_of(job, SYMPTOM_MOLD);
    int64_t other = 0;
    int rc = company_stamp(source->company, &job->records, &own, ret, err);
    if (rc || mold < 0 || !facts_wanted(job, mold, FACT_COMPANY))
        return rc;
    rc = company_stamp(source->company, &job->records, &of_mold, &other, err);
    *ret = cache_stamp(*ret, other);
    return rc;
}

/* Factors that explain the same excess: all but the lot's own count and those made of others. */
static bool competes(const struct fact_name *name)
{
    return name->kind == FACT_COMPANY && name->code != FACTOR_LOT && name->code != FACTOR_ANY &&
           name->code != FACTOR_MOLD;
}

/* Each factor's bits beside the best one's. */
static void compete(const struct facts_job *job)
{
    const struct rules *rules = job->source->rules;
    double best = 0;
    int best_fact = -1;
    for (int pass = 0; pass < 2; pass++)
        for (int f = 0; f < rules->fact_count; f++) {
            int count = rules->facts[f].name.per_complaint ? job->input->count : 1;
            if (!competes(&rules->facts[f].name) || !facts_wanted(job, f, FACT_COMPANY))
                continue;
            for (int i = 0; i < count; i++) {
                struct fact *fact = fact_set_at(job->set, f, i);
                if (!fact->known)
                    continue;
                if (pass == 0 && fact->bits > best)
                    best_fact = f;
                if (pass == 0)
                    best = fmax(best, fact->bits);
                if (pass == 0)
                    continue;
                fact->rival = fact->bits > 0 && fact->bits < best ? 1 + best_fact : 0;
                fact->bits = company_beside(fact->bits, best, rules->ranking.company_most,
                                            rules->ranking.company_rival);
            }
        }
}

int facts_company(const struct facts_job *job, struct error *err)
{
    const struct rules *rules = job->source->rules;
    struct cache_key key = key_of(job);
    int64_t stamp;
    int rc = stamp_of(job, &stamp, err);
    if (rc)
        return rc;
    struct kept *kept = cache_get(job->source->companies, key, stamp);
    if (!kept) {
        size_t most = 0;
        for (int f = 0; f < rules->fact_count; f++)
            if (facts_wanted(job, f, FACT_COMPANY))
                most += rules->facts[f].name.per_complaint ? (size_t)job->input->count : 1;
        kept = xcalloc(1, sizeof *kept + most * sizeof kept->factors[0]);
        cache_object_init(&kept->cached, destroy);
        rc = work_all(job, kept, err);
        if (!rc)
            cache_put(job->source->companies, key, stamp, kept);
    }
    int at = 0;
    for (int f = 0; !rc && f < rules->fact_count; f++) {
        if (!facts_wanted(job, f, FACT_COMPANY))
            continue;
        int count = rules->facts[f].name.per_complaint ? job->input->count : 1;
        for (int i = 0; i < count; i++)
            take(fact_set_at(job->set, f, i), kept->factors[at++]);
    }
    if (!rc)
        compete(job);
    cache_object_unref(kept);
    return rc;
}
