/* What is said when a complaint reports harm: the words are the plant's, in rules/harm.json. */
#ifndef ODDLOAF_INTAKE_HARM_H
#define ODDLOAF_INTAKE_HARM_H

#include "base/doc.h"

/* {"script": read out to the caller, "mail": [cautions of the urgent mail]}; checked. New
 * reference. Every fault is reported (`report` may be NULL); then the first is also in `err` and
 * its code returned. */
int harm_load(const char *path, doc_report report, void *arg, json_t **ret, struct error *err);

#endif
