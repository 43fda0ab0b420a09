/* What a state's folder keeps of earlier states: backups, what a restore or a move left aside. Each
 * has all that was in the database when it was made, contact data erased since among it. */
#ifndef ODDLOAF_STORE_COPIES_H
#define ODDLOAF_STORE_COPIES_H

#include <stdint.h>

enum { COPIES_KINDS = 3 };

struct copies {
    char *where; /* "/var/lib/oddloaf/backups" */
    int count;
    int64_t oldest_ms; /* when the oldest was written */
};

/* Those kinds of which there are any; returns how many. What cannot be looked at counts as none. */
int copies_look(const char *state_dir, struct copies ret[static COPIES_KINDS]);
void copies_clear(struct copies copies[static COPIES_KINDS], int count);

#endif
