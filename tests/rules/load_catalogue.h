/* The catalogue alone, of a folder of rules; what programs load is all of it (rules_load()). */
#ifndef ODDLOAF_TESTS_RULES_LOAD_CATALOGUE_H
#define ODDLOAF_TESTS_RULES_LOAD_CATALOGUE_H

#include "base/doc.h"
#include "rules/catalogue.h"

static inline int load_catalogue(const char *dir, doc_report report, void *arg,
                                 struct catalogue **ret, struct error *err)
{
    struct doc doc = {.report = report, .arg = arg};
    struct catalogue *catalogue = catalogue_read(&doc, dir);
    if (doc.first.code) {
        catalogue_free(catalogue);
        catalogue = NULL;
        if (err)
            *err = doc.first;
    }
    *ret = catalogue;
    return doc.first.code;
}

#endif
