/* The table of commands: each file cmd_<name>.c holds one row. */
#ifndef ODDLOAF_CLIENT_COMMANDS_COMMAND_H
#define ODDLOAF_CLIENT_COMMANDS_COMMAND_H

#include "commands/args.h"

/* Each is a row cmd_<name> in cmd_<name>.c; in the order of the help. */
// clang-format off
#define COMMAND_TABLE(X) \
    X(log) X(complaint) X(find) X(correct) X(withdraw) X(history) X(join) X(load) X(lot) X(measure) X(attach) \
    X(cases) X(rank) X(why) X(ask) X(reach) X(hold) X(release) X(holds) X(follow) X(settle) X(action) \
    X(week) X(trace) X(returns) X(gaps) X(whatif) X(scores) X(calibrate) X(rules) X(status) X(outbox) \
    X(backup) X(restore) X(export) X(erase) X(help)
// clang-format on
#define COMMAND_DECLARE(name) extern const struct command cmd_##name;
COMMAND_TABLE(COMMAND_DECLARE)
/* Before anything else: what they build on. */
void command_start(void);
/* All, NULL at the end. */
const struct command *const *command_all(void);

#endif
