/* A complaint on its way in: read and matched to lots, logged in the writer's transaction, and then
 * answered (desk/answer.h). One that is refused leaves nothing but, where it speaks of harm, the
 * alarm. */
#ifndef ODDLOAF_DESK_TAKING_H
#define ODDLOAF_DESK_TAKING_H

#include "desk/apart.h"
#include "desk/placing.h"
#include "intake/complaint_form.h"

struct taking {
    const char *source; /* of the file it came in, NULL if in none; borrowed, set by the caller */
    long line;
    const char *user; /* who sends it, as the daemon knows the peer; borrowed, set by the caller */
    const char *of_plant; /* the one plant that the sender is of, NULL: of none alone; likewise */
    bool desk;            /* who called is told to the sender; set by the caller */
    bool alone;           /* not one of a file: a refusal is the answer */
    bool elsewhere;       /* its id is a complaint's that the sender does not see; likewise */
    bool old;             /* nobody waits for its ranking; set by the caller */
    bool bulk;            /* one of many that a file brings; likewise */
    struct complaint_form *form; /* NULL: refused, see err */
    struct error err;            /* the first fault */
    json_t *faults; /* all faults of what was said; empty for one that the store found */
    struct placing placing;
    json_t *taken;      /* what the note gave: shown to the desk */
    struct apart apart; /* what its texts repeat of contact data */
    json_t *lot;        /* how it stands to the lots: desk/placing.h */
    char *body, *contact;
    char *taken_text;   /* `taken`, as it is kept: store/entry.h */
    json_t *urgent;     /* event of harm, or NULL */
    json_t *taken_back; /* of one that comes again: desk/taken_back.h, or NULL */
    json_t *harm;       /* what a refused one says of harm, or NULL */
    bool harm_possible; /* of a refused one: it may speak of harm */
    bool reachable;     /* who called left a number or a mail address */
    bool mail_stuck;    /* urgent mail was tried before this one was logged, and is not out */
    bool mail_gathered; /* its urgent mail waits for others of the case */
    char message_id[128];
    struct complaint_placed placed;
};

/* `said` as it came. One that did not come in a file and bears a receipt that cannot be is
 * taken as received at `now_ms`, and says so (intake/receipt.h). */
void taking_read(const struct desk *desk, struct store *store, const json_t *said, int64_t now_ms,
                 struct taking *t);
/* What is no JSON (t->err says why) is read as words: harm is heard all the same. */
void taking_read_broken(const struct desk *desk, const char *text, size_t length, int64_t now_ms,
                        struct taking *t);
/* Of one that is not to be logged and may lack most of what one must have; *ret_ranking is what it
 * would be ranked as. A refusal is in t->err. */
int taking_preview(const struct desk *desk, struct store *store, const json_t *said, int64_t now_ms,
                   struct taking *t, json_t **ret_ranking);
/* Logs it, or joins it to the complaint it repeats, and queues the alarm. In the writer's
 * transaction; what only the store could find wrong ends in t->err unless it is alone. */
int taking_log(const struct desk *desk, struct store *store, int64_t now_ms, struct taking *t,
               struct error *err);
/* The plant's day on which it was received: by it the days of its note are told. `now_ms` stands in
 * for what is missing or no time. */
int32_t taking_day(const struct desk *desk, const json_t *complaint, int64_t now_ms);
/* The form of a complaint, checked as one that comes in. */
int taking_form(const struct desk *desk, const json_t *complaint, int64_t now_ms, json_t *faults,
                struct complaint_form **ret, struct error *err);
void taking_clear(struct taking *t);

#endif
