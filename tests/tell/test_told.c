/* All that is told of a small plant's cases and lots, whole (told.h). */
#include "../told.h"

#include "../rank/fixture.h"
#include "store/hold.h"
#include "store/measured.h"
#include "store/ranking.h"
#include "store/stage.h"
#include "store/verdict.h"
#include "tell/gaps.h"
#include "tell/tell.h"
#include "tell/whatif.h"

enum { DAYS = 24 };

static const char *const FILES[] = {"causes/packed-hot.json",
                                    "causes/inhibitor-underdosed.json",
                                    "causes/contamination-slicer.json",
                                    "causes/old-stock.json",
                                    "causes/not-known.json",
                                    "asks.json"};

static void hold(struct fixture *f, int64_t lot, int64_t case_id)
{
    const struct hold_of of = {.lot_id = lot};
    const struct hold_entry entry = {"packed hot", "mira",     "m",
                                     case_id,      AT(21, 15), .still_about = false};
    bool stood;
    assert_int_equal(hold_add(f->store, &of, &entry, &stood, NULL), 0);
}

static void measure(struct fixture *f, int64_t lot)
{
    enum measured_outcome outcome;
    const struct measured_row row = {.lot_id = lot,
                                     .quantity = "crumb_ph",
                                     .lab = "Northgate",
                                     .sample = "1",
                                     .said = "5.9",
                                     .value = 5.9,
                                     .unit = "pH",
                                     .word = "",
                                     .at_ms = AT(21, 6),
                                     .by_name = "qa",
                                     .user = "",
                                     .logged_ms = AT(21, 7)};
    assert_int_equal(measured_put(f->store, &row, &outcome, NULL), 0);
}

static void settle(struct fixture *f, int64_t case_id)
{
    struct ranking_cause causes[] = {{"packed-hot", .7}, {"old-stock", .2}, {"not-known", .1}};
    struct ranking ranking = {.case_id = case_id,
                              .as_of_ms = AT(20, 0),
                              .complaints = 1,
                              .rules = "sha256:00",
                              .why = "a complaint came",
                              .causes = causes,
                              .cause_count = 3};
    const struct verdict_new verdict = {case_id, AT(21, 1), "packed-hot", "inspection", "", "qa"};
    assert_int_equal(store_begin(f->store, NULL), 0);
    assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
}

/* Case 1: packed hot, two complaints; 2: another lot of that line, settled; 3: harm; 4: of another
 * kind; 5: its lot is not known. */
static struct triage *plant(struct fixture *f)
{
    int64_t hot = fixture_lot(15, 1, 0);
    fixture_open(f);
    fixture_plant(f, DAYS);
    for (size_t i = 0; i < COUNT_OF(FILES); i++)
        fixture_copy(f, "tests/rank/rules", FILES[i]);
    fixture_sql(f,
                "UPDATE reading SET value = 47 WHERE lot_id = %lld AND quantity_id = 1;"
                "UPDATE reading SET value = 44 WHERE lot_id = %lld AND quantity_id = 1;"
                "INSERT INTO plantlog(place, quantity_id, line, at_ms, value) VALUES"
                "('slicer', 3, '1', %lld, 40), ('slicer', 3, '1', %lld, 15),"
                "('slicer', 4, '1', %lld, 1), ('slicer', 4, '1', %lld, 1)",
                (long long)hot, (long long)fixture_lot(14, 1, 2), (long long)AT(15, 1),
                (long long)AT(6, 1), (long long)AT(13, 0), (long long)AT(17, 0));
    fixture_complain(f, "mold", hot, AT(20, 15),
                     "{\"found_on\":\"2026-06-15\",\"observed\":{\"where\":\"side\",\"colour\":"
                     "\"black\",\"wet_inside_bag\":true,\"kept\":\"counter\"}}");
    fixture_complain(f, "mold", hot, AT(21, 15), "{\"observed\":{\"where\":\"cut-face\"}}");
    settle(f, fixture_complain(f, "mold", fixture_lot(14, 1, 2), AT(19, 9), "{}"));
    fixture_complain(f, "mold", fixture_lot(16, 2, 1), AT(20, 9), "{\"harm\":[\"illness\"]}");
    fixture_complain(f, "other", fixture_lot(15, 1, 3), AT(20, 10), "{}");
    fixture_complain(f, "staling", 0, AT(21, 11), "{\"observed\":{\"kept\":\"fridge\"}}");
    assert_int_equal(store_begin(f->store, NULL), 0);
    hold(f, hot, 1);
    measure(f, hot);
    assert_int_equal(company_count_records_changed(f->store, NULL), 0);
    assert_int_equal(store_commit(f->store, NULL), 0);
    return fixture_triage(f);
}

static void check(const char *name, int64_t id, int rc, const struct error *err, json_t *answer)
{
    char full[64];
    snprintf(full, sizeof full, id ? "%s-%d" : "%s", name, (int)id);
    if (rc)
        answer = json_pack("{s:i, s:s, s:s}", "code", rc, "text", err->text, "hint", err->hint);
    told_check("tell", full, answer ? answer : json_null());
}

static void of_cases(struct triage *t, struct store *store)
{
    static int (*const VIEWS[])(struct triage *, struct store *, int64_t, json_t **,
                                struct error *) = {tell_facts, tell_ask, tell_sheet};
    static const char *const NAMES[] = {"facts", "ask", "sheet"};
    for (int64_t id = 1; id <= 5; id++) {
        struct error err = {0};
        const struct tell_asked asked = {.case_id = id, .now_ms = AT(22, 0)};
        json_t *told = NULL;
        int rc = tell_case(t, store, id, &told, NULL, &err);
        check("case", id, rc, &err, told);
        told = NULL;
        error_clear(&err);
        rc = tell_why(t, store, id, NULL, &told, &err);
        check("why", id, rc, &err, told);
        told = NULL;
        error_clear(&err);
        rc = tell_reach_harm(t, store, &asked, &told, &err);
        if (!rc && !told)
            rc = tell_reach(t, store, &asked, &told, &err);
        check("reach", id, rc, &err, told);
        for (size_t i = 0; i < COUNT_OF(VIEWS); i++) {
            told = NULL;
            error_clear(&err);
            rc = VIEWS[i](t, store, id, &told, &err);
            check(NAMES[i], id, rc, &err, told);
        }
    }
}

static void of_the_plant(struct triage *t, struct store *store)
{
    const struct when_span ever = {0, AT(100, 0)};
    const struct gaps_query gaps = {.weeks = 2, .cases_ms = 60 * WHEN_DAY_MS, .within_ms = 600000};
    const struct whatif whatif = {.lot_id = fixture_lot(15, 1, 0)};
    struct error err = {0};
    json_t *told = NULL;
    int rc = tell_lot(t, store, fixture_lot(15, 1, 0), &told, &err);
    rc = rc ? rc : tell_lot_around(t, store, fixture_lot(15, 1, 0), told, &err);
    check("lot", 0, rc, &err, told);
    rc = tell_kept(t, store, 2, 1, &told, &err);
    check("kept", 0, rc, &err, told);
    rc = tell_scores(t, store, &(struct stage_of){ever, NULL}, &told, &err);
    check("scores", 0, rc, &err, told);
    rc = tell_proposals(t, store, &(struct stage_of){ever, NULL}, &told, &err);
    check("proposals", 0, rc, &err, told);
    rc = gaps_tell(t, store, &gaps, &told, &err);
    check("gaps", 0, rc, &err, told);
    rc = whatif_tell(t, store, &whatif, &told, &err);
    check("whatif", 0, rc, &err, told);
}

static void all_is_told_as_it_was(void **state)
{
    struct fixture f;
    (void)state;
    struct triage *triage = plant(&f);
    of_cases(triage, f.store);
    of_the_plant(triage, f.store);
    told_sentences("tell");
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(all_is_told_as_it_was)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
