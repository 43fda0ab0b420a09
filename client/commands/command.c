#include "commands/command.h"

const struct command *const *command_all(void)
{
    static const struct command *const all[] = {
        &cmd_log,    &cmd_complaint, &cmd_find,   &cmd_correct, &cmd_withdraw, &cmd_history,
        &cmd_join,   &cmd_load,      &cmd_lot,    &cmd_cases,   &cmd_rank,     &cmd_why,
        &cmd_ask,    &cmd_reach,     &cmd_hold,   &cmd_release, &cmd_holds,    &cmd_settle,
        &cmd_action, &cmd_week,      &cmd_trace,  &cmd_returns, &cmd_scores,   &cmd_calibrate,
        &cmd_rules,  &cmd_status,    &cmd_outbox, &cmd_backup,  &cmd_restore,  &cmd_export,
        &cmd_erase,  &cmd_help,      NULL};
    return all;
}
