/* Complaints looked for again once their lot is on record, and what happens to one that somebody
 * corrects meanwhile. The fixture's store is the writer's here, and a reader's beside it. */
#include "desk/rematch.h"
#include "fixture.h"

/* Logs the rows that wait, and lets the writer have the state. */
struct plant {
    struct fixture *f;
    struct writer *writer;
    struct rematch again;
    const char *corrected; /* the fields that correct_first() gives */
};

static struct plant plant_begin(struct fixture *f, const char *first, const char *second)
{
    struct plant p = {.f = f};
    struct error err = {0};
    fixture_log(f, FIRST, first);
    fixture_log(f, SECOND, second);
    assert_int_equal(store_commit(f->store, &err), 0);
    store_close(f->store);
    if (writer_start(f->dir, 16, &p.writer, &err) ||
        store_open(f->dir, STORE_READ, &f->store, &err))
        fail_msg("%s", err.text);
    p.again = (struct rematch){.desk = &f->desk, .writer = p.writer};
    return p;
}

static void plant_end(struct plant *p)
{
    struct error err = {0};
    store_close(p->f->store);
    writer_free(p->writer);
    if (store_open(p->f->dir, STORE_WRITE, &p->f->store, &err) || store_begin(p->f->store, &err))
        fail_msg("%s", err.text);
}

static int add_lot(struct store *store, void *arg, struct error *err)
{
    static const char SQL[] =
        "INSERT INTO lot SELECT 3, 'L1 6319 A0400', 'L16319A0400', plant, product_id, line, shift,"
        " made_from_ms + 86400000, made_to_ms + 86400000, packed_from_ms + 86400000,"
        " packed_to_ms + 86400000, units, code_day + 1 FROM lot WHERE id = 1";
    (void)arg;
    return db_exec(store, SQL, err);
}

static int correct_first(struct store *store, void *arg, struct error *err)
{
    struct plant *p = arg;
    json_t *fields = fixture_json(p->corrected);
    struct correcting c = {
        .uuid = FIRST, .why = {"ivo", "read again", p->f->now_ms}, .fields = fields};
    int rc = correcting_apply(&p->f->desk, store, &c, err);
    json_decref(fields);
    fixture_corrected_clear(&c);
    return rc;
}

static void run(struct plant *p, int (*job)(struct store *, void *, struct error *))
{
    struct error err = {0};
    if (writer_run(p->writer, job, p, &err))
        fail_msg("%s", err.text);
}

/* A statement is known by where its text stands: one each. */
#define LOT_OF(uuid) "SELECT coalesce(lot_id, 0) FROM complaint WHERE uuid = '" uuid "'"
static const char LOT_OF_FIRST[] = LOT_OF(FIRST), LOT_OF_SECOND[] = LOT_OF(SECOND);
static const char URGENT[] = "SELECT count(*) FROM outbox WHERE event = 'urgent'";

static void look_again(struct plant *p)
{
    struct error err = {0};
    if (rematch_slice(&p->again, p->f->store, p->f->now_ms, &err))
        fail_msg("%s", err.text);
}

#define LATER "'lot_text':'L1 6319 A0400','received_at':'2026-11-20T09:14:00-05:00'"

static void who_reported_before_its_lot_was_on_record(void **state)
{
    struct plant p = plant_begin(*state, "{" LATER "}", "{'lot_text':'L2 6318 A0400'}");
    look_again(&p);
    assert_int_equal(p.again.placed, 0);
    run(&p, add_lot);
    p.again.after_id = 0;
    look_again(&p);
    assert_true(p.again.through);
    assert_int_equal(p.again.placed, 1);
    assert_int_equal(fixture_number(p.f, LOT_OF_FIRST), 3);
    assert_int_equal(fixture_number(p.f, LOT_OF_SECOND), 2);
    plant_end(&p);
}

/* It was looked at as it stood before: whoever corrected it has placed it, were it only another
 * number of packs; of the other one harm is mailed anew. */
static void what_is_corrected_meanwhile_stays_where_it_was_put(void **state)
{
    static const char *const CORRECTED[] = {"{'lot_text':'L2 6318 A0400'}", "{'packs':2}"};
    for (size_t i = 0; i < COUNT_OF(CORRECTED); i++) {
        fixture_open(state);
        struct plant p =
            plant_begin(*state, "{" LATER ",'harm':['illness']}", "{" LATER ",'harm':['illness']}");
        run(&p, add_lot);
        int64_t mails = fixture_number(p.f, URGENT);
        bool began = store_look(p.f->store);
        assert_int_equal(fixture_number(p.f, LOT_OF_FIRST), 0);
        p.corrected = CORRECTED[i];
        run(&p, correct_first);
        look_again(&p);
        store_unlook(p.f->store, began);
        assert_int_equal(p.again.placed, 1);
        assert_int_not_equal(fixture_number(p.f, LOT_OF_FIRST), i == 0 ? 3 : 2);
        assert_int_equal(fixture_number(p.f, LOT_OF_SECOND), 3);
        assert_true(fixture_number(p.f, URGENT) > mails);
        plant_end(&p);
        fixture_close(state);
    }
}

static int move_lot(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return db_exec(store, "UPDATE complaint SET lot_id = 2 WHERE uuid = '" FIRST "'", err);
}

static int move_case(struct store *store, void *arg, struct error *err)
{
    (void)arg;
    return db_exec(store,
                   "UPDATE complaint SET case_id = (SELECT case_id FROM complaint WHERE uuid = "
                   "'" SECOND "') WHERE uuid = '" FIRST "'",
                   err);
}

/* Its words are the same, its lot or its case is another: somebody else has placed it. */
static void what_is_moved_meanwhile_stays_where_it_was_put(void **state)
{
    static int (*const MOVES[])(struct store *, void *, struct error *) = {move_lot, move_case};
    static const int64_t LOTS[] = {2, 0};
    for (size_t i = 0; i < COUNT_OF(MOVES); i++) {
        fixture_open(state);
        struct plant p = plant_begin(*state, "{" LATER "}", "{'lot_text':'L2 6318 A0400'}");
        run(&p, add_lot);
        bool began = store_look(p.f->store);
        assert_int_equal(fixture_number(p.f, LOT_OF_FIRST), 0);
        run(&p, MOVES[i]);
        look_again(&p);
        store_unlook(p.f->store, began);
        assert_int_equal(p.again.placed, 0);
        assert_int_equal(fixture_number(p.f, LOT_OF_FIRST), LOTS[i]);
        plant_end(&p);
        fixture_close(state);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(who_reported_before_its_lot_was_on_record, fixture_open,
                                        fixture_close),
        cmocka_unit_test(what_is_corrected_meanwhile_stays_where_it_was_put),
        cmocka_unit_test(what_is_moved_meanwhile_stays_where_it_was_put),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
