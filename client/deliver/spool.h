/* Complaints that could not be sent: kept on disk until the daemon has them, in the order they
 * were taken. A complaint counts as kept once its file and the folder are on disk (fsync, rename,
 * fsync of the folder and of what that was made in), so that a machine switched off in the middle
 * loses nothing that was said to be kept; sending one twice does no harm, since its id tells the
 * daemon.
 *
 * The folder (mode 0700, it holds contact data): $ODDLOAF_SPOOL, else
 * $XDG_STATE_HOME/oddloaf/spool, else ~/.local/state/oddloaf/spool.
 *     00000012-<id>@<daemon>.ndjson   complaints, one a line, to be sent to the daemon of that
 *                            address; without one (of an older release) to any
 *     draft-<id>.json        an interview under way, or one that was cut off
 *     *.torn                 what is not whole (a disk's fault, a machine switched off), for
 *                            somebody to look at: the lines of it that are whole were sent
 *     refused/               what the daemon refused, to be corrected: oddloaf log --from FILE
 *     zone                   the plant's time zone, as its daemon last said
 *     lock */
#ifndef ODDLOAF_CLIENT_DELIVER_SPOOL_H
#define ODDLOAF_CLIENT_DELIVER_SPOOL_H

#include "base/error.h"
#include "base/text.h"
#include <jansson.h>
#include <stdbool.h>
#include <stddef.h>

#define SPOOL_PATH 1024

struct spool;

/* Makes the folder if need be. ERROR_INVALID if it is another user's or anybody may write
 * to it. `daemon`: the address of the one that is asked (transport_address()): what is kept is for
 * it, and nothing that was kept for another is sent to it. */
int spool_open(const char *daemon, struct spool **ret, struct error *err);
void spool_close(struct spool *s);
const char *spool_folder(const struct spool *s);

/* Keeps complaints (JSON lines, each ended by a newline). */
int spool_keep(struct spool *s, const char *lines, size_t length, char ret_path[static SPOOL_PATH],
               struct error *err);
struct spool_counts {
    int waiting, torn; /* files to be sent to this daemon; files set aside that are still there */
    int elsewhere;     /* files that wait for another daemon */
    int unfinished;    /* drafts that no running interview holds */
    int harmed;        /* those of them in which harm was told */
};
struct spool_counts spool_count(const struct spool *s);

/* Sends one file's lines. 0: the daemon has them all or refused some, whose lines are appended
 * to *refused; a negative code: not sent, keep the file. */
typedef int (*spool_send)(void *arg, const char *lines, size_t length, struct text_buffer *refused);
/* Whether others would fare no better than what was answered so: it is the daemon, or what we may
 * ask of it, and not these lines. */
bool spool_is_of_all(int sent);
/* Sends what waits for this daemon, oldest first, one process at a time. Stops at a file that is
 * not sent for a reason of all; any other that cannot be read, sent or cleared away keeps none of
 * those behind it waiting. Returns the first code. *ret_refused names the last file of refused
 * complaints, "" if none. */
int spool_replay(struct spool *s, spool_send send, void *arg, char ret_refused[static SPOOL_PATH],
                 struct error *err);

/* ---- the plant's time zone ---- */

/* With " day-first" behind it where the plant writes 19/11, and " +" with each other zone of
 * plants. Notes it where complaints are kept, if that folder stands; best effort. */
void spool_keep_zone(const char *zone);
/* Appends what was noted; false if nothing was. */
bool spool_kept_zone(struct text_buffer *ret);

/* ---- drafts of interviews ---- */

struct draft;
/* A member that a draft has when harm was told in it ("which": and not yet which); no field of the
 * complaint. */
#define SPOOL_DRAFT_HARM "harm_told"
/* A new draft, held by this process until closed. */
int spool_draft_begin(struct spool *s, const char *id, struct draft **ret, struct error *err);
/* The oldest draft that no running interview holds, one in which harm was told before any other,
 * now held by us; ERROR_NOT_FOUND if none. */
int spool_draft_resume(struct spool *s, struct draft **ret, json_t **ret_complaint,
                       struct error *err);
int spool_draft_save(struct draft *d, const json_t *complaint, struct error *err);
/* Done with it: removes the file if `remove_file`. NULL is fine. */
void spool_draft_end(struct draft *d, bool remove_file);

#endif
