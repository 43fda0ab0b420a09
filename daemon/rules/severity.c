#include "rules/severity.h"
#include "base/words.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS = 8, POINTS_MOST = 1000, DAYS_MOST = 365 };

struct step {
    double from;
    int points;
};
struct factor {
    struct step step[STEPS];
    int count; /* 0: the file does not name it */
    const char *because, *source;
};
struct level {
    int from, due_days, call_back_days; /* -1: never */
    const char *source;
};
struct severity_rules {
    struct factor factor[SEVERITY_FACTS];
    struct level level[SEVERITIES];
    json_t *document; /* owns the texts */
    struct severity_plant *plants;
    int plant_count;
};
struct severity_plant {
    char *plant;
    struct severity_rules *rules;
};

static const struct {
    const char *name, *title;
} FACTS[SEVERITY_FACTS] = {
    [SEVERITY_HARM] = {"harm", "harm is reported"},
    [SEVERITY_MAY_HARM] = {"may_harm", "may be harm, not read yet"},
    [SEVERITY_COMPLAINTS] = {"complaints", "complaints"},
    [SEVERITY_PACKS] = {"packs", "packs they are about"},
    [SEVERITY_SURE] = {"sure", "how sure its likeliest cause is, if that lies in the plant"},
    [SEVERITY_IN_CODE] = {"units_in_code", "units in code at its newest complaint"},
};

/* ---- reading ---- */

static bool number_at(const struct doc_place *step, size_t index, double low, double high,
                      double *ret)
{
    const struct doc_row row = {
        .kind = DOC_NUMBER, .size = sizeof(double), .low = low, .high = high, .required = true};
    struct doc_place place = doc_element(step, index);
    return doc_value(&place, &row, ret);
}

static void read_step(const struct doc_place *place, void *part)
{
    struct factor *factor = part;
    double from = 0, points = 0;
    if (!json_is_array(place->value) || json_array_size(place->value) != 2) {
        doc_fault(place, "must be [from that value on, points]");
        return;
    }
    if (!number_at(place, 0, -1e9, 1e9, &from) || !number_at(place, 1, 0, POINTS_MOST, &points) ||
        factor->count == STEPS)
        return;
    const struct step *before = factor->count ? &factor->step[factor->count - 1] : NULL;
    if (points != floor(points))
        doc_fault(place, "points must be a whole number");
    else if (before && (from <= before->from || points < before->points))
        doc_fault(place, "steps must rise");
    else
        factor->step[factor->count++] = (struct step){from, (int)points};
}

static void read_factor(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"steps", DOC_LIST, .low = 1, .high = STEPS, .each = read_step, .required = true},
        {"because", DOC_TEXT, DOC_AT(struct factor, because), .required = true},
        {"source", DOC_TEXT, DOC_AT(struct factor, source), .required = true},
        {0}};
    struct severity_rules *rules = part;
    for (int i = 0; i < SEVERITY_FACTS; i++) {
        if (strcmp(FACTS[i].name, place->name) == 0) {
            doc_read(place, ROWS, &rules->factor[i]);
            return;
        }
    }
    doc_fault(place, "no points are given for that");
}

static void read_level(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"from", DOC_WHOLE, DOC_AT(struct level, from), 0, POINTS_MOST, .required = true},
        {"due_days", DOC_WHOLE, DOC_AT(struct level, due_days), 0, DAYS_MOST},
        {"call_back_days", DOC_WHOLE, DOC_AT(struct level, call_back_days), 0, DAYS_MOST},
        {"source", DOC_TEXT, DOC_AT(struct level, source), .required = true},
        {0}};
    struct severity_rules *rules = part;
    int level = words_place(WORDS_SEVERITIES, place->name);
    if (level < 0)
        doc_fault(place, "no such severity (" WORDS_SEVERITIES ")");
    else
        doc_read(place, ROWS, &rules->level[level]);
}

static void check_levels(const struct doc_place *top, const struct severity_rules *rules)
{
    struct doc_place levels = doc_member(top, "levels");
    for (int i = 0; i < SEVERITIES; i++) {
        char name[16];
        struct doc_place level =
            doc_member(&levels, words_at(WORDS_SEVERITIES, i, name, sizeof name));
        if (!level.value)
            doc_fault(&level, "is missing");
        else if (i == 0 && rules->level[0].from != 0)
            doc_fault(&level, "must begin at 0 points: every case has a severity");
        else if (i > 0 && rules->level[i].from <= rules->level[i - 1].from)
            doc_fault(&level, "must begin at more points than the one below it");
    }
}

/* Nothing that is else known of a case, and no plant's choice of points, ranks harm away. */
static void check_harm(const struct doc_place *top, const struct severity_rules *rules)
{
    struct doc_place points = doc_member(top, "points");
    struct doc_place harm = doc_member(&points, FACTS[SEVERITY_HARM].name);
    if (severity_points(rules, SEVERITY_HARM, 1) < rules->level[SEVERITY_URGENT].from)
        doc_fault(&harm, "harm by itself must make a case urgent (%d points)",
                  rules->level[SEVERITY_URGENT].from);
}

static bool is_sooner(int days, int other) /* -1: never */
{
    return days >= 0 && (other < 0 || days < other);
}

/* No plant thinks less of harm than its company. */
static void check_plant(const struct doc_place *top, const struct severity_rules *company,
                        const struct severity_rules *rules)
{
    static const enum severity_fact HARMS[] = {SEVERITY_HARM, SEVERITY_MAY_HARM};
    struct doc_place points = doc_member(top, "points"), levels = doc_member(top, "levels");
    for (size_t i = 0; i < sizeof HARMS / sizeof *HARMS; i++) {
        struct doc_place harm = doc_member(&points, FACTS[HARMS[i]].name);
        enum severity own = severity_level(rules, severity_points(rules, HARMS[i], 1));
        enum severity level = severity_level(company, severity_points(company, HARMS[i], 1));
        if (own < level)
            doc_fault(&harm, "is less severe than in the company's severity.json");
        if (is_sooner(company->level[level].due_days, rules->level[own].due_days) ||
            is_sooner(company->level[level].call_back_days, rules->level[own].call_back_days))
            doc_fault(&levels, "harm would be due, or called back, later than by the company's "
                               "severity.json");
    }
}

/* `company`: whose plant's it is; NULL: it is a company's. */
static void read_all(struct doc *doc, const struct severity_rules *company,
                     struct severity_rules *rules)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"levels", DOC_MAP, .each = read_level, .required = true},
        {"points", DOC_MAP, .each = read_factor, .required = true},
        {0}};
    struct doc_place top = doc_top(doc);
    if (!doc_read(&top, ROWS, rules))
        return;
    check_levels(&top, rules);
    check_harm(&top, rules);
    if (company)
        check_plant(&top, company, rules);
    rules->document = json_incref(doc->root);
}

/* `doc` as its caller set it up. */
static int load(struct doc *doc, const char *path, const struct severity_rules *company,
                struct severity_rules **ret, struct error *err)
{
    struct severity_rules *rules = xcalloc(1, sizeof *rules);
    for (int i = 0; i < SEVERITIES; i++)
        rules->level[i] = (struct level){.due_days = -1, .call_back_days = -1};
    if (doc_open(doc, path, false) == 0)
        read_all(doc, company, rules);
    doc_close(doc);
    if (doc->first.code) {
        severity_free(rules);
        if (err && !err->code)
            *err = doc->first;
        return doc->first.code;
    }
    *ret = rules;
    return 0;
}

int severity_load(const char *path, doc_report report, void *arg, struct severity_rules **ret,
                  struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    return load(&doc, path, NULL, ret, err);
}

int severity_add_plant(struct severity_rules *company, const char *plant, const char *path,
                       doc_report report, void *arg, struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct severity_rules *rules = NULL;
    int rc = load(&doc, path, company, &rules, err);
    if (rc)
        return rc;
    company->plants =
        xrealloc(company->plants, (size_t)(company->plant_count + 1) * sizeof *company->plants);
    company->plants[company->plant_count++] = (struct severity_plant){xstrdup(plant), rules};
    return 0;
}

const struct severity_rules *severity_of(const struct severity_rules *company, const char *plant)
{
    for (int i = 0; company && i < company->plant_count; i++)
        if (strcmp(company->plants[i].plant, plant) == 0)
            return company->plants[i].rules;
    return company;
}

void severity_free(struct severity_rules *rules)
{
    if (!rules)
        return;
    for (int i = 0; i < rules->plant_count; i++) {
        free(rules->plants[i].plant);
        severity_free(rules->plants[i].rules);
    }
    free(rules->plants);
    json_decref(rules->document);
    free(rules);
}

/* ---- weighing ---- */

int severity_points(const struct severity_rules *rules, enum severity_fact fact, double value)
{
    const struct factor *factor = &rules->factor[fact];
    int points = 0;
    for (int i = 0; i < factor->count && value >= factor->step[i].from; i++)
        points = factor->step[i].points;
    return points;
}

int severity_sum(const struct severity_rules *rules, const struct severity_known *known)
{
    int sum = 0;
    for (int i = 0; i < SEVERITY_FACTS; i++)
        sum += severity_points(rules, (enum severity_fact)i, known->value[i]);
    return sum;
}

enum severity severity_level(const struct severity_rules *rules, int points)
{
    int level = SEVERITY_LOW;
    while (level < SEVERITY_URGENT && points >= rules->level[level + 1].from)
        level++;
    return (enum severity)level;
}

int severity_due_days(const struct severity_rules *rules, enum severity severity)
{
    return rules->level[severity].due_days;
}

int severity_call_back_days(const struct severity_rules *rules, enum severity severity)
{
    return rules->level[severity].call_back_days;
}

static json_t *days_json(int days)
{
    return days < 0 ? json_null() : json_integer(days);
}

json_t *severity_working(const struct severity_rules *rules, const struct severity_known *known)
{
    json_t *levels = json_array(), *working = json_array();
    char name[16];
    for (int i = 0; i < SEVERITIES; i++)
        json_array_append_new(
            levels, json_pack("{s:s, s:i, s:o, s:o, s:s}", "severity",
                              words_at(WORDS_SEVERITIES, i, name, sizeof name), "from",
                              rules->level[i].from, "due_days", days_json(rules->level[i].due_days),
                              "call_back_days", days_json(rules->level[i].call_back_days), "source",
                              rules->level[i].source));
    for (int i = 0; i < SEVERITY_FACTS; i++) {
        const struct factor *factor = &rules->factor[i];
        if (factor->count)
            json_array_append_new(
                working, json_pack("{s:s, s:s, s:f, s:i, s:s, s:s}", "fact", FACTS[i].name, "title",
                                   FACTS[i].title, "value", known->value[i], "points",
                                   severity_points(rules, (enum severity_fact)i, known->value[i]),
                                   "because", factor->because, "source", factor->source));
    }
    return json_pack("{s:i, s:o, s:o}", "points", severity_sum(rules, known), "levels", levels,
                     "working", working);
}
