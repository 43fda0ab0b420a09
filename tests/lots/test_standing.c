/* What is said of a lot, state by state: no text names one lot alone below the settle level, and
 * the code as read goes along. */
#include "check.h"
#include "state.h"

#include "base/tz_of.h"
#include "lots/lot_rules.h"
#include "lots/standing.h"
#include "store/db.h"
#include "store/lot_find.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct world {
    char folder[64];
    struct store *store;
    struct lot_matcher *matcher;
    struct tz *tz;
} world;

static int32_t day(const char *text)
{
    int32_t ret = WHEN_UNKNOWN_DAY;
    assert_int_equal(day_parse(text, &ret, NULL), 0);
    return ret;
}

static void sql(const char *text)
{
    struct error err = {0};
    if (db_exec(world.store, text, &err) < 0)
        fail_msg("%s", err.text);
}

/* Two lines, one product, three lots a line and day from 1 to 20 November 2026. */
static int set_up(void **state)
{
    (void)state;
    struct error err = {0};
    strcpy(world.folder, "/tmp/oddloaf-standing-XXXXXX");
    if (!state_folder(world.folder) ||
        store_open(world.folder, STORE_WRITE, &world.store, &err) < 0 ||
        tz_open("America/New_York", &world.tz, &err) < 0 ||
        lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", NULL, NULL, &world.matcher, &err))
        return -1;
    sql("INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
        "VALUES(1,'W24','White Pan','pan-bread',10,680,NULL)");
    int id = 0;
    for (int32_t d = day("2026-11-01"); d <= day("2026-11-20"); d++)
        for (int line = 1; line <= 2; line++)
            for (int k = 0; k < 3; k++) {
                char text[300], code[32], fold[32];
                static const int HOUR[] = {4, 10, 18};
                snprintf(code, sizeof code, "L%d 6%03d %c%02d12", line, day_of_year(d), "ABC"[k],
                         HOUR[k]);
                long long at = (long long)tz_instant_ms(world.tz, d, HOUR[k] * 60 + 12);
                snprintf(text, sizeof text,
                         "INSERT INTO lot VALUES(%d,'%s','%s','',1,'%d','',%lld,%lld,%lld,%lld,"
                         "7000,%d)",
                         ++id, code, lot_find_fold(code, fold, sizeof fold), line, at, at, at,
                         at + 10800000, d + 10);
                sql(text);
            }
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    char command[96];
    lot_rules_free(world.matcher);
    store_close(world.store);
    tz_close(world.tz);
    snprintf(command, sizeof command, "rm -r %s", world.folder);
    return system(command); /* NOLINT: a test's own folder */
}

static struct lot_query query_of(const char *text, const char *code_date)
{
    struct lot_query q = {.lot_text = text,
                          .product = "W24",
                          .code_day = code_date ? day(code_date) : WHEN_UNKNOWN_DAY,
                          .bought_day = WHEN_UNKNOWN_DAY,
                          .found_day = WHEN_UNKNOWN_DAY,
                          .tz = world.tz};
    assert_int_equal(when_parse("2026-11-25T10:00:00-05:00", &q.received_ms, NULL), 0);
    return q;
}

static json_t *told(const char *text, const char *code_date)
{
    struct lot_query q = query_of(text, code_date);
    struct lot_match_result r;
    struct standing s;
    struct error err = {0};
    json_t *json = json_object();
    if (match_lot(world.matcher, world.store, &q, &r, &err) ||
        standing_of_match(world.store, &q, &r, &s, &err))
        fail_msg("%s", err.text);
    standing_json(&s, json);
    json_object_set_new(json, "lots", standing_lots_json(&s));
    return json;
}

static const char *text_of(const json_t *json, const char *name)
{
    const char *text = json_string_value(json_object_get(json, name));
    return text ? text : "";
}

static void check(const json_t *json, const char *state, const char *named, const char *says)
{
    assert_string_equal(text_of(json, "lot_state"), state);
    assert_string_equal(text_of(json, "lot_named"), named);
    if (strcmp(text_of(json, "lot_says"), says) != 0)
        fail_msg("%s", text_of(json, "lot_says"));
}

static void check_decides(const json_t *json, const char *wanted)
{
    char *text = json_dumps(json_object_get(json, "lot_decides"), 0);
    assert_string_equal(text, wanted);
    free(text);
}

static void exact(void **state)
{
    (void)state;
    json_t *json = told("L2 6321 A0412", NULL);
    check(json, "exact", "L2 6321 A0412", "L2 6321 A0412: the code read is on record");
    assert_string_equal(text_of(json, "lot"), "L2 6321 A0412");
    check_decides(json, "[]");
    json_decref(json);
    json = told("l26321a0412", NULL);
    check(json, "exact", "L2 6321 A0412",
          "L2 6321 A0412: the code read is on record; as read: l26321a0412");
    json_decref(json);
}

static void likely(void **state)
{
    (void)state;
    json_t *json = told("L2 632I AO412", "2026-11-27");
    assert_string_equal(text_of(json, "lot_state"), "likely");
    assert_string_equal(text_of(json, "lot_named"), "likely L2 6321 A0412");
    assert_string_equal(text_of(json, "lot"), "L2 6321 A0412");
    assert_string_equal(text_of(json, "lot_text"), "L2 632I AO412");
    assert_non_null(strstr(text_of(json, "lot_says"), "likely L2 6321 A0412 (>99 %)"));
    assert_non_null(strstr(text_of(json, "lot_says"), "as read: L2 632I AO412"));
    check_decides(json, "[\"a photo of the code\"]");
    json_decref(json);
}

static void likely_though_it_reads_whole(void **state)
{
    (void)state;
    json_t *json = told("L2 6321 A0912", "2026-11-27"); /* no room for a lot then */
    assert_string_equal(text_of(json, "lot_state"), "likely");
    assert_non_null(strstr(text_of(json, "lot_says"), "if the code was misread: L2 6321 A0912, as "
                                                      "read, is whole and on no record"));
    json_decref(json);
}

static void impossible(void **state)
{
    (void)state;
    json_t *json = told("L2 6421 A0412", NULL); /* a 4 for a 3, most likely */
    assert_string_equal(text_of(json, "lot_state"), "likely");
    assert_string_equal(text_of(json, "lot_named"), "likely L2 6321 A0412");
    assert_non_null(strstr(text_of(json, "lot_says"),
                           "if the code was misread: L2 6421 A0412, as "
                           "read, cannot be right, for there is no day 421"));
    json_decref(json);
    json = told("L2 6400 A9912", NULL);
    assert_string_not_equal(text_of(json, "lot_state"), "likely");
    assert_non_null(strstr(text_of(json, "lot_says"),
                           "the code as read, L2 6400 A9912, cannot be right, for there is no day "
                           "400: it was misread, or printed wrong"));
    double named = 0;
    size_t i;
    const json_t *lot;
    json_array_foreach(json_object_get(json, "lots"), i, lot) named +=
        json_number_value(json_object_get(lot, "weight"));
    assert_true(named < 0.95); /* and nothing says that it is one of these */
    json_decref(json);
}

static void several(void **state)
{
    (void)state;
    json_t *json = told(NULL, "2026-11-27");
    check(json, "several", "one of several lots",
          "not certain: the likeliest lot has 16 %; no code was read");
    assert_true(json_is_null(json_object_get(json, "lot")));
    assert_true(json_is_null(json_object_get(json, "lot_text")));
    assert_true(json_array_size(json_object_get(json, "lots")) >= 6);
    check_decides(json, "[\"the line (2, 1)\", \"the time of packing in the code (04:12 to "
                        "18:12)\", \"the code on the bag, or a photo of it\"]");
    struct lot_query q = query_of(NULL, "2026-11-27");
    struct lot_match_result r;
    struct standing s;
    assert_int_equal(match_lot(world.matcher, world.store, &q, &r, NULL), 0);
    assert_true(r.codes_hold_time);
    r.codes_hold_time = false; /* no pattern of the plant has a time */
    assert_int_equal(standing_of_match(world.store, &q, &r, &s, NULL), 0);
    standing_json(&s, json);
    check_decides(json, "[\"the line (2, 1)\", \"the code on the bag, or a photo of it\"]");
    json_decref(json);
    struct lot_matcher *plain = lot_rules_default();
    assert_int_equal(match_lot(plain, world.store, &q, &r, NULL), 0);
    assert_false(r.codes_hold_time);
    lot_rules_free(plain);
}

/* What was said where the code is asked for is not asked again, and not called a code. */
static void name_and_date_for_a_code(void **state)
{
    (void)state;
    json_t *json = told("White Pan best by 2026-11-27", NULL);
    check(json, "several", "one of several lots",
          "not certain: the likeliest lot has 16 %; no code is in what was read: White Pan best by "
          "2026-11-27");
    check_decides(json, "[\"the line (2, 1)\", \"the time of packing in the code (04:12 to "
                        "18:12)\", \"the code on the bag, or a photo of it\"]");
    json_decref(json);
}

static void exact_with_another_code_date(void **state)
{
    (void)state;
    json_t *json = told("L2 6321 A0412", "2026-11-28");
    assert_string_equal(text_of(json, "lot_state"), "exact");
    assert_non_null(strstr(text_of(json, "lot_says"),
                           "is on record, but what else was said does not fit it: it is this lot "
                           "with "));
    check_decides(json, "[\"the dates and the product, asked again\", \"a photo of the code\"]");
    json_decref(json);
}

static void contradicted(void **state)
{
    (void)state;
    struct lot_query q = query_of("L2 6321 A0412", "2026-11-19");
    struct lot_match_result r;
    struct standing s;
    json_t *json = json_object();
    q.found_day = day("2026-11-10"); /* packed a week later */
    assert_int_equal(match_lot(world.matcher, world.store, &q, &r, NULL), 0);
    assert_int_equal(standing_of_match(world.store, &q, &r, &s, NULL), 0);
    standing_json(&s, json);
    assert_string_not_equal(text_of(json, "lot_state"), "exact");
    assert_non_null(strstr(text_of(json, "lot_says"), "as read: L2 6321 A0412, is on record"));
    json_decref(json);
}

static void not_on_record(void **state)
{
    (void)state;
    json_t *json = told("L2 6328 A0412", NULL);
    check(json, "not-on-record", "L2 6328 A0412, not on record",
          "L2 6328 A0412 is on no record; its day, 2026-11-24, lies after the last lots loaded, "
          "which end on 2026-11-20");
    assert_true(json_is_null(json_object_get(json, "lot")));
    assert_string_equal(text_of(json, "lot_text"), "L2 6328 A0412");
    check_decides(json, "[\"the lots of 2026-11-24, loaded\", \"a photo of the code\"]");
    json_decref(json);
    json = told("L1 6315 B0745", NULL);
    check(json, "not-on-record", "L1 6315 B0745, not on record",
          "L1 6315 B0745 is on no record; its day, 2026-11-11, lies within the records, so the lot "
          "is missing there or the code was misread");
    json_decref(json);
    json = told("L3 6315 B1355", NULL);
    assert_non_null(strstr(text_of(json, "lot_says"),
                           "of its line nothing is on record; its day is 2026-11-11"));
    json_decref(json);
}

/* What is said of a code that was on no record when it was placed. */
static json_t *told_kept(const char *text)
{
    struct standing standing;
    const struct lot_query q = query_of(text, NULL);
    const struct standing_kept none = {.state = LOT_NOT_ON_RECORD};
    json_t *said = json_object();
    assert_int_equal(standing_of_kept(world.matcher, world.store, &q, &none, &standing, NULL), 0);
    standing_json(&standing, said);
    return said;
}

/* It is 25 November at the desk and 26 November in one of its plants already. */
static void today_in_the_plant_has_come(void **state)
{
    (void)state;
    struct tz *own = world.tz;
    assert_int_equal(tz_open("America/New_York", &world.tz, NULL), 0);
    assert_int_equal(tz_of_add(world.tz, "east", "Pacific/Auckland", NULL), 0);
    json_t *json = told_kept("L2 6330 A0412");
    if (!strstr(text_of(json, "lot_says"),
                "its day, 2026-11-26, lies after the last lots loaded, which end on 2026-11-20"))
        fail_msg("%s", text_of(json, "lot_says"));
    json_decref(json);
    json = told_kept("L2 6331 A0412");
    assert_non_null(strstr(text_of(json, "lot_says"), "its day, 2026-11-27, has not come yet"));
    json_decref(json);
    tz_close(world.tz);
    world.tz = own;
}

/* However near to a lot on record it reads: of its day nothing can be there. */
static void in_the_future(void **state)
{
    (void)state;
    static const struct {
        const char *code, *day;
    } CODES[] = {{"L2 6360 A0412", "2026-12-26"},
                 {"L1 6331 B1012", "2026-11-27"},
                 {"L2 7021 C1812", "2027-01-21"}};
    for (size_t i = 0; i < COUNT_OF(CODES); i++) {
        char named[64], says[160];
        snprintf(named, sizeof named, "%s, not on record", CODES[i].code);
        snprintf(says, sizeof says,
                 "%s is on no record; its day, %s, has not come yet, so the code was misread or "
                 "printed wrong",
                 CODES[i].code, CODES[i].day);
        json_t *json = told(CODES[i].code, i ? "2026-11-27" : NULL);
        check(json, "not-on-record", named, says);
        check_decides(json, "[\"a photo of the code\"]");
        json_decref(json);
    }
}

static void unknown(void **state)
{
    (void)state;
    struct lot_query q = query_of("L? ???? ?????", NULL);
    struct lot_match_result r;
    struct standing s;
    json_t *json = json_object();
    q.product = NULL;
    assert_int_equal(match_lot(world.matcher, world.store, &q, &r, NULL), 0);
    assert_int_equal(standing_of_match(world.store, &q, &r, &s, NULL), 0);
    standing_json(&s, json);
    check(json, "unknown", "lot not known", "not known; the code as read: L? ???? ?????");
    assert_true(json_is_null(json_object_get(json, "lot")));
    check_decides(json, "[\"the product\", \"the code date\", \"a photo of the code\"]");
    s.has_product = s.has_code_date = true; /* what was just given is not asked for */
    standing_json(&s, json);
    check_decides(json, "[\"a photo of the code\"]");
    json_decref(json);
}

/* A complaint as it was placed says the same. */
static void kept(void **state)
{
    (void)state;
    static const char *const TEXTS[] = {"L2 6321 A0412", "L2 632I AO412", "L2 6328 A0412", NULL};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        struct lot_query q = query_of(TEXTS[i], "2026-11-27");
        struct lot_match_result r;
        struct standing a, b;
        int64_t lot_id[LOT_MATCH_CANDIDATES];
        double weight[LOT_MATCH_CANDIDATES];
        assert_int_equal(match_lot(world.matcher, world.store, &q, &r, NULL), 0);
        for (size_t k = 0; k < r.count; k++) {
            lot_id[k] = r.candidate[k].lot_id;
            weight[k] = r.candidate[k].weight;
        }
        const struct standing_kept as_kept = {r.state, lot_id, weight, r.count};
        assert_int_equal(standing_of_match(world.store, &q, &r, &a, NULL), 0);
        assert_int_equal(standing_of_kept(world.matcher, world.store, &q, &as_kept, &b, NULL), 0);
        json_t *said = json_object(), *again = json_object();
        standing_json(&a, said);
        standing_json(&b, again);
        assert_true(json_equal(said, again));
        json_decref(said);
        json_decref(again);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact),
        cmocka_unit_test(likely),
        cmocka_unit_test(likely_though_it_reads_whole),
        cmocka_unit_test(impossible),
        cmocka_unit_test(several),
        cmocka_unit_test(name_and_date_for_a_code),
        cmocka_unit_test(exact_with_another_code_date),
        cmocka_unit_test(contradicted),
        cmocka_unit_test(not_on_record),
        cmocka_unit_test(today_in_the_plant_has_come),
        cmocka_unit_test(in_the_future),
        cmocka_unit_test(unknown),
        cmocka_unit_test(kept),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
