#include "commands/command.h"
#include "commands/completion.h"
#include "commands/help.h"
#include <string.h>

static const struct option_row options[] = {
    {"completion", "SHELL", "prints what completes commands, options and words in a shell"}, {0}};
static const struct option_words option_words[] = {{"completion", "bash zsh"}, {0}};

/* The words it takes, none for any. */
static json_t *words_json(const struct args_option *option)
{
    struct text_buffer words = {0};
    json_t *list = json_array();
    args_words(option, &words);
    for (const char *at = words.data; at && *at; at += strspn(at, " ,")) {
        size_t length = strcspn(at, " ,");
        json_array_append_new(list, json_stringn(at, length));
        at += length;
    }
    text_buffer_free(&words);
    return list;
}

static json_t *option_json(const struct command *command)
{
    json_t *list = json_array();
    struct args_option o;
    for (int i = 0; (o = args_option(command, i)).name; i++) {
        struct text_buffer help = {0};
        args_help(&o, &help);
        json_array_append_new(list,
                              json_pack("{ss ss? ss so}", "option", o.name, "arg", o.arg, "help",
                                        help.data ? help.data : "", "words", words_json(&o)));
        text_buffer_free(&help);
    }
    return list;
}

static json_t *command_json(const struct command *command)
{
    return json_pack("{ss ss ss so}", "command", command->name, "args", command->args, "help",
                     command->help, "options", option_json(command));
}

static int help(struct client *c, const struct args *a)
{
    const struct command *one = a->count ? args_command(a->table, a->words[0]) : NULL;
    if (args_has(a, "completion")) {
        completion_print(a->table, args_value(a, "completion"), stdout);
        return EXIT_DONE;
    }
    if (a->count && !one) {
        const char *near = args_near_command(a->table, a->words[0]);
        return client_usage(c, "no command '%s'%s%s%s", a->words[0], near ? " (did you mean " : "",
                            near ? near : "", near ? "?)" : "");
    }
    if (!c->json) {
        if (one)
            help_command(&c->view, one);
        else
            help_program(&c->view, a->table);
        return EXIT_DONE;
    }
    json_t *document;
    if (one) {
        document = command_json(one);
    } else {
        json_t *list = json_array();
        for (const struct command *const *row = a->table; *row; row++)
            json_array_append_new(list, command_json(*row));
        document = json_pack("{so so}", "commands", list, "options", option_json(NULL));
    }
    client_print(document);
    json_decref(document);
    return EXIT_DONE;
}

const struct command cmd_help = {
    .name = "help",
    .args = "[COMMAND]",
    .help = "explains the program or one command",
    .more = "With --json the table of commands and options as JSON.",
    .options = options,
    .option_words = option_words,
    .least = 0,
    .most = 1,
    .exec = help,
};
