/* A backup in the place of the state, with the daemon stopped. What was there is kept aside; what
 * became of the world since the backup is taken from there: whom the plant has erased stays erased,
 * no mail is sent that left already or tells yesterday's news, and no case gets a number that was
 * given before. */
#ifndef ODDLOAF_STORE_RESTORE_H
#define ODDLOAF_STORE_RESTORE_H

#include "store/store.h"
#include <limits.h>

/* Is FILE a database of ours, of a schema that is known, and whole? Reads all of it. */
int restore_look(const char *file, struct error *err);

enum { RESTORE_KINDS = 12 };

struct restored {
    char file[PATH_MAX],
        kept[PATH_MAX]; /* from where; where the replaced state is, "" there was none */
    int64_t at_ms;
    bool ready; /* whole beside the state: what keeps it from its place, the next start repeats */
    bool past_read; /* false: of what was there nothing could be read, see `past_fault` */
    int erased;     /* contacts that had been erased since: store/erasures.h */
    int held_mails; /* parked: sent already, or stale */
    struct {
        const char *what; /* complaints, joined_reports, corrections, withdrawals, holds, ... */
        int64_t count;
    } missing[RESTORE_KINDS]; /* what the replaced state has, and the backup has not */
    char past_fault[320];
};
/* What restoring FILE would take from the state. Of a backup of an older version the complaints
 * alone are counted. */
struct restore_foreseen {
    int64_t until_ms;   /* the newest that the file knows of; WHEN_UNKNOWN_MS: nothing */
    int64_t since_ms;   /* when the first of the complaints that it lacks was logged; or that */
    struct restored of; /* its `missing`; those without a name were not counted */
};
int restore_foresee(const char *state_dir, const char *file, struct restore_foreseen *ret,
                    struct error *err);

/* ERROR_CONFLICT while a daemon has the state. On failure the state is as it was, unless `ready`; a
 * restore that was cut off before is finished first. */
int restore_make(const char *state_dir, const char *file, int64_t now_ms, struct restored *ret,
                 struct error *err);

/* What the state was restored from, as restore_make() noted it there. */
struct restore_note {
    int64_t at_ms; /* WHEN_UNKNOWN_MS: it never was */
    char *told;    /* malloc'd JSON: the members of struct restored; NULL */
};
int restore_last(struct store *store, struct restore_note *ret, struct error *err);

#endif
