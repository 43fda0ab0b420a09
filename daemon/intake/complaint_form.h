/* One complaint as it came (design §7), checked and taken apart: the words checked against the
 * contract, dates made days, contact data split off before anything else sees it.
 *
 * What is missing stays missing: unknown is not "no". A date that contradicts the receipt (found
 * in the future or years ago, bought after it was found) does not cost us the complaint: it is kept
 * in the body, named in `doubts` and not used. A receipt in the future or before the year 2000 is
 * refused: everything is counted by it (intake/receipt.h mends one before). A name we don't know is
 * dropped and named in `ignored`. */
#ifndef ODDLOAF_INTAKE_COMPLAINT_FORM_H
#define ODDLOAF_INTAKE_COMPLAINT_FORM_H

#include "base/error.h"
#include "base/text.h"
#include "base/uuid.h"
#include "base/when.h"
#include <jansson.h>
#include <stdbool.h>

struct complaint_form {
    char uuid[UUID_TEXT];
    char same_as[UUID_TEXT]; /* the complaint it repeats, "" none */
    bool same_as_unseen;     /* who sends it does not see that one: set by whoever logs it */
    bool anyway;             /* … though both codes were read whole, of two lots ("anyway") */
    int64_t received_ms;
    json_t *body;                            /* normalized, without contact */
    json_t *contact;                         /* NULL if none */
    char *contact_fold;                      /* keys: store/contact.h; NULL if none */
    json_t *doubts;                          /* [{"field","value","says"}] */
    json_t *ignored;                         /* names dropped */
    int32_t code_day, bought_day, found_day; /* WHEN_UNKNOWN_DAY if missing or doubted */
    int packs;
    int64_t units;
    bool harm, harm_possible; /* said; not said, but a person must read it: at most one */
};

struct form_options {
    const struct tz *tz; /* of the plant: what day "received" was */
    bool partial;        /* a preview: id, received_at and channel may be missing */
    int64_t now_ms;      /* no receipt is later (but for ten minutes between two clocks); stands in
                            for a missing one of a preview. 0: not checked */
    json_t *faults;      /* an array that gets every fault, or NULL */
    /* Reads one name of "measured", "crumb_ph" or "core_at_pack [degF]", and its value: which
     * quantity it is and the value in that one's unit. NULL: names and values are taken as they
     * are. */
    int (*measured)(void *arg, const char *name, double value, const char **ret_quantity,
                    double *ret_value, struct error *err);
    void *measured_arg;
};

/* *ret is new; free with complaint_form_free(). Borrows `complaint`. `err` gets the first fault. */
int complaint_form_read(const json_t *complaint, const struct form_options *options,
                        struct complaint_form **ret, struct error *err);
void complaint_form_free(struct complaint_form *form);

/* {"field","value","reason"} and, if there is one, "hint" (new). */
json_t *complaint_form_fault(const struct error *why);
/* Adds a doubt about a field of the body. */
void complaint_form_doubt(const struct complaint_form *form, const char *field, const char *says);
/* The words of harm that a complaint says, though it be refused: those of its "harm" that are
 * known. New reference; NULL if there are none. *ret_possible: then, it may speak of harm all the
 * same, or its "harm" is in no word of ours. */
json_t *complaint_form_harm(const json_t *complaint, bool *ret_possible);
/* The text member, or NULL. Lives as long as the form. */
const char *complaint_form_text(const struct complaint_form *form, const char *name);
/* The key (store/contact.h) that a person's words stand for: of a phone number its digits from the
 * end, else the words folded. */
void complaint_form_contact_key(const char *text, char *out, size_t size);
/* The same of a name with "ue" where it has ü, and so on; false: it has none such. */
bool complaint_form_spelled_key(const char *name, char *out, size_t size);
/* Appends a line for each word of a name, `mark` before it, in all writings it may be looked for
 * in. */
void complaint_form_name_keys(const char *name, const char *mark, struct text_buffer *out);
/* All keys of a contact. malloc'd. */
char *complaint_form_contact_keys(const json_t *contact);

#endif
