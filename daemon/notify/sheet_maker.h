/* Makes the pages that mails carry, one at a time, on a thread and a store of its own: a page takes
 * up to seconds, and the mailer, which urgent mails need, waits for none. One caller. */
#ifndef ODDLOAF_NOTIFY_SHEET_MAKER_H
#define ODDLOAF_NOTIFY_SHEET_MAKER_H

#include "base/error.h"
#include "store/store.h"

struct sheet_maker;

/* A case's page: malloc'd HTML, NULL: there is none. On the maker's thread. */
typedef char *(*sheet_maker_make)(void *arg, struct store *store, int64_t case_id);
struct sheet_maker_how {
    sheet_maker_make make;
    void *arg;
    int woken; /* an eventfd, borrowed, that is written to when a page is made */
};

int sheet_maker_start(const char *state_dir, const struct sheet_maker_how *how,
                      struct sheet_maker **ret, struct error *err);
/* Not while one is being made or waits to be taken. */
void sheet_maker_ask(struct sheet_maker *maker, int64_t case_id);
/* True once what was asked for is made: *ret is the caller's, NULL there is none. */
bool sheet_maker_take(struct sheet_maker *maker, char **ret);
/* Waits for the page that is being made. NULL is fine. */
void sheet_maker_stop(struct sheet_maker *maker);

#endif
