#include "rank/triage.h"
#include "base/jsonx.h"
#include "base/near.h"
#include "base/text.h"
#include "facts/model_lot.h"
#include "rank/case_rank.h"
#include "rules/models_file.h"
#include "rules/rule_files_plant.h"
#include "store/lot_find.h"
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

/* ---- of plants ---- */

static void keep_plant(struct triage *company, const char *plant, struct triage *triage)
{
    company->plants =
        xrealloc(company->plants, (size_t)(company->plant_count + 1) * sizeof *company->plants);
    company->plants[company->plant_count++] = (struct triage_plant){xstrdup(plant), triage};
    triage->company = company;
}

int triage_add_plant(struct triage *company, const char *rules_dir, const char *plant,
                     void (*report)(void *arg, const struct error *fault), void *arg,
                     struct error *err)
{
    struct text_buffer dirs = {0};
    const struct rules_plant of = {company->rules, plant, rules_dir};
    if (!rule_files_plant_dirs(rules_dir, plant, &dirs)) {
        text_buffer_free(&dirs);
        return 0;
    }
    struct triage *triage = xcalloc(1, sizeof *triage);
    triage->tz = company->tz;
    pthread_mutex_init(&triage->lock, NULL);
    int models = 0;
    if (rule_files_plant_has(rules_dir, plant, "models.json", &dirs))
        models = models_file_read(dirs.data, report, arg, &triage->models, err);
    else
        triage->models = company->uncalibrated;
    triage->uncalibrated = triage->models;
    int rc = rules_load_plant(&of, report, arg, &triage->rules, err);
    text_buffer_free(&dirs);
    rc = models ? models : rc;
    if (rc) {
        triage_free(triage);
        return rc;
    }
    open_caches(triage);
    keep_plant(company, plant, triage);
    return 0;
}

struct triage *triage_of(struct triage *triage, const char *plant)
{
    struct triage *company = triage->company ? triage->company : triage;
    for (int i = 0; plant && i < company->plant_count; i++)
        if (strcmp(company->plants[i].plant, plant) == 0)
            return company->plants[i].triage;
    return company;
}

int triage_of_lot(struct triage *triage, struct store *store, int64_t lot_id, struct triage **ret,
                  struct error *err)
{
    const struct triage *company = triage_of(triage, NULL);
    struct lot_find_row lot;
    int rc = company->plant_count ? lot_find_by_id(store, lot_id, &lot, err) : 0;
    *ret = triage_of(triage, company->plant_count && !rc ? lot.plant : NULL);
    return rc;
}

json_t *triage_plants_json(const struct triage *triage)
{
    json_t *list = json_array();
    for (int i = 0; i < triage->plant_count; i++)
        json_array_append_new(list, json_pack("{s:s, s:s}", "plant", triage->plants[i].plant,
                                              "rules", triage_hash(triage->plants[i].triage)));
    return list;
}

static struct triage *apart(const struct triage *of)
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

struct triage *triage_apart(const struct triage *of)
{
    struct triage *triage = apart(of);
    for (int i = 0; i < of->plant_count; i++)
        keep_plant(triage, of->plants[i].plant, apart(of->plants[i].triage));
    return triage;
}

void triage_free(struct triage *triage)
{
    if (!triage)
        return;
    for (int i = 0; i < triage->plant_count; i++) {
        free(triage->plants[i].plant);
        triage_free(triage->plants[i].triage);
    }
    free(triage->plants);
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

static void hash_text(const struct text_buffer *text, char out[static TRIAGE_HASH])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int length = 0;
    if (!EVP_Digest(text->data, text->length, digest, &length, EVP_sha256(), NULL))
        abort(); /* no memory, or a library without SHA-256 */
    int used = snprintf(out, TRIAGE_HASH, "sha256:");
    for (unsigned int i = 0; i < length && used + 2 < TRIAGE_HASH; i++)
        used += snprintf(out + used, (size_t)(TRIAGE_HASH - used), "%02x", digest[i]);
}

void triage_mark(struct triage *triage, const json_t *decided)
{
    struct text_buffer text = {0};
    char *decision = jsonx_dump(decided);
    static_assert(sizeof triage->rules->hash == TRIAGE_HASH, "a hash is written in place");
    text_appendf(&text, "%s\n%s", triage->rules->hash, decision);
    free(decision);
    hash_text(&text, triage->rules->hash);
    text_buffer_free(&text);
}

const char *triage_hash_of_all(const struct triage *company, char out[static TRIAGE_HASH])
{
    struct text_buffer text = {0};
    text_append(&text, triage_hash(company));
    for (int i = 0; i < company->plant_count; i++)
        text_appendf(&text, "\n%s\n%s", company->plants[i].plant,
                     triage_hash(company->plants[i].triage));
    if (company->plant_count)
        hash_text(&text, out);
    else
        snprintf(out, TRIAGE_HASH, "%s", triage_hash(company));
    text_buffer_free(&text);
    return out;
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
