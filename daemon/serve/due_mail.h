/* The day's mail of what is due. */
#ifndef ODDLOAF_SERVE_DUE_MAIL_H
#define ODDLOAF_SERVE_DUE_MAIL_H

#include "serve/app.h"

/* From the hour of the settings on, by the plant's clock, once a day: queued if a case is overdue
 * or a call-back due, else the day is done without a mail. Its Message-ID is the day's. */
int due_mail_if_due(struct app *app, const struct setup *setup, struct store *store,
                    struct error *err);

#endif
