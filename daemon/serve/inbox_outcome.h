/* What became of a file of the inbox, told: the report beside it and the mail's event. */
#ifndef ODDLOAF_SERVE_INBOX_OUTCOME_H
#define ODDLOAF_SERVE_INBOX_OUTCOME_H

#include "base/error.h"
#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>

struct inbox_outcome {
    json_t *loads; /* answers of its loads; NULL: it could not be taken, see `why` */
    bool refused;
    struct error why;
};

/* `at`: the instant, as text. */
void inbox_outcome_report(const struct inbox_outcome *o, const char *name, const char *at,
                          struct text_buffer *out);
/* The event "records" (desk/event.h). New reference. */
struct inbox_outcome_place {
    const char *plant, *file, *report; /* report: its path */
};
json_t *inbox_outcome_event(const struct inbox_outcome *o, const struct inbox_outcome_place *place);

#endif
