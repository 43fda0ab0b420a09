/* What lets a shell complete a command line: commands, options and the words that both take, from
 * the table of commands. The script stands by itself and asks no daemon. */
#ifndef ODDLOAF_CLIENT_COMMANDS_COMPLETION_H
#define ODDLOAF_CLIENT_COMMANDS_COMPLETION_H

#include "commands/args.h"
#include <stdio.h>

/* `shell`: "bash" or "zsh". */
void completion_print(const struct command *const *table, const char *shell, FILE *out);

#endif
