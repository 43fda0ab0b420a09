/* Harm in a report whose id is on record: what of it is news, and the record that a repeat said
 * so. */
#ifndef ODDLOAF_DESK_REPEAT_HARM_H
#define ODDLOAF_DESK_REPEAT_HARM_H

#include "desk/desk.h"
#include "intake/complaint_form.h"
#include "store/complaint_place.h"

enum { REPEAT_HARM_KINDS = 15, REPEAT_HARM_MARKS = REPEAT_HARM_KINDS + 24 + 1 };

/* The kinds that neither the complaint tells nor a repeat of it was mailed for, a letter each (what
 * may be harm is one where nothing is told of harm), then words of gravity beside harm, four
 * capitals each. "" no news. The mail bears them in its id
 * (event_again_id()): each is mailed once. */
int repeat_harm_news(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, char ret_marks[REPEAT_HARM_MARKS],
                     struct error *err);
/* The complaint tells the harm that the repeat says from now on, or may be harm, and its words stay
 * with it. In the writer's transaction. */
int repeat_harm_keep(const struct desk *desk, struct store *store,
                     const struct complaint_form *form, const char *by, int64_t at_ms,
                     struct error *err);

#endif
