/* Who may write to a state directory: one process. The kernel keeps the lock, on the directory
 * itself, and gives it free however its owner ends; there is no lock file to go stale or to be
 * removed by hand. Children that run another program do not inherit it. */
#ifndef ODDLOAF_STORE_OWNER_H
#define ODDLOAF_STORE_OWNER_H

#include "base/error.h"

struct owner;

/* Whether anybody may write to the directory or to what must be the daemon's alone in it:
 * ERROR_INVALID. What is not there, or may not be looked at, is nobody's fault. */
int owner_look(const char *state_dir, struct error *err);
/* The directory must exist; ERROR_INVALID if it is another user's, or the database in it a
 * symbolic link, or as owner_look() says.
 * ERROR_CONFLICT if another process has it: the text names which, where that is known. */
int owner_take(const char *state_dir, struct owner **ret, struct error *err);
void owner_free(struct owner *owner); /* gives the state free. NULL is fine */

#endif
