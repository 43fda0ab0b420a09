/* `load --guess FILE`: proposes a map and shows rows as they would be taken; loads nothing. */
#ifndef ODDLOAF_CLIENT_COMMANDS_GUESS_H
#define ODDLOAF_CLIENT_COMMANDS_GUESS_H

#include "commands/args.h"

/* Returns the exit code. */
int guess_run(struct client *c, const struct args *a);

#endif
