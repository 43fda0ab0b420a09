#include "commands/args.h"
#include "base/cuts.h"
#include "base/near.h"
#include "base/words.h"
#include <stdlib.h>
#include <string.h>

static const struct option_row GLOBALS[] = {
    {"socket", "PATH", "the daemon's Unix socket (else ODDLOAF_SOCKET, else " TRANSPORT_SOCKET ")"},
    {"server", "URL", "a daemon elsewhere, https://…; its token from ODDLOAF_TOKEN"},
    {"json", NULL, "one JSON document (or one a line) on stdout and nothing else"},
    {"help", NULL, "this help, or the help of the command"},
    {"version", NULL, "the version"},
    {0}};

/* What an option of that type takes, where its row says nothing better. */
static const char *const TYPE_ARGS[] = {
    [FIELD_WORD] = "WORD",     [FIELD_WORDS] = "WORDS", [FIELD_TEXT] = "TEXT",
    [FIELD_WHOLE] = "N",       [FIELD_BOOL] = "YES|NO", [FIELD_PAST] = "DATE",
    [FIELD_NEAR] = "DATE",     [FIELD_TIME] = "TIME",   [FIELD_ID] = "UUID",
    [FIELD_MEASURED] = "Q=N,…"};

static const char *words_of(const struct command *command, const char *option)
{
    const struct option_words *row = command ? command->option_words : NULL;
    for (; row && row->name && option; row++)
        if (strcmp(row->name, option) == 0)
            return row->words;
    return NULL;
}

struct args_option args_option(const struct command *command, int i)
{
    const struct option_row *rows = command ? command->options : GLOBALS;
    if (command && command->fields) {
        const struct field *f = fields_all();
        for (; f->name && i > 0; f++)
            i--;
        if (f->name)
            return (struct args_option){f->option, f->arg ? f->arg : TYPE_ARGS[f->type], f->help,
                                        f->words, NULL};
    }
    for (; rows && rows->name && i > 0; rows++)
        i--;
    if (!rows)
        return (struct args_option){0};
    bool symptom = rows->arg && strcmp(rows->arg, ARGS_SYMPTOM) == 0;
    return (struct args_option){rows->name, rows->arg, rows->help,
                                symptom ? fields_find("symptom")->words : NULL,
                                words_of(command, rows->name)};
}

void args_words(const struct args_option *option, struct text_buffer *out)
{
    if (option->row_words)
        text_append(out, option->row_words);
    else if (option->arg && strcmp(option->arg, ARGS_CUTS) == 0)
        cuts_list(out);
    else
        fields_list(option->words, out);
}

void args_help(const struct args_option *option, struct text_buffer *out)
{
    args_words(option, out);
    if (option->help)
        text_appendf(out, "%s%s", out->length ? "; " : "", option->help);
}

const struct command *args_command(const struct command *const *table, const char *name)
{
    for (const struct command *const *c = table; *c; c++)
        if (strcmp((*c)->name, name) == 0)
            return *c;
    return NULL;
}

/* ---- words the caller got nearly right ---- */

const char *args_near_command(const struct command *const *table, const char *word)
{
    struct near near = near_to(word);
    for (const struct command *const *c = table; *c; c++)
        near_try(&near, (*c)->name);
    return near.word;
}

static const char *near_option(const struct command *command, const char *word)
{
    struct near near = near_to(word);
    for (int i = 0; args_option(NULL, i).name; i++)
        near_try(&near, args_option(NULL, i).name);
    for (int i = 0; command && args_option(command, i).name; i++)
        near_try(&near, args_option(command, i).name);
    return near.word;
}

/* ---- parsing ---- */

static struct args_option find_option(const struct command *command, const char *name,
                                      size_t length)
{
    for (int i = 0;; i++) {
        struct args_option o = args_option(command, i);
        if (!o.name || (strlen(o.name) == length && strncmp(o.name, name, length) == 0))
            return o;
    }
}

/* Finds the command before its options are read, so that both may stand in any order: the first
 * word that no option of the program takes as its value. */
static const struct command *find_command(const struct command *const *table, int argc, char **argv,
                                          const char **ret_word)
{
    for (int i = 1; i < argc; i++) {
        const char *word = argv[i];
        if (strcmp(word, "--") == 0)
            break;
        if (word[0] == '-' && word[1] == '-') {
            struct args_option o = find_option(NULL, word + 2, strcspn(word + 2, "="));
            if (o.arg && !strchr(word, '='))
                i++;
            continue;
        }
        *ret_word = word;
        return args_command(table, word);
    }
    return NULL;
}

/* What a field takes the form reads (form/form.h): it knows other spellings. */
static bool is_taken(const struct command *command, const struct args_option *o, const char *value)
{
    if (o->words && !command->fields)
        return fields_word(o->words, value) != NULL;
    return !o->row_words || words_has(o->row_words, value);
}

static int refuse_word(const struct args_option *o, const char *value, struct error *err)
{
    struct text_buffer words = {0};
    char best[NEAR_BYTES];
    struct near near = near_to(value);
    args_words(o, &words);
    near_try_each(&near, words.data ? words.data : "", best);
    near_hint(&near, "", err);
    error_set(err, ERROR_INVALID, "--%s %.60s: must be one of: %s", o->name, value, words.data);
    text_buffer_free(&words);
    return ERROR_INVALID;
}

static int take_option(struct args *a, int argc, char **argv, int *i, struct error *err)
{
    const char *name = argv[*i] + 2;
    size_t length = strcspn(name, "=");
    const char *value = name[length] == '=' ? name + length + 1 : NULL;
    struct args_option o = find_option(NULL, name, length);
    if (!o.name && a->command)
        o = find_option(a->command, name, length);
    if (!o.name) {
        char *bare = xstrndup(name, length);
        const char *near = near_option(a->command, bare);
        if (near)
            error_hint(err, "did you mean --%s?", near);
        free(bare);
        return error_set(err, ERROR_INVALID, "no option --%.*s", (int)length, name);
    }
    if (!o.arg && value)
        return error_set(err, ERROR_INVALID, "--%s takes no value", o.name);
    if (o.arg && !value) {
        if (*i + 1 >= argc)
            return error_set(err, ERROR_INVALID, "--%s needs a value: %s", o.name, o.arg);
        value = argv[++*i];
    }
    if (value && !is_taken(a->command, &o, value))
        return refuse_word(&o, value, err);
    a->given[a->given_count++] = (struct given){o.name, value};
    return 0;
}

/* An option is given with which the command looks at its words itself. */
static bool is_free(const struct args *a)
{
    const char *names = a->command->words_unless;
    for (int i = 0; names && i < a->given_count; i++)
        if (words_has(names, a->given[i].name))
            return true;
    return false;
}

static int check_count(const struct args *a, struct error *err)
{
    const struct command *c = a->command;
    if (args_has(a, "help"))
        return 0;
    bool any = is_free(a);
    if (a->count < c->least && !any)
        return error_set(err, ERROR_INVALID, "%s is missing",
                         c->least > 1 && a->count == c->least - 1 ? "a word" : c->args);
    if (c->most >= 0 && a->count > c->most)
        return error_set(err, ERROR_INVALID, "'%s' is one word too many", a->words[c->most]);
    if (c->words && !any && a->count && !words_has(c->words, a->words[0])) {
        char best[NEAR_BYTES];
        struct near near = near_to(a->words[0]);
        near_try_each(&near, c->words, best);
        near_hint(&near, "", err);
        return error_set(err, ERROR_INVALID, "%.60s: must be one of: %s", a->words[0], c->words);
    }
    return 0;
}

int args_parse(const struct command *const *table, int argc, char **argv, struct args *ret,
               struct error *err)
{
    struct args a = {.table = table};
    const char *word = NULL;
    a.command = find_command(table, argc, argv, &word);
    a.words = xcalloc((size_t)argc + 1, sizeof *a.words);
    a.given = xcalloc((size_t)argc + 1, sizeof *a.given);
    int rc = 0;
    if (word && !a.command) {
        const char *near = args_near_command(table, word);
        if (near)
            error_hint(err, "did you mean %s?", near);
        rc = error_set(err, ERROR_INVALID, "no command '%s'", word);
    }
    bool named = false;
    bool options = true;
    for (int i = 1; i < argc && !rc; i++) {
        if (options && strcmp(argv[i], "--") == 0)
            options = false;
        else if (options && argv[i][0] == '-' && argv[i][1] == '-')
            rc = take_option(&a, argc, argv, &i, err);
        else if (options && strcmp(argv[i], "-h") == 0)
            a.given[a.given_count++] = (struct given){"help", NULL};
        else if (options && argv[i][0] == '-' && argv[i][1])
            rc = error_set(err, ERROR_INVALID, "no option %s", argv[i]);
        else if (a.command && !named)
            named = true;
        else
            a.words[a.count++] = argv[i];
    }
    if (!rc && a.command)
        rc = check_count(&a, err);
    *ret = a; /* also on error: the caller frees it and may want the command's name */
    return rc;
}

void args_free(struct args *a)
{
    free(a->words);
    free(a->given);
    memset(a, 0, sizeof *a);
}

bool args_has(const struct args *a, const char *name)
{
    for (int i = 0; i < a->given_count; i++)
        if (strcmp(a->given[i].name, name) == 0)
            return true;
    return false;
}

const char *args_value(const struct args *a, const char *name)
{
    for (int i = a->given_count - 1; i >= 0; i--)
        if (strcmp(a->given[i].name, name) == 0)
            return a->given[i].value;
    return NULL;
}

const char *args_by(const struct args *a, char *buffer, size_t size)
{
    const char *by = args_value(a, "by");
    return by ? by : client_login(buffer, size);
}
