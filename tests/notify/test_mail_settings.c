/* Who gets which mail, what is wrong with the settings, and what the desk is told of it. */
#include "check.h"

#include "base/error.h"
#include "notify/mail_settings.h"
#include "store/outbox.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static json_t *list(const char *words)
{
    json_t *out = json_array();
    char *copy = strdup(words), *save = NULL;
    for (char *word = strtok_r(copy, " ", &save); word; word = strtok_r(NULL, " ", &save))
        json_array_append_new(out, json_string(word));
    free(copy);
    return out;
}

struct lists {
    const char *to, *urgent_to, *digest_to;
};

static struct mail_settings settings(const char *program, struct lists lists)
{
    return (struct mail_settings){.program = program,
                                  .hook_program = "",
                                  .from = "oddloaf@mill.example",
                                  .plant = "Harrow Mill",
                                  .to = list(lists.to),
                                  .urgent_to = list(lists.urgent_to),
                                  .digest_to = list(lists.digest_to),
                                  .tz_name = "UTC",
                                  .timeout_s = 60,
                                  .retry_s = 30,
                                  .park_h = 24};
}

static void clear(struct mail_settings *s)
{
    json_decref((json_t *)(uintptr_t)s->to);
    json_decref((json_t *)(uintptr_t)s->urgent_to);
    json_decref((json_t *)(uintptr_t)s->digest_to);
}

static void goes_to(const struct mail_settings *s, const char *event, const char *expected)
{
    json_t *to = mail_settings_to(s, event), *wanted = list(expected);
    char *shown = json_dumps(to, 0);
    if (!json_equal(to, wanted))
        fail_msg("%s goes to %s, not %s", event, shown, expected);
    free(shown);
    json_decref(wanted);
    json_decref(to);
}

static void each_event_has_its_readers(void **state)
{
    (void)state;
    struct mail_settings s =
        settings("/bin/true", (struct lists){"qa@m.example qa@m.example b@m.example",
                                             "lead@m.example", "boss@m.example"});
    goes_to(&s, "case", "qa@m.example b@m.example"); /* each once */
    goes_to(&s, "summary", "qa@m.example b@m.example");
    goes_to(&s, OUTBOX_URGENT, "lead@m.example");
    goes_to(&s, "digest", "boss@m.example");
    clear(&s);
    s = settings("/bin/true", (struct lists){"qa@m.example", "no-address", ""});
    goes_to(&s, OUTBOX_URGENT, "qa@m.example"); /* what is malformed reaches nobody */
    goes_to(&s, "digest", "qa@m.example");
    s.program = "";
    goes_to(&s, "case", "");
    goes_to(&s, OUTBOX_URGENT, "");
    clear(&s);
}

static void what_reaches_nobody_is_said(void **state)
{
    static const struct {
        const char *program;
        struct lists lists;
        const char *gap; /* begins so, and ends with this setting */
        const char *setting;
    } ROWS[] = {
        {"/bin/true", {"qa@m.example", "", ""}, NULL, NULL},
        {"", {"qa@m.example", "", ""}, "no mail is set up", "(mail/program is empty)"},
        {"/bin/true", {"", "", "boss@m.example"}, "no mail is set up", "name no address)"},
        {"/bin/true",
         {"", "lead@m.example", ""},
         "mail about cases reaches nobody",
         "names no address)"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct mail_settings s = settings(ROWS[i].program, ROWS[i].lists);
        const char *gap = mail_settings_gap(&s);
        if (ROWS[i].gap) {
            assert_non_null(gap);
            assert_ptr_equal(strstr(gap, ROWS[i].gap), gap);
            assert_non_null(strstr(gap, ROWS[i].setting));
        } else {
            assert_null(gap);
        }
        clear(&s);
    }
}

struct found {
    char text[512];
};

static void take(void *arg, const struct error *fault)
{
    struct found *found = arg;
    size_t used = strlen(found->text);
    assert_true(fault->hint[0]);
    snprintf(found->text + used, sizeof found->text - used, "%s %s: %s\n", fault->field,
             fault->value, fault->text);
}

static void finds(const struct mail_settings *s, int count, const char *expected)
{
    struct found found = {""};
    assert_int_equal(mail_settings_check(s, take, &found), count);
    assert_string_equal(found.text, expected);
}

static void each_fault_is_found(void **state)
{
    char folder[] = "/tmp/oddloaf-mail-XXXXXX", file[64], expected[256];
    (void)state;
    assert_non_null(mkdtemp(folder));
    snprintf(file, sizeof file, "%s/program", folder);
    FILE *made = fopen(file, "w");
    assert_non_null(made);
    fclose(made);
    struct mail_settings s = settings("/bin/true", (struct lists){"a@m.example", "", ""});
    finds(&s, 0, "");
    s.program = "true";
    finds(&s, 1, "mail/program true: is not an absolute path\n");
    s.program = "/nowhere/program";
    finds(&s, 1, "mail/program /nowhere/program: No such file or directory\n");
    s.program = folder;
    snprintf(expected, sizeof expected, "mail/program %s: is not a program\n", folder);
    finds(&s, 1, expected);
    s.program = file; /* root may read any file, but runs only what is a program */
    snprintf(expected, sizeof expected, "mail/program %s: cannot be run: permission denied\n",
             file);
    finds(&s, 1, expected);
    s.program = "/bin/true";
    s.hook_program = "hook";
    finds(&s, 1, "hook/program hook: is not an absolute path\n");
    clear(&s);
    s = settings("/bin/true", (struct lists){"a", "b", "c"});
    s.from = "d";
    finds(&s, 4,
          "mail/from d: is not a mail address\nmail/to a: is not a mail address\n"
          "mail/urgent_to b: is not a mail address\nmail/digest_to c: is not a mail address\n");
    clear(&s);
    unlink(file);
    rmdir(folder);
}

/* The program that is set up by itself need not be there while nobody is to get mail. */
static void the_usual_program_is_missed_by_who_is_written_to(void **state)
{
    static const char USUAL[] = "/usr/sbin/sendmail";
    static const struct lists NAMED[] = {
        {"a@m.example", "", ""}, {"", "a@m.example", ""}, {"", "", "a@m.example"}};
    struct found found = {""};
    (void)state;
    if (access(USUAL, F_OK) == 0)
        skip();
    struct mail_settings s = settings(USUAL, (struct lists){"", "", ""});
    assert_int_equal(mail_settings_check(&s, take, &found), 0);
    clear(&s);
    for (size_t i = 0; i < COUNT_OF(NAMED); i++) {
        s = settings(USUAL, NAMED[i]);
        assert_int_equal(mail_settings_check(&s, take, &found), 1);
        clear(&s);
    }
    s = settings("/nowhere", (struct lists){"", "", ""});
    assert_int_equal(mail_settings_check(&s, take, &found), 1);
    s.program = "";
    assert_int_equal(mail_settings_check(&s, take, &found), 0);
    clear(&s);
}

static void the_desk_is_told_to_phone(void **state)
{
    static const struct {
        const char *program, *from;
        struct lists lists;
        const char *says;
    } ROWS[] = {
        {"/bin/true", "o@m.example", {"qa@m.example", "lead@m.example", "x"}, NULL},
        {"/bin/true", "o@m.example", {"bad", "lead@m.example", ""}, NULL},
        {"", "o@m.example", {"qa@m.example", "lead@m.example", ""}, "no mail is set up"},
        {"/bin/true", "o@m.example", {"", "", ""}, "no mail is set up"},
        {"/nowhere", "o@m.example", {"qa@m.example", "", ""}, "the mail program cannot be run"},
        {"/bin/true", "bad", {"qa@m.example", "", ""}, "an address for urgent mail is malformed"},
        {"/bin/true",
         "o@m.example",
         {"", "bad lead@m.example", ""},
         "an address for urgent mail is malformed"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct mail_settings s = settings(ROWS[i].program, ROWS[i].lists);
        s.from = ROWS[i].from;
        const char *says = mail_settings_no_alarm(&s);
        assert_int_equal(says == NULL, ROWS[i].says == NULL);
        if (says) {
            assert_ptr_equal(strstr(says, ROWS[i].says), says);
            assert_non_null(strstr(says, "phone the food-safety lead"));
        }
        clear(&s);
    }
}

static void a_copy_is_its_own(void **state)
{
    (void)state;
    struct mail_settings s =
        settings("/bin/true", (struct lists){"a@m.example", "b@m.example", "c@m.example"});
    s.hook_program = "/h";
    struct mail_settings copy = mail_settings_copy(&s);
    clear(&s);
    assert_string_equal(copy.program, "/bin/true");
    assert_string_equal(copy.hook_program, "/h");
    assert_string_equal(copy.from, "oddloaf@mill.example");
    assert_string_equal(copy.plant, "Harrow Mill");
    assert_string_equal(copy.tz_name, "UTC");
    assert_int_equal(copy.timeout_s * 1000000 + copy.retry_s * 1000 + copy.park_h, 60030024);
    goes_to(&copy, "case", "a@m.example");
    goes_to(&copy, OUTBOX_URGENT, "b@m.example");
    goes_to(&copy, "digest", "c@m.example");
    mail_settings_free(&copy);
    assert_null(copy.program);
}

/* What is overdue goes to QA where nobody else is named, what became of a file to nobody. */
static void lists_of_one_event_alone(void **state)
{
    struct mail_settings s = settings("/bin/true", (struct lists){"a@m.example", "", ""});
    (void)state;
    goes_to(&s, "due", "a@m.example");
    goes_to(&s, "records", "");
    json_t *due = list("d@m.example e@m.example"), *records = list("r@m.example");
    s.due_to = due;
    s.records_to = records;
    goes_to(&s, "due", "d@m.example e@m.example");
    goes_to(&s, "records", "r@m.example");
    goes_to(&s, "digest", "a@m.example");
    goes_to(&s, "case", "a@m.example");
    s.program = "";
    goes_to(&s, "due", "");
    json_decref(due);
    json_decref(records);
    clear(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lists_of_one_event_alone),
        cmocka_unit_test(each_event_has_its_readers),
        cmocka_unit_test(what_reaches_nobody_is_said),
        cmocka_unit_test(each_fault_is_found),
        cmocka_unit_test(the_usual_program_is_missed_by_who_is_written_to),
        cmocka_unit_test(the_desk_is_told_to_phone),
        cmocka_unit_test(a_copy_is_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
