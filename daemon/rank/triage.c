#include "rank/triage.h"
#include "base/jsonx.h"
#include "base/near.h"
#include "base/text.h"
#include "facts/model_lot.h"
#include "rank/case_rank.h"
#include "rules/models_file.h"
#include <assert.h>
#include <math.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum {
    LOT_CACHE = 4096, /* the recent lots of all products that are ranked one after the other */
    BASELINE_CACHE = 2048,
    LOG_CACHE = 4096,
    RESULT_CACHE = 4096,
    RECORD_CACHE = 512
};
static void open_caches(struct triage *triage)
{
    triage->source = (struct facts_source){.rules = triage->rules,
                                           .models = &triage->models,
                                           .tz = triage->tz,
                                           .lots = cache_new(LOT_CACHE),
                                           .baselines = cache_new(BASELINE_CACHE),
                                           .logs = cache_new(LOG_CACHE),
                                           .records = cache_new(RECORD_CACHE),
                                           .predictions = cache_new(RESULT_CACHE),
                                           .companies = cache_new(RESULT_CACHE),
                                           .company = company_new()};
}

int triage_new(const char *rules_dir, const struct tz *tz,
               void (*report)(void *arg, const struct error *fault), void *arg, struct triage **ret,
               struct error *err)
{
    struct triage *triage = xcalloc(1, sizeof *triage);
    triage->tz = tz;
    pthread_mutex_init(&triage->lock, NULL);
    /* both are tried, so that one reload shows every fault */
    int models = models_file_load(rules_dir, report, arg, &triage->models, err);
    triage->uncalibrated = triage->models;
    int rc = rules_load(rules_dir, report, arg, &triage->rules, err);
    rc = models ? models : rc;
    if (rc) {
        triage_free(triage);
        return rc;
    }
    open_caches(triage);
    *ret = triage;
    return 0;
}

struct triage *triage_apart(const struct triage *of)
{
    struct triage *triage = xcalloc(1, sizeof *triage);
    triage->rules = of->rules;
    triage->models = of->models;
    triage->uncalibrated = of->uncalibrated;
    triage->tz = of->tz;
    triage->learning = json_incref(of->learning);
    triage->borrows = true;
    pthread_mutex_init(&triage->lock, NULL);
    open_caches(triage);
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    company_free(triage->source.company);
    cache_free(triage->source.records);
    cache_free(triage->source.predictions);
    cache_free(triage->source.companies);
    cache_free(triage->source.logs);
    cache_free(triage->source.baselines);
    cache_free(triage->source.lots);
    cache_object_unref(triage->learned);
    json_decref(triage->learning);
    if (!triage->borrows)
        rules_free(triage->rules);
    json_decref(triage->calibration);
    pthread_mutex_destroy(&triage->lock);
    free(triage);
}

void triage_mark(struct triage *triage, const json_t *decided)
{
    struct rules *rules = triage->rules;
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int length = 0;
    struct text_buffer text = {0};
    char *decision = jsonx_dump(decided);
    text_appendf(&text, "%s\n%s", rules->hash, decision);
    free(decision);
    if (!EVP_Digest(text.data, text.length, digest, &length, EVP_sha256(), NULL))
        abort(); /* no memory, or a library without SHA-256 */
    text_buffer_free(&text);
    int used = snprintf(rules->hash, sizeof rules->hash, "sha256:");
    for (unsigned int i = 0; i < length && used + 2 < (int)sizeof rules->hash; i++)
        used += snprintf(rules->hash + used, sizeof rules->hash - (size_t)used, "%02x", digest[i]);
}

const char *triage_hash(const struct triage *triage)
{
    return triage->rules->hash;
}

int triage_cause_count(const struct triage *triage)
{
    return triage->rules->cause_count;
}

const char *triage_cause_title(const struct triage *triage, const char *cause)
{
    int at = rules_cause(triage->rules, cause);
    return at < 0 ? NULL : triage->rules->causes[at].title;
}

void triage_cause_hint(const struct triage *triage, const char *cause, const char *usual,
                       struct error *err)
{
    const struct near near = {.word = rules_cause_near(triage->rules, cause)};
    near_hint(&near, usual, err);
}

bool triage_cause_of(const struct triage *triage, const char *cause, const char *symptom)
{
    int at = rules_cause(triage->rules, cause), of = symptom_of(symptom);
    return at >= 0 && of >= 0 && triage->rules->causes[at].prior[of] > 0;
}

bool triage_cause_in_plant(const struct triage *triage, const char *cause)
{
    int at = rules_cause(triage->rules, cause);
    return at >= 0 && !triage->rules->causes[at].background &&
           !triage->rules->causes[at].after_dispatch;
}

bool triage_cause_unfit(const struct triage *triage, const char *cause, const char *symptom)
{
    static const char *const OF[] = {"mold-spores", "rope-ill"}; /* ids of cautions */
    int at = rules_cause(triage->rules, cause);
    size_t i;
    const json_t *caution;
    if (symptom_of(symptom) == SYMPTOM_MOLD)
        return true;
    json_array_foreach(at < 0 ? NULL : triage->rules->causes[at].cautions, i, caution)
    {
        for (size_t k = 0; json_is_string(caution) && k < sizeof OF / sizeof *OF; k++)
            if (strcmp(json_string_value(caution), OF[k]) == 0)
                return true;
    }
    return false;
}

json_t *triage_rules_json(const struct triage *triage)
{
    return rules_list(triage->rules);
}

bool triage_reads(const struct triage *triage, const char *quantity)
{
    for (int f = 0; f < triage->rules->fact_count; f++) {
        const struct fact_name *name = &triage->rules->facts[f].name;
        if (name->kind == FACT_QUANTITY && strcmp(name->quantity, quantity) == 0)
            return true;
    }
    return model_lot_reads(quantity);
}

bool triage_works_out(const struct triage *triage, const char *quantity)
{
    return vocabulary_quantity(triage->rules->vocabulary, quantity) &&
           !catalogue_quantity(triage->rules->catalogue, quantity);
}

const char *triage_quantity(const struct triage *triage, const char *quantity)
{
    return rules_quantity(triage->rules, quantity);
}

struct catalogue *triage_catalogue(const struct triage *triage)
{
    return triage->rules->catalogue;
}

int triage_check_quantity(void *triage, const char *quantity, double value, struct error *err)
{
    assert(triage && quantity);
    const struct triage *self = triage;
    const struct catalogue_quantity *known = catalogue_quantity(self->rules->catalogue, quantity);
    if (!known) {
        error_set(err, ERROR_INVALID, "no such quantity");
        error_field(err, quantity, quantity);
        return ERROR_INVALID;
    }
    if (known->words) {
        error_set(err, ERROR_INVALID, "is told in words, by a laboratory: `oddloaf measure`");
        error_field(err, quantity, quantity);
        return ERROR_INVALID;
    }
    if (value >= known->low && value <= known->high)
        return 0;
    char text[32];
    snprintf(text, sizeof text, "%.6g", value);
    error_set(err, ERROR_INVALID, "must lie from %g to %g %s", known->low, known->high,
              known->unit);
    error_field(err, quantity, text);
    return ERROR_INVALID;
}
