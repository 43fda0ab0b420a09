/* What is said to be kept is on disk, and what a cut-off write left is somebody's complaint. */
#include "check.h"
#include "deliver/spool.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* fsync(), for this whole program: which files and folders below `dir`, in order. */
static char dir[64], synced[1024];

int fsync(int fd)
{
    char link[64], path[256] = "";
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    if (readlink(link, path, sizeof path - 1) > 0 && strncmp(path, dir, strlen(dir)) == 0) {
        const char *below = path + strlen(dir);
        size_t used = strlen(synced);
        bool is_file = strstr(below, ".ndjson") != NULL;
        snprintf(synced + used, sizeof synced - used, "%s ", is_file ? "FILE" : below);
    }
    return (int)syscall(SYS_fsync, fd);
}

static int open_dir(void **state)
{
    char path[96];
    (void)state;
    strcpy(dir, "/tmp/oddloaf-spool-XXXXXX");
    synced[0] = '\0';
    if (!mkdtemp(dir))
        return -1;
    snprintf(path, sizeof path, "%s/a/b", dir);
    return setenv("ODDLOAF_SPOOL", path, 1);
}

static int close_dir(void **state)
{
    char command[96];
    (void)state;
    snprintf(command, sizeof command, "rm -rf %s", dir);
    return system(command);
}

static struct spool *opened_for(const char *daemon)
{
    struct spool *s = NULL;
    assert_int_equal(spool_open(daemon, &s, NULL), 0);
    return s;
}

static struct spool *opened(void)
{
    return opened_for("/run/oddloaf/oddloafd.sock");
}

/* The folders that were made on the way, and then the file and its name. */
static void new_folders_are_on_disk_as_well(void **state)
{
    char path[SPOOL_PATH];
    (void)state;
    struct spool *s = opened();
    assert_string_equal(synced, " /a ");
    assert_int_equal(spool_keep(s, "{}\n", 3, path, NULL), 0);
    assert_string_equal(synced, " /a FILE /a/b ");
    spool_close(s);
    synced[0] = '\0';
    spool_close(opened());
    assert_string_equal(synced, "");
}

static int take(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    (void)refused;
    text_append_bytes(arg, lines, length);
    return 0;
}

static void leave(const char *name, const char *text)
{
    char path[160];
    snprintf(path, sizeof path, "%s/a/b/%s", dir, name);
    FILE *file = fopen(path, "we");
    assert_non_null(file);
    fputs(text, file);
    fclose(file);
}

/* Whole lines are sent, whether the file was whole or not; what is torn stays for a person. */
static void what_was_cut_off_is_sent_as_far_as_it_is_whole(void **state)
{
    char refused[SPOOL_PATH];
    struct text_buffer sent = {0};
    (void)state;
    struct spool *s = opened();
    leave("00000001-a.ndjson.new", "{\"a\":1}\n{\"b\":");
    leave("00000002-b.ndjson.new", "{\"c\":2}\n");
    leave("00000003-c.ndjson.new", "");
    assert_int_equal(spool_replay(s, take, &sent, refused, NULL), 0);
    assert_string_equal(sent.data, "{\"a\":1}\n{\"c\":2}\n");
    assert_int_equal(spool_count(s).waiting, 0);
    assert_int_equal(spool_count(s).torn, 1);
    assert_string_equal(refused, "");
    text_buffer_free(&sent);
    spool_close(s);
}

/* ---- where it is ---- */

static void the_folder_is_the_users(void **state)
{
    static const struct {
        const char *own, *xdg, *home; /* below `dir`; NULL: not set, "": empty */
        const char *folder;           /* NULL: none */
    } ROWS[] = {{"/own", "/state", "/home", "/own"},
                {"", "/state", "/home", "/state/oddloaf/spool"},
                {NULL, "/state", "/home", "/state/oddloaf/spool"},
                {NULL, "", "/home", "/home/.local/state/oddloaf/spool"},
                {NULL, NULL, "/home", "/home/.local/state/oddloaf/spool"},
                {NULL, NULL, "", NULL},
                {NULL, NULL, NULL, NULL}};
    static const char *const NAMES[] = {"ODDLOAF_SPOOL", "XDG_STATE_HOME", "HOME"};
    char *home = getenv("HOME") ? strdup(getenv("HOME")) : NULL;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        const char *values[] = {ROWS[i].own, ROWS[i].xdg, ROWS[i].home};
        struct spool *s = NULL;
        struct error err = {0};
        char path[128];
        for (size_t k = 0; k < 3; k++) {
            snprintf(path, sizeof path, "%s%s", values[k] && *values[k] ? dir : "",
                     values[k] ? values[k] : "");
            if (values[k])
                setenv(NAMES[k], path, 1);
            else
                unsetenv(NAMES[k]);
        }
        int rc = spool_open("/d", &s, &err);
        snprintf(path, sizeof path, "%s%s", dir, ROWS[i].folder ? ROWS[i].folder : "");
        if (ROWS[i].folder)
            assert_string_equal(spool_folder(s), path);
        else
            assert_int_equal(rc, ERROR_INVALID);
        if (!ROWS[i].folder)
            assert_non_null(strstr(err.text, "set ODDLOAF_SPOOL"));
        spool_close(s);
    }
    unsetenv("XDG_STATE_HOME");
    if (home)
        setenv("HOME", home, 1);
    free(home);
}

static void a_folder_that_others_write_to_is_refused(void **state)
{
    char path[160], longer[SPOOL_PATH + 10];
    struct spool *s = NULL;
    struct error err = {0};
    (void)state;
    spool_close(opened());
    snprintf(path, sizeof path, "%s/a/b", dir);
    assert_int_equal(chmod(path, 0702), 0);
    assert_int_equal(spool_open("/d", &s, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "may be written to by anybody"));
    assert_non_null(strstr(err.hint, "ODDLOAF_SPOOL"));
    assert_int_equal(chmod(path, 0700), 0);
    leave("file", "x");
    snprintf(path, sizeof path, "%s/a/b/file", dir);
    setenv("ODDLOAF_SPOOL", path, 1);
    error_clear(&err);
    assert_int_equal(spool_open("/d", &s, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "is no folder"));
    snprintf(path, sizeof path, "%s/a/b/file/c", dir);
    setenv("ODDLOAF_SPOOL", path, 1);
    error_clear(&err);
    assert_int_equal(spool_open("/d", &s, &err), ERROR_IO);
    assert_non_null(strstr(err.text, "cannot make the folder"));
    memset(longer, 'x', sizeof longer - 1);
    longer[sizeof longer - 1] = '\0';
    setenv("ODDLOAF_SPOOL", longer, 1);
    error_clear(&err);
    assert_int_equal(spool_open("/d", &s, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "too long"));
}

/* ---- in order ---- */

struct sending {
    struct text_buffer sent;
    int fails_at, times; /* the n-th cannot be sent; -1: none */
    const char *refuses; /* lines that hold this */
};

static int send_some(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    struct sending *to = arg;
    if (to->times++ == to->fails_at)
        return ERROR_BUSY;
    text_append_bytes(&to->sent, lines, length);
    if (to->refuses && strstr(lines, to->refuses))
        text_append_bytes(refused, lines, length);
    return 0;
}

static void what_waits_is_sent_in_its_order(void **state)
{
    char path[4][SPOOL_PATH], refused[SPOOL_PATH];
    struct sending to = {.fails_at = 2};
    (void)state;
    struct spool *s = opened();
    for (int i = 0; i < 4; i++) {
        char line[32];
        snprintf(line, sizeof line, "{\"n\":%d}\n", i);
        assert_int_equal(spool_keep(s, line, strlen(line), path[i], NULL), 0);
        snprintf(line, sizeof line, "/0000000%d-", i + 1);
        assert_non_null(strstr(path[i], line));
        assert_int_equal(spool_count(s).waiting, i + 1);
    }
    leave("0000001-x.ndjson", "{}\n"); /* names of other files */
    leave("00000009-x.json", "{}\n");
    assert_int_equal(spool_replay(s, send_some, &to, refused, NULL), ERROR_BUSY);
    assert_string_equal(to.sent.data, "{\"n\":0}\n{\"n\":1}\n");
    assert_int_equal(spool_count(s).waiting, 2);
    assert_int_equal(access(path[1], F_OK), -1);
    assert_int_equal(access(path[2], F_OK), 0);
    to.fails_at = -1;
    to.refuses = "3";
    assert_int_equal(spool_replay(s, send_some, &to, refused, NULL), 0);
    assert_string_equal(to.sent.data, "{\"n\":0}\n{\"n\":1}\n{\"n\":2}\n{\"n\":3}\n");
    assert_int_equal(spool_count(s).waiting, 0);
    assert_non_null(strstr(refused, "/a/b/refused/00000004-"));
    char kept[64] = "";
    FILE *file = fopen(refused, "r");
    assert_true(file && fgets(kept, sizeof kept, file));
    fclose(file);
    assert_string_equal(kept, "{\"n\":3}\n");
    assert_int_equal(spool_replay(s, send_some, &to, refused, NULL), 0);
    assert_string_equal(refused, "");
    text_buffer_free(&to.sent);
    spool_close(s);
}

static int send_but(void *arg, const char *lines, size_t length, struct text_buffer *refused)
{
    struct sending *to = arg;
    if (to->times++ == 1)
        return to->fails_at;
    text_append_bytes(&to->sent, lines, length);
    if (to->refuses && strstr(lines, to->refuses))
        text_append_bytes(refused, lines, length);
    return 0;
}

/* The second of three fails so: what must have been sent all the same, and what waits. */
static void one_that_fails_keeps_no_other_waiting(void **state)
{
    static const char ALL[] = "{\"n\":0}\n{\"n\":2}\n", FIRST[] = "{\"n\":0}\n";
    static const struct {
        int code;
        const char *sent;
        int waiting;
    } ROWS[] = {{ERROR_UNREACHABLE, FIRST, 2},
                {ERROR_BUSY, FIRST, 2},
                {ERROR_DENIED, FIRST, 2},
                {ERROR_NO_SPACE, FIRST, 2},
                {ERROR_INTERNAL, ALL, 1},
                {ERROR_NOT_FOUND, ALL, 1},
                {ERROR_IO, ALL, 1},
                {ERROR_LOST, ALL, 1},
                {ERROR_INVALID, ALL, 1}};
    char path[3][SPOOL_PATH], refused[SPOOL_PATH];
    (void)state;
    struct spool *s = opened();
    for (size_t row = 0; row < COUNT_OF(ROWS); row++) {
        struct sending to = {.fails_at = ROWS[row].code};
        for (int i = 0; i < 3; i++) {
            char line[32];
            snprintf(line, sizeof line, "{\"n\":%d}\n", i);
            assert_int_equal(spool_keep(s, line, strlen(line), path[i], NULL), 0);
        }
        assert_int_equal(spool_replay(s, send_but, &to, refused, NULL), ROWS[row].code);
        if (strcmp(to.sent.data, ROWS[row].sent) != 0 ||
            spool_count(s).waiting != ROWS[row].waiting)
            fail_msg("code %d: sent %s", ROWS[row].code, to.sent.data);
        assert_int_equal(access(path[1], F_OK), 0);
        text_buffer_free(&to.sent);
        to = (struct sending){.times = 9};
        assert_int_equal(spool_replay(s, send_but, &to, refused, NULL), 0);
        text_buffer_free(&to.sent);
    }
    spool_close(s);
}

/* One that cannot be read (as root reads all: a folder of its name), and refused lines for which
 * there is no place. */
static void what_this_machine_cannot_do_keeps_no_other_waiting(void **state)
{
    char path[160], refused[SPOOL_PATH];
    struct sending to = {.times = 9, .refuses = "2"};
    struct error err = {0};
    (void)state;
    struct spool *s = opened();
    snprintf(path, sizeof path, "%s/a/b/00000001-a.ndjson", dir);
    assert_int_equal(mkdir(path, 0700), 0);
    leave("00000002-b.ndjson", "{\"n\":2}\n");
    leave("00000003-c.ndjson", "{\"n\":3}\n");
    leave("refused", "no folder");
    assert_int_equal(spool_replay(s, send_but, &to, refused, &err), ERROR_IO);
    assert_non_null(strstr(err.source, "00000001-a"));
    assert_string_equal(to.sent.data, "{\"n\":2}\n{\"n\":3}\n");
    assert_int_equal(spool_count(s).waiting, 2);
    text_buffer_free(&to.sent);
    spool_close(s);
}

static void check_zone(const char *expected)
{
    struct text_buffer zone = {0};
    bool kept = spool_kept_zone(&zone);
    if (kept != (expected != NULL) || (kept && strcmp(zone.data, expected) != 0))
        fail_msg("'%s' instead of '%s'", kept ? zone.data : "nothing", expected);
    text_buffer_free(&zone);
}

static void the_zone_is_noted(void **state)
{
    (void)state;
    check_zone(NULL); /* no folder yet */
    spool_keep_zone("UTC");
    check_zone(NULL);
    spool_close(opened());
    spool_keep_zone("America/New_York day-first +Asia/Tokyo");
    check_zone("America/New_York day-first +Asia/Tokyo");
    spool_keep_zone("UTC");
    check_zone("UTC");
    leave("zone", "");
    check_zone(NULL);
}

/* ---- drafts ---- */

static struct draft *draft_of(struct spool *s, const char *id, const char *json)
{
    struct draft *draft = NULL;
    json_t *complaint = json_loads(json, 0, NULL);
    assert_int_equal(spool_draft_begin(s, id, &draft, NULL), 0);
    assert_int_equal(spool_draft_save(draft, complaint, NULL), 0);
    json_decref(complaint);
    return draft;
}

static void resumes(struct spool *s, const char *wanted, bool remove_file)
{
    struct draft *draft = NULL;
    json_t *complaint = NULL;
    int rc = spool_draft_resume(s, &draft, &complaint, NULL);
    assert_int_equal(rc, wanted ? 0 : ERROR_NOT_FOUND);
    if (wanted)
        assert_string_equal(json_string_value(json_object_get(complaint, "n")), wanted);
    json_decref(complaint);
    spool_draft_end(draft, remove_file);
}

/* The oldest that nobody is at, but one in which harm was told before any other. */
static void the_draft_with_harm_is_taken_up_first(void **state)
{
    (void)state;
    struct spool *s = opened();
    struct draft *draft = draft_of(s, "1", "{\"n\":\"first\"}"), *other = NULL;
    assert_int_equal(spool_count(s).unfinished, 0); /* somebody is at it */
    resumes(s, NULL, false);
    struct error err = {0};
    assert_int_equal(spool_draft_begin(s, "1", &other, &err), ERROR_BUSY);
    spool_draft_end(draft, false);
    assert_int_equal(spool_count(s).unfinished, 1);
    spool_draft_end(draft_of(s, "2", "{\"n\":\"second\"}"), false);
    resumes(s, "first", false);
    spool_draft_end(draft_of(s, "3", "{\"n\":\"harm\",\"harm_told\":\"which\"}"), false);
    spool_draft_end(draft_of(s, "4", "{\"n\":\"later\",\"harm_told\":\"illness\"}"), false);
    leave("draft-0.json", "{\"n\":"); /* torn */
    assert_int_equal(spool_count(s).unfinished, 4);
    assert_int_equal(spool_count(s).harmed, 2);
    resumes(s, "harm", true);
    assert_int_equal(spool_count(s).harmed, 1);
    resumes(s, "later", true);
    resumes(s, "first", true);
    resumes(s, "second", true);
    resumes(s, NULL, false);
    assert_int_equal(spool_count(s).unfinished, 0);
    spool_close(s);
}

/* Harm and contact data of one plant are nothing for another's daemon, nor for one on trial. */
static void nothing_goes_to_another_daemon(void **state)
{
    static const char *const DAEMONS[] = {
        "/run/oddloaf/oddloafd.sock",
        "/run/oddloaf/oddloafd.sock2",
        "https://desk.example:8443",
        "https://desk.example:8443/%2F@a",
        "/a/very/long/way/to/it/which/goes/on/and/on/and/on/and/on/and/on/"
        "until/its/name/is/longer/than/any/file/can/have/by/far",
        "/a/very/long/way/to/it/which/goes/on/and/on/and/on/and/on/and/on/"
        "until/its/name/is/longer/than/any/file/can/have/by/far/2"};
    enum { COUNT = sizeof DAEMONS / sizeof DAEMONS[0] };
    char path[SPOOL_PATH], refused[SPOOL_PATH];
    (void)state;
    for (int i = 0; i < COUNT; i++) {
        struct spool *s = opened_for(DAEMONS[i]);
        assert_int_equal(spool_keep(s, i % 2 ? "{\"a\":1}\n" : "{\"b\":2}\n", 8, path, NULL), 0);
        spool_close(s);
    }
    leave("00000009-b.ndjson", "{\"old\":1}\n"); /* of a release that named none */
    for (int i = 0; i < COUNT; i++) {
        struct spool *s = opened_for(DAEMONS[i]);
        struct text_buffer sent = {0};
        assert_int_equal(spool_count(s).waiting, i ? 1 : 2);
        assert_int_equal(spool_count(s).elsewhere, COUNT - 1 - i);
        assert_int_equal(spool_replay(s, take, &sent, refused, NULL), 0);
        assert_string_equal(sent.data, i == 0  ? "{\"b\":2}\n{\"old\":1}\n"
                                       : i % 2 ? "{\"a\":1}\n"
                                               : "{\"b\":2}\n");
        assert_int_equal(spool_count(s).waiting, 0);
        text_buffer_free(&sent);
        spool_close(s);
    }
}

/* A daemon that is no more: without its name, what was kept for it is anybody's. */
static void without_the_daemon_s_name_it_goes_to_the_next(void **state)
{
    char path[SPOOL_PATH], bare[SPOOL_PATH + 8], refused[SPOOL_PATH];
    struct text_buffer sent = {0};
    (void)state;
    struct spool *s = opened_for("/run/gone.sock");
    assert_int_equal(spool_keep(s, "{\"a\":1}\n", 8, path, NULL), 0);
    spool_close(s);
    s = opened_for("https://desk.example:8443");
    assert_int_equal(spool_count(s).waiting, 0);
    snprintf(bare, sizeof bare, "%.*s.ndjson", (int)strcspn(path, "@"), path);
    assert_int_equal(rename(path, bare), 0);
    assert_int_equal(spool_count(s).waiting, 1);
    assert_int_equal(spool_replay(s, take, &sent, refused, NULL), 0);
    assert_string_equal(sent.data, "{\"a\":1}\n");
    text_buffer_free(&sent);
    spool_close(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(new_folders_are_on_disk_as_well, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(nothing_goes_to_another_daemon, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(without_the_daemon_s_name_it_goes_to_the_next, open_dir,
                                        close_dir),
        cmocka_unit_test_setup_teardown(what_was_cut_off_is_sent_as_far_as_it_is_whole, open_dir,
                                        close_dir),
        cmocka_unit_test_setup_teardown(the_folder_is_the_users, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(a_folder_that_others_write_to_is_refused, open_dir,
                                        close_dir),
        cmocka_unit_test_setup_teardown(what_waits_is_sent_in_its_order, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(one_that_fails_keeps_no_other_waiting, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(what_this_machine_cannot_do_keeps_no_other_waiting,
                                        open_dir, close_dir),
        cmocka_unit_test_setup_teardown(the_zone_is_noted, open_dir, close_dir),
        cmocka_unit_test_setup_teardown(the_draft_with_harm_is_taken_up_first, open_dir, close_dir),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
