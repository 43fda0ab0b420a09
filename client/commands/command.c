#include "commands/command.h"

#define ROW(name) &cmd_##name,

const struct command *const *command_all(void)
{
    static const struct command *const all[] = {COMMAND_TABLE(ROW) NULL};
    return all;
}
