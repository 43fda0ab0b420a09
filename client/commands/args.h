/* What a command is, and the command line taken apart by the table of commands (command.h). Usage,
 * `--help`, `help COMMAND` and the checks of a command line all come from its rows. */
#ifndef ODDLOAF_CLIENT_COMMANDS_ARGS_H
#define ODDLOAF_CLIENT_COMMANDS_ARGS_H

#include "deliver/client.h"
#include "intake/fields.h"
#include <stdbool.h>
#include <stddef.h>

/* What an option takes, where its words stand in a table: help lists them, another is refused. */
#define ARGS_CUTS "CUTS"       /* of base/cuts.h; the daemon reads them */
#define ARGS_SYMPTOM "SYMPTOM" /* of the field */

struct option_row {
    const char *name; /* without the dashes; NULL ends the list */
    const char *arg;  /* what it takes, as shown in help ("DATE"; ARGS_…); NULL for a switch */
    const char *help;
};

/* An option that takes only certain words, "newest urgent". */
struct option_words {
    const char *name, *words; /* NULL ends the list */
};

struct args;

struct command {
    const char *name;
    const char *args;         /* as shown in usage: "LOT…" */
    const char *words;        /* one of which its first word is; NULL: any */
    const char *words_unless; /* options with which neither that nor `least` holds; or NULL */
    const char *help;         /* one line, lower case, no full stop */
    const char *more;         /* further paragraphs of `help COMMAND`, or NULL */
    const struct option_row *options;        /* or NULL */
    const struct option_words *option_words; /* or NULL */
    bool fields;     /* the fields of a complaint are options before those */
    int least, most; /* how many words it takes; most < 0: no limit */
    /* Returns an exit code. */
    int (*exec)(struct client *c, const struct args *a);
};

/* A parsed command line. Strings are borrowed from argv. */
struct args {
    const struct command *const *table;
    const struct command *command; /* NULL if none was named */
    const char **words;            /* what is neither an option nor the command's name */
    int count;
    struct given {
        const char *name, *value; /* value NULL for a switch */
    } * given;
    int given_count;
};

/* `table`: all commands, NULL at the end. Options of the program itself and of the command, before
 * or after it, "--name value" or
 * "--name=value", "--" ends them. ERROR_INVALID names the option or word that is wrong; args_free()
 * then, too. */
int args_parse(const struct command *const *table, int argc, char **argv, struct args *ret,
               struct error *err);
void args_free(struct args *a);
bool args_has(const struct args *a, const char *name);
/* The last value given, or NULL. */
const char *args_value(const struct args *a, const char *name);
/* An option, from a row of its command or a field of a complaint. */
struct args_option {
    const char *name, *arg, *help;  /* as of struct option_row; help may be NULL */
    const struct field_word *words; /* those it takes, or NULL: any */
    const char *row_words;          /* the same of an option that is no field */
};
/* A command's options in the order of its help; one without a name is the end. `command` may be
 * NULL: those of the program itself. */
struct args_option args_option(const struct command *command, int i);
/* "newest urgent", nothing for any. */
void args_words(const struct args_option *option, struct text_buffer *out);
/* The words it takes and its help. */
void args_help(const struct args_option *option, struct text_buffer *out);
/* The value of --by, else the login name. */
const char *args_by(const struct args *a, char *buffer, size_t size);

/* The command of that name in a table, NULL if there is none; and the one that may be meant. */
const struct command *args_command(const struct command *const *table, const char *name);
const char *args_near_command(const struct command *const *table, const char *word);

#endif
