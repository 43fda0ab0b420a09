/* Priors as of an instant, from the verdicts in the store. */
#include "base/text.h"
#include "facts/cache.h"
#include "facts/ingredient.h"
#include "rank/case_rank.h"
#include "rank/learning.h"
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

/* One verdict as the priors take it; they borrow the row and what is made of it. */
struct taken {
    struct priors_verdict verdict;
    struct nearby_lot lot;
    double *said;
};

/* False: of a rule file that is gone, or of a plant with other rules: what those missed tells
 * nothing of what these did. */
static bool take(struct triage *triage, const struct verdict_row *row, struct taken *ret)
{
    int cause = rules_cause(triage->rules, row->cause), symptom = symptom_of(row->symptom);
    if (cause < 0 || symptom < 0 || triage_of(triage, row->plant) != triage)
        return false;
    ret->said = said_by(triage->rules, row);
    ret->lot = (struct nearby_lot){row->lot_packed_ms, row->lot_plant, row->lot_line};
    ret->verdict = (struct priors_verdict){.at_ms = row->at_ms,
                                           .as_of_ms = row->as_of_ms,
                                           .symptom = symptom,
                                           .cause = cause,
                                           .weight = verdict_weight(row->confirmed_by),
                                           .said = ret->said,
                                           .lot = *row->lot_line ? &ret->lot : NULL,
                                           .nearby = learning_was_on(triage, row->at_ms)};
    return true;
}

struct noting {
    struct triage *triage;
    struct priors *priors;
};

static int take_verdict(void *arg, const struct verdict_row *row)
{
    const struct noting *noting = arg;
    struct taken taken;
    if (take(noting->triage, row, &taken)) {
        priors_add(noting->priors, &taken.verdict);
        free(taken.said);
    }
    return 0;
}

static int learn(struct triage *triage, struct store *store, int64_t serial, struct learned **ret,
                 struct error *err)
{
    struct learned *made = xcalloc(1, sizeof *made);
    cache_object_init(&made->cached, learned_destroy);
    made->serial = serial;
    made->priors = priors_new(triage->rules);
    struct noting noting = {triage, made->priors};
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
        rc = learn(triage, store, serial, &made, err);
    cache_object_unref(kept);
    if (rc)
        return rc;
    offer(triage, made);
    *ret = made;
    return 0;
}

/* What is not in the bread, nor wanted there, is neither too much nor too little of it. */
static void rule_out(const struct rules *rules, const struct lot_record *lot, int64_t as_of_ms,
                     double *prior)
{
    for (int i = 0; i < rules->cause_count; i++) {
        const char *dose = rules->causes[i].needs_dose;
        if (dose && ingredient_left_out(rules, lot, dose, as_of_ms))
            prior[i] = 0;
    }
}

int case_rank_priors(struct triage *triage, struct store *store, const struct case_input *input,
                     const struct lot_record *lot, double **ret, struct error *err)
{
    assert(input->symptom >= 0 && input->symptom < SYMPTOMS);
    struct learned *learned;
    struct nearby_lot packed = {0};
    int rc = learned_now(triage, store, &learned, err);
    if (rc)
        return rc;
    if (lot)
        packed = (struct nearby_lot){lot->lot.packed_from_ms, lot->lot.plant, lot->lot.line};
    *ret = xcalloc((size_t)triage->rules->cause_count + 1, sizeof **ret);
    priors_at(learned->priors, input->symptom, input->as_of_ms,
              lot && learning_is_on(triage) ? &packed : NULL, *ret);
    cache_object_unref(learned);
    if (lot)
        rule_out(triage->rules, lot, input->as_of_ms, *ret);
    return 0;
}

/* ---- what it is worth at this plant ---- */

struct trying {
    struct triage *triage;
    const struct priors *priors;
    const char *plant; /* verdict_is_of() */
    struct case_rank_learned *found;
};

static bool right_first(const struct trying *trying, const struct priors_verdict *verdict,
                        bool nearby, double *room)
{
    int first = 0;
    priors_again(trying->priors, verdict, nearby, room);
    for (int i = 1; i < trying->triage->rules->cause_count; i++)
        first = room[i] > room[first] ? i : first;
    return first == verdict->cause;
}

static int try_verdict(void *arg, const struct verdict_row *row)
{
    const struct trying *trying = arg;
    struct taken taken;
    if (!verdict_is_of(row, trying->plant) || !take(trying->triage, row, &taken))
        return 0;
    if (taken.said && taken.verdict.lot) {
        double *room = xcalloc((size_t)trying->triage->rules->cause_count + 1, sizeof *room);
        trying->found->cases++;
        trying->found->right_without += right_first(trying, &taken.verdict, false, room);
        trying->found->right_with += right_first(trying, &taken.verdict, true, room);
        free(room);
    }
    free(taken.said);
    return 0;
}

/* Adds the cases that these rules ranked. */
static int try_rules(struct trying *trying, struct store *store, struct when_span span,
                     struct error *err)
{
    struct learned *learned;
    int rc = learned_now(trying->triage, store, &learned, err);
    if (rc)
        return rc;
    trying->priors = learned->priors;
    rc = verdict_between(store, span, try_verdict, trying, err);
    cache_object_unref(learned);
    return rc;
}

int case_rank_learned(struct triage *triage, struct store *store, struct when_span span,
                      const char *plant, struct case_rank_learned *ret, struct error *err)
{
    *ret = (struct case_rank_learned){0};
    struct trying trying = {.triage = triage, .plant = plant, .found = ret};
    bool began = store_look(store);
    int rc = try_rules(&trying, store, span, err);
    for (int i = 0; i < triage->plant_count && !rc; i++) {
        trying.triage = triage->plants[i].triage;
        rc = try_rules(&trying, store, span, err);
    }
    store_unlook(store, began);
    return rc;
}
