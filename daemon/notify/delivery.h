/* One mail on its way to one recipient: the message made, the plant's mail program (or hook) run
 * with it. */
#ifndef ODDLOAF_NOTIFY_DELIVERY_H
#define ODDLOAF_NOTIFY_DELIVERY_H

#include "notify/mail_settings.h"
#include "notify/program.h"
#include "store/outbox.h"

struct delivery;

/* Takes what `row` holds, and `sheet`, a page to attach (NULL: none). Never NULL: one that could
 * not be started has ended. */
struct delivery *delivery_start(const struct mail_settings *settings, struct outbox_delivery *row,
                                char *sheet);
void delivery_polls(const struct delivery *delivery, struct pollfd ends[PROGRAM_ENDS]);
/* True once it has ended. */
bool delivery_attend(struct delivery *delivery);
const struct outbox_delivery *delivery_row(const struct delivery *delivery);
/* Of one that has ended. */
const struct program_result *delivery_result(const struct delivery *delivery);
/* One that has not ended is stopped. NULL is fine. */
void delivery_free(struct delivery *delivery);

#endif
