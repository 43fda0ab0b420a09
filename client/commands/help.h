/* Help on the whole program or on one command. */
#ifndef ODDLOAF_CLIENT_COMMANDS_HELP_H
#define ODDLOAF_CLIENT_COMMANDS_HELP_H

#include "commands/args.h"

void help_program(const struct view *v, const struct command *const *table);
void help_command(const struct view *v, const struct command *command);

#endif
