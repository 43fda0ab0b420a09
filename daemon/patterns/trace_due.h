/* How many complaints can be in by now about what was packed. Inside patterns/. */
#ifndef ODDLOAF_PATTERNS_TRACE_DUE_H
#define ODDLOAF_PATTERNS_TRACE_DUE_H

#include "patterns/trace_lots.h"
#include "patterns/week_expect.h"

/* Sets trace_lot.due: of what was packed yesterday hardly any complaint is in. */
void trace_due(struct trace_lots *t, const struct week_lag *lag, int64_t until_ms);
/* The same of a symptom as of the plant's day of now_ms, by the delays known before the week that
 * holds a day; ERROR_BUSY while counts are of another zone. */
struct trace_due_by {
    const struct tz *tz;
    int symptom;
    int32_t day;
    int64_t now_ms;
    const char *plant; /* NULL or "": all */
};
int trace_due_read(struct trace_lots *t, struct store *store, const struct trace_due_by *by,
                   struct error *err);

#endif
