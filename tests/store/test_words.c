/* A report is found by what its row says now, in a file that has no second copy of it. */
#include "fixture.h"
#include "store/engine_sqlite.h"
#include "store/entry.h"
#include "store/entry_find.h"
#include "store/joined.h"
#include "store/outbox.h"

static const char UUID[] = "01990000-0000-7000-8000-000000000001";
static const char OTHER[] = "01990000-0000-7000-8000-000000000002";

static int setup(void **state)
{
    return fixture_with(state, "");
}

static int count_one(void *arg, const struct entry_found *row)
{
    int *count = arg;
    (void)row;
    ++*count;
    return 0;
}

static int found(struct fixture *f, struct entry_filter filter)
{
    int count = 0;
    struct error err = {0};
    filter.since_ms = WHEN_UNKNOWN_MS;
    filter.limit = 10;
    if (entry_find(f->store, &filter, count_one, &count, &err))
        fail_msg("%s", err.text);
    return count;
}

static int found_word(struct fixture *f, const char *words)
{
    return found(f, (struct entry_filter){.words = words});
}

static int found_store(struct fixture *f, const char *words)
{
    return found(f, (struct entry_filter){.store = words});
}

/* As the desk hands it over: what its members say stands in its body. */
static struct complaint_new says(const char *uuid, const char *note, const char *body)
{
    struct complaint_new c = fixture_complaint(uuid, 0);
    c.note = note;
    c.store_said = "27";
    c.store = "0027";
    c.body = body;
    return c;
}

static void words_follow_what_a_complaint_says(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed placed = {0};
    struct complaint_new c =
        says(UUID, "musty crust", "{\"store\":\"27\",\"note\":\"musty crust\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    assert_int_equal(found_word(f, "must*"), 1);
    assert_int_equal(found_store(f, "27"), 1);
    assert_int_equal(found_store(f, "0027"), 1);
    c = says(UUID, "sour crumb", "{\"store\":\"27\",\"note\":\"sour crumb\"}");
    assert_int_equal(complaint_rewrite(f->store, placed.complaint_id, &c, 3000, NULL), 0);
    assert_int_equal(found_word(f, "musty"), 0);
    assert_int_equal(found_word(f, "sour"), 1);
    c.store = "0028";
    assert_int_equal(entry_put(f->store, UUID, &c, NULL), 0);
    assert_int_equal(found_store(f, "0027"), 0);
    assert_int_equal(found_store(f, "0028"), 1);
}

static int64_t rows_with(struct fixture *f, const char *word)
{
    static const char SQL[] = "SELECT count(*) FROM entry_words WHERE entry_words MATCH (?1)";
    int64_t rows = -1;
    assert_int_equal(db_number(f->store, SQL, DB(DB_TEXT(word)), &rows, NULL), 0);
    return rows;
}

static void words_of_a_joined_report_are_its_own(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed placed[2] = {{0}};
    struct complaint_new c = says(UUID, "musty", "{\"note\":\"musty\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed[0], NULL), 0);
    c = says(OTHER, "sour", "{\"note\":\"sour\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed[1], NULL), 0);
    assert_int_equal(complaint_take_out(f->store, placed[1].complaint_id, 0, 4000, NULL), 0);
    assert_int_equal(found_word(f, "sour"), 0);
    assert_int_equal(state_on_server() ? 0 : rows_with(f, "sour"), 0);
    const struct joined_row row = {.complaint_id = placed[0].complaint_id,
                                   .received_ms = 1,
                                   .logged_ms = 1,
                                   .joined_ms = 1,
                                   .uuid = OTHER,
                                   .body = c.body};
    assert_int_equal(joined_add(f->store, &row, NULL), 0);
    assert_int_equal(entry_put(f->store, OTHER, &c, NULL), 0);
    assert_int_equal(found_word(f, "sour"), 1);
    c = says(OTHER, "stale", "{\"note\":\"stale\"}");
    assert_int_equal(joined_rewrite(f->store, OTHER, 1, c.body, NULL), 0);
    assert_int_equal(entry_put(f->store, OTHER, &c, NULL), 0);
    assert_int_equal(found_word(f, "sour"), 0);
    assert_int_equal(found_word(f, "stale"), 1);
    assert_int_equal(joined_remove(f->store, OTHER, NULL), 0);
    assert_int_equal(found_word(f, "stale"), 0);
    assert_int_equal(found_word(f, "musty"), 1);
    if (state_on_server())
        return;
    assert_int_equal(rows_with(f, "stale"), 0);
    assert_int_equal(rows_with(f, "musty"), 1);
}

/* Words go in together as the transaction ends: what was undone on the way is not among them, and
 * what is found within it is what it has so far. */
static void words_of_a_transaction_go_in_together(void **state)
{
    static const char *const UUIDS[] = {UUID, OTHER, "01990000-0000-7000-8000-000000000003"};
    static const char *const NOTES[] = {"musty", "sour", "stale"};
    struct fixture *f = *state;
    struct complaint_placed placed[3] = {{0}};
    char body[64];
    for (size_t i = 0; i < COUNT_OF(UUIDS); i++) {
        snprintf(body, sizeof body, "{\"note\":\"%s\"}", NOTES[i]);
        const struct complaint_new c = says(UUIDS[i], NOTES[i], body);
        assert_int_equal(store_nest(f->store, NULL), 0);
        assert_int_equal(complaint_log(f->store, &c, &placed[i], NULL), 0);
        assert_int_equal(store_unnest(f->store, i != 1, NULL), 0);
    }
    const struct complaint_new anew = says(UUID, "fusty", "{\"note\":\"fusty\"}");
    assert_int_equal(complaint_rewrite(f->store, placed[0].complaint_id, &anew, 3000, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    static const int FOUND[] = {0, 0, 1};
    for (size_t i = 0; i < COUNT_OF(NOTES); i++)
        assert_int_equal(state_on_server() ? FOUND[i] : rows_with(f, NOTES[i]), FOUND[i]);
    assert_int_equal(found_word(f, "fusty"), 1);
    assert_int_equal(store_begin(f->store, NULL), 0);
    const struct complaint_new late = says(OTHER, "sour", "{\"note\":\"sour\"}");
    assert_int_equal(complaint_log(f->store, &late, &placed[1], NULL), 0);
    store_rollback(f->store);
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(found_word(f, "sour"), 0);
    assert_int_equal(complaint_log(f->store, &late, &placed[1], NULL), 0);
    assert_int_equal(found_word(f, "sour"), 1);
}

/* ---- a file of schema 15 ---- */

static const char ROWS[] =
    "INSERT INTO complaint_case(id, symptom, opened_ms, as_of_ms, complaints, packs)"
    " VALUES(1, 'mold', 0, 0, 1, 1);"
    "INSERT INTO complaint(id, uuid, received_ms, logged_ms, channel, symptom, case_id, store, "
    "body)"
    " VALUES(1, 'u1', 0, 0, 'phone', 'mold', 1, '0027', '{\"store\":\"27\",\"note\":\"quince\"}');"
    "INSERT INTO joined(uuid, complaint_id, received_ms, logged_ms, joined_ms, body)"
    " VALUES('u2', 1, 0, 0, 0, '{\"note\":\"fusty\",\"reference\":\"T-9\"}');"
    "INSERT INTO entry(id, report, logged_by, sent, taken) VALUES(4, 'u1', 'desk', '', '[]'),"
    " (5, 'u2', 'desk', '', '[]'), (6, 'gone', 'desk', '{}', '[]');"
    "INSERT INTO entry_words(rowid, reference, store, note) VALUES(4, NULL, '27 0027', 'quince'),"
    " (5, 'T-9', NULL, 'fusty'), (6, NULL, NULL, 'medlar');"
    "INSERT INTO outbox(id, event, case_id, message_id, created_ms) VALUES(1, 'case', 1, '<a@m>', "
    "0),"
    " (2, 'digest', NULL, '<digest-1@m>', 0);"
    "INSERT INTO outbox_text VALUES(2, '{\"kept\":1}');"
    "INSERT INTO outbox_delivery(mail_id, recipient, urgent, since_ms, due_ms)"
    " VALUES(2, 'qa@mill.example', 0, 0, 0);";

static int setup_older(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    struct store *older = NULL;
    struct text_buffer sql = {0};
    struct error err = {0};
    snprintf(f->dir, sizeof f->dir, "/tmp/oddloaf-words-XXXXXX");
    assert_non_null(state_folder(f->dir));
    *state = f;
    if (state_on_server()) /* which keeps words in another way */
        return 0;
    text_appendf(&sql, "PRAGMA user_version = 15; PRAGMA application_id = %d;", 0x6f64646c);
    text_appendf(&sql, "VACUUM INTO '%s/oddloaf.db'", f->dir);
    if (engine_sqlite_blank(NULL, 15, &older, &err) || db_exec(older, ROWS, &err) ||
        db_exec(older, sql.data, &err))
        fail_msg("%s", err.text);
    engine_sqlite_drop(older);
    text_buffer_free(&sql);
    return 0;
}

static bool file_has(const struct fixture *f, const char *word)
{
    char path[96];
    snprintf(path, sizeof path, "%s/oddloaf.db", f->dir);
    FILE *file = fopen(path, "re");
    assert_non_null(file);
    fseek(file, 0, SEEK_END);
    size_t size = (size_t)ftell(file);
    rewind(file);
    char *bytes = xmalloc(size);
    assert_int_equal(fread(bytes, 1, size, file), size);
    fclose(file);
    bool has = memmem(bytes, size, word, strlen(word)) != NULL;
    free(bytes);
    return has;
}

static void reopen(struct fixture *f)
{
    struct error err = {0};
    store_close(f->store);
    f->store = NULL;
    if (store_open(f->dir, STORE_WRITE, &f->store, &err))
        fail_msg("%s", err.text);
}

static void an_older_file_keeps_its_words_once(void **state)
{
    struct fixture *f = *state;
    if (state_on_server())
        skip();
    reopen(f);
    assert_int_equal(found_word(f, "quince"), 1);
    assert_int_equal(found_word(f, "fusty"), 1);
    assert_int_equal(found_word(f, "T-9"), 1);
    assert_int_equal(found_store(f, "27"), 1);
    assert_int_equal(found_store(f, "0027"), 1);
    assert_int_equal(store_begin(f->store, NULL), 0);
    const struct entry_report rows[] = {{.report = "u1", .complaint_id = 1},
                                        {.report = "u2", .complaint_id = 1, .joined = true}};
    for (size_t i = 0; i < COUNT_OF(rows); i++) {
        const struct complaint_new c = {
            .store_said = "27", .store = "0027", .body = "{\"store\":\"27\"}"};
        assert_int_equal(entry_rewrite(f->store, &rows[i], &c, "{}", NULL, NULL), 0);
    }
    assert_int_equal(found_word(f, "quince"), 0);
    assert_int_equal(found_word(f, "fusty"), 0);
    assert_int_equal(found_store(f, "0027"), 2);
    assert_int_equal(store_commit(f->store, NULL), 0);
    reopen(f); /* the log is in the file */
    assert_false(file_has(f, "quince"));
    assert_false(file_has(f, "fusty"));
    assert_false(file_has(f, "medlar"));
}

static void an_older_file_keeps_its_mails(void **state)
{
    struct fixture *f = *state;
    int64_t rows = 0;
    if (state_on_server())
        skip();
    reopen(f);
    assert_int_equal(
        db_number(f->store,
                  "SELECT count(*) FROM outbox o JOIN outbox_text x ON x.mail_id = o.id"
                  " JOIN outbox_delivery d ON d.mail_id = o.id",
                  NULL, &rows, NULL),
        0);
    assert_int_equal(rows, 1);
    assert_int_equal(store_begin(f->store, NULL), 0);
    const struct outbox_new again = {
        .event = "digest", .message_id = "<digest-1@m>", .payload = "{}", .created_ms = 1};
    assert_int_equal(outbox_add(f->store, &again, NULL), 0);
    assert_int_equal(db_number(f->store, "SELECT count(*) FROM outbox", NULL, &rows, NULL), 0);
    assert_int_equal(rows, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(words_follow_what_a_complaint_says, setup, fixture_close),
        cmocka_unit_test_setup_teardown(words_of_a_joined_report_are_its_own, setup, fixture_close),
        cmocka_unit_test_setup_teardown(words_of_a_transaction_go_in_together, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(an_older_file_keeps_its_words_once, setup_older,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(an_older_file_keeps_its_mails, setup_older, fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
