#include "commands/command.h"
#include "base/jsonx.h"

void command_start(void)
{
    jsonx_start();
}

#define ROW(name) &cmd_##name,

const struct command *const *command_all(void)
{
    static const struct command *const all[] = {COMMAND_TABLE(ROW) NULL};
    return all;
}
