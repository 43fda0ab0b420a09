#include "intake/harm.h"
#include <math.h>

int harm_load(const char *path, doc_report report, void *arg, json_t **ret, struct error *err)
{
    struct words {
        const char *script;
        const json_t *mail;
    };
    struct harm {
        struct words said, possible;
    } harm;
    static const struct doc_row POSSIBLE[] = {
        {"script", DOC_TEXT, DOC_AT(struct words, script), .required = true},
        {"mail", DOC_TEXTS, .at = offsetof(struct words, mail), .low = 1, .high = INFINITY,
         .required = true},
        {0}};
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"script", DOC_TEXT, DOC_AT(struct harm, said.script), .required = true},
        {"mail", DOC_TEXTS, .at = offsetof(struct harm, said.mail), .low = 1, .high = INFINITY,
         .required = true},
        {"possible", DOC_OBJECT, DOC_AT(struct harm, possible), .rows = POSSIBLE, .required = true},
        {0}};
    struct doc doc = {.report = report, .arg = arg};
    if (doc_open(&doc, path, false) == 0) {
        struct doc_place top = doc_top(&doc);
        if (doc_read(&top, ROWS, &harm))
            *ret = json_incref(doc.root);
    }
    doc_close(&doc);
    if (err && !err->code && doc.first.code)
        *err = doc.first;
    return doc.first.code;
}

static const json_t *words_of(const json_t *harm, bool possible)
{
    return possible ? json_object_get(harm, "possible") : harm;
}

const char *harm_script_of(const json_t *harm, bool possible)
{
    return json_string_value(json_object_get(words_of(harm, possible), "script"));
}

const json_t *harm_needs_of(const json_t *harm, bool possible)
{
    return json_object_get(words_of(harm, possible), "mail");
}
