/* Asking whoever sits at the terminal before what cannot be undone, or is much. */
#ifndef ODDLOAF_CLIENT_COMMANDS_ASKED_H
#define ODDLOAF_CLIENT_COMMANDS_ASKED_H

#include "commands/command.h"

/* Somebody can be asked: a terminal, and no --json. */
bool asked_can(const struct client *c);
/* Writes `question` with "Type yes:" behind it; anything but yes is no. */
bool asked_yes(const struct client *c, const char *question);

#endif
