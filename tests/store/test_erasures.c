/* Marks of what is erased reach the disk whole, or it is said why not. */
#include "base/text.h"
#include "failing.h"
#include "fixture.h"
#include "store/complaint.h"
#include "store/contact.h"
#include "store/db.h"
#include "store/erasures.h"
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>

/* write(), for this whole program: the next calls answer these, one each; then as ever. */
enum { WRITTEN = 0, SHORT = -1 /* else an errno */ };
static const int *plan;
static int left;

ssize_t write(int fd, const void *bytes, size_t length)
{
    int is = left > 0 ? *plan : WRITTEN;
    if (left > 0) {
        left--;
        plan++;
    }
    if (is > 0) {
        errno = is;
        return -1;
    }
    return syscall(SYS_write, fd, bytes, is == SHORT ? (length + 1) / 2 : length);
}

/* fsync(), likewise: how often a folder was synced. */
static int folders;

int fsync(int fd)
{
    struct stat st;
    folders += fstat(fd, &st) == 0 && S_ISDIR(st.st_mode);
    return (int)syscall(SYS_fsync, fd);
}

static struct store *store;
static const char *dir;

static int open_store(void **state)
{
    const struct complaint_new c = fixture_complaint("first", 0);
    struct complaint_placed placed = {0};
    fixture_open(state);
    const struct fixture *f = *state;
    store = f->store;
    dir = f->dir;
    assert_int_equal(complaint_log(store, &c, &placed, NULL), 0);
    const struct contact_row row = {placed.complaint_id, "", "{}", "\nada marsh\n marsh", 1000};
    return contact_add(store, &row, NULL) || store_commit(store, NULL) ? -1 : 0;
}

static int erase(const int *writes, int count, int *ret_erased, struct error *err)
{
    assert_int_equal(store_begin(store, NULL), 0);
    plan = writes;
    left = count;
    int rc = contact_erase(store, "ada marsh", 700, ret_erased, err);
    left = 0;
    return rc ? rc : store_commit(store, err);
}

static void a_mark_written_in_pieces_is_whole(void **state)
{
    static const int WRITES[] = {EINTR, SHORT, EINTR, SHORT};
    char path[128], line[128] = "";
    int erased = 0;
    (void)state;
    assert_int_equal(erase(WRITES, 4, &erased, NULL), 0);
    assert_int_equal(erased, 1);
    snprintf(path, sizeof path, "%s/%s", dir, ERASURES_FILE);
    FILE *file = fopen(path, "re");
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file));
    assert_string_equal(line, "first 700 request\n");
    assert_null(fgets(line, sizeof line, file));
    fclose(file);
}

/* A file that is new has its name on disk before the data is gone, or the mark may be lost. */
static void the_first_mark_has_a_name_on_disk(void **state)
{
    int erased = 0;
    (void)state;
    folders = 0;
    assert_int_equal(erase(NULL, 0, &erased, NULL), 0);
    assert_int_equal(erased, 1);
    assert_int_equal(folders, 1);
}

/* A start on a full disk has no room to note what it had applied itself. */
static void its_own_marks_are_applied(void **state)
{
    int erased = 0, again = -1;
    (void)state;
    if (state_on_server())
        skip();
    assert_int_equal(erase(NULL, 0, &erased, NULL), 0);
    assert_int_equal(store_begin(store, NULL), 0);
    assert_int_equal(db_exec(store, "PRAGMA query_only=ON", NULL), 0); /* whatever writes fails */
    assert_int_equal(erasures_apply(store, &again, NULL), 0);
    assert_int_equal(again, 0);
    assert_int_equal(db_exec(store, "PRAGMA query_only=OFF", NULL), 0);
    store_rollback(store);
}

static void a_mark_that_does_not_fit_says_so(void **state)
{
    static const int WRITES[] = {SHORT, ENOSPC};
    struct error err = {0};
    int erased = 0;
    (void)state;
    assert_int_equal(erase(WRITES, 2, &erased, &err), ERROR_NO_SPACE);
    assert_non_null(strstr(err.text, strerror(ENOSPC)));
    store_rollback(store);
}

/* ---- a backup in the place of the database ---- */

#define REPORT "01990000-0000-7000-8000-00000000000%d"

static void add_report(int number, const char *folded)
{
    char uuid[UUID_TEXT];
    struct complaint_placed placed = {0};
    snprintf(uuid, sizeof uuid, REPORT, number);
    const struct complaint_new c = fixture_complaint(uuid, 0);
    assert_int_equal(complaint_log(store, &c, &placed, NULL), 0);
    const struct contact_row row = {placed.complaint_id, "", "{\"name\":\"x\"}", folded, 1000};
    assert_int_equal(contact_add(store, &row, NULL), 0);
}

static void append_marks(const char *text)
{
    char path[128];
    snprintf(path, sizeof path, "%s/%s", dir, ERASURES_FILE);
    FILE *file = fopen(path, "a");
    assert_true(file && fputs(text, file) >= 0 && fclose(file) == 0);
}

static int64_t contacts_left(void)
{
    int64_t count = -1;
    assert_int_equal(db_number(store, "SELECT count(*) FROM contact", NULL, &count, NULL), 0);
    return count;
}

static int apply(void *arg, struct error *err)
{
    int count;
    return erasures_apply(store, arg ? arg : &count, err);
}

/* Two were erased since, of one the texts alone; lines that no daemon writes are passed over. */
static void what_was_erased_since_the_backup_is_erased_again(void **state)
{
    int count = 0;
    (void)state;
    assert_int_equal(store_begin(store, NULL), 0);
    for (int i = 1; i <= 4; i++)
        add_report(i, "\nada\n");
    assert_int_equal(contacts_left(), 5);
    append_marks("01990000-0000-7000-8000-000000000001 2000 request\n"
                 "01990000-0000-7000-8000-000000000002 2000 whim\n"
                 "no-id 2000 date\n"
                 "01990000-0000-7000-8000-000000000003 2000 said\n"
                 "01990000-0000-7000-8000-000000000004 2000 date\n"
                 "01990000-0000-7000-8000-000000000002 20");
    failing_check(store, apply, NULL, "what was erased since", 0);
    assert_int_equal(contacts_left(), 5);
    assert_int_equal(apply(&count, NULL), 0);
    assert_int_equal(count, 3);
    assert_int_equal(contacts_left(), 3);
    /* once */
    assert_int_equal(apply(&count, NULL), 0);
    assert_int_equal(count, 0);
    store_rollback(store);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_mark_written_in_pieces_is_whole, open_store,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(the_first_mark_has_a_name_on_disk, open_store,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(its_own_marks_are_applied, open_store, fixture_close),
        cmocka_unit_test_setup_teardown(what_was_erased_since_the_backup_is_erased_again,
                                        open_store, fixture_close),
        cmocka_unit_test_setup_teardown(a_mark_that_does_not_fit_says_so, open_store,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
