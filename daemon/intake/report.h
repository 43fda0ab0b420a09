/* Two reports of one thing by the same person, made one. Pure. */
#ifndef ODDLOAF_INTAKE_REPORT_H
#define ODDLOAF_INTAKE_REPORT_H

#include <jansson.h>

/* What the complaint says once the later report is added to it: what was unknown is taken from the
 * report, what was known stays; harm of either is harm. Id, receipt, channel, symptom and note stay
 * the complaint's. New reference.
 * brought (may be NULL): gets the fields taken, "observed/colour".
 * differs (may be NULL): gets {"field","complaint","report"} where the two contradict. */
json_t *report_merge(const json_t *complaint, const json_t *report, json_t *brought,
                     json_t *differs);

#endif
