/* What the matcher understands and which lots it names, on one small invented plant. */
#include "check.h"
#include "failing.h"
#include "state.h"

#include "base/text.h"
#include "lots/lot_rules.h"
#include "lots/match.h"
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

static int64_t ms(const char *text)
{
    int64_t ret = 0;
    assert_int_equal(when_parse(text, &ret, NULL), 0);
    return ret;
}

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

/* Three lines, three products, four lots a line and day from 30 October to 24 November 2026. */
static void make_lots(void)
{
    static const int HOUR[] = {4, 9, 14, 20};
    sql("BEGIN");
    sql("INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
        "VALUES(1,'W24','White Pan','pan-bread',10,680,'09520000000011'),"
        "(2,'H24','Honey Oat','pan-bread',10,680,'9520000000028'),"
        "(3,'B08','Buns','bun',9,480,NULL)");
    int id = 0;
    for (int32_t d = day("2026-10-30"); d <= day("2026-11-24"); d++)
        for (int line = 1; line <= 3; line++)
            for (int k = 0; k < 4; k++) {
                char text[400], code[32], fold[32];
                int product = line == 3 ? 3 : 1 + k % 2;
                snprintf(code, sizeof code, "L%d 6%03d %c%02d%02d", line, day_of_year(d), "ABBC"[k],
                         HOUR[k], 10 + line);
                int64_t at = tz_instant_ms(world.tz, d, HOUR[k] * 60 + 10 + line);
                snprintf(text, sizeof text,
                         "INSERT INTO lot VALUES(%d,'%s','%s','',%d,'%d','',%lld,%lld,%lld,%lld,"
                         "7000,%d)",
                         ++id, code, lot_find_fold(code, fold, sizeof fold), product, line,
                         (long long)at, (long long)at, (long long)at, (long long)at + 7200000,
                         d + (product == 3 ? 9 : 10));
                sql(text);
                snprintf(text, sizeof text,
                         "INSERT INTO dispatch(lot_id,route,store,at_ms,units) VALUES"
                         "(%d,'R1','%04d',%lld,3500),(%d,'R2','%04d',%lld,3500)",
                         id, 100 + k, (long long)at, id, 200 + k, (long long)at);
                sql(text);
            }
    sql("COMMIT");
}

static int set_up(void **state)
{
    (void)state;
    struct error err = {0};
    strcpy(world.folder, "/tmp/oddloaf-match-XXXXXX");
    if (!state_folder(world.folder) ||
        store_open(world.folder, STORE_WRITE, &world.store, &err) < 0 ||
        tz_open("America/New_York", &world.tz, &err) < 0 ||
        lot_rules_load(ODDLOAF_SOURCE_DIR "/rules/lots.json", NULL, NULL, &world.matcher, &err))
        return -1;
    make_lots();
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

static struct lot_query query(const char *text)
{
    return (struct lot_query){.lot_text = text,
                              .code_day = WHEN_UNKNOWN_DAY,
                              .bought_day = WHEN_UNKNOWN_DAY,
                              .found_day = WHEN_UNKNOWN_DAY,
                              .received_ms = ms("2026-11-22T10:00:00-05:00"),
                              .tz = world.tz};
}

static struct lot_match_result match(struct lot_query q)
{
    struct lot_match_result result;
    struct error err = {0};
    if (match_lot(world.matcher, world.store, &q, &result, &err) < 0)
        fail_msg("%s", err.text);
    return result;
}

static void exact_codes(void **state)
{
    (void)state;
    static const char *const TEXTS[] = {"L2 6321 B0912", "l26321b0912", "LOT: L2 6321 B0912",
                                        "Lot # L2-6321-B0912", " L2  6321 B0912."};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        struct lot_match_result r = match(query(TEXTS[i]));
        assert_true(r.exact);
        assert_string_equal(r.candidate[0].code, "L2 6321 B0912");
        assert_true(r.candidate[0].weight > 0.95);
        assert_true(r.candidate[0].weight < 1);
        assert_int_equal(r.candidate[0].edits, 0);
        assert_int_equal(r.settled_lot_id, r.candidate[0].lot_id);
        assert_string_equal(r.parsed.line, "2");
        assert_int_equal(r.parsed.day, day("2026-11-17"));
        assert_int_equal(r.parsed.minute, 9 * 60 + 12);
        assert_string_equal(r.parsed.code, "L2 6321 B0912");
        assert_true(r.parsed.at_ms == ms("2026-11-17T09:12:00-05:00"));
    }
}

static void misread_codes(void **state)
{
    (void)state;
    static const char *const TEXTS[] = {"L2 632I B0912", "L2 6321 BO912", "L2 6321 80912",
                                        "L2 6321 B0921", "L2 631 B0912",  "L2 63321 B0912",
                                        "2 6321 B0912",  "L2 6321 0912",  "6321 B0912",
                                        "LZ 6321 B0912", "L2 3621 B0912"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        struct lot_query q = query(TEXTS[i]);
        q.product = "H24";
        q.code_day = day("2026-11-27"); /* without it, 631 may be any of ten days */
        struct lot_match_result r = match(q);
        assert_false(r.exact);
        assert_true(r.count >= 1);
        bool found = !strcmp(r.candidate[0].code, "L2 6321 B0912");
        if (!found)
            fail_msg("%s gives %s %.3f", TEXTS[i], r.candidate[0].code, r.candidate[0].weight);
        assert_true(r.candidate[0].edits > 0);
    }
}

/* A single misread character that happens to be another lot's right code must not be taken as that
 * lot when product and code date say otherwise. */
static void contradictions_lower_an_exact_hit(void **state)
{
    (void)state;
    struct lot_query q = query("L2 6321 B0912"); /* a Honey Oat lot, best by 27 November */
    double alone = match(q).candidate[0].weight;
    q.product = "H24";
    q.code_day = day("2026-11-27");
    double agreed = match(q).candidate[0].weight;
    assert_true(agreed >= alone * 0.999);
    q.product = "W24";
    q.code_day = day("2026-11-25");
    struct lot_match_result r = match(q);
    assert_true(r.exact);
    double contradicted = 0;
    for (size_t i = 0; i < r.count; i++)
        if (!strcmp(r.candidate[i].code, "L2 6321 B0912"))
            contradicted = r.candidate[i].weight;
    assert_true(contradicted < 0.5);
    assert_int_equal(r.settled_lot_id == r.candidate[0].lot_id,
                     r.candidate[0].weight >= LOT_SETTLE_AT);
}

/* What people call a product and a store is as good as their codes. */
static void product_and_store_as_people_say_them(void **state)
{
    (void)state;
    static const char *const CALLED[] = {"white pan", "White Pan", "w-24", "a loaf of white",
                                         "9520000000011"};
    struct lot_query q = query("L1 6321 A04??");
    q.product = "W24";
    q.store = "0100";
    struct lot_match_result by_code = match(q);
    for (size_t i = 0; i < sizeof CALLED / sizeof *CALLED; i++) {
        q.product = CALLED[i];
        q.store = "store 100";
        struct lot_match_result r = match(q);
        assert_int_equal(r.count, by_code.count);
        assert_int_equal(r.candidate[0].lot_id, by_code.candidate[0].lot_id);
        assert_float_equal(r.candidate[0].weight, by_code.candidate[0].weight, 1e-9);
        assert_int_equal(r.product_id, 1);
        assert_string_equal(r.store, "0100");
    }
}

/* A store that no dispatch names says nothing; one that got others casts doubt on a clear code; of
 * a part of a name it is not known whether that store is meant. */
static void stores_that_others_got(void **state)
{
    (void)state;
    struct lot_query q = query("L1 6321 B0911");
    const double unsaid = match(q).candidate[0].weight;
    sql("UPDATE dispatch SET store = 'Harrow Elm' WHERE store = '0100'");
    q.store = "9999";
    struct lot_match_result r = match(q);
    assert_int_equal(r.state, LOT_EXACT);
    assert_float_equal(r.candidate[0].weight, unsaid, 1e-12);
    q.store = "Harrow Elm";
    r = match(q);
    assert_int_equal(r.state, LOT_SEVERAL);
    q.store = "Elm";
    r = match(q);
    assert_string_equal(r.store, "Harrow Elm");
    assert_int_equal(r.state, LOT_EXACT);
    assert_true(r.candidate[0].weight < unsaid);
    sql("UPDATE dispatch SET store = '0100' WHERE store = 'Harrow Elm'");
}

/* Of several that may be meant, none is the one: their lots agree, others do not. */
static void product_that_fits_several(void **state)
{
    (void)state;
    struct lot_query q = query(NULL);
    q.product = "pan-bread";
    q.code_day = day("2026-11-27");
    struct lot_match_result r = match(q);
    assert_int_equal(r.product_id, 0);
    assert_true(r.count >= 8);
    for (int i = 0; i < 8; i++)
        assert_true(r.candidate[i].code[1] != '3'); /* line 3 makes buns */
    q.product = "nothing of ours";
    struct lot_match_result none = match(q);
    q.product = NULL;
    struct lot_match_result unsaid = match(q);
    assert_float_equal(none.candidate[0].weight, unsaid.candidate[0].weight, 1e-12);
}

/* Where harm is looked for every lot that it may be counts, not the likeliest alone. */
static void all_that_it_may_be(void **state)
{
    (void)state;
    struct error err = {0};
    struct lot_query q = query(NULL);
    q.product = "W24";
    struct lot_match_result r = match(q);
    struct lot_match_all *all = xcalloc(1, sizeof *all);
    assert_int_equal(match_lot_all(world.matcher, world.store, &q, all, &err), 0);
    assert_int_equal(r.count, LOT_MATCH_CANDIDATES);
    assert_true(all->count > LOT_MATCH_CANDIDATES && all->count < LOT_MATCH_ALL);
    assert_int_equal(all->left_out, 0);
    for (size_t i = 0; i < all->count; i++) {
        assert_true(i >= r.count || all->candidate[i].lot_id == r.candidate[i].lot_id);
        assert_true(!i || all->candidate[i].weight <= all->candidate[i - 1].weight);
        for (size_t k = 0; k < i; k++)
            assert_true(all->candidate[i].lot_id != all->candidate[k].lot_id);
    }
    q.product = "pan-bread"; /* more than can be weighed: how many is said */
    assert_int_equal(match_lot_all(world.matcher, world.store, &q, all, &err), 0);
    int64_t made = 0;
    assert_int_equal(
        db_number(world.store,
                  "SELECT count(*) FROM lot WHERE product_id < 3 AND packed_from_ms <= ?1",
                  DB(DB_MS(q.received_ms)), &made, &err),
        0);
    print_message("%zu and %zu of %lld\n", all->count, all->left_out, (long long)made);
    assert_int_equal(all->left_out, made - LOT_MATCH_ALL);
    free(all);
}

/* Who has no code says what it is and its date, where the code is asked for. */
static void product_named_as_the_code(void **state)
{
    (void)state;
    static const char *const SAID[] = {"Honey Oat best by 2026-11-29", "honey oat 11/29/2026",
                                       "H24 2026-11-29", "Honey O\303\241t, Nov 29 2026"};
    for (size_t i = 0; i < COUNT_OF(SAID); i++) {
        struct lot_match_result r = match(query(SAID[i]));
        double two = r.candidate[0].weight + r.candidate[1].weight;
        two += r.candidate[2].weight + r.candidate[3].weight;
        print_message("%s: %.3f of its four lots\n", SAID[i], two);
        assert_string_equal(r.parsed.product, "H24");
        assert_string_equal(r.parsed.text, "");
        assert_int_equal(r.product_id, 2);
        assert_true(two > 0.9);
        for (size_t k = 0; k < 4; k++)
            assert_memory_equal(r.candidate[k].code + 3, "6323", 4);
    }
    struct lot_query q = query("honey oat");
    q.code_day = day("2026-11-29");
    assert_string_equal(match(q).parsed.product, "H24");
    q.product = "W24"; /* what the desk chose stands before it */
    assert_int_equal(match(q).product_id, 1);
    /* beside a misread code it helps as if it had been chosen */
    q = query("Honey Oat L2 6321 B0913");
    assert_string_equal(match(q).parsed.product, "H24");
    assert_string_equal(match(q).parsed.text, "L2 6321 B0913");
    /* a code is no name */
    assert_string_equal(match(query("L2 6321 B0912")).parsed.product, "");
    assert_string_equal(match(query("WHT 24")).parsed.text, "WHT 24");
}

static void product_and_code_date_alone(void **state)
{
    (void)state;
    struct lot_query q = query(NULL);
    q.product = "W24";
    q.code_day = day("2026-11-27");
    struct lot_match_result r = match(q);
    /* two lines, two lots each of that product and date */
    assert_true(r.count >= 4);
    double four = 0;
    for (int i = 0; i < 4; i++) {
        assert_int_equal(strncmp(r.candidate[i].code + 2, " 6321 ", 6), 0);
        assert_int_equal(r.candidate[i].edits, -1);
        four += r.candidate[i].weight;
    }
    assert_true(four > 0.8);
    assert_false(r.exact);
    assert_int_equal(r.settled_lot_id, 0);
    q.store = "0102"; /* only the afternoon lots go there */
    r = match(q);
    assert_int_equal(strncmp(r.candidate[0].code + 2, " 6321 B14", 9), 0);
    assert_int_equal(strncmp(r.candidate[1].code + 2, " 6321 B14", 9), 0);
    assert_true(r.candidate[0].weight + r.candidate[1].weight > 0.7);
}

static void scanned_labels(void **state)
{
    (void)state;
    struct lot_match_result r = match(query("(01)09520000000011(10)L16321A0411(17)261127"));
    assert_string_equal(r.candidate[0].code, "L1 6321 A0411");
    assert_true(r.candidate[0].weight > 0.99);
    assert_string_equal(r.parsed.product, "W24");
    assert_string_equal(r.parsed.gtin, "09520000000011");
    assert_int_equal(r.parsed.code_day, day("2026-11-27"));
    assert_true(r.parsed.scanned);
    r = match(query("]C1010952000000001110L16321A0411\x1d"
                    "17261127"));
    assert_string_equal(r.candidate[0].code, "L1 6321 A0411");
    r = match(query("https://example.com/01/09520000000011/10/L16321A0411"));
    assert_string_equal(r.candidate[0].code, "L1 6321 A0411");
    /* loaded with 13 digits, scanned with 14 */
    r = match(query("(01)09520000000028(10)L16321B0911"));
    assert_string_equal(r.parsed.product, "H24");
    /* a mistyped GTIN does not cost us the lot */
    r = match(query("(01)09520000000012(10)L16321A0411"));
    assert_string_equal(r.candidate[0].code, "L1 6321 A0411");
    assert_non_null(strstr(r.parsed.problem, "check digit"));
    assert_false(r.parsed.scanned);
    /* the number under the barcode, read out instead of the lot */
    r = match(query("9520000000011"));
    assert_string_equal(r.parsed.product, "W24");
    assert_string_equal(r.parsed.text, "");
    assert_true(r.count > 4);
}

static void dates_beside_the_code(void **state)
{
    (void)state;
    struct lot_match_result r = match(query("L1 6321 A0411 best by Nov 27"));
    assert_true(r.exact);
    assert_int_equal(r.parsed.code_day, day("2026-11-27"));
    r = match(query("BEST BY 11/27/26"));
    assert_string_equal(r.parsed.text, "");
    assert_int_equal(r.parsed.code_day, day("2026-11-27"));
    assert_true(r.count >= 8);
}

static void nothing_to_go_by(void **state)
{
    (void)state;
    struct lot_match_result r = match(query(""));
    assert_int_equal(r.count, 0);
    assert_true(r.none_weight == 1);
    r = match(query("the blue one with the smiling loaf"));
    assert_true(r.none_weight > 0.9);
    assert_int_equal(r.settled_lot_id, 0);
    struct lot_query q = query("L2 6321 B0912");
    q.received_ms = ms("2026-10-01T10:00:00-05:00"); /* before any lot was packed */
    r = match(q);
    assert_int_equal(r.settled_lot_id, 0);
}

/* A well-formed code of a lot nobody loaded: likely none of ours, or one that differs little. */
static void unrecorded_lots(void **state)
{
    (void)state;
    sql("DELETE FROM dispatch WHERE lot_id IN (SELECT id FROM lot WHERE lot = 'L3 6320 B1413')");
    sql("DELETE FROM lot WHERE lot = 'L3 6320 B1413'");
    struct lot_match_result r = match(query("L3 6320 B1413"));
    assert_false(r.exact);
    assert_int_equal(r.settled_lot_id, 0);
    assert_true(r.none_weight > 0.02);
}

static enum lot_state state_of(const char *text, const char *product, const char *code_date)
{
    struct lot_query q = query(text);
    q.product = product;
    if (code_date)
        q.code_day = day(code_date);
    q.received_ms = ms("2026-11-29T10:00:00-05:00"); /* the records end on the 24th */
    return match(q).state;
}

static void how_sure_it_is(void **state)
{
    (void)state;
    assert_int_equal(state_of("L2 6321 B0912", NULL, NULL), LOT_EXACT);
    assert_int_equal(state_of("L2 6321 B0912", "H24", "2026-11-27"), LOT_EXACT);
    assert_int_equal(state_of("L2 6321 B09I2", "H24", "2026-11-27"), LOT_LIKELY);
    assert_int_equal(state_of(NULL, "W24", "2026-11-27"), LOT_SEVERAL);
    assert_int_equal(state_of("L? ???? ?????", NULL, NULL), LOT_UNKNOWN);
    assert_int_equal(state_of("", NULL, NULL), LOT_UNKNOWN);
    /* on record, but not with this date */
    assert_int_equal(state_of("L2 6321 B0912", "W24", "2026-11-25"), LOT_SEVERAL);
}

/* A clear, complete code that no record bears is that, and not its neighbour's. */
static void codes_on_no_record(void **state)
{
    (void)state;
    static const struct {
        const char *text;
        enum lot_gap gap;
    } ROWS[] = {{"L3 6329 B0913", LOT_GAP_LATER},
                {"L36329B0913", LOT_GAP_LATER},
                {"LOT L3 6329 B0913 best by 12/05", LOT_GAP_LATER},
                {"L2 6329 A0412", LOT_GAP_LATER}, /* a day after L2 6328 A0412 */
                {"L3 6320 B1113", LOT_GAP_AMONG}};
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct lot_query q = query(ROWS[i].text);
        q.received_ms = ms("2026-11-29T10:00:00-05:00");
        struct lot_match_result r = match(q);
        if (r.state != LOT_NOT_ON_RECORD)
            fail_msg("%s is %s, %s %.3f", ROWS[i].text, lot_state_word(r.state),
                     r.candidate[0].code, r.candidate[0].weight);
        assert_int_equal(r.gap, ROWS[i].gap);
        assert_int_equal(r.settled_lot_id, 0);
        assert_true(r.unrecorded_weight > 0 && r.unrecorded_weight <= r.none_weight);
    }
    /* product and code date of the neighbour, and two characters that look alike: misread */
    assert_int_equal(state_of("L2 6321 B0972", "H24", "2026-11-27"), LOT_LIKELY);
    /* nothing at all on record */
    struct lot_query q = query("L3 6280 B0913");
    q.received_ms = ms("2026-10-12T10:00:00-05:00");
    assert_int_equal(match(q).state, LOT_NOT_ON_RECORD);
}

/* Half a code of a day that is not on record yet is not the code of a day that is. */
static void half_read_codes_on_no_record(void **state)
{
    (void)state;
    static const char *const TEXTS[] = {"L3 6329 B091", "L3 6329 B09I3", "3 6329 B0913",
                                        "L3 6329 BO913"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        enum lot_state told = state_of(TEXTS[i], NULL, NULL);
        if (lot_state_names_one(told))
            fail_msg("%s is %s", TEXTS[i], lot_state_word(told));
    }
}

static void the_same_answer_every_time(void **state)
{
    (void)state;
    struct lot_query q = query("L2 6321");
    q.product = "W24";
    struct lot_match_result a = match(q), b = match(q);
    assert_int_equal(a.count, b.count);
    for (size_t i = 0; i < a.count; i++) {
        assert_int_equal(a.candidate[i].lot_id, b.candidate[i].lot_id);
        assert_true(a.candidate[i].weight == b.candidate[i].weight);
    }
    assert_int_equal(strncmp(a.candidate[0].code, "L2 6321", 7), 0);
    assert_int_equal(strncmp(a.candidate[1].code, "L2 6321", 7), 0);
}

static void inside_a_transaction(void **state)
{
    (void)state;
    assert_int_equal(store_begin(world.store, NULL), 0);
    assert_true(match(query("L2 6321 B0912")).exact);
    store_rollback(world.store);
}

static void folding(void **state)
{
    (void)state;
    char out[16];
    assert_string_equal(lot_find_fold("L2 6321 b0412", out, sizeof out), "L26321B0412");
    assert_string_equal(lot_find_fold("--- / ", out, sizeof out), "");
    assert_string_equal(lot_find_fold("\xc3\xa4"
                                      "A",
                                      out, sizeof out),
                        "A");
    assert_string_equal(lot_find_fold("12345678901234567890", out, sizeof out), "123456789012345");
}

/* What other plants print may look like a date, a barcode, GS1 data or spoken words: if a lot of
 * ours bears it, it is that lot, and nearly read it still is. */
static void codes_that_look_like_something_else(void **state)
{
    static const struct {
        const char *code, *misread; /* NULL: one character away is another thing altogether */
    } ROWS[] = {
        {"21NOV26", NULL},          {"20NOV26A1", "20NOV26AI"}, {"2026-11-19", NULL},
        {"11/18/26 L2", NULL},      {"LOT0007", "LOTOOO7"},     {"BATCH-26-17", "BATCH-26-I7"},
        {"9520000000028", NULL},    {"1026321", "10263Z1"},     {"18.11.2026.3.44", NULL},
        {"WO-5384ac", "WO-538Aac"},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        char text[400], fold[64];
        int64_t at = ms("2026-11-17T06:00:00-05:00") + (int64_t)i * WHEN_HOUR_MS;
        snprintf(text, sizeof text,
                 "INSERT INTO lot VALUES(%d,'%s','%s','',1,'9','',%lld,%lld,%lld,%lld,7000,%d)",
                 9000 + (int)i, ROWS[i].code, lot_find_fold(ROWS[i].code, fold, sizeof fold),
                 (long long)at, (long long)at, (long long)at, (long long)at + 7200000,
                 day("2026-11-27"));
        sql(text);
    }
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        struct lot_match_result r = match(query(ROWS[i].code));
        assert_true(r.exact);
        assert_int_equal(r.settled_lot_id, 9000 + i);
        if (!ROWS[i].misread)
            continue;
        r = match(query(ROWS[i].misread));
        assert_true(r.count > 0);
        assert_int_equal(r.candidate[0].lot_id, 9000 + i);
    }
    sql("DELETE FROM lot WHERE id >= 9000");
}

/* Of names it is said in words of their own. */
static int said(int rc, struct error *err)
{
    if (rc && strstr(err->text, "could not be looked up"))
        snprintf(err->text, sizeof err->text, "%s", FAILING_WORDS);
    return rc;
}

static int match_of(void *arg, struct error *err)
{
    struct lot_match_result result;
    return said(match_lot(world.matcher, world.store, arg, &result, err), err);
}

static int all_of(void *arg, struct error *err)
{
    struct lot_match_all all;
    return said(match_lot_all(world.matcher, world.store, arg, &all, err), err);
}

static int standing_of(void *arg, struct error *err)
{
    struct lot_match_result result;
    struct standing standing;
    int rc = match_lot(world.matcher, world.store, arg, &result, err);
    return said(rc ? rc : standing_of_match(world.store, arg, &result, &standing, err), err);
}

static int kept_of(void *arg, struct error *err)
{
    const int64_t lots[] = {1, 2};
    const double weights[] = {0.6, 0.3};
    const struct standing_kept kept = {LOT_SEVERAL, lots, weights, 2};
    struct standing standing;
    return said(standing_of_kept(world.matcher, world.store, arg, &kept, &standing, err), err);
}

/* Of a disk that fails nobody hears that a lot is not on record. */
static void whatever_cannot_be_read_is_said(void **state)
{
    static const char *const TEXTS[] = {"L2 6321 B0912",
                                        "L2 6321 8O912",
                                        "L2 6321 B",
                                        "L2 6399 B0912",
                                        "L2 6330 B0912",
                                        "L9 6321 B0912",
                                        "honey oat, best by 11/27",
                                        "(01)09520000000011(10)L263218",
                                        "B0912",
                                        ""};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        struct lot_query q = query(TEXTS[i]);
        q.product = i % 2 && *TEXTS[i] != '(' ? "Honey Oat" : NULL;
        q.store = i % 3 ? "0101" : NULL;
        q.route = i % 3 == 1 ? "R1" : NULL;
        failing_check(world.store, match_of, &q, TEXTS[i], 0);
        failing_check(world.store, all_of, &q, TEXTS[i], 0);
        failing_check(world.store, standing_of, &q, TEXTS[i], 0);
        failing_check(world.store, kept_of, &q, TEXTS[i], 0);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(exact_codes),
        cmocka_unit_test(misread_codes),
        cmocka_unit_test(contradictions_lower_an_exact_hit),
        cmocka_unit_test(product_and_store_as_people_say_them),
        cmocka_unit_test(stores_that_others_got),
        cmocka_unit_test(product_that_fits_several),
        cmocka_unit_test(all_that_it_may_be),
        cmocka_unit_test(product_named_as_the_code),
        cmocka_unit_test(product_and_code_date_alone),
        cmocka_unit_test(scanned_labels),
        cmocka_unit_test(dates_beside_the_code),
        cmocka_unit_test(codes_that_look_like_something_else),
        cmocka_unit_test(nothing_to_go_by),
        cmocka_unit_test(unrecorded_lots),
        cmocka_unit_test(how_sure_it_is),
        cmocka_unit_test(codes_on_no_record),
        cmocka_unit_test(half_read_codes_on_no_record),
        cmocka_unit_test(the_same_answer_every_time),
        cmocka_unit_test(inside_a_transaction),
        cmocka_unit_test(folding),
        cmocka_unit_test(whatever_cannot_be_read_is_said),
    };
    return cmocka_run_group_tests(tests, set_up, tear_down);
}
