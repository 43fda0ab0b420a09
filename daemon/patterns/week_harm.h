/* Harm of a week, or another span, and what came of it since: it stands before all else that is
 * told. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_WEEK_HARM_H
#define ODDLOAF_PATTERNS_WEEK_HARM_H

#include "base/error.h"
#include "base/when.h"
#include "store/store.h"
#include <jansson.h>

struct desk;

/* All borrowed. */
struct week_harm_of {
    struct store *store;
    const struct tz *tz;
    struct when_span shown;
    int64_t now_ms;
    const char *plant;       /* NULL or "": all */
    const json_t *harm;      /* as of struct week_query */
    const struct desk *desk; /* likewise */
};

/* Adds "harm_since" to a report, and its sentence to the report's "headline": what was received
 * behind the span shown, within the seven days up to today. */
int week_harm_since(const struct week_harm_of *of, json_t *report, struct error *err);
/* Adds "harm_in_lots", what laboratories found in lots that says harm or may, entered within the
 * span or those days, the newest first (desk/spoken.h), and its sentence. */
int week_harm_in_lots(const struct week_harm_of *of, json_t *report, struct error *err);
/* Both, and "harm" and "harm_possible" of the span itself. */
int week_harm(const struct week_harm_of *of, json_t *report, struct error *err);

#endif
