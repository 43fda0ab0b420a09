/* The table of commands: each file cmd_<name>.c holds one row. */
#ifndef ODDLOAF_CLIENT_COMMANDS_COMMAND_H
#define ODDLOAF_CLIENT_COMMANDS_COMMAND_H

#include "commands/args.h"

/* The rows, each defined in cmd_<name>.c. */
extern const struct command cmd_log, cmd_load, cmd_lot, cmd_cases, cmd_rank, cmd_why, cmd_ask,
    cmd_reach, cmd_hold, cmd_release, cmd_settle, cmd_action, cmd_week, cmd_trace, cmd_scores,
    cmd_rules, cmd_status, cmd_backup, cmd_erase, cmd_help, cmd_returns, cmd_calibrate, cmd_join,
    cmd_outbox, cmd_complaint, cmd_find, cmd_correct, cmd_withdraw, cmd_history, cmd_restore,
    cmd_export, cmd_holds;
/* All in the order of the help, NULL at the end. */
const struct command *const *command_all(void);

#endif
