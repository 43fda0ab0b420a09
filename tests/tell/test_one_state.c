/* A ranking sees one state of the store, whatever is committed while it is made. */
#include "../rank/fixture.h"
#include "store/store_inside.h"
#include "tell/tell.h"
#include <sqlite3.h>

enum { DAYS = 8, STATEMENTS_MOST = 1000 };

static void sample_rules(struct fixture *f)
{
    static const char *const FILES[] = {"causes/packed-hot.json",
                                        "causes/inhibitor-underdosed.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    for (size_t i = 0; i < sizeof FILES / sizeof FILES[0]; i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
}

static struct store *reader_of(const struct fixture *f)
{
    struct store *reader;
    struct error err = {0};
    if (store_open(f->dir, STORE_READ, &reader, &err))
        fail_msg("%s", err.text);
    return reader;
}

/* Hot and on the side, or neither: never one without the other. */
static void set_state(struct fixture *f, int64_t lot, bool hot)
{
    struct error err = {0};
    assert_int_equal(store_begin(f->store, &err), 0);
    fixture_sql(f, "UPDATE reading SET value = %d WHERE lot_id = %lld AND quantity_id = 1",
                hot ? 47 : 38, (long long)lot);
    fixture_sql(f, "UPDATE complaint SET body = '{\"observed\":{\"where\":\"%s\"}}'",
                hot ? "side" : "base");
    assert_int_equal(company_count_records_changed(f->store, &err), 0);
    assert_int_equal(store_commit(f->store, &err), 0);
}

struct disturbing {
    struct fixture *f;
    int64_t lot;
    int statement, at; /* counted from 0; before which one the state changes */
    bool hot;
};

static int disturb(unsigned event, void *arg, void *statement, void *sql)
{
    struct disturbing *d = arg;
    (void)event;
    (void)statement;
    (void)sql;
    if (d->statement++ == d->at)
        set_state(d->f, d->lot, d->hot);
    return 0;
}

/* By a set of rules of its own: nothing is kept from an earlier ranking. */
static char *ranking_text(struct fixture *f, struct store *reader, int64_t case_id)
{
    struct triage *triage = fixture_triage(f);
    struct error err = {0};
    json_t *ranking = NULL;
    if (tell_case(triage, reader, case_id, &ranking, NULL, &err))
        fail_msg("%s", err.text);
    char *text = jsonx_dump(ranking);
    json_decref(ranking);
    triage_free(triage);
    return text;
}

static void a_ranking_sees_one_state(void **state)
{
    struct fixture f;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, DAYS);
    sample_rules(&f);
    struct disturbing d = {.f = &f, .lot = fixture_lot(4, 1, 0)};
    int64_t case_id = fixture_complain(&f, "mold", d.lot, AT(9, 15), "{}");
    struct store *reader = reader_of(&f);
    set_state(&f, d.lot, true);
    char *hot = ranking_text(&f, reader, case_id);
    set_state(&f, d.lot, false);
    char *cool = ranking_text(&f, reader, case_id);
    assert_string_not_equal(hot, cool);
    sqlite3_trace_v2(reader->db, SQLITE_TRACE_STMT, disturb, &d);
    for (d.at = 0; d.at < STATEMENTS_MOST; d.at++) {
        d.statement = 0;
        d.hot = d.at % 2 == 0;
        char *ranked = ranking_text(&f, reader, case_id);
        if (strcmp(ranked, hot) != 0 && strcmp(ranked, cool) != 0)
            fail_msg("changed before statement %d, it is the ranking of no state", d.at);
        free(ranked);
        if (d.statement <= d.at)
            break; /* the ranking was through before */
    }
    assert_in_range(d.at, 5, STATEMENTS_MOST - 1);
    free(hot);
    free(cool);
    store_close(reader);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_ranking_sees_one_state),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
