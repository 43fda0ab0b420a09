/* Names as long as records and complaints may have them keep what the company says of them. */
#include "base/length.h"
#include "fixture.h"

static const char ROUTE[] = "Route of the northern valley, Mondays to Saturdays, early tr";
static const char STORE[] = "Corner market of the old bridge, entrance by the river, no. 7";
static const char LINE[] = "Line two of the hall by the yard, with the long spiral cooler";

/* A case of a lot sent to that store, as a complaint that names it, and others of its like. */
static int64_t long_case(struct fixture *f)
{
    int64_t lot = fixture_lot(20, 1, 0);
    fixture_sql(f,
                "UPDATE dispatch SET route = '%.*s', store = '%.*s';"
                "UPDATE lot SET line = '%.*s' WHERE line = '1'",
                LENGTH_CODE, ROUTE, LENGTH_CODE, STORE, LENGTH_CODE, LINE);
    fixture_sql(f,
                "INSERT INTO plantlog(place, quantity_id, line, at_ms, value) VALUES"
                "('slicer', 4, '%.*s', %lld, 1), ('slicer', 4, '%.*s', %lld, 1)",
                LENGTH_CODE, LINE, (long long)AT(18, 0), LENGTH_CODE, LINE, (long long)AT(23, 0));
    fixture_complain(f, "mold", fixture_lot(19, 1, 1), AT(25, 10), "{}");
    fixture_complain(f, "mold", fixture_lot(20, 1, 1), AT(25, 12), "{}");
    int64_t id = fixture_complain(f, "mold", lot, AT(26, 10), "{}");
    fixture_sql(f, "UPDATE complaint SET route = '%.*s', store = '%.*s'", LENGTH_CODE, ROUTE,
                LENGTH_CODE, STORE);
    return id;
}

static const char RULES[] =
    "{\"id\":\"nk\",\"title\":\"n\",\"symptoms\":{\"mold\":1,\"off-odor\":1,\"staling\":1},"
    "\"background\":true,\"evidence\":["
    "{\"fact\":\"company.route\",\"as\":\"bits\",\"scale\":1,\"limit\":[-1,4],\"because\":\"b\","
    "\"source\":\"s\"},"
    "{\"fact\":\"company.store\",\"as\":\"bits\",\"scale\":1,\"limit\":[-1,4],\"because\":\"b\","
    "\"source\":\"s\"},"
    "{\"fact\":\"company.window.slicer\",\"as\":\"bits\",\"scale\":1,\"limit\":[-1,4],\"because\":"
    "\"b\",\"source\":\"s\"},"
    "{\"fact\":\"transit_c\",\"as\":\"value\",\"curve\":[[10,0],[40,1]],\"because\":\"b\","
    "\"source\":\"s\"}]}";

static void a_long_name_keeps_its_company(void **state)
{
    static const char *const FACTS[] = {"company.route", "company.store", "company.window.slicer",
                                        "transit_c"};
    struct fixture f;
    struct case_input input;
    struct fact_set facts;
    struct error err = {0};
    (void)state;
    fixture_open(&f);
    fixture_plant(&f, 30);
    int64_t id = long_case(&f);
    fixture_file(&f, "causes/nk.json", RULES);
    struct triage *triage = fixture_triage(&f);
    if (case_input_read(f.store, id, &input, &err) ||
        facts_gather(&triage->source, f.store, &input, input.lots[0].lot_id, &facts, &err))
        fail_msg("%s", err.text);
    for (size_t i = 0; i < sizeof FACTS / sizeof FACTS[0]; i++)
        if (!fact_set_at(&facts, rules_fact(triage->rules, FACTS[i]), input.count - 1)->known)
            fail_msg("%s is not known", FACTS[i]);
    assert_near(
        fact_set_at(&facts, rules_fact(triage->rules, "company.window.slicer"), 0)->observed, 2,
        1e-12);
    fact_set_clear(&facts);
    case_input_clear(&input);
    triage_free(triage);
    fixture_close(&f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_long_name_keeps_its_company)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
