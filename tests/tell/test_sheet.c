/* What the pictures of a case's sheet are drawn from. */
#include "../rank/fixture.h"
#include "tell/tell.h"

struct plant {
    struct fixture f;
    struct triage *triage;
    int64_t lot;
};

/* Line 1, day 20, first turn; cooling times beside cores at packing on every lot of day 15 on. */
static void open_plant(struct plant *p)
{
    fixture_open(&p->f);
    fixture_plant(&p->f, 30);
    p->lot = fixture_lot(20, 1, 0);
    fixture_sql(&p->f, "INSERT INTO quantity VALUES(8, 'cool_min'), (9, 'core_temp_c')");
    fixture_sql(&p->f,
                "INSERT INTO reading SELECT id, 8, packed_from_ms, '', '', 70 + id %% 5, NULL FROM"
                " lot WHERE id > %d",
                (int)fixture_lot(15, 1, 0));
    static const char *const RULES[] = {"causes/packed-hot.json", "causes/old-stock.json",
                                        "causes/not-known.json", "asks.json"};
    for (size_t i = 0; i < sizeof RULES / sizeof RULES[0]; i++)
        fixture_copy(&p->f, "tests/rank/rules", RULES[i]);
    p->triage = fixture_triage(&p->f);
}

static void close_plant(struct plant *p)
{
    triage_free(p->triage);
    fixture_close(&p->f);
}

static json_t *sheet_of(struct plant *p, int64_t case_id)
{
    struct error err = {0};
    json_t *sheet = NULL;
    if (tell_sheet(p->triage, p->f.store, case_id, &sheet, &err))
        fail_msg("%s", err.text);
    return sheet;
}

static double at(const json_t *object, const char *name)
{
    return json_number_value(json_object_get(object, name));
}

static double of_pair(const json_t *points, size_t i, size_t k)
{
    return json_number_value(json_array_get(json_array_get(points, i), k));
}

static void core_as_packed(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    int64_t id = fixture_complain(&p.f, "mold", p.lot, AT(26, 0), "{}");
    json_t *sheet = sheet_of(&p, id), *course = json_object_get(sheet, "course");
    assert_true(json_is_false(json_object_get(course, "series")));
    assert_int_equal(json_array_size(json_object_get(course, "own")), 1);
    assert_near(of_pair(json_object_get(course, "own"), 0, 0), 70 + (double)(p.lot % 5), 1e-9);
    assert_near(of_pair(json_object_get(course, "own"), 0, 1), 37.8, 1e-9);
    assert_int_equal(json_array_size(json_object_get(course, "recent")), 12);
    assert_near(at(course, "target_packed_c"), 38, 1e-9);
    json_decref(sheet);
    close_plant(&p);
}

static void core_as_a_series(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    for (int64_t lot = p.lot - 8; lot <= p.lot; lot += 8) /* and the day before */
        for (int i = 0; i < 200; i++)
            fixture_sql(&p.f, "INSERT INTO reading VALUES(%lld, 9, %lld, '', '%d', %d, NULL)",
                        (long long)lot, (long long)(AT(20, 0) + INT64_C(30000) * i), i, 98 - i / 4);
    fixture_records_changed(&p.f);
    int64_t id = fixture_complain(&p.f, "mold", p.lot, AT(26, 0), "{}");
    json_t *sheet = sheet_of(&p, id), *course = json_object_get(sheet, "course");
    json_t *own = json_object_get(course, "own");
    assert_true(json_is_true(json_object_get(course, "series")));
    assert_int_equal(json_array_size(own), 50); /* every fourth of 200 */
    assert_near(of_pair(own, 0, 0), 0, 1e-9);
    assert_near(of_pair(own, 1, 0), 2, 1e-9); /* minutes */
    assert_near(of_pair(own, 1, 1), 97, 1e-9);
    assert_int_equal(json_array_size(json_object_get(course, "recent")), 1);
    json_decref(sheet);
    close_plant(&p);
}

static void found_and_where_it_went(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_sql(&p.f,
                "INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c) VALUES(%lld, "
                "'R9', 'S1', %lld, 70, 20),"
                "(%lld, 'R9', 'S2', %lld, 30, 20), (%lld, 'R9', 'S2', %lld, 5, 20)",
                (long long)p.lot, (long long)AT(20, 8), (long long)p.lot, (long long)AT(20, 8),
                (long long)p.lot, (long long)AT(20, 9));
    fixture_records_changed(&p.f);
    fixture_complain(&p.f, "mold", p.lot, AT(24, 0), "{}");
    int64_t id = fixture_complain(&p.f, "mold", p.lot, AT(24, 9), "{}");
    json_t *sheet = sheet_of(&p, id);
    json_t *found = json_array_get(json_object_get(sheet, "found"), 0);
    assert_int_equal(json_array_size(json_object_get(sheet, "found")), 1);
    assert_int_equal(at(found, "day"), 4); /* when they came, as nobody said when it was found */
    assert_int_equal(at(found, "complaints"), 2);
    assert_int_equal(at(found, "reported"), 2);
    json_t *routes = json_object_get(sheet, "routes"), *route = json_array_get(routes, 1);
    assert_int_equal(json_array_size(routes), 2);
    route = at(route, "units") > 1000 ? json_array_get(routes, 0) : route;
    assert_int_equal(at(route, "units"), 105);
    assert_int_equal(at(route, "stores"), 2);
    json_decref(sheet);
    close_plant(&p);
}

static void lots_around_it(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    fixture_complain(&p.f, "mold", p.lot + 1, AT(23, 0), "{}");
    fixture_complain(&p.f, "staling", p.lot + 2, AT(23, 0), "{}");
    for (int i = 0; i < 3; i++)
        fixture_complain(&p.f, "mold", p.lot, AT(24, i), "{}");
    int64_t id = fixture_complain(&p.f, "mold", p.lot, AT(25, 0), "{}");
    json_t *sheet = sheet_of(&p, id),
           *lots = json_object_get(json_object_get(sheet, "near"), "lots");
    /* its own, and the other line's beside it; six turns each way on both lines */
    assert_int_equal(json_array_size(lots), 26);
    const json_t *own = json_array_get(lots, 0), *next = json_array_get(lots, 1);
    assert_true(json_is_true(json_object_get(own, "own")));
    assert_int_equal(at(own, "complaints"), 4);
    assert_near(at(own, "from_h"), 0, 1e-9);
    assert_near(at(own, "to_h"), 2, 1e-9);
    assert_int_equal(at(next, "complaints"), 1);
    assert_near(at(next, "from_h"), 6, 1e-9);
    for (size_t i = 2; i < json_array_size(lots); i++)
        assert_int_equal(at(json_array_get(lots, i), "complaints"), 0);
    json_decref(sheet);
    close_plant(&p);
}

static double days_made(struct plant *p, double transit_c)
{
    json_t *lot = NULL;
    struct error err = {0};
    fixture_sql(&p->f, "UPDATE dispatch SET transit_c = %f WHERE lot_id = %lld", transit_c,
                (long long)p->lot);
    fixture_records_changed(&p->f);
    assert_int_equal(tell_lot(p->triage, p->f.store, p->lot, &lot, &err), 0);
    const json_t *days = json_object_get(json_object_get(lot, "prediction"), "mold_free_days");
    double typical = at(json_object_get(days, "as_made"), "typical");
    json_decref(lot);
    return typical;
}

/* A truck at 28 °C is half a day, not the lot's life. */
static void transit_is_short(void **state)
{
    struct plant p;
    (void)state;
    open_plant(&p);
    double cool = days_made(&p, 20), hot = days_made(&p, 28);
    assert_true(hot < cool);
    assert_true(hot > 0.8 * cool);
    close_plant(&p);
}

/* No picture of a lot that the case may not be about. */
static void nothing_without_a_lot(void **state)
{
    struct plant p;
    struct error err = {0};
    json_t *none = NULL;
    (void)state;
    open_plant(&p);
    int64_t id = fixture_complain(&p.f, "mold", 0, AT(26, 0), "{}");
    json_t *sheet = sheet_of(&p, id);
    assert_int_equal(json_object_size(sheet), 0);
    json_decref(sheet);
    assert_int_equal(tell_sheet(p.triage, p.f.store, 999, &none, &err), ERROR_NOT_FOUND);
    assert_null(none);
    close_plant(&p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(core_as_packed),          cmocka_unit_test(core_as_a_series),
        cmocka_unit_test(found_and_where_it_went), cmocka_unit_test(lots_around_it),
        cmocka_unit_test(nothing_without_a_lot),   cmocka_unit_test(transit_is_short),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
