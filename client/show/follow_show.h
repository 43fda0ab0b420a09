/* How a case is followed up, and who is to be called back. */
#ifndef ODDLOAF_CLIENT_SHOW_FOLLOW_SHOW_H
#define ODDLOAF_CLIENT_SHOW_FOLLOW_SHOW_H

#include "show/view.h"
#include <jansson.h>
#include <stdint.h>

/* An answer of cases/ID/follow; `today` is the plant's. */
void follow_show(const struct view *v, const json_t *document, int32_t today);
/* An answer of call-backs. */
void follow_show_call_backs(const struct view *v, const json_t *document);

#endif
