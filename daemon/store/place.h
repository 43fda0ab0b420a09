/* Where a state is kept: in the file oddloaf.db of its folder, or on a PostgreSQL server whose
 * address stands in the folder's file `server`. The settings say which ("store"); the folder
 * remembers it, so that a daemon that is started without that setting does not begin anew with an
 * empty file beside a server that has everything. */
#ifndef ODDLOAF_STORE_PLACE_H
#define ODDLOAF_STORE_PLACE_H

#include "base/error.h"
#include "base/uuid.h"

/* ERROR_INVALID if it is no address or this build has no PostgreSQL; "" is fine. */
int place_check(const char *address, struct error *err);
/* From now on the state is kept there; `address`: "postgresql://…", "" the folder itself. Another
 * address may take an earlier one's place (a server moves). ERROR_CONFLICT, and nothing is changed,
 * if the folder's state is kept on a server and the folder itself is asked for, or the reverse;
 * ERROR_INVALID if it is no address or this build has no PostgreSQL. */
int place_set(const char *state_dir, const char *address, struct error *err);
/* The server's address, malloc'd; NULL: it is kept in the folder. */
int place_get(const char *state_dir, char **ret_address, struct error *err);
/* ERROR_CONFLICT, saying whose work `what` ("a backup") is instead, if it is kept on a server. */
int place_refuse(const char *state_dir, const char *what, struct error *err);

/* By what a daemon of a server is told from the others: made once, kept in the folder's file
 * `daemon`. */
int place_daemon(const char *state_dir, char out[static UUID_TEXT], struct error *err);

/* Inside store/ only. The state has been taken there: the address is kept, whatever the folder has.
 */
int place_move(const char *state_dir, const char *address, struct error *err);
/* Inside store/ only. As people are told, without a password; malloc'd. */
char *place_name(const char *address);

#endif
