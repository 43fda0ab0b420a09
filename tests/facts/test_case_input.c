/* What a ranking starts from: each word of the complaints, and which lots; and what of it cannot be
 * read, now or when its facts are gathered. */
#include "../failing.h"
#include "facts/case_input.h"
#include "facts/facts.h"
#include "fixture.h"
#include "rules/models_file.h"

static int64_t log_one(struct fixture *f, const char *uuid, int day, struct complaint_lots lots,
                       const char *body)
{
    struct complaint_new c = {.uuid = uuid,
                              .received_ms = AT(day, 9),
                              .logged_ms = AT(day, 10),
                              .channel = "phone",
                              .symptom = "mold",
                              .route = "R1",
                              .store = "Elm Street",
                              .code_day = DAY0 + 30,
                              .bought_day = DAY0 + 11,
                              .found_day = DAY0 + 12,
                              .packs = day,
                              .harm = day == 14,
                              .body = body,
                              .lots = lots};
    struct complaint_placed placed = {0};
    struct error err = {0};
    if (store_begin(f->store, &err) || complaint_log(f->store, &c, &placed, &err) ||
        store_commit(f->store, &err))
        fail_msg("%s", err.text);
    return placed.case_id;
}

static const char *const IDS[] = {"01990000-0000-7000-8000-00000000000a",
                                  "01990000-0000-7000-8000-00000000000b"};

static void all_that_was_said(void **state)
{
    const struct complaint_lots one = {.state = LOT_EXACT, .count = 1, .lot = {{5, 0.9}}};
    struct fixture f;
    struct case_input input;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 10);
    int64_t id = log_one(&f, IDS[0], 13, one, "{\"note\":\"sour\"}");
    assert_int_equal(log_one(&f, IDS[1], 14, one, "{\"harm_possible\":true}"), id);
    assert_int_equal(case_input_read(f.store, id, &input, NULL), 0);
    assert_int_equal(input.count, 2);
    for (int i = 0; i < 2; i++) {
        const struct case_complaint *c = &input.complaints[i];
        assert_string_equal(c->uuid, IDS[i]);
        assert_string_equal(c->route, "R1");
        assert_string_equal(c->store, "Elm Street");
        assert_int_equal(c->received_ms, AT(13 + i, 9));
        assert_int_equal(c->code_day, DAY0 + 30);
        assert_int_equal(c->bought_day, DAY0 + 11);
        assert_int_equal(c->found_day, DAY0 + 12);
        assert_int_equal(c->packs, 13 + i);
        assert_int_equal(c->harm, i);
    }
    assert_string_equal(json_string_value(json_object_get(input.complaints[0].body, "note")),
                        "sour");
    assert_int_equal(input.case_id, id);
    assert_int_equal(input.last_id, 2);
    assert_int_equal(input.as_of_ms, AT(14, 9));
    assert_int_equal(input.packs, 27);
    assert_true(input.harm && input.harm_possible && !input.settled);
    assert_int_equal(input.symptom, symptom_of("mold"));
    assert_int_equal(input.lot_count, 1);
    assert_int_equal(input.lots[0].lot_id, 5);
    assert_near(input.lots[0].weight, 1, 0); /* it is the case's */
    assert_near(input.none_weight, 0, 0);
    case_input_clear(&input);
    assert_int_equal(case_input_read(f.store, id + 1, &input, NULL), ERROR_NOT_FOUND);
    fixture_close(&f);
}

/* What is left over is none of them; what is too much is made one. */
static void candidates_of_an_open_case(void **state)
{
    static const struct {
        double given[2], kept[2], none;
    } CASES[] = {{{.5, .2}, {.5, .2}, .3}, {{.6, .4}, {.6, .4}, 0}, {{.9, .9}, {.5, .5}, 0}};
    struct fixture f;
    struct case_input input;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 10);
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const struct complaint_lots lots = {
            .state = LOT_SEVERAL,
            .count = 2,
            .lot = {{5, CASES[i].given[0]}, {6, CASES[i].given[1]}}};
        json_t *body =
            json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:i, s:b}", "symptom", "mold", "received_at",
                      "2026-06-08T00:00:00Z", "id", IDS[0], "found_on", "2026-06-07", "route", "R1",
                      "store", "S1", "packs", 3, "harm_possible", i > 0);
        assert_int_equal(case_input_of(body, &lots, AT(20, 0), &input, NULL), 0);
        json_decref(body);
        assert_int_equal(input.lot_count, 2);
        for (int k = 0; k < 2; k++) {
            assert_int_equal(input.lots[k].lot_id, 5 + k);
            assert_near(input.lots[k].weight, CASES[i].kept[k], 1e-12);
        }
        assert_near(input.none_weight, CASES[i].none, 1e-12);
        assert_int_equal(input.as_of_ms, AT(12, 0));
        assert_int_equal(input.packs, 3);
        assert_false(input.harm);
        assert_int_equal(input.harm_possible, i > 0);
        assert_string_equal(input.complaints[0].uuid, IDS[0]);
        assert_string_equal(input.complaints[0].route, "R1");
        assert_string_equal(input.complaints[0].store, "S1");
        assert_int_equal(input.complaints[0].received_ms, AT(12, 0));
        assert_int_equal(input.complaints[0].found_day, DAY0 + 11);
        assert_int_equal(input.complaints[0].bought_day, WHEN_UNKNOWN_DAY);
        case_input_clear(&input);
    }
    json_t *bad =
        json_pack("{s:s, s:s, s:i}", "symptom", "mold", "received_at", "soon", "packs", 0);
    const struct complaint_lots none = {.state = LOT_UNKNOWN};
    assert_int_equal(case_input_of(bad, &none, AT(20, 0), &input, NULL), 0);
    assert_int_equal(input.as_of_ms, AT(20, 0)); /* what is missing is now */
    assert_int_equal(input.packs, 1);
    assert_near(input.none_weight, 1, 0);
    case_input_clear(&input);
    struct error err = {0};
    json_object_set_new(bad, "symptom", json_string("blue"));
    assert_int_equal(case_input_of(bad, &none, AT(20, 0), &input, &err), ERROR_INVALID);
    assert_string_equal(err.field, "symptom");
    assert_non_null(strstr(err.text, "must be one of mold"));
    json_decref(bad);
    fixture_close(&f);
}

/* The newest speak. */
static void no_more_complaints_than_there_is_room_for(void **state)
{
    const struct complaint_lots one = {.state = LOT_EXACT, .count = 1, .lot = {{5, 0.9}}};
    enum { MORE = 3 };
    struct fixture f;
    struct case_input input;
    int64_t id = 0;
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 2);
    fixture_sql(&f, "PRAGMA synchronous=OFF");
    id = log_one(&f, IDS[0], 13, one, "{}");
    fixture_sql(&f,
                "WITH RECURSIVE n(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM n WHERE n < %d)"
                " INSERT INTO complaint(uuid, received_ms, logged_ms, channel, symptom, lot_id,"
                " lot_state, case_id, packs, body) SELECT printf('u%%04d', n), received_ms + n,"
                " logged_ms, channel, symptom, lot_id, lot_state, case_id, 1, '{}' FROM complaint,"
                " n WHERE id = 1",
                CASE_COMPLAINTS + MORE - 1);
    assert_int_equal(case_input_read(f.store, id, &input, NULL), 0);
    assert_int_equal(input.count, CASE_COMPLAINTS);
    assert_string_equal(input.complaints[0].uuid, "u0003");
    assert_string_equal(input.complaints[CASE_COMPLAINTS - 1].uuid, "u0402");
    case_input_clear(&input);
    fixture_close(&f);
}

struct asked {
    struct fixture *f;
    const struct rules *rules;
    const struct models_parameters *models;
};

/* By caches of its own: nothing is kept from an earlier answer. */
static int gather(void *arg, struct error *err)
{
    struct asked *a = arg;
    struct facts_source source = {.rules = a->rules,
                                  .models = a->models,
                                  .tz = fixture_utc(),
                                  .lots = cache_new(64),
                                  .baselines = cache_new(16),
                                  .logs = cache_new(64),
                                  .records = cache_new(16),
                                  .predictions = cache_new(16),
                                  .companies = cache_new(16),
                                  .company = company_new()};
    struct case_input input;
    struct fact_set facts;
    int rc = case_input_read(a->f->store, 1, &input, err);
    if (!rc) {
        rc = facts_gather(&source, a->f->store, &input, input.lots[0].lot_id, &facts, err);
        if (!rc)
            fact_set_clear(&facts);
        case_input_clear(&input);
    }
    company_free(source.company);
    cache_free(source.lots);
    cache_free(source.baselines);
    cache_free(source.logs);
    cache_free(source.records);
    cache_free(source.predictions);
    cache_free(source.companies);
    return rc;
}

static void what_cannot_be_read_is_no_fact(void **state)
{
    struct fixture f;
    struct models_parameters models;
    struct rules *rules = NULL;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 10);
    fixture_complain(&f, "mold", fixture_lot(8, 1, 1), AT(12, 9), "{}");
    fixture_complain(&f, "mold", fixture_lot(7, 1, 1), AT(12, 8), "{}");
    if (rules_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &rules, &err) ||
        models_file_load(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &models, &err))
        fail_msg("%s", err.text);
    struct asked a = {&f, rules, &models};
    failing_check(f.store, gather, &a, "facts", 0);
    rules_free(rules);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_that_was_said),
        cmocka_unit_test(candidates_of_an_open_case),
        cmocka_unit_test(no_more_complaints_than_there_is_room_for),
        cmocka_unit_test(what_cannot_be_read_is_no_fact),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
