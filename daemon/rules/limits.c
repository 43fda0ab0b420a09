#include "rules/limits.h"
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LIMITS_MOST = 256 };
#define MG_KG_MOST 100000

struct limits {
    struct limit limit[LIMITS_MOST];
    size_t count;
    json_t *document; /* owns the texts */
};

static const struct limit *find(const struct limits *limits, const char *plant, const char *family)
{
    for (size_t i = 0; i < limits->count; i++)
        if (strcmp(limits->limit[i].plant, plant) == 0 &&
            (!family || strcmp(limits->limit[i].family, family) == 0))
            return &limits->limit[i];
    return NULL;
}

static void read_limit(const struct doc_place *place, void *part)
{
    static const struct doc_row ROWS[] = {
        {"plant", DOC_TEXT, DOC_AT(struct limit, plant)},
        {"family", DOC_TEXT, DOC_AT(struct limit, family), .required = true},
        {"propionic_mg_kg", DOC_NUMBER, DOC_AT(struct limit, propionic_mg_kg), .low = 1,
         .high = MG_KG_MOST, .required = true},
        {"sorbic_mg_kg", DOC_NUMBER, DOC_AT(struct limit, sorbic_mg_kg), .low = 1,
         .high = MG_KG_MOST},
        {"what", DOC_TEXT, DOC_AT(struct limit, what), .required = true},
        {"source", DOC_TEXT, DOC_AT(struct limit, source), .required = true},
        {0}};
    struct limits *limits = part;
    struct limit limit = {.plant = "", .sorbic_mg_kg = NAN};
    if (!doc_read(place, ROWS, &limit) || limits->count == LIMITS_MOST)
        return;
    if (find(limits, limit.plant, limit.family))
        doc_fault(place, "that family has a limit there already");
    else
        limits->limit[limits->count++] = limit;
}

int limits_load(const char *path, doc_report report, void *arg, struct limits **ret,
                struct error *err)
{
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"limits", DOC_LIST, .low = 0, .high = LIMITS_MOST, .each = read_limit, .required = true},
        {0}};
    struct doc doc = {.report = report, .arg = arg};
    struct limits *limits = xcalloc(1, sizeof *limits);
    if (doc_open(&doc, path, true) == 0) {
        struct doc_place top = doc_top(&doc);
        if (doc_read(&top, ROWS, limits))
            limits->document = json_incref(doc.root);
    }
    doc_close(&doc);
    if (doc.first.code) {
        limits_free(limits);
        if (err && !err->code)
            *err = doc.first;
        return doc.first.code;
    }
    *ret = limits;
    return 0;
}

void limits_free(struct limits *limits)
{
    if (limits)
        json_decref(limits->document);
    free(limits);
}

const char *limits_plant(const struct limits *limits, size_t row)
{
    return row < limits->count ? limits->limit[row].plant : NULL;
}

const struct limit *limits_of(const struct limits *limits, const char *plant, const char *family)
{
    return limits ? find(limits, find(limits, plant, NULL) ? plant : "", family) : NULL;
}
