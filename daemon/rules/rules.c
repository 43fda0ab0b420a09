#include "rules/rules.h"
#include "base/jsonx.h"
#include "base/text.h"
#include "rules/rules_check.h"
#include <dirent.h>
#include <errno.h>
#include <math.h>
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_LIMIT (1u << 20)

static void set_defaults(struct rule_ranking *ranking)
{
    static const struct rule_ranking DEFAULT = {
        .pool_exponent = 0.5,
        .temper = 1.0,
        .prior_weight = 100,
        .background_weight = 5000,
        .company_most = 4.0,
        .company_rival = 0.6,
        .base_per_million = {8, 3, 3},
        /* share of complaints in by day t after packing; from memory, replaced by the plant's own
         */
        .delay = {{{0, 0}, {3, 0.08}, {5, 0.25}, {8, 0.6}, {12, 0.88}, {18, 0.97}, {35, 1}},
                  {{0, 0}, {2, 0.15}, {4, 0.45}, {7, 0.75}, {12, 0.93}, {35, 1}},
                  {{0, 0}, {2, 0.15}, {4, 0.45}, {7, 0.78}, {12, 0.95}, {35, 1}}},
        .delay_count = {7, 6, 6},
        .inhibitor = "calcium-propionate",
        .acid = "vinegar",
    };
    *ranking = DEFAULT;
    for (int i = 0; i < REACHES; i++)
        ranking->reach_share[i] = rule_reach_share((enum rule_reach)i);
}

/* ---- files ---- */

static int read_bytes(const char *path, struct text_buffer *ret, struct error *err)
{
    FILE *file = fopen(path, "re");
    if (!file)
        return error_set(err, errno == ENOENT ? ERROR_NOT_FOUND : ERROR_IO, "cannot be read: %s",
                         strerror(errno));
    char chunk[8192];
    size_t got;
    while ((got = fread(chunk, 1, sizeof chunk, file)) > 0 && ret->length <= FILE_LIMIT)
        text_append_bytes(ret, chunk, got);
    bool failed = ferror(file);
    fclose(file);
    if (failed)
        return error_set(err, ERROR_IO, "cannot be read");
    if (ret->length > FILE_LIMIT)
        return error_set(err, ERROR_TOO_LARGE, "is larger than %u bytes", FILE_LIMIT);
    return 0;
}

static void note(struct rules_check *check, const struct error *error, const char *path)
{
    struct error copy = *error;
    error_at(&copy, path, copy.line, copy.column);
    if (check->count < check->max)
        check->errors[check->count] = copy;
    check->count++;
}

/* Parses, hashes and checks one file. `check` keeps the bytes only while it looks. */
static void load_file(struct rules_check *check, EVP_MD_CTX *hash, const char *path,
                      const char *stem, bool optional,
                      void (*look)(struct rules_check *, json_t *, const char *))
{
    struct text_buffer bytes = {0};
    struct error error = {0};
    json_t *document = NULL;
    int rc = read_bytes(path, &bytes, &error);
    if (rc == ERROR_NOT_FOUND && optional) {
        text_buffer_free(&bytes);
        return;
    }
    if (!rc) {
        EVP_DigestUpdate(hash, stem, strlen(stem) + 1);
        EVP_DigestUpdate(hash, bytes.data ? bytes.data : "", bytes.length);
        rc = jsonx_parse(bytes.data ? bytes.data : "", bytes.length, &document, &error);
    }
    check->source = path;
    check->bytes = bytes.data;
    check->length = bytes.length;
    if (rc)
        note(check, &error, path);
    else if (!json_is_object(document))
        check_fail(check, "", NULL, "must be a JSON object");
    if (!rc && json_is_object(document))
        look(check, document, stem);
    json_decref(document);
    text_buffer_free(&bytes);
}

/* Files that others read and check, but which rankings are made with all the same. */
static void hash_others(EVP_MD_CTX *hash, const char *dir)
{
    static const char *const STEMS[] = {"models", "places", "quantities"};
    for (size_t i = 0; i < sizeof STEMS / sizeof STEMS[0]; i++) {
        struct text_buffer path = {0}, bytes = {0};
        text_appendf(&path, "%s/%s.json", dir, STEMS[i]);
        if (read_bytes(path.data, &bytes, NULL) == 0) {
            EVP_DigestUpdate(hash, STEMS[i], strlen(STEMS[i]) + 1);
            EVP_DigestUpdate(hash, bytes.data ? bytes.data : "", bytes.length);
        }
        text_buffer_free(&path);
        text_buffer_free(&bytes);
    }
}

static void look_cause(struct rules_check *check, json_t *document, const char *stem)
{
    check_cause(check, json_incref(document), stem);
}

static void look_asks(struct rules_check *check, json_t *document, const char *stem)
{
    (void)stem;
    check->rules->asks_document = json_incref(document);
    check_asks(check, document);
}

static void look_ranking(struct rules_check *check, json_t *document, const char *stem)
{
    (void)stem;
    check_ranking(check, document);
}

static int is_json(const struct dirent *entry)
{
    size_t length = strlen(entry->d_name);
    return length > 5 && entry->d_name[0] != '.' &&
           strcmp(entry->d_name + length - 5, ".json") == 0;
}

static int by_bytes(const struct dirent **a, const struct dirent **b)
{
    return strcmp((*a)->d_name, (*b)->d_name);
}

static void load_causes(struct rules_check *check, EVP_MD_CTX *hash, const char *dir)
{
    struct text_buffer path = {0};
    struct dirent **entries = NULL;
    text_appendf(&path, "%s/causes", dir);
    int count = scandir(path.data, &entries, is_json, by_bytes);
    if (count <= 0) {
        struct error error = {0};
        error_set(&error, ERROR_NOT_FOUND, "there are no rule files");
        error_hint(&error, "the folder needs causes/NAME.json");
        note(check, &error, path.data);
    }
    for (int i = 0; i < count; i++) {
        size_t stem_length = strlen(entries[i]->d_name) - 5;
        text_reset(&path);
        text_appendf(&path, "%s/causes/%s", dir, entries[i]->d_name);
        entries[i]->d_name[stem_length] = '\0';
        load_file(check, hash, path.data, entries[i]->d_name, false, look_cause);
        free(entries[i]);
    }
    free(entries);
    text_buffer_free(&path);
}

static void check_whole(struct rules_check *check, const char *dir)
{
    for (int s = 0; s < SYMPTOMS; s++) {
        bool background = false;
        for (int i = 0; i < check->rules->cause_count; i++)
            background = background || (check->rules->causes[i].background &&
                                        check->rules->causes[i].prior[s] > 0);
        if (background)
            continue;
        struct error error = {0};
        error_set(&error, ERROR_INVALID, "no cause of %s is marked as background", symptom_name(s));
        error_hint(&error, "without a 'not known' the best of the listed wins by default");
        note(check, &error, dir);
    }
}

static void look_at(struct rules *rules, int fact, unsigned symptoms)
{
    if (fact >= 0)
        rules->facts[fact].symptoms |= symptoms;
}

/* Facts that no cause of a symptom looks at are not gathered for its cases. */
static void mark_symptoms(struct rules *rules)
{
    for (int c = 0; c < rules->cause_count; c++) {
        const struct rule_cause *cause = &rules->causes[c];
        unsigned of_cause = 0;
        for (int s = 0; s < SYMPTOMS; s++)
            of_cause |= cause->prior[s] > 0 ? 1u << s : 0;
        for (int e = 0; e < cause->evidence_count; e++) {
            unsigned symptoms = cause->evidence[e].symptoms & of_cause;
            look_at(rules, cause->evidence[e].fact, symptoms);
            look_at(rules, cause->evidence[e].when.fact, symptoms);
            look_at(rules, cause->evidence[e].unless.fact, symptoms);
        }
    }
    for (int i = 0; i < rules->ask_count; i++) {
        look_at(rules, rules->asks[i].fact, rules->asks[i].symptoms);
        look_at(rules, rules->asks[i].when.fact, rules->asks[i].symptoms);
    }
}

static void index_uses(struct rules *rules)
{
    size_t total = 0;
    int at = 0;
    for (int c = 0; c < rules->cause_count; c++)
        total += (size_t)rules->causes[c].evidence_count;
    rules->uses = xcalloc(total + 1, sizeof *rules->uses);
    for (int f = 0; f < rules->fact_count; f++) {
        rules->facts[f].first_use = at;
        for (int c = 0; c < rules->cause_count; c++)
            for (int e = 0; e < rules->causes[c].evidence_count; e++)
                if (rules->causes[c].evidence[e].fact == f)
                    rules->uses[at++] = (struct rule_use){c, e};
        rules->facts[f].use_count = at - rules->facts[f].first_use;
    }
}

static void finish_hash(EVP_MD_CTX *hash, char out[80])
{
    unsigned char digest[EVP_MAX_MD_SIZE];
    unsigned int length = 0;
    EVP_DigestFinal_ex(hash, digest, &length);
    int used = snprintf(out, 80, "sha256:");
    for (unsigned int i = 0; i < length && used + 2 < 80; i++)
        used += snprintf(out + used, (size_t)(80 - used), "%02x", digest[i]);
}

int rules_load(const char *dir, struct rules **ret, struct error *errors, size_t max,
               size_t *ret_count)
{
    struct rules *rules = xcalloc(1, sizeof *rules);
    struct rules_check check = {.rules = rules, .errors = errors, .max = max};
    struct error error = {0};
    struct text_buffer path = {0};
    EVP_MD_CTX *hash = EVP_MD_CTX_new();
    set_defaults(&rules->ranking);
    if (!hash || !EVP_DigestInit_ex(hash, EVP_sha256(), NULL))
        abort(); /* no memory, or a library without SHA-256 */
    if (vocabulary_load(dir, &rules->vocabulary, &error)) {
        note(&check, &error, error.source);
    } else {
        load_causes(&check, hash, dir);
        text_appendf(&path, "%s/asks.json", dir);
        load_file(&check, hash, path.data, "asks", true, look_asks);
        text_reset(&path);
        text_appendf(&path, "%s/ranking.json", dir);
        load_file(&check, hash, path.data, "ranking", true, look_ranking);
        hash_others(hash, dir);
        check_whole(&check, dir);
    }
    finish_hash(hash, rules->hash);
    EVP_MD_CTX_free(hash);
    text_buffer_free(&path);
    *ret_count = check.count;
    if (check.count) {
        rules_free(rules);
        return ERROR_INVALID;
    }
    mark_symptoms(rules);
    index_uses(rules);
    *ret = rules;
    return 0;
}

static void free_cause(struct rule_cause *cause)
{
    for (int i = 0; i < cause->evidence_count; i++)
        rule_evidence_free(&cause->evidence[i]);
    rule_evidence_free(&cause->reach_fact);
    free(cause->evidence);
    free((void *)cause->reach);
    free(cause->file);
    json_decref(cause->document);
}

void rules_free(struct rules *rules)
{
    if (!rules)
        return;
    for (int i = 0; i < rules->cause_count; i++)
        free_cause(&rules->causes[i]);
    for (int i = 0; i < rules->ask_count; i++) {
        rule_guard_free(&rules->asks[i].when);
        free(rules->asks[i].answers);
    }
    free(rules->causes);
    free(rules->asks);
    for (int i = 0; i < rules->fact_count; i++)
        free(rules->facts[i].change);
    free(rules->facts);
    free(rules->uses);
    json_decref(rules->asks_document);
    vocabulary_free(rules->vocabulary);
    free(rules);
}

json_t *rules_list(const struct rules *rules)
{
    json_t *causes = json_array();
    for (int i = 0; i < rules->cause_count; i++) {
        const struct rule_cause *cause = &rules->causes[i];
        json_t *symptoms = json_object();
        for (int s = 0; s < SYMPTOMS; s++)
            if (cause->prior[s] > 0)
                json_object_set_new(symptoms, symptom_name(s), json_real(cause->prior[s]));
        json_array_append_new(causes,
                              json_pack("{s:s, s:s, s:o, s:s}", "cause", cause->id, "title",
                                        cause->title, "symptoms", symptoms, "file", cause->file));
    }
    return json_pack("{s:s, s:o}", "rules", rules->hash, "causes", causes);
}
