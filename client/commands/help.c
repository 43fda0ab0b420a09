#include "commands/help.h"
#include "show/table.h"

static const struct column option_columns[] = {{"", COLUMN_LEFT, 0}, {"", COLUMN_LEFT, 24}};

static void print_options(const struct view *v, const struct command *command)
{
    struct table *t = table_new(option_columns, 2);
    struct args_option o;
    for (int i = 0; (o = args_option(command, i)).name; i++) {
        struct text_buffer help = {0};
        args_help(&o, &help);
        table_addf(t, "--%s%s%s", o.name, o.arg ? VIEW_NBSP : "", o.arg ? o.arg : "");
        table_add(t, help.data);
        text_buffer_free(&help);
    }
    table_print(t, v, 2);
    table_free(t);
}

void help_program(const struct view *v, const struct command *const *table)
{
    view_title(v, "oddloaf: complaints about bread, back to their cause");
    view_blank(v);
    view_text(v, VIEW_PLAIN, 0, 6,
              "usage: oddloaf [--socket PATH | --server URL] [--json] COMMAND …");
    view_section(v, "Commands");
    struct table *t = table_new(option_columns, 2);
    for (const struct command *const *c = table; *c; c++) {
        table_add(t, (*c)->name);
        table_add(t, (*c)->help);
    }
    table_print(t, v, 2);
    table_free(t);
    view_section(v, "Options, before or after the command");
    print_options(v, NULL);
    view_section(v, "Exit status");
    view_text(v, VIEW_PLAIN, 2, 0,
              "0 done; 1 some input refused; 2 usage; 3 daemon not reachable (complaints are kept "
              "and sent later); 4 not allowed; 5 not found");
    view_blank(v);
    view_text(v, VIEW_PLAIN, 0, 0, "More on a command: oddloaf help COMMAND");
}

void help_command(const struct view *v, const struct command *command)
{
    view_title(v, "oddloaf %s: %s", command->name, command->help);
    view_blank(v);
    view_textf(v, VIEW_PLAIN, 0, 6, "usage: oddloaf %s%s%s%s", command->name,
               command->options ? " [OPTION…]" : "", *command->args ? " " : "", command->args);
    if (command->more) {
        view_blank(v);
        view_text(v, VIEW_PLAIN, 0, 0, command->more);
    }
    if (command->options) {
        view_section(v, "Options");
        print_options(v, command);
    }
}
