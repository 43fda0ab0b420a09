#include "rules/rules.h"
#include "base/jsonx.h"
#include "rules/catalogue.h"
#include "rules/fact_title.h"
#include "rules/rule_files_plant.h"
#include "rules/rules_alike.h"
#include "rules/rules_check.h"
#include <openssl/evp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void set_defaults(struct rule_ranking *ranking)
{
    static const struct rule_ranking DEFAULT = {
        .pool_exponent = 0.5,
        .temper = 1.0,
        .prior_weight = 100,
        .background_weight = 5000,
        .near_share = 0.2,
        .near_days = 3,
        .reach_days = 14,
        .reach_bits = 2.0,
        .cleaned_share = 0.8,
        .sample_usual_z = 1.2,
        .soon_share = 0.5,
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
        ranking->reach_share[i] = rules_reach_share((enum rule_reach)i);
}

/* ---- files ---- */

struct loading {
    struct rules *rules; /* being built */
    const char *dir;
    struct doc doc;
    EVP_MD_CTX *hash;
};

static void add_to_hash(struct loading *l, const char *stem, const struct text_buffer *bytes)
{
    EVP_DigestUpdate(l->hash, stem, strlen(stem) + 1);
    EVP_DigestUpdate(l->hash, bytes->data, bytes->length);
}

static void load_file(struct loading *l, const char *stem,
                      void (*check)(struct doc *, const char *))
{
    struct text_buffer name = {0}, path = {0};
    text_appendf(&name, "%s.json", stem);
    doc_path(l->dir, name.data, &path);
    if (doc_open(&l->doc, path.data, true) == 0) {
        add_to_hash(l, stem, &l->doc.text);
        check(&l->doc, stem);
    }
    doc_close(&l->doc);
    text_buffer_free(&path);
    text_buffer_free(&name);
}

/* Files that others read and check, but which rankings are made with all the same. */
static void hash_others(struct loading *l)
{
    static const char *const STEMS[] = {"models", "places", "preservers", "quantities", "severity"};
    for (size_t i = 0; i < sizeof STEMS / sizeof STEMS[0]; i++) {
        struct text_buffer name = {0}, path = {0}, bytes = {0};
        text_appendf(&name, "%s.json", STEMS[i]);
        doc_path(l->dir, name.data, &path);
        if (jsonx_read(path.data, JSONX_BYTES, &bytes, NULL) == 0)
            add_to_hash(l, STEMS[i], &bytes);
        text_buffer_free(&name);
        text_buffer_free(&path);
        text_buffer_free(&bytes);
    }
}

static void load_cause(struct doc *doc, const char *stem, void *arg)
{
    add_to_hash(arg, stem, &doc->text);
    rules_check_cause(doc, stem);
}

static void load_causes(struct loading *l)
{
    struct text_buffer path = {0};
    doc_below(l->dir, "causes", &path);
    if (doc_each(&l->doc, path.data, load_cause, l) == 0) {
        struct error error = {0};
        error_set(&error, ERROR_NOT_FOUND, "there are no rule files");
        error_hint(&error, "the folder needs causes/NAME.json");
        error_at(&error, path.data, 0, 0);
        doc_pass_on(&l->doc, &error);
    }
    text_buffer_free(&path);
}

static void check_whole(struct loading *l)
{
    for (int s = 0; s < SYMPTOMS; s++) {
        bool background = false;
        for (int i = 0; i < l->rules->cause_count; i++)
            background =
                background || (l->rules->causes[i].background && l->rules->causes[i].prior[s] > 0);
        if (background)
            continue;
        struct error error = {0};
        error_set(&error, ERROR_INVALID, "no cause of %s is marked as background", symptom_name(s));
        error_hint(&error, "without a 'not known' the best of the listed wins by default");
        error_at(&error, l->dir, 0, 0);
        doc_pass_on(&l->doc, &error);
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

#if !JSON_HAVE_ATOMIC_BUILTINS && !JSON_HAVE_SYNC_BUILTINS
#error "references to the texts of rules are counted by several threads"
#endif

/* Where facts are kept, and the texts that answers repeat. */
static void make_ready(struct rules *rules)
{
    rules->kept = xcalloc((size_t)rules->fact_count + 1, sizeof *rules->kept);
    for (int f = 0; f < rules->fact_count; f++) {
        struct rule_fact *fact = &rules->facts[f];
        const char *unit = vocabulary_unit(rules->vocabulary, fact->name.quantity);
        char title[FACT_TITLE];
        rules->kept[f] = fact->name.per_complaint ? -1 - fact->slot : fact->slot;
        fact->text = json_string(fact->name.text);
        fact->title = json_string(fact_title(rules->vocabulary, &fact->name, title));
        fact->unit = *unit ? json_string(unit) : json_null();
    }
    for (int c = 0; c < rules->cause_count; c++) {
        struct rule_cause *cause = &rules->causes[c];
        cause->id_told = json_string(cause->id);
        cause->title_told = json_string(cause->title);
        for (int e = 0; e < cause->evidence_count; e++)
            cause->evidence[e].because_told = json_string(cause->evidence[e].because);
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

static void load_all(struct loading *l)
{
    l->rules->catalogue = catalogue_read(&l->doc, l->dir);
    l->rules->vocabulary = vocabulary_new(l->rules->catalogue);
    if (!catalogue_is_whole(l->rules->catalogue))
        return; /* what it does not know would be a fault of every rule */
    load_file(l, "cautions", rules_check_cautions);
    load_causes(l);
    load_file(l, "asks", rules_check_asks);
    load_file(l, "ranking", rules_check_ranking);
    hash_others(l);
    check_whole(l);
}

/* ---- of one plant ---- */

/* `of.dir` are the plant's own folders. */
struct plant_loading {
    struct loading of;
    const struct rules_plant *plant;
    int next; /* of the company's causes: the first that was not taken yet */
};

/* False: the plant has no such file. */
static bool load_own(struct plant_loading *p, const char *stem,
                     void (*check)(struct doc *, const char *))
{
    struct text_buffer name = {0}, path = {0};
    text_appendf(&name, "%s.json", stem);
    bool has = rule_files_plant_has(p->plant->dirs, p->plant->plant, name.data, &path);
    if (has)
        load_file(&p->of, stem, check);
    text_buffer_free(&name);
    text_buffer_free(&path);
    return has;
}

/* What the company read; NULL: it has no such file either. */
static void share(struct plant_loading *p, const char *stem, const json_t *document,
                  void (*check)(struct doc *, const char *))
{
    if (!document)
        return;
    doc_share(&p->of.doc, stem, document);
    check(&p->of.doc, stem);
    doc_close(&p->of.doc);
}

static void refuse_plant(struct doc *doc, const struct rules_plant *plant, const char *path,
                         const char *why, const char *hint)
{
    struct error fault = {0};
    error_set(&fault, ERROR_INVALID, "the plant %s %s", plant->plant, why);
    error_hint(&fault, "%s", hint);
    error_at(&fault, path, 0, 0);
    doc_pass_on(doc, &fault);
}

/* A link to /dev/null, which takes a cause away, is the company's to make. */
static void refuse_masked(struct doc *doc, const struct rules_plant *plant, const char *id)
{
    struct text_buffer name = {0}, path = {0};
    text_appendf(&name, "causes/%s.json", id);
    if (rule_files_plant_has(plant->dirs, plant->plant, name.data, &path) && doc_masked(path.data))
        refuse_plant(doc, plant, path.data, "cannot take a cause of the company's away",
                     "a low weight under symptoms keeps it from speaking");
    text_buffer_free(&name);
    text_buffer_free(&path);
}

/* The company's causes up to that one, as the company read them. */
static void share_causes(struct plant_loading *p, int end)
{
    struct loading *l = &p->of;
    struct doc doc = {.report = l->doc.report, .arg = l->doc.arg, .context = l->rules};
    for (; p->next < end; p->next++) {
        const struct rule_cause *cause = &p->plant->company->causes[p->next];
        doc_share(&doc, cause->file, cause->document);
        rules_check_cause(&doc, cause->id);
        refuse_masked(&doc, p->plant, cause->id);
        doc_close(&doc);
    }
    if (doc.first.code && !l->doc.first.code)
        l->doc.first = doc.first;
}

static void load_own_cause(struct doc *doc, const char *stem, void *arg)
{
    struct plant_loading *p = arg;
    const struct rules *company = p->plant->company;
    int at = rules_cause(company, stem);
    if (at < 0) {
        refuse_plant(doc, p->plant, doc->source, "cannot have a cause that the company has not",
                     "weeks and lists count all plants' causes together: add it to the company's "
                     "causes, with a low weight under symptoms, and here with this plant's");
        return;
    }
    share_causes(p, at);
    load_cause(doc, stem, &p->of);
    rules_alike_cause(doc, &company->causes[at],
                      &p->of.rules->causes[p->of.rules->cause_count - 1]);
    p->next = at + 1;
}

static void load_plant_causes(struct plant_loading *p)
{
    struct text_buffer dirs = {0};
    doc_below(p->of.dir, "causes", &dirs);
    doc_each(&p->of.doc, dirs.data, load_own_cause, p);
    share_causes(p, p->plant->company->cause_count);
    text_buffer_free(&dirs);
}

/* What it preserves with has other strengths there; its names are those that records are loaded by.
 */
static struct catalogue *plant_catalogue(struct plant_loading *p)
{
    const struct rules *company = p->plant->company;
    struct text_buffer dirs = {0};
    if (!rule_files_plant_has(p->plant->dirs, p->plant->plant, "preservers.json", &dirs)) {
        text_buffer_free(&dirs);
        return catalogue_ref(company->catalogue);
    }
    char *path = text_take(&dirs);
    text_appendf(&dirs, "%s:%s", p->of.dir, p->plant->dirs);
    struct catalogue *own = catalogue_read(&p->of.doc, dirs.data);
    rules_alike_catalogue(&p->of.doc, path, company->catalogue, own);
    text_buffer_free(&dirs);
    free(path);
    return own;
}

/* Its hash is the company's, and what differs. */
static void load_all_of_plant(struct plant_loading *p)
{
    const struct rules *company = p->plant->company;
    struct loading *l = &p->of;
    EVP_DigestUpdate(l->hash, company->hash, strlen(company->hash));
    EVP_DigestUpdate(l->hash, p->plant->plant, strlen(p->plant->plant) + 1);
    l->rules->catalogue = plant_catalogue(p);
    l->rules->vocabulary = vocabulary_new(l->rules->catalogue);
    if (!catalogue_is_whole(l->rules->catalogue))
        return;
    share(p, "cautions", company->cautions_document, rules_check_cautions);
    load_plant_causes(p);
    if (!load_own(p, "asks", rules_check_asks))
        share(p, "asks", company->asks_document, rules_check_asks);
    if (!load_own(p, "ranking", rules_check_ranking))
        l->rules->ranking = company->ranking;
    hash_others(l);
}

static void begin(struct loading *l, doc_report report, void *arg)
{
    l->rules = xcalloc(1, sizeof *l->rules);
    l->doc = (struct doc){.report = report, .arg = arg, .context = l->rules};
    l->hash = EVP_MD_CTX_new();
    set_defaults(&l->rules->ranking);
    if (!l->hash || !EVP_DigestInit_ex(l->hash, EVP_sha256(), NULL))
        abort(); /* no memory, or a library without SHA-256 */
}

static int finish(struct loading *l, struct rules **ret, struct error *err)
{
    finish_hash(l->hash, l->rules->hash);
    EVP_MD_CTX_free(l->hash);
    if (l->doc.first.code) {
        rules_free(l->rules);
        if (err && !err->code)
            *err = l->doc.first;
        return l->doc.first.code;
    }
    mark_symptoms(l->rules);
    index_uses(l->rules);
    make_ready(l->rules);
    *ret = l->rules;
    return 0;
}

int rules_load(const char *dir, doc_report report, void *arg, struct rules **ret, struct error *err)
{
    struct loading l = {.dir = dir};
    begin(&l, report, arg);
    load_all(&l);
    return finish(&l, ret, err);
}

int rules_load_plant(const struct rules_plant *of, doc_report report, void *arg, struct rules **ret,
                     struct error *err)
{
    struct plant_loading p = {.plant = of};
    struct text_buffer own = {0};
    if (!rule_files_plant_dirs(of->dirs, of->plant, &own)) /* it had a folder a moment ago */
        text_append(&own, of->dirs);
    p.of.dir = own.data;
    begin(&p.of, report, arg);
    load_all_of_plant(&p);
    text_buffer_free(&own);
    return finish(&p.of, ret, err);
}

static void free_cause(struct rule_cause *cause)
{
    for (int i = 0; i < cause->evidence_count; i++)
        rules_cause_evidence_free(&cause->evidence[i]);
    rules_cause_evidence_free(&cause->reach_fact);
    free(cause->evidence);
    free((void *)cause->reach);
    free(cause->file);
    json_decref(cause->id_told);
    json_decref(cause->title_told);
    json_decref(cause->document);
}

void rules_free(struct rules *rules)
{
    if (!rules)
        return;
    for (int i = 0; i < rules->cause_count; i++)
        free_cause(&rules->causes[i]);
    for (int i = 0; i < rules->ask_count; i++) {
        rules_check_guard_free(&rules->asks[i].when);
        free(rules->asks[i].answers);
    }
    free(rules->causes);
    free(rules->asks);
    for (int i = 0; i < rules->fact_count; i++) {
        free(rules->facts[i].change);
        json_decref(rules->facts[i].text);
        json_decref(rules->facts[i].title);
        json_decref(rules->facts[i].unit);
    }
    free(rules->facts);
    free(rules->kept);
    free(rules->uses);
    json_decref(rules->asks_document);
    free(rules->cautions);
    json_decref(rules->cautions_document);
    vocabulary_free(rules->vocabulary);
    catalogue_free(rules->catalogue);
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
