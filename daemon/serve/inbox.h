/* The inbox: a folder into which a plant's systems and people put files of records. Each is taken
 * once it is whole, loaded, and moved to done/ or refused/ with a report beside it; who keeps the
 * records is mailed. On a thread of its own, by looking: what moves a file in need not tell
 * anybody.
 *
 * A file is applied, then its mail is queued (under an id of the file's own, so once), then its
 * report is written, then it is moved. A crash anywhere leaves it where it was, to be taken again:
 * the same rows change nothing, the mail is there already. */
#ifndef ODDLOAF_SERVE_INBOX_H
#define ODDLOAF_SERVE_INBOX_H

#include "serve/app.h"
#include <event2/event.h>

struct inbox;

int inbox_start(struct event_base *base, struct app *app, struct inbox **ret, struct error *err);
/* Ends after the file at hand. NULL is fine; so is a second time. */
void inbox_close(struct inbox *b);
void inbox_free(struct inbox *b); /* closes it first. NULL is fine */

struct inbox_told {
    bool set_up;           /* there is such a folder in the settings */
    int waiting;           /* files that are there and not taken */
    int refused_there;     /* files in refused/ */
    int64_t done, refused; /* since the start */
    char last[128];        /* the file taken last, "" none yet */
    int64_t last_ms;       /* when */
    struct error fault;    /* what keeps a file, or all, from being taken; code 0 nothing */
};
/* Thread-safe. */
void inbox_tell(struct inbox *b, struct inbox_told *ret);

/* Whether what the settings say of it can work, as the machine is now: every fault is logged with
 * its place. ERROR_INVALID with the first one. */
int inbox_check(const struct setup *setup, const struct log *log, struct error *err);

#endif
