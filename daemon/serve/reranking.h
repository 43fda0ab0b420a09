/* Cases whose work row (store/work.h) is due are ranked, saved and, where QA would act on it,
 * mailed: a round of them in one commit. Runs on the background's thread. */
#ifndef ODDLOAF_SERVE_RERANKING_H
#define ODDLOAF_SERVE_RERANKING_H

#include "serve/app.h"

/* `kind`: WORK_RANK; WORK_AGAIN, of which no mail is made but a row of news (news.h); or WORK_BULK,
 * of which none is made either where they are more than the settings mail one by one, but of harm.
 * True if there may be more; a failure is logged, and what failed is tried again later.
 * *ret_mailed: mail, or news, was queued. */
bool reranking_round(struct app *app, struct setup *setup, struct store *store, const char *kind,
                     bool *ret_mailed);

/* Cases that a day's late or changed records, or very many complaints, may mean (WORK_SINCE) are
 * made due (WORK_AGAIN). True if any were. A failure is logged, and tried again the next time. */
bool reranking_spread(struct app *app, struct store *store);

#endif
