/* Both shells share one function, which answers what may stand at a place of the command line:
 *
 *     _oddloaf_choices settle --confirmed-by     a line a word: "assay", "inspection", …
 *     _oddloaf_choices settle ''                 "--note:what was found", …
 *     _oddloaf_choices load --refused            "FILES"; nothing where nobody can know
 *
 * and differ in how they ask it. */
#include "commands/completion.h"
#include <ctype.h>
#include <string.h>

static const char BASH_HEAD[] =
    "# Completion of oddloaf in bash, made of its table of commands: oddloaf help --completion "
    "bash\n";

/* bash takes "--name=value" apart at the sign */
static const char BASH_TAIL[] =
    "_oddloaf() {\n"
    "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} command= at line\n"
    "  [ \"$word\" != = ] || { before== word=; }\n"
    "  [ \"$before\" != = ] || before=${COMP_WORDS[COMP_CWORD - 1 - (${#word} ? 1 : 0)]}\n"
    "  [ \"$before\" != = ] || before=${COMP_WORDS[COMP_CWORD - 2]}\n"
    "  for ((at = 1; at < COMP_CWORD; at++)); do\n"
    "    case ${COMP_WORDS[at]} in\n"
    "    --socket | --server) [ \"${COMP_WORDS[at + 1]}\" != = ] || ((at++)); ((at++)) ;;\n"
    "    -*) ;;\n"
    "    *) command=${COMP_WORDS[at]}; break ;;\n"
    "    esac\n"
    "  done\n"
    "  COMPREPLY=()\n"
    "  while IFS= read -r line; do\n"
    "    if [ \"$line\" = FILES ]; then\n"
    "      compopt -o filenames 2>/dev/null\n"
    "      while IFS= read -r line; do COMPREPLY+=(\"$line\"); done < <(compgen -f -- \"$word\")\n"
    "    else\n"
    "      line=${line%%:*}\n"
    "      [[ $line != \"$word\"* ]] || COMPREPLY+=(\"$line\")\n"
    "    fi\n"
    "  done < <(_oddloaf_choices \"$command\" \"$before\")\n"
    "}\n"
    "complete -F _oddloaf oddloaf\n";

static const char ZSH_HEAD[] = "#compdef oddloaf\n"
                               "# Completion of oddloaf in zsh, made of its table of commands: "
                               "oddloaf help --completion zsh\n";

static const char ZSH_TAIL[] =
    "_oddloaf() {\n"
    "  local before=$words[CURRENT-1] command= at\n"
    "  local -a choices\n"
    "  if [[ $words[CURRENT] == --*=* ]]; then\n"
    "    before=${words[CURRENT]%%=*}\n"
    "    compset -P '*='\n"
    "  fi\n"
    "  for ((at = 2; at < CURRENT; at++)); do\n"
    "    case $words[at] in\n"
    "    --socket | --server) ((at++)) ;;\n"
    "    -*) ;;\n"
    "    *) command=$words[at]; break ;;\n"
    "    esac\n"
    "  done\n"
    "  choices=(\"${(@f)$(_oddloaf_choices \"$command\" \"$before\")}\")\n"
    "  if (($choices[(Ie)FILES])); then\n"
    "    _files\n"
    "    choices=(${choices:#FILES})\n"
    "  fi\n"
    "  choices=(${choices:#})\n"
    "  (($#choices)) && _describe -o oddloaf choices\n"
    "}\n"
    "if [[ $funcstack[1] == _oddloaf ]]; then _oddloaf \"$@\"; else compdef _oddloaf oddloaf; fi\n";

static bool names_file(const char *arg)
{
    return strstr(arg, "FILE") || strstr(arg, "PATH") || strstr(arg, "DIR");
}

/* One a line. */
static void print_words(const char *words, FILE *out)
{
    for (const char *at = words; *at; at += strspn(at, " ,")) {
        size_t length = strcspn(at, " ,");
        fprintf(out, "%.*s\n", (int)length, at);
        at += length;
    }
}

static void print_values(const struct args_option *o, FILE *out)
{
    struct text_buffer words = {0};
    args_words(o, &words);
    if (words.length)
        print_words(words.data, out);
    else if (strcmp(o->arg, "YES|NO") == 0)
        print_words("yes no", out);
    else if (strcmp(o->arg, "N|all") == 0)
        print_words("all", out);
    else if (names_file(o->arg))
        print_words("FILES", out);
    text_buffer_free(&words);
}

static void print_branch(const char *command, const char *before, FILE *out)
{
    fprintf(out, "  %s,%s) cat <<'END' ;;\n", command, before);
}

/* A branch for each option that takes a value. */
static void print_option_values(const struct command *command, FILE *out)
{
    struct args_option o;
    for (int i = 0; (o = args_option(command, i)).name; i++) {
        if (!o.arg)
            continue;
        fprintf(out, "  %s,--%s) cat <<'END' ;;\n", command ? command->name : "*", o.name);
        print_values(&o, out);
        fputs("END\n", out);
    }
}

static void print_options(const struct command *command, FILE *out)
{
    struct args_option o;
    for (int i = 0; (o = args_option(command, i)).name; i++) {
        struct text_buffer help = {0};
        args_help(&o, &help);
        fprintf(out, "--%s:%s\n", o.name, help.length ? help.data : "");
        text_buffer_free(&help);
    }
}

static void print_choices(const struct command *const *table, FILE *out)
{
    fputs("_oddloaf_choices() {\n  case \"$1,$2\" in\n", out);
    print_option_values(NULL, out);
    for (const struct command *const *row = table; *row; row++)
        print_option_values(*row, out);
    print_branch("", "*", out);
    for (const struct command *const *row = table; *row; row++)
        fprintf(out, "%s:%s\n", (*row)->name, (*row)->help);
    print_options(NULL, out);
    fputs("END\n", out);
    for (const struct command *const *row = table; *row; row++) {
        print_branch((*row)->name, "*", out);
        if ((*row)->words)
            print_words((*row)->words, out);
        if (names_file((*row)->args))
            print_words("FILES", out);
        print_options(*row, out);
        print_options(NULL, out);
        fputs("END\n", out);
    }
    fputs("  esac\n}\n", out);
}

void completion_print(const struct command *const *table, const char *shell, FILE *out)
{
    bool bash = strcmp(shell, "bash") == 0;
    fputs(bash ? BASH_HEAD : ZSH_HEAD, out);
    print_choices(table, out);
    fputs(bash ? BASH_TAIL : ZSH_TAIL, out);
}
