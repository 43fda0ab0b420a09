/* The table of commands: each file cmd_<name>.c holds one row. Usage, `--help`,
 * `help COMMAND` and the checks of a command line all come from these rows. */
#ifndef ODDLOAF_CLIENT_COMMANDS_COMMAND_H
#define ODDLOAF_CLIENT_COMMANDS_COMMAND_H

#include "deliver/client.h"
#include <stdbool.h>
#include <stddef.h>

struct option_row {
    const char *name; /* without the dashes; NULL ends the list */
    const char *arg;  /* what it takes, as shown in help ("DATE"); NULL for a switch */
    const char *help;
};

struct args;

struct command {
    const char *name;
    const char *args;                 /* as shown in usage: "LOT…" */
    const char *help;                 /* one line, lower case, no full stop */
    const char *more;                 /* further paragraphs of `help COMMAND`, or NULL */
    const struct option_row *options; /* or NULL */
    int least, most;                  /* how many words it takes; most < 0: no limit */
    /* Returns an exit code. */
    int (*exec)(struct client *c, const struct args *a);
};

/* The rows, each defined in cmd_<name>.c. */
extern const struct command cmd_log, cmd_load, cmd_lot, cmd_cases, cmd_rank, cmd_why, cmd_ask,
    cmd_reach, cmd_hold, cmd_release, cmd_settle, cmd_action, cmd_week, cmd_trace, cmd_scores,
    cmd_rules, cmd_status, cmd_backup, cmd_erase, cmd_help, cmd_returns, cmd_calibrate, cmd_join;
/* All in the order of the help, NULL at the end. */
const struct command *const *command_all(void);
const struct command *command_find(const char *name);

/* A parsed command line. Strings are borrowed from argv. */
struct args {
    const struct command *command; /* NULL if none was named */
    const char **words;            /* what is neither an option nor the command's name */
    int count;
    struct given {
        const char *name, *value; /* value NULL for a switch */
    } * given;
    int given_count;
};

/* Options of the program itself and of the command, before or after it, "--name value" or
 * "--name=value", "--" ends them. ERROR_INVALID names the option or word that is wrong. */
int args_parse(int argc, char **argv, struct args *ret, struct error *err);
void args_free(struct args *a);
bool args_has(const struct args *a, const char *name);
/* The last value given, or NULL. */
const char *args_value(const struct args *a, const char *name);
/* The value of --by, else the login name. */
const char *args_by(const struct args *a, char *buffer, size_t size);

extern const struct option_row command_globals[];

/* Help on the whole program or on one command. */
void help_program(const struct view *v);
void help_command(const struct view *v, const struct command *command);

#endif
