/* Runs a program without a shell, feeds it text, waits with a time limit. */
#ifndef ODDLOAF_NOTIFY_PROGRAM_H
#define ODDLOAF_NOTIFY_PROGRAM_H

#include "base/error.h"
#include <stdbool.h>
#include <stddef.h>

struct program_result {
    bool done;      /* exit code 0 */
    bool try_again; /* worth a retry: temporary failure, signal, time limit (sysexits.h) */
    char why[256];  /* what it said or did, one line; "" if done */
};

/* argv[0] is the absolute path, argv ends in NULL. The program gets `input` on standard input, an
 * empty environment but PATH and LANG, no other descriptors, its own process group; past the limit
 * the whole group is killed. Blocks: not for the loop thread. */
void program_run(char *const argv[], const char *input, size_t length, int timeout_s,
                 struct program_result *ret);

#endif
