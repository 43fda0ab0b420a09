/* Mails that wait to leave, in rows of the commit that made them due, and their deliveries: one row
 * for each recipient of a mail, tried by itself, so that one bad address keeps no other waiting. A
 * mail nobody is set up to get has no deliveries yet and waits: it is never taken for sent. */
#ifndef ODDLOAF_STORE_OUTBOX_H
#define ODDLOAF_STORE_OUTBOX_H

#include "base/length.h"
#include "store/store.h"

/* The events whose mail waits for no other, is never parked and tried again without end. */
#define OUTBOX_URGENT "urgent"
/* Takes the place of an address for the plant's own program; no address holds a blank. */
#define OUTBOX_HOOK "hook program"

enum {
    OUTBOX_EVENT = 16,
    OUTBOX_RECIPIENT = 320,
    OUTBOX_ERROR = 256,
    /* no retry is further away: what seems to be was due by a clock that has been put back since */
    OUTBOX_RETRY_MOST_MS = 3600000
};

/* A mail as the store takes it. */
struct outbox_new {
    const char *event;
    int64_t case_id;        /* 0 none */
    int revision;           /* of the case's ranking, 0 none */
    const char *message_id; /* made once; of all but `case`: if there is one, it is left as it is */
    const char *payload;    /* JSON */
    int64_t created_ms;
    int64_t not_before_ms; /* 0: at once */
};
/* The payload of a case's mail is dropped once it has left: its ranking is kept (ranking.h), with
 * why it went. ERROR_TOO_LARGE: of more than is ever read again (JSONX_BYTES), it could not leave.
 */
int outbox_add(struct store *store, const struct outbox_new *mail, struct error *err);
typedef int (*outbox_each_id)(void *arg, const char *message_id);
/* The ids that begin so, of mails of other events than `case` that are kept; sent or not. Its
 * non-zero answer stops and is returned. */
int outbox_ids(struct store *store, const char *begin, outbox_each_id each, void *arg,
               struct error *err);

/* ---- who gets it ---- */
struct outbox_addresses {
    const char *event;
    const char *const *recipient;
    size_t count;
    bool all; /* every mail that is not sent yet; else only those that have no deliveries */
    /* Mails of cases of these plants alone, or of all but these (and of no case): ",Larkfen,";
     * NULL: whichever. */
    const char *of, *but;
    const char *plant; /* besides: mails of no case whose payload says OUTBOX_PLANT of it; NULL */
};
#define OUTBOX_PLANT "of_plant"
#define OUTBOX_PLANT_ALONE "of_plant_alone" /* true, in a payload: and nobody else gets it */
/* Gives mails deliveries, due now. With `all`, deliveries that have not left are dropped where
 * their recipient is none any more. Mails stay new until outbox_addressed(). */
int outbox_address(struct store *store, const struct outbox_addresses *addresses, int64_t now_ms,
                   struct error *err);
/* All who get that event were given theirs. */
int outbox_addressed(struct store *store, const char *event, bool all, struct error *err);
/* Whether any mail of this event has no deliveries yet. */
int outbox_has_new(struct store *store, const char *event, bool *ret, struct error *err);

/* Whether an urgent mail was tried and has not left, or was not even tried for longer than one
 * takes: the first that a program hangs on is under way all that time. */
int outbox_urgent_stuck(struct store *store, int64_t now_ms, bool *ret, struct error *err);
/* The same, or a mail of another kind was not tried for a minute: whether the next urgent one
 * leaves is in doubt. */
int outbox_doubtful(struct store *store, int64_t now_ms, bool *ret, struct error *err);

/* ---- urgent mails of one case, gathered ---- */
struct outbox_urgent {
    int64_t mail_id;
    int64_t at_ms; /* when it may leave, or might */
    bool gathers;  /* it was queued to leave later, with what is added to it */
    bool waits;    /* not taken up: what this transaction adds leaves with it */
};
typedef int (*outbox_each_urgent)(void *arg, const struct outbox_urgent *mail);
/* One that gathers leaves only once it was taken up, in a transaction of its own: no other can add
 * to what may be under way already, however long it waited for its turn. */
int outbox_gathered_due(struct store *store, int64_t now_ms, bool *ret, struct error *err);
int outbox_take_up(struct store *store, int64_t now_ms, struct error *err); /* those that are due */
/* What a case gathers is due now. */
int outbox_gathered_now(struct store *store, int64_t case_id, int64_t now_ms, struct error *err);
/* Those of a case (0: of none) that may leave after `since_ms`, the newest first; none that is
 * held, and none of before the verdict that stands, or of what a repeat said that changed no
 * record. A callback may write. */
int outbox_urgent_of(struct store *store, int64_t case_id, struct when_span since_now,
                     outbox_each_urgent each, void *arg, struct error *err);
/* What a mail says, malloc'd; NULL if that is not kept (or could not be read). Many wait in one
 * case, and few are looked at. */
int outbox_payload(struct store *store, int64_t mail_id, char **ret, struct error *err);

/* ---- deliveries ---- */
struct outbox_delivery {
    int64_t mail_id, case_id, created_ms; /* of the mail; case_id 0 none */
    int64_t since_ms;                     /* tried since: what parking goes by */
    int attempts;
    bool urgent;
    char plant[LENGTH_CODE + 1]; /* of its case, "" none */
    char event[OUTBOX_EVENT], recipient[OUTBOX_RECIPIENT];
    char message_id[128];
    char *payload; /* malloc'd JSON */
};
void outbox_delivery_free(struct outbox_delivery *delivery); /* what it holds, not itself */
struct outbox_deliveries {
    struct outbox_delivery *row; /* the caller's array */
    int count, capacity;
};
/* Those that are due and find room, never tried ones first, recipients in turn; urgent ones or the
 * others. Of one case, event and recipient an ordinary mail waits until the one before it has left
 * or was parked. */
int outbox_due(struct store *store, bool urgent, int64_t now_ms, struct outbox_deliveries *ret,
               struct error *err);
/* Those urgent ones that would be due to the first of these recipients and could not be given a
 * delivery, or taken up a minute after they were due: on a full disk they leave by what is there,
 * and their deliveries are written (outbox_address()) before what became of them. */
int outbox_stranded(struct store *store, const struct outbox_addresses *to, int64_t now_ms,
                    struct outbox_deliveries *ret, struct error *err);
/* Whether it still waits as it did when it was read: nobody has tried it since. */
bool outbox_stands(struct store *store, const struct outbox_delivery *delivery);
int outbox_sent(struct store *store, int64_t mail_id, const char *recipient, int64_t now_ms,
                struct error *err);
/* Failed: due again at `due_ms`, or parked, which no urgent one is. */
int outbox_failed(struct store *store, const struct outbox_delivery *delivery, int64_t due_ms,
                  bool park, const char *why, struct error *err);
/* What has not left is due now, parked or not: of one mail, even if it was held, or of all that are
 * not (mail_id 0). *ret_count deliveries. ERROR_NOT_FOUND if there is no such mail, ERROR_CONFLICT
 * if it is sent. */
int outbox_due_again(struct store *store, int64_t mail_id, int64_t now_ms, int *ret_count,
                     struct error *err);

/* ---- what was told of a complaint ---- */
typedef int (*outbox_each_payload)(void *arg, int64_t mail_id, const char *payload);
/* Mails of the cases that the complaint is, or was once, in, and of what was refused, whose payload
 * is kept and names this report (uuid; "": of those cases, any); and digests that have not left,
 * which quote what the plant wrote. A callback may write. Its non-zero answer stops and is
 * returned. */
int outbox_about(struct store *store, int64_t complaint_id, const char *report,
                 outbox_each_payload each, void *arg, struct error *err);
/* The same told without contact data that became known since; ERROR_TOO_LARGE as above. */
int outbox_rewrite(struct store *store, int64_t mail_id, const char *payload, struct error *err);

/* ---- for people ---- */
struct outbox_counts {
    int64_t waiting, parked, sent; /* mails; parked: some of it is, none of it waits */
    int64_t urgent;                /* of the waiting */
    int64_t oldest_ms;             /* when the oldest that waits was queued, WHEN_UNKNOWN_MS none */
    int64_t oldest_urgent_ms;
    char last_error[OUTBOX_ERROR];
};
int outbox_count(struct store *store, struct outbox_counts *ret, struct error *err);

struct outbox_mail {
    int64_t id, case_id, created_ms, sent_ms; /* case_id 0 none; sent_ms WHEN_UNKNOWN_MS not yet */
    const char *event, *state;                /* "waiting", "parked", "sent" */
    const char *held; /* why it does not leave by itself, "" it may: state "parked" */
};
struct outbox_recipient {
    const char *recipient, *state, *last_error; /* last_error "" none */
    int attempts;
    int64_t due_ms, sent_ms;
};
/* Texts live until the callback returns; its non-zero answer stops and is returned. */
typedef int (*outbox_each)(void *arg, const struct outbox_mail *mail);
typedef int (*outbox_each_recipient)(void *arg, const struct outbox_recipient *recipient);
/* Mails that have not left, urgent ones first, then the oldest; or those that have, newest first.
 */
int outbox_list(struct store *store, bool sent, int limit, outbox_each each, void *arg,
                struct error *err);
int outbox_recipients(struct store *store, int64_t mail_id, outbox_each_recipient each, void *arg,
                      struct error *err);

#endif
