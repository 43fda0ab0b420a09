/* What other rules, or records that came late, changed of rankings that QA was mailed: one mail for
 * all of it. And one for the many cases that a file of complaints brings, the most urgent first.
 * Of plants that have a list of their own there is one each. */
#ifndef ODDLOAF_SERVE_NEWS_H
#define ODDLOAF_SERVE_NEWS_H

#include "serve/app.h"

/* Queues such a mail, once no case is left that is to be ranked for it. A failure is logged, and
 * tried again the next time. */
void news_tell(struct app *app, struct setup *setup, struct store *store);

#endif
