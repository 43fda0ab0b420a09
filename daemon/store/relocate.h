/* A state goes from its folder's file to a PostgreSQL server, or back, while no daemon has it. What
 * is at the other end is made whole first, each table's rows are counted on both sides, and only
 * then does the folder say that the state is there (place.h); what was at this end stays as it was,
 * the file under another name. Files that come in, backups and the list of erasures are the
 * folder's in both cases. */
#ifndef ODDLOAF_STORE_RELOCATE_H
#define ODDLOAF_STORE_RELOCATE_H

#include "base/error.h"
#include <limits.h>
#include <stdint.h>

struct relocated {
    int64_t rows;
    char to[PATH_MAX];   /* as people are told */
    char kept[PATH_MAX]; /* what it was kept in until now */
};

/* ERROR_INVALID if the folder's name leaves no room for a file's. ERROR_CONFLICT, and nothing is
 * changed, if a daemon has the state, it is on a server already, or the server's database has one.
 * A state of an older version is converted first, as at a start. */
int relocate_to_server(const char *state_dir, const char *address, int64_t now_ms,
                       struct relocated *ret, struct error *err);
/* ERROR_CONFLICT if a daemon has the state or it is in the folder already. */
int relocate_to_folder(const char *state_dir, struct relocated *ret, struct error *err);

#endif
