/* What a mail and the hook tell of complaints and their lot: everything said and observed, without
 * contact data. */
#ifndef ODDLOAF_DESK_TOLD_H
#define ODDLOAF_DESK_TOLD_H

#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

enum { TOLD_MOST = 10 }; /* complaints of a case that are told one by one */

/* The body of a complaint taken apart (desk/apart.h), with what its texts repeat of `contact` (may
 * be NULL) masked. New reference. */
json_t *told_complaint(const json_t *body, const json_t *contact);
/* The same of one that is logged, its body as text; the callers' names are masked when it is queued
 * (desk/outgoing.h). New reference. */
json_t *told_logged(const char *body);
/* The same of one that was refused, as it came and unchecked: what stands where we know a field and
 * isn't overlong. New reference. */
json_t *told_refused(const json_t *complaint);
/* Those of a case, the newest first, at most TOLD_MOST; what reports joined to them said besides is
 * in "again", a list of texts. *ret is a new reference. */
int told_case(struct store *store, int64_t case_id, json_t **ret, struct error *err);
/* {"lot","product","name","line","packed_from","packed_to","code_date","units"}: how it was made;
 * null if lot_id is 0 or unknown. New reference. */
json_t *told_lot(struct store *store, const struct tz *tz, int64_t lot_id);

#endif
