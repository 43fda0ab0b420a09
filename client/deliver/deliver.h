/* Complaints on their way to the daemon, and into the spool when it does not answer. */
#ifndef ODDLOAF_CLIENT_DELIVER_DELIVER_H
#define ODDLOAF_CLIENT_DELIVER_DELIVER_H

#include "deliver/client.h"
#include "deliver/spool.h"
#include <jansson.h>

/* The most that goes in one request; the answer has some thousand bytes a line. */
#define DELIVER_BYTES (256u << 10)
#define DELIVER_LINES 500

/* Sends one complaint. 0: *ret_answer is the daemon's (new). ERROR_INVALID, ERROR_CONFLICT or
 * ERROR_TOO_LARGE: refused, explained on stderr. Anything else: it could not be sent now;
 * err says why and nothing was printed. */
int deliver_one(const struct client *c, const json_t *complaint, json_t **ret_answer,
                struct error *err);
/* One answer a line sent, in order; borrowed. */
typedef void (*deliver_each)(void *arg, size_t index, json_t *answer);
struct deliver_batch {
    const char *lines; /* complaints as JSON, each with its line feed */
    size_t length, count;
    const char *source; /* the file they are from, for the log */
};
int deliver_lines(const struct client *c, const struct deliver_batch *batch, deliver_each each,
                  void *arg, struct error *err);

/* True if waiting helps: the daemon is away, busy, out of space or broken, or our role is wrong
 * for now; false if the complaint itself was refused. */
bool deliver_keeps(int code);
/* Says why and keeps the lines in the spool; if even that fails, writes them to stderr, so that
 * nothing typed is lost. Returns the exit code; ret_path is "" if they were not kept. */
int deliver_keep(const struct client *c, const struct error *why, const char *lines, size_t length,
                 char ret_path[static SPOOL_PATH]);
/* Sends what waits in the spool. With `print` each answer goes to stdout as JSON under --json.
 * Says what it did on stderr; silent when nothing waits. Harm is told as of a file: on
 * stdout with `print`, on stderr where that is the place of other answers. Returns the exit code.
 */
int deliver_waiting(const struct client *c, bool print);

/* What this user's spool holds. */
struct spool_counts deliver_kept(const struct client *c);

#endif
