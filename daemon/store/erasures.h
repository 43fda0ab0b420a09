/* What was erased stays erased when an older backup takes the place of the database.
 *
 * Beside the database, in `erasures`, stands one line for each report whose contact data was erased
 * or purged: its id, when, and on what basis ("request", "date"; "said": only what its texts
 * repeated of it). The file is only ever appended to, each line is on disk before the data is gone
 * (and so the name of a file that is new), and the database remembers how much of it has
 * been applied. A report's id is random and says nothing of a person, so the file holds no contact
 * data and no hash of one: the hash of a phone number is found by trying all numbers, with or
 * without a salt that stands beside it.
 *
 * Who restores a backup puts it in place of `oddloaf.db` and leaves `erasures` where it is: the
 * daemon applies it at every start, before anybody is answered. On another machine, copy `erasures`
 * beside the database first; without it, what was erased since the backup is there again. */
#ifndef ODDLOAF_STORE_ERASURES_H
#define ODDLOAF_STORE_ERASURES_H

#include "store/store.h"

#define ERASURES_FILE "erasures"

/* Removes the contact data of every report that the file names and this database has not applied
 * yet; *ret_count (may be NULL) is how many contacts went, or lost what texts repeated. In a
 * transaction of a writing store: the daemon's at start, or that of a program that restores a
 * backup. A missing file is an empty one; a line cut short by a crash is passed over. */
int erasures_apply(struct store *store, int *ret_count, struct error *err);
/* Inside store/ only: appends what `erased` has and the file has not. */
int erasures_write(struct store *store, struct error *err);

#endif
