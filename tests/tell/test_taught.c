/* What verdicts teach is up to date in every set of rules, and nobody waits for another who works
 * that out. */
#include "../rank/fixture.h"
#include "store/ranking.h"
#include "store/store_inside.h"
#include "store/verdict.h"
#include "tell/tell.h"
#include <pthread.h>
#include <semaphore.h>
#include <sqlite3.h>
#include <unistd.h>

enum { DAYS = 8, PATIENCE_S = 20 };

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

static void settle(struct fixture *f, struct triage *triage, int64_t case_id, const char *cause)
{
    struct error err = {0};
    json_t *told = NULL;
    struct ranking ranking;
    assert_int_equal(tell_case(triage, f->store, case_id, &told, &ranking, &err), 0);
    assert_int_equal(store_begin(f->store, &err), 0);
    assert_int_equal(ranking_save(f->store, &ranking, &err), 0);
    if (verdict_add(
            f->store,
            &(struct verdict_new){case_id, ranking.as_of_ms + 1, cause, "inspection", "", "qa"},
            &err))
        fail_msg("%s", err.text);
    assert_int_equal(store_commit(f->store, &err), 0);
    ranking_clear(&ranking);
    json_decref(told);
}

static double prior_of(struct triage *triage, struct store *store, const char *cause)
{
    double *priors = NULL;
    struct error err = {0};
    const struct case_input input = {.symptom = symptom_of("mold"), .as_of_ms = AT(60, 0)};
    if (case_rank_priors(triage, store, &input, NULL, &priors, &err))
        fail_msg("%s", err.text);
    double prior = priors[rules_cause(triage->rules, cause)];
    free(priors);
    return prior;
}

/* Two sets, as while one replaces the other: both had learned before the verdict was given. */
static void every_set_learns_of_a_verdict_given_and_taken_back(void **state)
{
    struct fixture f;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, DAYS);
    sample_rules(&f);
    struct triage *sets[] = {fixture_triage(&f), fixture_triage(&f)};
    int64_t case_id = fixture_complain(&f, "mold", fixture_lot(4, 1, 0), AT(9, 15), "{}");
    double before = prior_of(sets[0], f.store, "packed-hot");
    assert_near(prior_of(sets[1], f.store, "packed-hot"), before, 0);
    settle(&f, sets[0], case_id, "packed-hot");
    double after = prior_of(sets[0], f.store, "packed-hot");
    assert_true(after > before);
    assert_near(prior_of(sets[1], f.store, "packed-hot"), after, 0);
    assert_int_equal(store_begin(f.store, &err), 0);
    assert_int_equal(verdict_reopen(f.store, case_id, "", "qa", AT(10, 0), &err), 0);
    assert_int_equal(store_commit(f.store, &err), 0);
    for (int i = 0; i < 2; i++) {
        assert_near(prior_of(sets[i], f.store, "packed-hot"), before, 0);
        triage_free(sets[i]);
    }
    fixture_close(&f);
}

struct learning {
    struct triage *triage;
    struct store *reader;
    sem_t begun, go;
    bool waited;
};

static int stop_at_verdicts(unsigned event, void *arg, void *statement, void *sql)
{
    struct learning *l = arg;
    (void)event;
    (void)statement;
    if (!l->waited && strstr(sql, "FROM verdict v")) {
        l->waited = true;
        sem_post(&l->begun);
        sem_wait(&l->go);
    }
    return 0;
}

static void *learn_slowly(void *arg)
{
    struct learning *l = arg;
    prior_of(l->triage, l->reader, "packed-hot");
    return NULL;
}

static void nobody_waits_for_another_who_learns(void **state)
{
    struct fixture f;
    struct learning l = {.waited = false};
    pthread_t thread;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, DAYS);
    sample_rules(&f);
    l.triage = fixture_triage(&f);
    l.reader = reader_of(&f);
    sem_init(&l.begun, 0, 0);
    sem_init(&l.go, 0, 0);
    sqlite3_trace_v2(l.reader->db, SQLITE_TRACE_STMT, stop_at_verdicts, &l);
    int64_t case_id = fixture_complain(&f, "mold", fixture_lot(4, 1, 0), AT(9, 15), "{}");
    struct triage *other = fixture_triage(&f); /* the one asked about has learned nothing yet */
    settle(&f, other, case_id, "packed-hot");
    triage_free(other);
    alarm(PATIENCE_S); /* a wait for the other would be for ever */
    assert_int_equal(pthread_create(&thread, NULL, learn_slowly, &l), 0);
    sem_wait(&l.begun);
    assert_true(prior_of(l.triage, f.store, "packed-hot") > 0);
    alarm(0);
    sem_post(&l.go);
    pthread_join(thread, NULL);
    store_close(l.reader);
    triage_free(l.triage);
    sem_destroy(&l.begun);
    sem_destroy(&l.go);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_set_learns_of_a_verdict_given_and_taken_back),
        cmocka_unit_test(nobody_waits_for_another_who_learns),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
