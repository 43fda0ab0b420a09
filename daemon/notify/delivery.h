/* One mail on its way to one recipient: the message made, the plant's mail program (or hook) run
 * with it. */
#ifndef ODDLOAF_NOTIFY_DELIVERY_H
#define ODDLOAF_NOTIFY_DELIVERY_H

#include "notify/mail_settings.h"
#include "notify/program.h"
#include "store/outbox.h"

struct delivery;

/* Takes what `row` holds. Has not begun. */
struct delivery *delivery_new(struct outbox_delivery *row);
/* Takes `sheet`, a page to attach (NULL: none). One that could not be started has ended. */
void delivery_begin(struct delivery *delivery, const struct mail_settings *settings, char *sheet);
/* "", or why the times of the mail that was begun are in UTC. */
const char *delivery_no_zone(const struct delivery *delivery);
bool delivery_has_begun(const struct delivery *delivery);
/* Its fd is -1 while nothing runs. */
struct pollfd delivery_poll(const struct delivery *delivery);
/* True once it has ended, which none has that has not begun. */
bool delivery_attend(struct delivery *delivery);
const struct outbox_delivery *delivery_row(const struct delivery *delivery);
/* Of one that has ended. */
const struct program_result *delivery_result(const struct delivery *delivery);
/* One that has not ended is stopped. NULL is fine. */
void delivery_free(struct delivery *delivery);

#endif
