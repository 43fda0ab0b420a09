/* A case on one page, put together from what the routes of a case answer, as the store stands at
 * one moment. */
#ifndef ODDLOAF_SERVE_CASE_SHEET_H
#define ODDLOAF_SERVE_CASE_SHEET_H

#include "serve/app.h"

/* *ret: HTML (show/sheet_html.h), malloc'd. ERROR_NOT_FOUND if the case is gone. */
int case_sheet_html(struct app *app, struct store *store, int64_t case_id, char **ret,
                    struct error *err);
/* The same for a mail (notify/mailer.h), of which it is no part that must be: NULL, and a line in
 * the log, where it cannot be made. `arg`: a struct app. */
char *case_sheet_for_mail(void *arg, struct store *store, int64_t case_id);

#endif
