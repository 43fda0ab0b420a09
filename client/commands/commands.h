/* The rows of the command table, each defined in client/commands/cmd_<name>.c. */
#ifndef ODDLOAF_CLIENT_COMMANDS_COMMANDS_H
#define ODDLOAF_CLIENT_COMMANDS_COMMANDS_H

#include "command.h"

extern const struct command cmd_log, cmd_load, cmd_lot, cmd_cases, cmd_rank, cmd_why, cmd_ask,
    cmd_reach, cmd_hold, cmd_release, cmd_settle, cmd_action, cmd_week, cmd_trace, cmd_scores,
    cmd_rules, cmd_status, cmd_backup, cmd_erase, cmd_help, cmd_returns, cmd_calibrate, cmd_join;

#endif
