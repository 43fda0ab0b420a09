/* Holds, for people. */
#ifndef ODDLOAF_CLIENT_SHOW_HOLD_H
#define ODDLOAF_CLIENT_SHOW_HOLD_H

#include "show/view.h"
#include <jansson.h>

/* Of an answer to hold: which of the lots are another plant's, and what comes of that. */
void hold_show_passed_on(const struct view *v, const json_t *answer);
/* Of an answer to hold or release: which of the codes are on no record, and what comes of that. */
void hold_show_unrecorded(const struct view *v, const json_t *answer);
/* "H3 L2 6321 B0412: glass, mira, 2026-11-20 09:14, C12", one a line beneath `heading`, of a list
 * of holds; nothing if it is empty. */
void hold_show_list(const struct view *v, const char *heading, const json_t *holds);
/* "ON HOLD" and each of a document's "holds" with its reason; nothing without any. */
void hold_show_standing(const struct view *v, const json_t *document);
/* What stands on a lot, each with its reason; where nothing does, what was decided last. */
void hold_show_lot(const struct view *v, const json_t *document);

#define HOLD_WHY 120
/* Why no lot is held for what one of reach's `common` names: most had it, or it is plain film. */
const char *hold_why_common(const json_t *common, char out[static HOLD_WHY]);

#endif
