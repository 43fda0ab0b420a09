/* Attached files: kept once, taken away with the last that is detached, erased with the caller. */
#include "store/attached.h"
#include "store/backup.h"
#include "store/contact.h"
#include "store/file_hash.h"
#include "store/fixture.h"
#include "store/retention.h"
#include <sys/stat.h>
#include <unistd.h>

static const struct attached_limits NO_LIMITS = {0, 0};

static int open_all(void **state)
{
    int rc = fixture_open(state);
    fixture_write(*state,
                  "INSERT INTO complaint_case(id, symptom, lot_id, opened_ms, as_of_ms, complaints,"
                  " packs, state, moved_to) VALUES(1, 'mold', 1, 0, 0, 1, 1, 'open', NULL)");
    return rc;
}

static int64_t number(struct fixture *f, const char *sql)
{
    int64_t count = 0;
    assert_int_equal(db_number(f->store, sql, NULL, &count, NULL), 0);
    return count;
}

static int64_t files(struct fixture *f)
{
    static const char SQL[] = "SELECT count(*) FROM attached_file";
    return number(f, SQL);
}

static int put(struct fixture *f, struct attached_row row, const char *text,
               const struct attached_limits *limits, int64_t *ret_id)
{
    char hash[FILE_HASH];
    bool again = false;
    file_hash(text, strlen(text), hash);
    row.sha256 = hash;
    row.data = text;
    row.bytes = (int64_t)strlen(text);
    row.type = "text/plain";
    row.by_name = row.user = "mira";
    return attached_put(f->store, &row, limits, ret_id, &again, NULL);
}

static int take(void *arg, const struct attached_row *row)
{
    text_clip(row->name, arg, 40);
    return 0;
}

static void test_the_hash_is_the_published_one(void **state)
{
    char hash[FILE_HASH];
    (void)state;
    file_hash("abc", 3, hash); /* FIPS 180-2, appendix B.1 */
    assert_string_equal(hash, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
}

static void test_a_file_is_kept_once_and_goes_with_the_last(void **state)
{
    struct fixture *f = *state;
    int64_t first = 0, same = 0, second = 0;
    char *bytes = NULL, name[40] = "";
    fixture_write(f,
                  "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs,"
                  " state) VALUES(2, 'mold', 0, 0, 1, 1, 'open')");
    assert_int_equal(
        put(f, (struct attached_row){.case_id = 1, .name = "a"}, "x", &NO_LIMITS, &first), 0);
    assert_int_equal(
        put(f, (struct attached_row){.case_id = 1, .name = "b"}, "x", &NO_LIMITS, &same), 0);
    assert_int_equal(same, first);
    assert_int_equal(
        put(f, (struct attached_row){.case_id = 2, .name = "c"}, "x", &NO_LIMITS, &second), 0);
    assert_true(second != first);
    assert_int_equal(files(f), 1);
    assert_int_equal(
        attached_detach(f->store, &(struct attached_end){first, "jo", "wrong case", 9}, NULL), 0);
    assert_int_equal(files(f), 1);
    assert_int_equal(attached_get(f->store, second, take, name, &bytes, NULL), 0);
    assert_string_equal(bytes, "x");
    assert_string_equal(name, "c");
    free(bytes);
    assert_int_equal(
        attached_detach(f->store, &(struct attached_end){second, "jo", "too", 9}, NULL), 0);
    assert_int_equal(files(f), 0);
    struct error err = {0};
    assert_int_equal(attached_get(f->store, second, take, name, &bytes, &err), ERROR_NOT_FOUND);
    assert_int_equal(
        attached_detach(f->store, &(struct attached_end){second, "jo", "too", 9}, NULL),
        ERROR_NOT_FOUND);
}

static void test_bytes_that_changed_are_not_given_out(void **state)
{
    struct fixture *f = *state;
    int64_t id = 0;
    char *bytes = NULL, name[40];
    struct error err = {0};
    assert_int_equal(put(f, (struct attached_row){.case_id = 1, .name = "a"}, "x", &NO_LIMITS, &id),
                     0);
    static const char SQL[] = "UPDATE attached_file SET data = ?1";
    assert_int_equal(db_run(f->store, SQL, DB(DB_BYTES("y", 1)), &err), 0);
    assert_int_equal(attached_get(f->store, id, take, name, &bytes, &err), ERROR_INTERNAL);
    assert_non_null(strstr(err.text, "is not what was attached"));
    name[0] = '\0';
    assert_int_equal(attached_get(f->store, id, take, name, NULL, NULL), 0); /* to be detached */
    assert_string_equal(name, "a");
    free(bytes);
}

static void test_limits_hold(void **state)
{
    struct fixture *f = *state;
    const struct attached_limits of_case = {3, 0}, of_user = {0, 3};
    int64_t id = 0;
    struct attached_row row = {.case_id = 1, .name = "a", .at_ms = 10};
    assert_int_equal(put(f, row, "xyzw", &of_case, &id), ERROR_TOO_LARGE); /* a first one, too */
    assert_int_equal(put(f, row, "xyzw", &of_user, &id), ERROR_TOO_LARGE);
    assert_int_equal(put(f, row, "xy", &of_case, &id), 0);
    assert_int_equal(put(f, row, "zw", &of_case, &id), ERROR_TOO_LARGE);
    assert_int_equal(put(f, row, "zw", &of_user, &id), ERROR_TOO_LARGE);
    row.at_ms = 10 + WHEN_DAY_MS;
    assert_int_equal(put(f, row, "zw", &of_user, &id), 0);
}

static void test_files_of_a_complaint_go_with_its_contact(void **state)
{
    struct fixture *f = *state;
    int64_t id = 0, of_case = 0;
    int erased = 0;
    const struct complaint_new c = fixture_complaint("0199a000-0000-7000-8000-000000000001", 1);
    struct complaint_placed placed = {0};
    struct error err = {0};
    if (complaint_log(f->store, &c, &placed, &err))
        fail_msg("%s", err.text);
    const struct contact_row contact = {placed.complaint_id, "", "{\"name\":\"Ann Bee\"}",
                                        "\nann bee\n", 1000};
    assert_int_equal(contact_add(f->store, &contact, NULL), 0);
    assert_int_equal(
        put(f, (struct attached_row){.complaint_id = placed.complaint_id, .name = "ann.jpg"}, "x",
            &NO_LIMITS, &id),
        0);
    assert_int_equal(put(f, (struct attached_row){.case_id = placed.case_id, .name = "r.pdf"}, "y",
                         &NO_LIMITS, &of_case),
                     0);
    assert_int_equal(files(f), 2);
    assert_int_equal(contact_erase(f->store, "ann bee", 2000, &erased, NULL), 0);
    assert_int_equal(erased, 1);
    assert_int_equal(files(f), 1);
    static const char SQL[] = "SELECT count(*) FROM attached WHERE name = 'ann.jpg' OR sha256 = ''";
    assert_int_equal(number(f, SQL), 1); /* that it was there, and nothing of it */
    static const char SQL_ENDED[] = "SELECT max(ended_ms) FROM attached";
    assert_int_equal(number(f, SQL_ENDED), 2000); /* and when it went */
}

static void test_photos_kept_long_enough_end_when_they_go(void **state)
{
    static const char SQL[] = "SELECT max(ended_ms) FROM attached";
    struct fixture *f = *state;
    const struct complaint_new c = fixture_complaint("0199a000-0000-7000-8000-000000000001", 1);
    const struct retention rule = {.photos_days = 2};
    struct complaint_placed placed = {0};
    int64_t id = 0;
    int dropped = 0;
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    assert_int_equal(put(f,
                         (struct attached_row){.complaint_id = placed.complaint_id,
                                               .name = "a.jpg",
                                               .at_ms = WHEN_DAY_MS},
                         "x", &NO_LIMITS, &id),
                     0);
    assert_int_equal(retention_round(f->store, &rule, 3 * WHEN_DAY_MS, 9, &dropped, NULL), 0);
    assert_int_equal(files(f), 1);
    assert_int_equal(retention_round(f->store, &rule, 4 * WHEN_DAY_MS, 9, &dropped, NULL), 0);
    assert_int_equal(files(f), 0);
    assert_int_equal(number(f, SQL), 4 * WHEN_DAY_MS);
    assert_int_equal(store_commit(f->store, NULL), 0);
    if (state_on_server()) /* it has a log of its own */
        return;
    struct text_buffer log = {0};
    struct stat st;
    text_appendf(&log, "%s/oddloaf.db-wal", f->dir);
    assert_int_equal(stat(log.data, &st), 0);
    assert_int_equal(st.st_size, 0); /* nothing of them is left there */
    text_buffer_free(&log);
}

static void test_a_backup_holds_the_files_and_looks_at_them(void **state)
{
    if (state_on_server())
        skip();
    struct fixture *f = *state;
    int64_t id = 0;
    struct error err = {0};
    struct text_buffer path = {0};
    assert_int_equal(put(f, (struct attached_row){.case_id = 1, .name = "a"}, "x", &NO_LIMITS, &id),
                     0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    free(backup_folder(f->dir));
    text_appendf(&path, "%s/backups/good.db", f->dir);
    assert_int_equal(backup_make(f->store, path.data, &err), 0);
    assert_int_equal(store_begin(f->store, NULL), 0);
    static const char SQL[] = "UPDATE attached_file SET data = ?1";
    assert_int_equal(db_run(f->store, SQL, DB(DB_BYTES("y", 1)), &err), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    text_append(&path, "2");
    assert_int_equal(backup_make(f->store, path.data, &err), ERROR_INTERNAL);
    assert_non_null(strstr(err.text, "is not what was attached"));
    assert_int_not_equal(access(path.data, F_OK), 0);
    text_buffer_free(&path);
}

#define TEST(f) cmocka_unit_test_setup_teardown(f, open_all, fixture_close)

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(test_the_hash_is_the_published_one),
                                       TEST(test_a_file_is_kept_once_and_goes_with_the_last),
                                       TEST(test_bytes_that_changed_are_not_given_out),
                                       TEST(test_a_backup_holds_the_files_and_looks_at_them),
                                       TEST(test_limits_hold),
                                       TEST(test_files_of_a_complaint_go_with_its_contact),
                                       TEST(test_photos_kept_long_enough_end_when_they_go)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
