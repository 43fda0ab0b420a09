/* Priors as of an instant, from the verdicts in the store. */
#include "base/jsonx.h"
#include "base/text.h"
#include "facts/cache.h"
#include "rank/case_rank.h"
#include "store/verdict.h"
#include <stdlib.h>
#include <string.h>

/* How far a verdict is to be trusted as a count, by how it was confirmed. */
static double verdict_weight(const char *confirmed_by)
{
    return strcmp(confirmed_by, "judgement") == 0 ? 0.5 : 1;
}

/* The probabilities of a kept ranking; NULL if it has none. */
static double *said_by(const struct rules *rules, const char *body)
{
    json_t *ranking = NULL, *one;
    size_t i;
    if (!body || jsonx_parse(body, strlen(body), &ranking, NULL))
        return NULL;
    double *said = xcalloc((size_t)rules->cause_count + 1, sizeof *said);
    json_array_foreach(json_object_get(ranking, "ranked"), i, one)
    {
        const char *id = json_string_value(json_object_get(one, "cause"));
        int cause = id ? rules_cause(rules, id) : -1;
        if (cause >= 0)
            said[cause] = json_number_value(json_object_get(one, "probability"));
    }
    json_decref(ranking);
    return said;
}

/* A verdict with what its case's ranking had said: read once, for bodies are long. */
struct verdict_note {
    int64_t id;
    double *said; /* by cause; NULL: the case was settled before it was ranked */
};

/* What the verdicts that stood at one state of the store teach. Never changed once it is made, so
 * nobody waits for another who makes it: background work at low priority would keep the desk. */
struct learned {
    struct cached cached;
    int64_t serial; /* verdict_serial() of that state */
    struct priors *priors;
    struct verdict_note *notes; /* by time */
    int count;
};

static void learned_destroy(struct cached *cached)
{
    struct learned *learned = (struct learned *)cached;
    for (int i = 0; i < learned->count; i++)
        free(learned->notes[i].said);
    free(learned->notes);
    priors_free(learned->priors);
    free(learned);
}

struct noting {
    const struct rules *rules;
    struct learned *made;
    const struct learned *before; /* NULL: nothing was learned before */
    int at;                       /* where the search among its notes goes on */
};

/* What was read before is not read again: the earlier notes come in the same order. */
static double *said_of(struct noting *noting, const struct verdict_row *row)
{
    for (int i = noting->at; noting->before && i < noting->before->count; i++) {
        const struct verdict_note *note = &noting->before->notes[i];
        if (note->id != row->id)
            continue;
        noting->at = i + 1;
        if (!note->said)
            return NULL;
        size_t size = ((size_t)noting->rules->cause_count + 1) * sizeof *note->said;
        return memcpy(xmalloc(size), note->said, size);
    }
    return said_by(noting->rules, row->ranking_body);
}

static int take_verdict(void *arg, const struct verdict_row *row)
{
    struct noting *noting = arg;
    struct learned *made = noting->made;
    int cause = rules_cause(noting->rules, row->cause), symptom = symptom_of(row->symptom);
    made->notes = xrealloc(made->notes, (size_t)(made->count + 1) * sizeof *made->notes);
    struct verdict_note *note = &made->notes[made->count++];
    *note = (struct verdict_note){row->id, said_of(noting, row)};
    if (cause >= 0 && symptom >= 0) /* else of a rule file that is gone */
        priors_add(made->priors,
                   &(struct priors_verdict){row->at_ms, row->as_of_ms, symptom, cause,
                                            verdict_weight(row->confirmed_by), note->said});
    return 0;
}

static int learn(const struct rules *rules, struct store *store, int64_t serial,
                 const struct learned *before, struct learned **ret, struct error *err)
{
    struct learned *made = xcalloc(1, sizeof *made);
    struct noting noting = {rules, made, before, 0};
    cached_init(&made->cached, learned_destroy);
    made->serial = serial;
    made->priors = priors_new(rules);
    int rc = verdict_between(store, 0, INT64_MAX, take_verdict, &noting, err);
    if (rc)
        cached_unref(made);
    else
        *ret = made;
    return rc;
}

static struct learned *newest(struct triage *triage)
{
    pthread_mutex_lock(&triage->lock);
    struct learned *learned = triage->learned ? cached_ref(triage->learned) : NULL;
    pthread_mutex_unlock(&triage->lock);
    return learned;
}

/* Keeps it for others unless they have seen later verdicts. */
static void offer(struct triage *triage, struct learned *made)
{
    struct learned *old = NULL;
    pthread_mutex_lock(&triage->lock);
    if (!triage->learned || triage->learned->serial < made->serial) {
        old = triage->learned;
        triage->learned = cached_ref(made);
    }
    pthread_mutex_unlock(&triage->lock);
    cached_unref(old);
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
        rc = learn(triage->rules, store, serial, kept, &made, err);
    cached_unref(kept);
    if (rc)
        return rc;
    offer(triage, made);
    *ret = made;
    return 0;
}

int case_rank_priors(struct triage *triage, struct store *store, int symptom, int64_t as_of_ms,
                     double **ret, struct error *err)
{
    struct learned *learned;
    int rc = learned_now(triage, store, &learned, err);
    if (rc)
        return rc;
    *ret = xcalloc((size_t)triage->rules->cause_count + 1, sizeof **ret);
    priors_at(learned->priors, symptom, as_of_ms, *ret);
    cached_unref(learned);
    return 0;
}
