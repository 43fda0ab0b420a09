/* Harm in what is written about a case beside its complaints: a note, a call, a laboratory's
 * remark, the reason of a change. It is read as a complaint's note is. */
#ifndef ODDLOAF_DESK_OVERHEARD_H
#define ODDLOAF_DESK_OVERHEARD_H

#include "base/text.h"
#include "base/uuid.h"
#include "desk/desk.h"
#include "store/complaint_place.h"

struct overheard {
    const struct desk *desk; /* all borrowed */
    int64_t case_id;         /* 0: it is about no case */
    int64_t lot_id;          /* what it is about then */
    const char *lot;         /* its code */
    const char *plant;       /* whose it is then, if not the lot's on record; NULL: nobody's */
    bool told_before;        /* all of it was on record: no gravity of it is news */
    const char *report; /* uuid of whom it is about; NULL: who reported harm last in the case, else
                           who may have first, else the newest complaint */
    const char *where;  /* "a note of the case says so": stands before who and what */
    struct complaint_why why; /* its reason is the text, without contact data; NULL: none */
    const json_t *read;       /* kinds read before, of what the reason quotes; NULL: it is read */
    const char *sentences; /* what of the reason people wrote, beside names that a language has of
                              no letters; NULL: all */
    /* results; the caller drops the reference */
    /* kinds that are said; NULL: nothing was heard, or no more than may be of what tells harm */
    json_t *harm;
    bool possible;             /* words may mean it */
    bool mailed, gathered;     /* the urgent address is told; it waits for others of the case */
    char complaint[UUID_TEXT]; /* that is to be corrected; "" none */
};
/* If the text says what the case does not carry, or tells of gravity: its complaint may be harm
 * from now on, which a person must read (not one that tells harm, or is withdrawn), and the urgent
 * address is told; of what no complaint is about it is told all the same. In the writer's
 * transaction. */
int overheard_hear(struct store *store, struct overheard *o, struct error *err);
/* Adds to `words` what is no sentence (who did it, whose the case is, a laboratory) if it says a
 * kind of harm by its phrases: "Clinic Street Laboratory" is a name. */
void overheard_add_name(const struct desk *desk, const char *name, struct text_buffer *words);
/* Kinds of harm that a file's name says, as lexicon_harm(). New reference. */
json_t *overheard_in_file_name(const struct desk *desk, const char *name);
/* The complaint with that report tells these kinds of harm from now on, beside those it told; none:
 * it may be harm, unless it tells any. One that is withdrawn stays as it is. The reason is on
 * record. In the writer's transaction. */
int overheard_mark(const struct desk *desk, struct store *store, const char *report,
                   const json_t *kinds, const struct complaint_why *why, struct error *err);
/* {"harm","harm_possible","complaint"?,"short"?,"record"?,"script"?,"alarm"|"no_mail"}; "record":
 * the kinds to be put on record of the complaint, if its case lacks any; "script" if a `caller` may
 * listen. NULL if nothing was heard. New reference. */
json_t *overheard_json(struct store *store, const struct overheard *o, bool caller);

#endif
