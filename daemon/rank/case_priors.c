/* Priors as of an instant, from the verdicts in the store. */
#include "base/text.h"
#include "facts/cache.h"
#include "rank/case_rank.h"
#include "store/verdict.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

/* How far a verdict is to be trusted as a count, by how it was confirmed. */
static double verdict_weight(const char *confirmed_by)
{
    return strcmp(confirmed_by, "judgement") == 0 ? 0.5 : 1;
}

/* The probabilities of a kept ranking, by cause; NULL if there was none. */
static double *said_by(const struct rules *rules, const struct verdict_row *row)
{
    if (!row->said_count)
        return NULL;
    double *said = xcalloc((size_t)rules->cause_count + 1, sizeof *said);
    for (int i = 0; i < row->said_count; i++) {
        int cause = rules_cause(rules, row->said[i].cause);
        if (cause >= 0)
            said[cause] = row->said[i].probability;
    }
    return said;
}

/* What the verdicts that stood at one state of the store teach. Never changed once it is made, so
 * nobody waits for another who makes it: background work at low priority would keep the desk. */
struct learned {
    struct cache_object cached;
    int64_t serial; /* verdict_serial() of that state */
    struct priors *priors;
};

static void learned_destroy(struct cache_object *cached)
{
    struct learned *learned = (struct learned *)cached;
    priors_free(learned->priors);
    free(learned);
}

struct noting {
    const struct rules *rules;
    struct priors *priors;
};

static int take_verdict(void *arg, const struct verdict_row *row)
{
    const struct noting *noting = arg;
    int cause = rules_cause(noting->rules, row->cause), symptom = symptom_of(row->symptom);
    if (cause < 0 || symptom < 0)
        return 0; /* of a rule file that is gone */
    double *said = said_by(noting->rules, row);
    priors_add(noting->priors, &(struct priors_verdict){row->at_ms, row->as_of_ms, symptom, cause,
                                                        verdict_weight(row->confirmed_by), said});
    free(said);
    return 0;
}

static int learn(const struct rules *rules, struct store *store, int64_t serial,
                 struct learned **ret, struct error *err)
{
    struct learned *made = xcalloc(1, sizeof *made);
    cache_object_init(&made->cached, learned_destroy);
    made->serial = serial;
    made->priors = priors_new(rules);
    struct noting noting = {rules, made->priors};
    int rc = verdict_between(store, (struct when_span){0, INT64_MAX}, take_verdict, &noting, err);
    if (rc)
        cache_object_unref(made);
    else
        *ret = made;
    return rc;
}

static struct learned *newest(struct triage *triage)
{
    pthread_mutex_lock(&triage->lock);
    struct learned *learned = triage->learned ? cache_object_ref(triage->learned) : NULL;
    pthread_mutex_unlock(&triage->lock);
    return learned;
}

/* Keeps it for others unless they have seen later verdicts. */
static void offer(struct triage *triage, struct learned *made)
{
    assert(made->priors);
    struct learned *old = NULL;
    pthread_mutex_lock(&triage->lock);
    if (!triage->learned || triage->learned->serial < made->serial) {
        old = triage->learned;
        triage->learned = cache_object_ref(made);
    }
    pthread_mutex_unlock(&triage->lock);
    cache_object_unref(old);
}

/* *ret: a new reference, of the verdicts as `store` sees them now. */
static int learned_now(struct triage *triage, struct store *store, struct learned **ret,
                       struct error *err)
{
    int64_t serial = 0;
    int rc = verdict_serial(store, &serial, err);
    struct learned *kept = rc ? NULL : newest(triage), *made = NULL;
    if (kept && kept->serial == serial) {
        *ret = kept;
        return 0;
    }
    if (!rc)
        rc = learn(triage->rules, store, serial, &made, err);
    cache_object_unref(kept);
    if (rc)
        return rc;
    offer(triage, made);
    *ret = made;
    return 0;
}

int case_rank_priors(struct triage *triage, struct store *store, int symptom, int64_t as_of_ms,
                     double **ret, struct error *err)
{
    assert(symptom >= 0 && symptom < SYMPTOMS);
    struct learned *learned;
    int rc = learned_now(triage, store, &learned, err);
    if (rc)
        return rc;
    *ret = xcalloc((size_t)triage->rules->cause_count + 1, sizeof **ret);
    priors_at(learned->priors, symptom, as_of_ms, *ret);
    cache_object_unref(learned);
    return 0;
}
