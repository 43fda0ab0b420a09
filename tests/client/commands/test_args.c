/* The command line: options anywhere, mistakes named. */
#include "commands/command.h"
#include "form/form.h"
#include <string.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#define MOST 12

/* Splits at blanks, parses, and returns "" or the error text; *a is to be freed. */
static const char *parse(const char *line, struct args *a, struct error *err)
{
    static char buffer[256];
    char *argv[MOST] = {(char *)"oddloaf"};
    int argc = 1;
    char *save = NULL;
    memset(err, 0, sizeof *err);
    snprintf(buffer, sizeof buffer, "%s", line);
    for (char *word = strtok_r(buffer, " ", &save); word && argc < MOST;
         word = strtok_r(NULL, " ", &save))
        argv[argc++] = word;
    return args_parse(command_all(), argc, argv, a, err) ? err->text : "";
}

static void options_before_and_after_the_command(void **state)
{
    struct args a;
    struct error err;
    (void)state;
    assert_string_equal(parse("--json --socket /s why C1 packed-hot", &a, &err), "");
    assert_string_equal(a.command->name, "why");
    assert_int_equal(a.count, 2);
    assert_string_equal(a.words[1], "packed-hot");
    assert_string_equal(args_value(&a, "socket"), "/s");
    args_free(&a);
    assert_string_equal(parse("why C1 --json --socket=/t", &a, &err), "");
    assert_true(args_has(&a, "json"));
    assert_string_equal(args_value(&a, "socket"), "/t");
    args_free(&a);
    assert_string_equal(parse("hold --reason=hot L1 L2", &a, &err), "");
    assert_int_equal(a.count, 2);
    assert_string_equal(args_value(&a, "reason"), "hot");
    args_free(&a);
}

static void two_dashes_end_the_options(void **state)
{
    struct args a;
    struct error err;
    (void)state;
    assert_string_equal(parse("lot -- --odd-code", &a, &err), "");
    assert_string_equal(a.words[0], "--odd-code");
    args_free(&a);
    assert_string_equal(parse("load lots -", &a, &err), "");
    assert_string_equal(a.words[1], "-");
    args_free(&a);
}

static void mistakes_are_named(void **state)
{
    static const struct {
        const char *line, *text, *hint;
    } rows[] = {{"lgo", "no command 'lgo'", "did you mean log?"},
                {"log --sympton mold", "no option --sympton", "did you mean --symptom?"},
                {"frobnicate", "no command 'frobnicate'", ""},
                {"rank C1 C2", "'C2' is one word too many", ""},
                {"why", "CASE [CAUSE] is missing", ""},
                {"load lots", "a word is missing", ""},
                {"hold L1 --reason", "--reason needs a value: TEXT", ""},
                {"status --json=1", "--json takes no value", ""},
                {"status -x", "no option -x", ""},
                {"status --keep-good", "no option --keep-good", ""}};
    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        struct args a;
        struct error err;
        assert_string_equal(parse(rows[i].line, &a, &err), rows[i].text);
        assert_string_equal(err.hint, rows[i].hint);
        args_free(&a);
    }
}

static void help_needs_nothing_else(void **state)
{
    struct args a;
    struct error err;
    (void)state;
    assert_string_equal(parse("why --help", &a, &err), "");
    args_free(&a);
    assert_string_equal(parse("", &a, &err), "");
    assert_null(a.command);
    args_free(&a);
}

static void every_row_is_complete(void **state)
{
    (void)state;
    for (const struct command *const *c = command_all(); *c; c++) {
        assert_non_null((*c)->name);
        assert_non_null((*c)->args);
        assert_non_null((*c)->exec);
        assert_true((*c)->help[0] && (*c)->help[strlen((*c)->help) - 1] != '.');
        assert_ptr_equal(args_command(command_all(), (*c)->name), *c);
        for (int i = 0; args_option(*c, i).name; i++) {
            for (int g = 0; args_option(NULL, g).name; g++)
                assert_string_not_equal(args_option(*c, i).name, args_option(NULL, g).name);
            for (int k = 0; k < i; k++)
                assert_string_not_equal(args_option(*c, i).name, args_option(*c, k).name);
        }
    }
}

static void words_for_a_symptom_are_those_of_the_field(void **state)
{
    struct text_buffer field = {0};
    struct args_option o;
    int seen = 0;
    (void)state;
    fields_list(fields_find("symptom")->words, &field);
    for (const struct command *const *c = command_all(); *c; c++) {
        for (int i = 0; (o = args_option(*c, i)).name; i++) {
            struct text_buffer words = {0};
            args_words(&o, &words);
            if (strcmp(o.name, "symptom") == 0) {
                assert_string_equal(words.data, field.data);
                seen++;
            }
            text_buffer_free(&words);
        }
    }
    assert_int_equal(seen, 4);
    text_buffer_free(&field);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_for_a_symptom_are_those_of_the_field),
        cmocka_unit_test(options_before_and_after_the_command),
        cmocka_unit_test(two_dashes_end_the_options),
        cmocka_unit_test(mistakes_are_named),
        cmocka_unit_test(help_needs_nothing_else),
        cmocka_unit_test(every_row_is_complete),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
