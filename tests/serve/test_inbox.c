/* The inbox, on a small plant: which files are taken, in which order, what keeps one from being
 * taken, where they go, what is told and mailed of them. */
#include "fixture.h"
#include "serve/inbox.h"
#include "serve/inbox_folder.h"
#include "store/db.h"
#include <dirent.h>
#include <errno.h>
#include <event2/event.h>
#include <fcntl.h>
#include <stdlib.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define PATIENCE_MS 120000
#define PRODUCTS "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat,pan-bread,10,680\n"
#define LOTS(lot)                                                                                  \
    "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" lot               \
    ",W24,1,2026-11-23T00:00:00-05:00,2026-11-23T03:00:00-05:00,2026-11-23T04:00:00-05:00,"        \
    "2026-11-23T07:00:00-05:00,5000,2026-12-03\n"

struct watched {
    struct fixture *f;
    struct event_base *base;
    struct inbox *inbox;
    char folder[64];
    int64_t until_ms;
};

static void settings(const struct watched *w, char text[512], const char *more)
{
    snprintf(text, 512,
             "'time_zone':'America/New_York','plant':'Harrow Mill Bakery','mail':{'to':"
             "['qa@mill.example'],'urgent_to':['qa@mill.example'],'records_to':['it@mill.example'],"
             "'program':'/bin/true'},'inbox':{'folder':'%s','steady_s':0%s}",
             w->folder, more);
}

static int setup(void **state)
{
    struct watched *w = xcalloc(1, sizeof *w);
    char text[512];
    strcpy(w->folder, "/tmp/oddloaf-inbox-XXXXXX");
    assert_non_null(mkdtemp(w->folder));
    settings(w, text, "");
    w->f = fixture_start(text);
    w->f->app.log.level = 0;
    w->base = event_base_new();
    w->until_ms = clock_monotonic_ms() + PATIENCE_MS;
    *state = w;
    return 0;
}

static int teardown(void **state)
{
    struct watched *w = *state;
    char command[128];
    inbox_free(w->inbox);
    event_base_free(w->base);
    snprintf(command, sizeof command, "rm -rf '%s'", w->folder);
    int rc = system(command) + fixture_stop(w->f);
    free(w);
    return rc;
}

static void put(const struct watched *w, const char *name, const char *text)
{
    char path[256];
    snprintf(path, sizeof path, "%s/%s", w->folder, name);
    FILE *file = fopen(path, "w");
    assert_true(file && fputs(text, file) >= 0 && fclose(file) == 0);
}

static struct inbox_told turn(struct watched *w)
{
    struct inbox_told told;
    assert_true(clock_monotonic_ms() < w->until_ms);
    event_base_loop(w->base, EVLOOP_NONBLOCK);
    usleep(1000);
    inbox_tell(w->inbox, &told);
    assert_true(told.waiting >= 0 && told.refused_there >= 0 && told.refused_there <= told.refused);
    return told;
}

static void start(struct watched *w)
{
    struct error err = {0};
    if (inbox_start(w->base, &w->f->app, &w->inbox, &err))
        fail_msg("%s", err.text);
}

/* Until so many were loaded, refused, wait there and lie in refused/. */
static struct inbox_told until(struct watched *w, int done, int refused, int waiting, int there)
{
    struct inbox_told t;
    do {
        t = turn(w);
        if (clock_monotonic_ms() > w->until_ms - 1000)
            fail_msg("done %d, refused %d, waiting %d, refused there %d", (int)t.done,
                     (int)t.refused, t.waiting, t.refused_there);
    } while (!t.set_up || t.done != done || t.refused != refused || t.waiting != waiting ||
             t.refused_there != there);
    return t;
}

/* How many names of the folder end so. */
static int names(const struct watched *w, const char *folder, const char *end)
{
    char path[256];
    int count = 0;
    snprintf(path, sizeof path, "%s/%s", w->folder, folder);
    DIR *dir = opendir(path);
    assert_non_null(dir);
    for (struct dirent *one; (one = readdir(dir));) {
        size_t length = strlen(one->d_name);
        count += length >= strlen(end) && strcmp(one->d_name + length - strlen(end), end) == 0;
    }
    closedir(dir);
    return count;
}

/* Products before the lots that name them, however they are called; each with a report beside it
 * and a mail. */
static void files_are_taken_in_the_order_of_their_kinds(void **state)
{
    struct watched *w = *state;
    put(w, "lots-a.csv", LOTS("L1 6327 A0400"));
    put(w, "products-z.csv", PRODUCTS);
    start(w);
    struct inbox_told t = until(w, 2, 0, 0, 0);
    assert_string_equal(t.last, "lots-a.csv");
    assert_int_equal(t.last_ms, w->f->now_ms);
    assert_int_equal(t.fault.code, 0);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM lot"), 1);
    assert_int_equal(names(w, "done", "-lots-a.csv"), 1);
    assert_int_equal(names(w, "done", "-products-z.csv"), 1);
    assert_int_equal(names(w, "done", INBOX_FOLDER_REPORT), 2);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM outbox WHERE event = 'records'"), 2);
}

/* None of a file's rows is applied where one is refused, unless the good ones are wanted. */
static void a_file_with_a_wrong_row_is_refused(void **state)
{
    static const char WRONG[] = PRODUCTS "W25,Rye,pan-bread,no,680\n";
    struct watched *w = *state;
    struct error err = {0};
    char text[512];
    put(w, "products.csv", WRONG);
    start(w);
    until(w, 0, 1, 0, 1);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM product"), 0);
    assert_int_equal(names(w, "refused", "-products.csv"), 1);
    assert_int_equal(names(w, "refused", INBOX_FOLDER_REPORT), 1);
    settings(w, text, ",'keep_good':1");
    fixture_settings(w->f, text);
    assert_int_equal(app_reload(&w->f->app, &err), 0);
    put(w, "products.csv", WRONG);
    until(w, 1, 1, 0, 1);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM product"), 1);
    put(w, "products.csv", "product,name\n,\n"); /* of which nothing is good */
    until(w, 1, 2, 0, 2);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM outbox WHERE event = 'records'"), 3);
}

/* One at a time: what is no file, or another holds, stays and is told; the others are taken. */
static void what_cannot_be_taken_stays_and_is_told(void **state)
{
    struct watched *w = *state;
    char path[256], link_path[256];
    put(w, "products.csv", PRODUCTS);
    put(w, ".hidden", "not yet");
    snprintf(path, sizeof path, "%s/lots.csv", w->folder);
    assert_int_equal(symlink("/etc/hostname", path), 0);
    start(w);
    struct inbox_told t = until(w, 1, 0, 1, 0);
    assert_non_null(strstr(t.fault.text, "a link"));
    assert_string_equal(t.fault.source, "lots.csv");
    assert_int_equal(unlink(path), 0);
    put(w, "lots.csv", LOTS("L1 6327 A0400"));
    snprintf(link_path, sizeof link_path, "%s/.other", w->folder);
    assert_int_equal(link(path, link_path), 0);
    do
        t = turn(w);
    while (!strstr(t.fault.text, "linked elsewhere"));
    assert_int_equal(t.done, 1);
    int fd = open(path, O_RDWR | O_CLOEXEC);
    assert_true(fd >= 0 && flock(fd, LOCK_EX) == 0);
    assert_int_equal(unlink(link_path), 0);
    do
        t = turn(w);
    while (t.fault.code);
    assert_int_equal(t.waiting, 1); /* held by another */
    assert_int_equal(t.done, 1);
    assert_int_equal(close(fd), 0);
    until(w, 2, 0, 0, 0);
}

/* Why the first of them stays, and of how many others, once while it is so. */
static void why_a_file_stays_is_logged_once(void **state)
{
    struct watched *w = *state;
    char path[256], line[512];
    int lines = 0, right = 0, kept = dup(STDERR_FILENO);
    snprintf(path, sizeof path, "%s/lots.csv", w->folder);
    assert_int_equal(symlink("/etc/hostname", path), 0);
    snprintf(path, sizeof path, "%s/products.csv", w->folder);
    assert_int_equal(symlink("/etc/hostname", path), 0);
    snprintf(path, sizeof path, "%s/.log", w->folder);
    int log = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
    assert_true(log >= 0 && kept >= 0 && dup2(log, STDERR_FILENO) >= 0);
    w->f->app.log.level = LOG_LEVEL_WARNING;
    start(w);
    until(w, 0, 0, 2, 0);
    for (int i = 0; i < 20; i++)
        turn(w);
    assert_true(dup2(kept, STDERR_FILENO) >= 0);
    close(kept);
    close(log);
    FILE *file = fopen(path, "r");
    assert_non_null(file);
    for (; fgets(line, sizeof line, file); lines++)
        right += strncmp(line, "warning: inbox: lots.csv", 24) == 0 && strstr(line, "a link") &&
                 strstr(line, "and 1 more in the inbox");
    fclose(file);
    if (lines != 1 || right != 1)
        fail_msg("%d lines: %s", lines, line);
}

/* Whose folder of what was taken cannot be written: loaded, not moved, told, and mailed once. */
static void what_cannot_be_moved_away_is_tried_again(void **state)
{
    struct watched *w = *state;
    char path[256];
    put(w, "products.csv", PRODUCTS);
    start(w);
    until(w, 1, 0, 0, 0);
    put(w, "lots.csv", LOTS("L1 6327 A0400"));
    /* the name of its report is taken by a folder: root may write anywhere */
    struct civil now = tz_civil(w->f->app.setup->tz, w->f->now_ms);
    snprintf(path, sizeof path, "%s/done/%04d%02d%02d-%02d%02d%02d-lots.csv" INBOX_FOLDER_REPORT,
             w->folder, now.year, now.month, now.day, now.hour, now.minute, now.second);
    assert_int_equal(mkdir(path, 0700), 0);
    struct inbox_told t;
    do
        t = turn(w);
    while (!t.fault.code);
    assert_non_null(strstr(t.fault.text, "is loaded, and cannot be moved away"));
    assert_int_equal(t.done, 1);
    assert_int_equal(t.waiting, 1);
    assert_int_equal(rmdir(path), 0);
    until(w, 2, 0, 0, 0);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM outbox WHERE event = 'records'"), 2);
}

static int exec(struct store *store, void *sql, struct error *err)
{
    return db_exec(store, sql, err);
}

static void write_sql(const struct watched *w, char *sql)
{
    struct error err = {0};
    if (writer_run(w->f->app.writer, exec, sql, &err))
        fail_msg("%s", err.text);
}

/* Loaded, and nobody could be told of it: it stays where it is until that can be queued. */
static void what_cannot_be_mailed_stays(void **state)
{
    struct watched *w = *state;
    struct inbox_told t;
    put(w, "products.csv", PRODUCTS);
    write_sql(w, (char[]){"CREATE TRIGGER none BEFORE INSERT ON outbox BEGIN SELECT RAISE(ABORT, "
                          "'the test has no room for mail'); END"});
    start(w);
    do
        t = turn(w);
    while (!t.fault.code);
    assert_non_null(strstr(t.fault.text, "no room for mail"));
    assert_int_equal(t.done, 0);
    assert_int_equal(names(w, ".", "products.csv"), 1);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM product"), 1);
    write_sql(w, (char[]){"DROP TRIGGER none"});
    until(w, 1, 0, 0, 0);
    assert_int_equal(names(w, ".", "products.csv"), 0);
    assert_int_equal(fixture_count(w->f, "SELECT COUNT(*) FROM outbox WHERE event = 'records'"), 1);
}

int main(void)
{
#define EACH(test) cmocka_unit_test_setup_teardown(test, setup, teardown)
    const struct CMUnitTest tests[] = {
        EACH(files_are_taken_in_the_order_of_their_kinds), EACH(a_file_with_a_wrong_row_is_refused),
        EACH(what_cannot_be_taken_stays_and_is_told),      EACH(why_a_file_stays_is_logged_once),
        EACH(what_cannot_be_moved_away_is_tried_again),    EACH(what_cannot_be_mailed_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
