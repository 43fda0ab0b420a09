/* Runs a program without a shell, feeds it text and listens to what it says, with a time limit.
 * Never blocks: its owner polls, so that many may run beside each other. */
#ifndef ODDLOAF_NOTIFY_PROGRAM_H
#define ODDLOAF_NOTIFY_PROGRAM_H

#include "base/error.h"
#include <poll.h>
#include <stdbool.h>
#include <stddef.h>

enum { PROGRAM_SLICE_MS = 50 };

struct program_result {
    bool done;      /* exit code 0 */
    bool try_again; /* worth a retry: temporary failure, signal, time limit (sysexits.h) */
    char why[256];  /* what it said or did, one line; "" if done */
};

struct program;

/* argv[0] is the absolute path, argv ends in NULL. The program gets `input` on standard input, an
 * empty environment but PATH and LANG, no other descriptors, its own process group; past the limit
 * the whole group is killed. What it reads is whole even if we are killed meanwhile. Never NULL:
 * one that could not be started has ended. */
struct program *program_start(char *const argv[], const char *input, size_t length, int timeout_s);
/* What to poll for. A program may end without it: attend it every PROGRAM_SLICE_MS. */
struct pollfd program_poll(const struct program *program);
/* Listens as far as that goes at once. True once it has ended. */
bool program_attend(struct program *program);
/* Of one that has ended. */
const struct program_result *program_result(const struct program *program);
/* Kills its group if it still runs. NULL is fine. */
void program_free(struct program *program);

#endif
