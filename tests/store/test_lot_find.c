/* Looking lots up, and where they were sent. */
#include "base/when.h"
#include "check.h"
#include "store/lot_find.h"

#include "fixture.h"
#include <stdio.h>

static void codes_are_folded(void **state)
{
    char out[LOT_FIND_CODE];
    (void)state;
    assert_string_equal(lot_find_fold("L2 6321 b0412", out, sizeof out), "L26321B0412");
    assert_string_equal(lot_find_fold("/09:-AZaz@[`{", out, sizeof out), "09AZAZ");
    assert_string_equal(lot_find_fold("ABCD", out, 4), "ABC"); /* cut to fit */
}

/* Beside the fixture's L1 and L2: four of another product and line, packed at 10, 20, 30 and 40. */
static int more_lots(void **state)
{
    int rc = fixture_open(state);
    fixture_write(
        *state,
        "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin, also)"
        " VALUES(2,'R08','Rye','pan-bread',20,680,'5012345678900','R8');"
        "INSERT INTO lot(id,lot,fold,plant,product_id,line,made_from_ms,made_to_ms,packed_from_ms,"
        "packed_to_ms,units,code_day) VALUES"
        "(3,'A-1','A1','P1',2,'2',0,1,10,11,100,20),(4,'A 1','A1','P2',2,'2',0,1,20,21,100,20),"
        "(5,'a1','A1','P1',2,'3',0,1,30,31,400,20),(6,'B1','B1','P1',2,'2',0,1,40,41,400,21);"
        "INSERT INTO dispatch(lot_id,route,store,at_ms,units) VALUES(3,'R1','',50,5),"
        "(3,'R1','',60,5),(3,'R2','Hill',50,20),(4,'R2','Mill',50,30),(4,'','Mill',50,1),"
        "(4,'R3','Hill',70,40)");
    return rc;
}

/* Ids as digits: "543". */
struct found {
    char ids[16], names[64];
    int64_t stop_at;
};

static int take_key(void *arg, const struct lot_find_key *key)
{
    struct found *f = arg;
    snprintf(f->ids + strlen(f->ids), sizeof f->ids - strlen(f->ids), "%d", (int)key->lot_id);
    return key->lot_id == f->stop_at ? 77 : 0;
}

static int take_name(void *arg, const char *name)
{
    struct found *f = arg;
    snprintf(f->names + strlen(f->names), sizeof f->names - strlen(f->names), "%s,", name);
    return strcmp(name, "stop") == 0;
}

static int take_line(void *arg, const struct lot_find_line *line)
{
    char name[2 * LENGTH_CODE + 4];
    snprintf(name, sizeof name, "%s:%s", line->plant, line->line);
    return take_name(arg, name);
}

static int take_route(void *arg, const char *route, int64_t units)
{
    struct found *f = arg;
    snprintf(f->names + strlen(f->names), sizeof f->names - strlen(f->names), "%s %d,", route,
             (int)units);
    return 0;
}

static void rows_are_at_most_so_many(void **state)
{
    struct fixture *f = *state;
    struct lot_find_row row[4];
    for (size_t limit = 1; limit <= 4; limit++) {
        for (size_t capacity = 1; capacity <= 4; capacity++) {
            struct lot_find_rows rows = {.row = row, .capacity = capacity};
            size_t most = limit < capacity ? limit : capacity;
            assert_int_equal(lot_find_by_fold(f->store, "A1", limit, &rows, NULL), 0);
            assert_int_equal(rows.count, most < 3 ? most : 3);
            assert_int_equal(rows.overflow, most < 3);
            assert_int_equal(row[0].lot_id, 5); /* the newest first */
        }
    }
    assert_int_equal(lot_find_by_code(f->store, "A 1", row, NULL), 0);
    assert_int_equal(row[0].lot_id, 4);
    assert_string_equal(row[0].plant, "P2");
    assert_string_equal(row[0].product, "R08");
    assert_true(row[0].packed_from_ms == 20 && row[0].packed_to_ms == 21 && row[0].units == 100);
    assert_true(row[0].code_day == 20 && row[0].shelf_life_days == 20);
    assert_int_equal(lot_find_by_code(f->store, "A1", row, NULL), ERROR_NOT_FOUND);
    assert_int_equal(lot_find_by_id(f->store, 7, row, NULL), ERROR_NOT_FOUND);
}

static void keys_are_of_a_time_or_a_code_date(void **state)
{
    struct fixture *f = *state;
    const struct {
        struct lot_find_where where;
        const char *ids; /* the newest first, where it is a time */
        bool overflow;
    } ROWS[] = {
        {{.code_day = WHEN_UNKNOWN_DAY, .packed = {10, 40}, .limit = 3}, "543", false},
        {{.code_day = WHEN_UNKNOWN_DAY, .packed = {10, 41}, .limit = 3}, "654", true},
        {{.product_id = 1, .code_day = WHEN_UNKNOWN_DAY, .packed = {2, 41}, .limit = 2},
         "*",
         false},
        {{.product_id = 2, .code_day = WHEN_UNKNOWN_DAY, .packed = {2, 31}, .limit = 9},
         "543",
         false},
        {{.line = "2", .code_day = WHEN_UNKNOWN_DAY, .packed = {0, 41}, .limit = 9}, "643", false},
        {{.line = "2", .plant = "P1", .code_day = WHEN_UNKNOWN_DAY, .packed = {0, 41}, .limit = 9},
         "63",
         false},
        {{.code_day = 20, .limit = 2}, "*", true},
        {{.code_day = 10, .limit = 2}, "*", false},
        {{.product_id = 1, .code_day = 20, .limit = 2}, "", false},
        {{.product_id = 2, .code_day = 21, .limit = 2}, "6", false},
    };
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct found found = {0};
        bool overflow = false;
        assert_int_equal(
            lot_find_each_key(f->store, &ROWS[i].where, take_key, &found, &overflow, NULL), 0);
        assert_int_equal(overflow, ROWS[i].overflow);
        if (*ROWS[i].ids == '*')
            assert_int_equal(strlen(found.ids), 2);
        else
            assert_string_equal(found.ids, ROWS[i].ids);
    }
    struct found found = {.stop_at = 4};
    bool overflow = false;
    assert_int_equal(lot_find_each_key(f->store, &ROWS[0].where, take_key, &found, &overflow, NULL),
                     77);
    assert_string_equal(found.ids, "54");
}

static void a_stretch_ends_with_what_begins_otherwise(void **state)
{
    struct fixture *f = *state;
    struct lot_find_key key[6];
    struct lot_find_keys keys = {.key = key, .capacity = 6, .count = 3};
    assert_int_equal(lot_find_keys(f->store, "A1", 1, &keys, NULL), 0);
    assert_int_equal(keys.count, 4); /* with B1, behind which L1 is not asked for */
    assert_string_equal(key[3].fold, "B1");
    keys.capacity = 2;
    assert_int_equal(lot_find_keys(f->store, "A1", 1, &keys, NULL), 0);
    assert_int_equal(keys.count, 2);
}

static void what_is_on_record_is_named_in_order(void **state)
{
    struct fixture *f = *state;
    struct found lines = {0}, stores = {0}, routes = {0};
    assert_int_equal(lot_find_lines(f->store, take_line, &lines, NULL), 0);
    assert_string_equal(lines.names, ":1,P1:2,P1:3,P2:2,");
    assert_int_equal(lot_find_places(f->store, LOT_FIND_STORE, take_name, &stores, NULL), 0);
    assert_string_equal(stores.names, "Hill,Mill,");
    assert_int_equal(lot_find_places(f->store, LOT_FIND_ROUTE, take_name, &routes, NULL), 0);
    assert_string_equal(routes.names, "R1,R2,R3,"); /* none has no name */
    bool known = false;
    assert_int_equal(lot_find_place_known(f->store, LOT_FIND_STORE, "Hill", &known, NULL), 0);
    assert_true(known);
    assert_int_equal(lot_find_place_known(f->store, LOT_FIND_ROUTE, "Hill", &known, NULL), 0);
    assert_false(known);
    int64_t first = 0, newest = 0;
    assert_int_equal(lot_find_span(f->store, &first, &newest, NULL), 0);
    assert_true(first == 2 && newest == 40);
}

static void where_a_lot_went(void **state)
{
    static const struct {
        int64_t lot_id;
        const char *store, *route;
        struct lot_find_sent sent;
    } ROWS[] = {
        {3, NULL, "R1", {30, 10, 2}}, {3, "Hill", NULL, {20, 20, 1}}, {3, "Mill", NULL, {20, 0, 1}},
        {4, NULL, "R2", {71, 30, 3}}, {4, "Mill", NULL, {71, 31, 2}}, {5, NULL, "R1", {0, 0, 0}},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct lot_find_sent sent;
        assert_int_equal(
            lot_find_sent(f->store, ROWS[i].lot_id, ROWS[i].store, ROWS[i].route, &sent, NULL), 0);
        assert_true(sent.units == ROWS[i].sent.units &&
                    sent.units_there == ROWS[i].sent.units_there &&
                    sent.places == ROWS[i].sent.places);
    }
    struct found routes = {0};
    assert_int_equal(lot_find_routes(f->store, 3, take_route, &routes, NULL), 0);
    assert_string_equal(routes.names, "R1 10,R2 20,");
}

static int take_called(void *arg, const struct lot_find_called *row)
{
    assert_int_equal(row->shelf_life_days, row->product_id * 10);
    return take_name(arg, row->product);
}

static void products_by_code_and_number(void **state)
{
    struct fixture *f = *state;
    struct lot_find_product product;
    struct found all = {0}, also = {0};
    assert_int_equal(lot_find_product_by_code(f->store, "R08", &product, NULL), 0);
    assert_true(product.product_id == 2 && product.shelf_life_days == 20);
    assert_int_equal(lot_find_product_by_code(f->store, "R8", &product, NULL), ERROR_NOT_FOUND);
    assert_int_equal(lot_find_product_by_gtin(f->store, "05012345678900", &product, NULL), 0);
    assert_string_equal(product.name, "Rye");
    assert_int_equal(lot_find_product_by_gtin(f->store, "15012345678900", &product, NULL),
                     ERROR_NOT_FOUND); /* another digit before it is another number */
    assert_int_equal(lot_find_product_by_gtin(f->store, "5012345678900", &product, NULL),
                     ERROR_INVALID);
    fixture_write(f, "UPDATE product SET gtin = '12345670' WHERE id = 1");
    assert_int_equal(lot_find_product_by_gtin(f->store, "00000012345670", &product, NULL), 0);
    assert_int_equal(lot_find_product_by_gtin(f->store, "00000112345670", &product, NULL),
                     ERROR_NOT_FOUND);
    assert_int_equal(lot_find_called(f->store, false, take_called, &all, NULL), 0);
    assert_string_equal(all.names, "R08,W24,");
    assert_int_equal(lot_find_called(f->store, true, take_called, &also, NULL), 0);
    assert_string_equal(also.names, "R08,");
}

/* Three lots a day apart: two days lie between them. */
static void how_much_was_on_sale(void **state)
{
    struct fixture *f = *state;
    struct lot_find_volume volume;
    assert_int_equal(lot_find_volume(f->store, -2 * WHEN_HOUR_MS, &volume, NULL), 0);
    assert_true(volume.lots_per_day == 0 && volume.products == 2);
    fixture_write(f, "DELETE FROM dispatch;DELETE FROM lot WHERE id > 3;"
                     "UPDATE lot SET packed_from_ms = id * 86400000, units = id * 100");
    assert_int_equal(lot_find_volume(f->store, 4 * WHEN_DAY_MS, &volume, NULL), 0);
    assert_true(volume.lots_per_day == 1 && volume.units_per_day == 200);
    assert_true(volume.newest_ms == 3 * WHEN_DAY_MS);
    assert_true(volume.shelf_life_days > 13.3 && volume.shelf_life_days < 13.4);
    assert_int_equal(lot_find_volume(f->store, 3 * WHEN_DAY_MS - WHEN_HOUR_MS, &volume, NULL), 0);
    assert_true(volume.newest_ms == 2 * WHEN_DAY_MS);
    assert_int_equal(lot_find_volume(f->store, WHEN_DAY_MS, &volume, NULL), 0);
    assert_true(volume.lots_per_day == 1 && volume.units_per_day == 100); /* one is a day's work */
    fixture_write(f, "INSERT INTO lot(id,lot,fold,product_id,line,made_from_ms,made_to_ms,"
                     "packed_from_ms,packed_to_ms,units,code_day) VALUES"
                     "(9,'L9','L9',1,'1',0,1,86400000,3,300,10)"); /* what is added is seen */
    assert_int_equal(lot_find_volume(f->store, WHEN_DAY_MS, &volume, NULL), 0);
    assert_true(volume.lots_per_day == 1 && volume.units_per_day == 200);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_are_folded),
        cmocka_unit_test(rows_are_at_most_so_many),
        cmocka_unit_test(keys_are_of_a_time_or_a_code_date),
        cmocka_unit_test(a_stretch_ends_with_what_begins_otherwise),
        cmocka_unit_test(what_is_on_record_is_named_in_order),
        cmocka_unit_test(where_a_lot_went),
        cmocka_unit_test(products_by_code_and_number),
        cmocka_unit_test(how_much_was_on_sale), /* the last: few lots are left */
    };
    return cmocka_run_group_tests(tests, more_lots, fixture_close);
}
