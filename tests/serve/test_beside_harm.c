/* What is told of a case whose lot hurt somebody who told of it in another. */
#include "fixture.h"

#define LOT "L1 6318 A0400"

static int setup(void **state)
{
    struct fixture *f = fixture_start(FIXTURE_SETTINGS);
    *state = f;
    fixture_does(f, "POST records/products?source=p.csv",
                 "product,name,family,shelf_life_days,unit_g\nW24,White 24,pan-bread,10,680\n",
                 200);
    fixture_does(f, "POST records/lots?source=l.csv",
                 "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" LOT
                 ",W24,1,2026-11-14T01:00:00-05:00,2026-11-14T02:00:00-05:00,"
                 "2026-11-14T04:00:00-05:00,2026-11-14T06:00:00-05:00,9000,2026-11-24\n",
                 200);
    fixture_log(f, "01990000-0000-7000-8000-000000000001", ",'lot_text':'" LOT "'");
    fixture_does(f, "POST complaints",
                 "{'id':'01990000-0000-7000-8000-000000000002','channel':'phone','symptom':"
                 "'off-odor','received_at':'2026-11-24T11:00:00-05:00','lot_text':'" LOT
                 "','harm':['illness']}",
                 201);
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

static json_t *answer_of(struct fixture *f, const char *what, const char *body)
{
    json_t *answer = NULL;
    struct asked *a = fixture_ask(f, f->store, what, body);
    if (a->status >= 300 || jsonx_parse(a->body.data, a->body.length, &answer, NULL))
        fail_msg("%s: %d %s", what, a->status, a->body.data);
    fixture_asked_free(a);
    return answer;
}

/* Whatever is asked of the moldy loaf, the case of illness is named. */
static void harm_of_the_lot_elsewhere_is_told(void **state)
{
    static const char *const ASKED[] = {"GET cases/C1", "GET cases/C1/why", "GET cases/C1/ask",
                                        "GET cases/C1/reach"};
    for (size_t i = 0; i < COUNT_OF(ASKED); i++) {
        json_t *answer = answer_of(*state, ASKED[i], NULL);
        const json_t *elsewhere = json_object_get(answer, "harm_elsewhere");
        const char *of = json_string_value(json_object_get(elsewhere, "case"));
        if (!of || strcmp(of, "C2") != 0)
            fail_msg("%s names %s", ASKED[i], of ? of : "none");
        json_decref(answer);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(harm_of_the_lot_elsewhere_is_told, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
