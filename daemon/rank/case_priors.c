/* Priors as of an instant, from the verdicts in the store. */
#include "base/jsonx.h"
#include "base/text.h"
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

struct noting {
    struct triage *triage;
    struct priors *priors;
    struct verdict_note *notes; /* of the verdicts that stand now, by time */
    int count, kept;            /* kept: where the search among the earlier notes goes on */
};

/* What was read before is not read again: the earlier notes come in the same order. */
static double *said_of(struct noting *noting, const struct verdict_row *row)
{
    struct triage *triage = noting->triage;
    for (int i = noting->kept; i < triage->verdict_count; i++)
        if (triage->verdicts[i].id == row->id) {
            double *said = triage->verdicts[i].said;
            triage->verdicts[i].said = NULL;
            noting->kept = i + 1;
            return said;
        }
    return said_by(triage->rules, row->ranking_body);
}

static int take_verdict(void *arg, const struct verdict_row *row)
{
    struct noting *noting = arg;
    const struct rules *rules = noting->triage->rules;
    int cause = rules_cause(rules, row->cause), symptom = symptom_of(row->symptom);
    noting->notes = xrealloc(noting->notes, (size_t)(noting->count + 1) * sizeof *noting->notes);
    struct verdict_note *note = &noting->notes[noting->count++];
    *note = (struct verdict_note){row->id, said_of(noting, row)};
    if (cause >= 0 && symptom >= 0) /* else of a rule file that is gone */
        priors_add(noting->priors,
                   &(struct priors_verdict){row->at_ms, row->as_of_ms, symptom, cause,
                                            verdict_weight(row->confirmed_by), note->said});
    return 0;
}

static void forget_notes(struct verdict_note *notes, int count)
{
    for (int i = 0; i < count; i++)
        free(notes[i].said);
    free(notes);
}

static int learn(struct triage *triage, struct store *store, struct error *err)
{
    struct noting noting = {triage, NULL, NULL, 0, 0};
    if (triage->priors)
        return 0;
    noting.priors = priors_new(triage->rules);
    int rc = verdict_between(store, 0, INT64_MAX, take_verdict, &noting, err);
    forget_notes(triage->verdicts, triage->verdict_count);
    triage->verdicts = noting.notes;
    triage->verdict_count = noting.count;
    if (rc)
        priors_free(noting.priors);
    else
        triage->priors = noting.priors;
    return rc;
}

int case_rank_priors(struct triage *triage, struct store *store, int symptom, int64_t as_of_ms,
                     double **ret, struct error *err)
{
    pthread_mutex_lock(&triage->lock);
    int rc = learn(triage, store, err);
    if (!rc) {
        *ret = xcalloc((size_t)triage->rules->cause_count + 1, sizeof **ret);
        priors_at(triage->priors, symptom, as_of_ms, *ret);
    }
    pthread_mutex_unlock(&triage->lock);
    return rc;
}

void case_priors_clear(struct triage *triage)
{
    forget_notes(triage->verdicts, triage->verdict_count);
    priors_free(triage->priors);
    triage->verdicts = NULL;
    triage->verdict_count = 0;
    triage->priors = NULL;
}
