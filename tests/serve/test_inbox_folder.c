/* The inbox as a folder: what may be taken, and where it goes, with its report; what that says. */
#include "base/when.h"
#include "check.h"
#include "serve/inbox_folder.h"
#include "serve/inbox_outcome.h"
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static const struct civil NOW = {
    .year = 2026, .month = 11, .day = 21, .hour = 9, .minute = 14, .second = 7};

struct fixture {
    char dir[64];
    struct inbox_folder folder;
};

static int setup(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    strcpy(f->dir, "/tmp/oddloaf-inbox-XXXXXX");
    assert_non_null(mkdtemp(f->dir));
    assert_int_equal(inbox_folder_open(f->dir, &f->folder, NULL), 0);
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    struct fixture *f = *state;
    char command[128];
    inbox_folder_close(&f->folder);
    assert_true(f->folder.at < 0 && f->folder.done < 0 && f->folder.refused < 0);
    snprintf(command, sizeof command, "rm -rf '%s'", f->dir);
    int rc = system(command);
    free(f);
    return rc;
}

static void put(int at, const char *name, const char *text)
{
    int fd = openat(at, name, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    assert_true(fd >= 0);
    assert_int_equal(write(fd, text, strlen(text)), (ssize_t)strlen(text));
    close(fd);
}

static void holds(int at, const char *name, const char *text)
{
    char got[256] = "";
    int fd = openat(at, name, O_RDONLY | O_CLOEXEC);
    if (!text) {
        assert_int_equal(fd, -1);
        return;
    }
    assert_true(fd >= 0);
    assert_true(read(fd, got, sizeof got - 1) >= 0);
    assert_string_equal(got, text);
    close(fd);
}

static void what_is_no_folder_is_refused(void **state)
{
    struct inbox_folder folder;
    struct error err = {0};
    struct fixture *f = *state;
    char path[128];
    assert_int_equal(inbox_folder_open("/nowhere/at/all", &folder, &err), ERROR_IO);
    assert_string_equal(err.source, "/nowhere/at/all");
    inbox_folder_close(&folder);
    snprintf(path, sizeof path, "%s/sub", f->dir);
    assert_int_equal(mkdir(path, 0700), 0);
    strcat(path, "/done");
    assert_int_equal(symlink("/tmp", path), 0);
    path[strlen(path) - strlen("/done")] = '\0';
    error_clear(&err);
    assert_int_equal(inbox_folder_open(path, &folder, &err), ERROR_IO);
    assert_string_equal(err.source, "done");
    inbox_folder_close(&folder);
}

static void names_that_are_taken(void **state)
{
    static const char *const OVER[] = {"a.part", "b.tmp",  "c.filepart", "d.crdownload",
                                       "e.csv~", ".f.csv", "done",       "refused"};
    static const char *const TAKEN[] = {"a.csv", "part", "done.csv", "refused-1.csv", "x.parts"};
    char longest[INBOX_FOLDER_NAME + 1];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(OVER); i++)
        assert_true(inbox_folder_passes_over(OVER[i]));
    for (size_t i = 0; i < COUNT_OF(TAKEN); i++)
        assert_false(inbox_folder_passes_over(TAKEN[i]));
    memset(longest, 'a', INBOX_FOLDER_NAME);
    longest[INBOX_FOLDER_NAME] = '\0';
    assert_non_null(strstr(inbox_folder_name_fault(longest), "199"));
    longest[INBOX_FOLDER_NAME - 1] = '\0';
    assert_null(inbox_folder_name_fault(longest));
    assert_non_null(strstr(inbox_folder_name_fault("  "), "spaces"));
    assert_non_null(strstr(inbox_folder_name_fault("\xFF"), "UTF-8"));
    assert_non_null(strstr(inbox_folder_name_fault("a\nb"), "control"));
    assert_null(inbox_folder_name_fault(" a"));
}

static void a_name_that_is_there_gets_a_number(void **state)
{
    struct fixture *f = *state;
    char away[INBOX_FOLDER_AWAY] = "";
    inbox_folder_name_away(f->folder.done, "lots.csv", &NOW, away);
    assert_string_equal(away, "20261121-091407-lots.csv");
    inbox_folder_name_away(f->folder.done, "other.csv", &NOW, away); /* free: it stays */
    assert_string_equal(away, "20261121-091407-lots.csv");
    put(f->folder.done, away, "x");
    inbox_folder_name_away(f->folder.done, "lots.csv", &NOW, away);
    assert_string_equal(away, "20261121-091407-2-lots.csv");
    put(f->folder.done, away, "x");
    inbox_folder_name_away(f->folder.done, "lots.csv", &NOW, away);
    assert_string_equal(away, "20261121-091407-3-lots.csv");
}

static void a_file_goes_away_with_its_report(void **state)
{
    struct fixture *f = *state;
    struct text_buffer report = {0};
    struct stat st, other;
    text_append(&report, "all went well\n");
    for (int refused = 0; refused < 2; refused++) {
        int to = refused ? f->folder.refused : f->folder.done;
        put(f->folder.at, "lots.csv", "lot\n");
        assert_int_equal(fstatat(f->folder.at, "lots.csv", &st, 0), 0);
        assert_int_equal(
            inbox_folder_move(&f->folder, refused, "lots.csv", &st, "1-lots.csv", &report), 0);
        holds(f->folder.at, "lots.csv", NULL);
        holds(to, "1-lots.csv", "lot\n");
        holds(to, "1-lots.csv" INBOX_FOLDER_REPORT, "all went well\n");
        assert_int_equal(fstatat(to, "1-lots.csv" INBOX_FOLDER_REPORT, &other, 0), 0);
        assert_int_equal(other.st_mode & 0777, 0640);
        assert_int_equal(inbox_folder_refused(&f->folder), refused);
    }
    /* another file of that name by now is left alone */
    put(f->folder.at, "b", "new");
    put(f->folder.at, "lots.csv", "newer");
    assert_int_equal(fstatat(f->folder.at, "b", &other, 0), 0);
    assert_int_equal(
        inbox_folder_move(&f->folder, false, "lots.csv", &other, "2-lots.csv", &report), 0);
    holds(f->folder.at, "lots.csv", "newer");
    holds(f->folder.done, "2-lots.csv", NULL);
    /* what is there is not written over, and no report is left of what stays */
    put(f->folder.done, "3-lots.csv", "old");
    assert_int_equal(fstatat(f->folder.at, "lots.csv", &st, 0), 0);
    assert_int_equal(inbox_folder_move(&f->folder, false, "lots.csv", &st, "3-lots.csv", &report),
                     EEXIST);
    holds(f->folder.done, "3-lots.csv", "old");
    holds(f->folder.done, "3-lots.csv" INBOX_FOLDER_REPORT, NULL);
    holds(f->folder.at, "lots.csv", "newer");
    text_buffer_free(&report);
}

static json_t *load_of(int rows, bool applied)
{
    json_t *refused = json_array();
    for (int i = 0; i < rows; i++)
        json_array_append_new(refused,
                              json_pack("{s:i, s:s, s:s, s:s}", "line", i + 2, "column", "units",
                                        "value", "x", "reason", "must be a number"));
    return json_pack("[{s:s, s:i, s:i, s:i, s:i, s:i, s:b, s:o}]", "kind", "lots", "read", 30,
                     "new", 3, "changed", 2, "same", 1, "refused_total", rows, "applied", applied,
                     "refused", refused);
}

static void what_became_of_it_is_told(void **state)
{
    enum { MANY = 25, SHOWN = 20 };
    const struct inbox_outcome_place place = {"Harrow Mill", "lots.csv", "done/1"};
    struct inbox_outcome o = {.loads = load_of(2, false), .refused = true};
    struct text_buffer text = {0};
    (void)state;
    inbox_outcome_report(&o, "lots.csv", "today", &text);
    assert_string_equal(text.data,
                        "lots.csv, today: refused\n"
                        "lots: 30 rows read, 3 new, 2 changed, 1 the same, 2 refused; nothing of "
                        "it was applied\n"
                        "lots.csv:2: units 'x': must be a number\n"
                        "lots.csv:3: units 'x': must be a number\n");
    json_decref(o.loads);
    text_reset(&text);
    o = (struct inbox_outcome){.loads = load_of(MANY, true)};
    inbox_outcome_report(&o, "lots.csv", "today", &text);
    assert_non_null(strstr(text.data, "lots.csv, today: done\n"));
    assert_non_null(strstr(text.data, "25 refused\n"));
    json_t *event = inbox_outcome_event(&o, &place);
    assert_int_equal(json_array_size(json_object_get(event, "refused")), SHOWN);
    assert_string_equal(json_string_value(json_object_get(event, "outcome")), "done");
    assert_string_equal(json_string_value(json_object_get(event, "event")), "records");
    assert_string_equal(json_string_value(json_object_get(event, "plant")), "Harrow Mill");
    assert_string_equal(json_string_value(json_object_get(event, "report")), "done/1");
    assert_null(json_object_get(event, "why"));
    const json_t *says = json_array_get(json_object_get(event, "loads"), 0);
    assert_string_equal(json_string_value(json_object_get(says, "says")),
                        "30 rows read, 3 new, 2 changed, 1 the same, 25 refused");
    json_decref(event);
    json_decref(o.loads);
    o = (struct inbox_outcome){.loads = load_of(0, true)};
    json_object_set_new(json_array_get(o.loads, 0), "read", json_integer(0));
    text_reset(&text);
    inbox_outcome_report(&o, "lots.csv", "today", &text);
    assert_non_null(strstr(text.data, "lots: 0 rows read, "));
    assert_non_null(strstr(text.data, "; there is no row under its header\n"));
    json_decref(o.loads);
    o = (struct inbox_outcome){.refused = true};
    error_set(&o.why, ERROR_INVALID, "no kind of record and no map is named so");
    text_reset(&text);
    inbox_outcome_report(&o, "x.csv", "today", &text);
    assert_non_null(strstr(text.data, "x.csv, today: refused\n"));
    assert_non_null(strstr(text.data, "no kind of record"));
    event = inbox_outcome_event(&o, &place);
    assert_non_null(strstr(json_string_value(json_object_get(event, "why")), "no kind of record"));
    json_decref(event);
    text_buffer_free(&text);
}

#define TEST(name) cmocka_unit_test_setup_teardown(name, setup, teardown)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(what_is_no_folder_is_refused),       TEST(names_that_are_taken),
        TEST(a_name_that_is_there_gets_a_number), TEST(a_file_goes_away_with_its_report),
        TEST(what_became_of_it_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
