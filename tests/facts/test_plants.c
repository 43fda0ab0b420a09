/* Four invented plants of one company: lines, mixes, routes, places and what is usual are each
 * plant's own; a supplier's lot is found wherever it went. */
#include "check.h"
#include "facts/company.h"
#include "facts/facts.h"
#include "fixture.h"
#include "store/evidence.h"

enum { DAYS = 30, TURNS = 2, BAD_FROM = 12, BAD_DAYS = 5 };
static const char *const PLANTS[] = {"north", "harbor", "west", "ridge"};
enum { NORTH, HARBOR, WEST, RIDGE, PLANT_COUNT };

struct company_of_plants {
    struct fixture f;
    struct rules *rules;
    struct cache *lots;
    struct company *company;
};

static int64_t lot_of(int plant, int day, int turn)
{
    return (day * TURNS + turn) * PLANT_COUNT + plant + 1;
}

/* A film lot of one supplier goes to all of them for five days; all else is each plant's. Each
 * numbers its mixes alike, makes them at the same times and sends all on its route R1. */
static void fill(struct fixture *f)
{
    fixture_sql(f, "BEGIN; INSERT INTO product(id, product, name, family, shelf_life_days, unit_g,"
                   " gtin) VALUES(1, 'W', 'White', 'pan-bread', 10, 680, NULL);"
                   "INSERT INTO quantity VALUES(1, 'swab_cfu')");
    for (int day = 0; day < DAYS; day++)
        for (int turn = 0; turn < TURNS; turn++)
            for (int p = 0; p < PLANT_COUNT; p++) {
                long long id = lot_of(p, day, turn), at = AT(day, 12 * turn);
                bool bad = day >= BAD_FROM && day < BAD_FROM + BAD_DAYS;
                fixture_sql(
                    f,
                    "INSERT INTO lot VALUES(%lld, 'L%lld', 'L%lld', '%s', 1, '1', 'A', %lld, %lld,"
                    " %lld, %lld, 5000, %d);"
                    "INSERT INTO mix VALUES('M1', %lld, %lld, 100);"
                    "INSERT INTO material_use(lot_id, material, material_lot) VALUES(%lld, 'film',"
                    " '%s%s');"
                    "INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c)"
                    " VALUES(%lld, 'R1', 'S%d', %lld, 5000, 20)",
                    id, id, id, PLANTS[p], at - 4 * WHEN_HOUR_MS, at, at, at + 2 * WHEN_HOUR_MS,
                    DAY0 + day + 10, id, at - 4 * WHEN_HOUR_MS, id, bad ? "B-7" : "G-",
                    bad ? "" : PLANTS[p], id, p, at + 6 * WHEN_HOUR_MS);
            }
    fixture_sql(f, "COMMIT");
}

static void open_company(struct company_of_plants *c)
{
    fixture_open(&c->f);
    fill(&c->f);
    fixture_file(&c->f, "causes/nk.json",
                 "{\"id\":\"nk\",\"title\":\"n\",\"symptoms\":{\"mold\":1,\"off-odor\":1,"
                 "\"staling\":1},\"background\":true}");
    assert_int_equal(rules_load(c->f.rules, fixture_print_fault, NULL, &c->rules, NULL), 0);
    c->lots = cache_new(64);
    c->company = company_new();
}

static void close_company(struct company_of_plants *c)
{
    company_free(c->company);
    cache_free(c->lots);
    rules_free(c->rules);
    fixture_close(&c->f);
}

/* Complaints of lots of one plant, each of another day from BAD_FROM on. */
static void complain(struct company_of_plants *c, int plant, int times)
{
    for (int i = 0; i < times; i++)
        fixture_complain(&c->f, "mold", lot_of(plant, BAD_FROM + i, i % TURNS),
                         AT(BAD_FROM + i + 6, 10), "{}");
}

static struct company_view *view_of(const struct company_of_plants *c, int64_t lot_id,
                                    struct lot_records *records)
{
    const struct lot_record *record;
    struct company_view *view;
    assert_int_equal(lot_record_all(c->f.store, c->rules, fixture_utc(), records, NULL), 0);
    assert_int_equal(lot_record_get(c->lots, records, lot_id, &record, NULL), 0);
    const struct company_around around = {c->rules, SYMPTOM_MOLD, record, AT(24, 0)};
    assert_int_equal(company_view_open(c->company, records, &around, &view, NULL), 0);
    lot_record_unref(record);
    return view;
}

static struct company_factor factor_of(const struct company_of_plants *c, int64_t lot_id,
                                       int factor)
{
    struct lot_records records;
    struct company_view *view = view_of(c, lot_id, &records);
    struct company_factor found = company_of_factor(view, factor);
    company_view_close(view);
    return found;
}

static struct company_factor route_of(const struct company_of_plants *c, int64_t lot_id)
{
    struct lot_records records;
    struct company_factor found;
    struct company_view *view = view_of(c, lot_id, &records);
    const struct company_trade route = {FACTOR_ROUTE, "R1", 0};
    assert_int_equal(company_of_trade(view, &records, &route, &found, NULL), 0);
    company_view_close(view);
    return found;
}

static void what_is_a_plants_own_speaks_of_it_alone(void **state)
{
    struct company_of_plants c;
    (void)state;
    open_company(&c);
    complain(&c, NORTH, 4);
    fixture_sql(&c.f, "UPDATE complaint SET route = 'R1'");
    const int64_t north = lot_of(NORTH, BAD_FROM + 1, 0), harbor = lot_of(HARBOR, BAD_FROM + 1, 0);
    static const int OWN[] = {FACTOR_LINE, FACTOR_LINE_HOUR, FACTOR_SHIFT, FACTOR_PLANT};
    assert_near(factor_of(&c, north, FACTOR_LINE).observed, 4, 1e-12);
    assert_near(factor_of(&c, north, FACTOR_PLANT).observed, 4, 1e-12);
    for (size_t i = 0; i < sizeof OWN / sizeof OWN[0]; i++)
        assert_near(factor_of(&c, harbor, OWN[i]).observed, 0, 1e-12);
    /* the same number at the same time is another mix */
    assert_int_equal(factor_of(&c, harbor, FACTOR_MIX).lots, 0);
    struct company_factor route = route_of(&c, harbor);
    assert_near(route.observed, 0, 1e-12);
    assert_near(route_of(&c, north).observed, 4, 1e-12);
    assert_int_equal(route.lots, route_of(&c, north).lots);
    close_company(&c);
}

static void a_film_lot_bad_at_three_plants_is_found_at_the_fourth(void **state)
{
    struct company_of_plants c;
    (void)state;
    open_company(&c);
    for (int p = NORTH; p <= WEST; p++)
        complain(&c, p, 3);
    const int64_t first = lot_of(RIDGE, BAD_FROM + 1, 0);
    fixture_complain(&c.f, "mold", first, AT(20, 10), "{}");
    struct company_factor film = factor_of(&c, first, FACTOR_FILM);
    assert_near(film.observed, 9, 1e-12);
    assert_near(factor_of(&c, first, FACTOR_LINE).observed, 0, 1e-12);
    fixture_sql(&c.f, "UPDATE material_use SET material_lot = 'Z-9' WHERE material_lot = 'B-7' AND"
                      " lot_id IN (SELECT id FROM lot WHERE plant = 'ridge')");
    fixture_records_changed(&c.f);
    struct company_factor renamed = factor_of(&c, first, FACTOR_FILM);
    print_message("company.film: %.2f bits, its name changed at the fourth: %.2f\n", film.bits,
                  renamed.bits);
    assert_near(renamed.observed, 0, 1e-12);
    assert_true(film.bits > 3 && renamed.bits < 0.5);
    close_company(&c);
}

static int count_entry(void *arg, const struct evidence_entry *row)
{
    *(double *)arg += row->value;
    return 0;
}

static double logged(const struct company_of_plants *c, const char *plant)
{
    double sum = 0;
    const struct evidence_spot spot = {"slicer", "swab_cfu", plant, "1"};
    assert_int_equal(evidence_plantlog(c->f.store, &spot, (struct when_span){0, AT(DAYS, 0)},
                                       count_entry, &sum, NULL),
                     0);
    return sum;
}

static void a_place_and_what_is_usual_are_the_plants(void **state)
{
    struct company_of_plants c;
    int64_t id[8];
    struct store_ids ids = {id, 0, 8};
    const struct evidence_made_at of = {1, "harbor"};
    (void)state;
    open_company(&c);
    fixture_sql(&c.f,
                "INSERT INTO plantlog VALUES('slicer', 1, 'north', '1', 5, 900, NULL),"
                "('slicer', 1, 'harbor', '1', 5, 3, NULL), ('slicer', 1, '', '', 6, 10, NULL)");
    assert_near(logged(&c, "north"), 910, 1e-12);
    assert_near(logged(&c, "harbor"), 13, 1e-12); /* what names no plant is everybody's */
    assert_near(logged(&c, ""), 10, 1e-12);
    assert_int_equal(
        evidence_lots_of_product(c.f.store, &of, (struct when_span){0, AT(DAYS, 0)}, &ids, NULL),
        0);
    assert_int_equal(ids.count, 8);
    for (int i = 0; i < ids.count; i++)
        assert_int_equal((id[i] - 1) % PLANT_COUNT, HARBOR);
    close_company(&c);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_a_plants_own_speaks_of_it_alone),
        cmocka_unit_test(a_film_lot_bad_at_three_plants_is_found_at_the_fourth),
        cmocka_unit_test(a_place_and_what_is_usual_are_the_plants),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
