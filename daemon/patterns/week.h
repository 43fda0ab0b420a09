/* The week: what came in, what was made, what rose and whether it is real (design §9). */
#ifndef ODDLOAF_PATTERNS_WEEK_H
#define ODDLOAF_PATTERNS_WEEK_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct triage;

/* The report of one ISO week in the plant's zone, as of `now_ms` (what came later is left out, so
 * that an old week can be replayed). §12 `week` and more; new reference. */
int week_report(struct store *store, const struct tz *tz, struct triage *triage,
                struct iso_week week, int64_t now_ms, json_t **ret, struct error *err);

/* Views of a report. malloc'd text. The page is self-contained: inline SVG and CSS, no script, no
 * outside request. CSV has one table of rates. */
char *week_html(const json_t *report, const char *plant);
char *week_csv(const json_t *report);

#endif
