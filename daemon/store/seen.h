/* Of whose plants a connection is asked: people of one plant are told of nothing that belongs to
 * another, as if it did not exist. What is looked up by a name (case_get(), case_of_uuid(),
 * complaint_by_uuid(), joined_by_uuid(), entry_find_named(), lot_find_by_code(),
 * lot_find_by_fold(), attached_get(), action_get()) is not found then, by the same statements and
 * in the same words as what is not there; by its number it is, for evidence crosses plants.
 *
 * A lot is its plant's. A complaint and its case are the plant's that their rows name
 * (store/move.h); what no plant is named of is the company's, and besides seen by who entered a
 * complaint of it. */
#ifndef ODDLOAF_STORE_SEEN_H
#define ODDLOAF_STORE_SEEN_H

#include "store/store.h"

enum { SEEN_PLANTS = 64 };
/* Texts are borrowed. */
struct seen_plants {
    int count;
    const char *plant[SEEN_PLANTS];
    const char *user; /* as entries name who logged them: store/entry.h */
};
/* Copied; holds until another is set. NULL: all is seen. */
void seen_set(struct store *store, const struct seen_plants *seen);
bool seen_all(const struct store *store);
/* All is, until seen_again() of what this returns: for who is told that a thing is another plant's.
 */
bool seen_whole(struct store *store);
void seen_again(struct store *store, bool some);

/* Is it seen? true of everything where nothing is set; false, too, of what cannot be read. None may
 * be asked while a statement is open, but for seen_plant(). */
bool seen_plant(const struct store *store, const char *plant);
/* The lot of exactly that code; true if there is none. */
bool seen_code(struct store *store, const char *code);
bool seen_case(struct store *store, int64_t case_id);
bool seen_complaint(struct store *store, int64_t complaint_id);
bool seen_report(struct store *store, const char *uuid); /* a complaint or one joined to it */

#endif
