#include "intake/harm.h"
#include <math.h>

int harm_load(const char *path, doc_report report, void *arg, json_t **ret, struct error *err)
{
    struct harm {
        const char *script;
        const json_t *mail;
    } harm;
    static const struct doc_row ROWS[] = {
        {.name = "$schema"},
        {.name = "note"},
        {"script", DOC_TEXT, DOC_AT(struct harm, script), .required = true},
        {"mail", DOC_TEXTS, .at = offsetof(struct harm, mail), .low = 1, .high = INFINITY,
         .required = true},
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
