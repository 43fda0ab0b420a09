/* Each member of what is posted, wrong by turns: it is refused by its name, and nothing is done. */
#include "fixture.h"

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"

struct posted {
    const char *what, *body;
    int status;            /* of it as it is, once all that is wrong with it was refused */
    const char *unchecked; /* members that any value may have, " a b " */
};

static const struct posted POSTED[] = {
    {"POST complaints/" FIRST "/correct", "{'fields':{'packs':2},'reason':'x','by':'mira'}", 200,
     " fields "},
    {"POST complaints/" SECOND "/join", "{'same_as':'" FIRST "','by':'mira'}", 200, " by "},
    {"POST complaints/" SECOND "/separate", "{'by':'mira'}", 200, " by "},
    {"POST complaints/" SECOND "/withdraw", "{'reason':'x','by':'mira','undo':false}", 200,
     " fields "},
    {"POST complaints/" SECOND "/withdraw", "{'reason':'x','by':'mira','undo':true}", 200, ""},
    {"POST cases/C1/follow",
     "{'by':'mira','owner':'jo','due':'2027-01-01','severity':'high','reason':'x','note':'y'}", 200,
     ""},
    {"POST cases/C1/follow",
     "{'by':'mira','call_back':'2027-01-01','complaint':'" FIRST "','why':'results'}", 200, ""},
    {"POST cases/C1/follow",
     "{'by':'mira','answered':'told','complaint':'" FIRST
     "','answered_at':'2026-11-24T11:30:00-05:00'}",
     200, ""},
    {"POST cases/C1/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'mira','note':'fan','at':"
     "'2026-11-24T11:30:00-05:00'}",
     200, ""},
    {"POST cases/C1/verdict", "{'reopen':true,'by':'mira','note':'x'}", 200, ""},
    {"POST lots/hold",
     "{'lots':['L1 6318 A0400'],'reason':'wet','by':'mira','at':'2026-11-24T11:30:00-05:00',"
     "'case':'C1','still_about':true,'skip_gone':true}",
     200, ""},
    {"POST lots/release",
     "{'lots':['L1 6318 A0400'],'disposition':'rework','reason':'dry','by':'mira','at':"
     "'2026-11-24T11:40:00-05:00','hold':'H1','all':false}",
     200, ""},
    {"POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6.4'}],'lab':'N','sample':"
     "'7','by':'mira','at':'2026-11-24','method':'probe','note':'n','case':'C1','reason':'r'}",
     200, ""},
    {"POST actions",
     "{'line':'1','cause':'packed-hot','symptom':'mold','note':'fan','by':'mira','at':"
     "'2026-11-20'}",
     201, ""},
    {"POST scores", "{'learn':true,'by':'mira'}", 200, ""},
    {"POST calibration", "{'forget':true,'by':'mira','adopt':false}", 200, ""},
    {"POST erase", "{'contact':'555-0199'}", 200, ""},
};

static json_t *parsed(const char *text)
{
    json_t *body = NULL;
    char *json = fixture_json(text);
    assert_int_equal(jsonx_parse(json, strlen(json), &body, NULL), 0);
    free(json);
    return body;
}

static int64_t rows(struct fixture *f)
{
    static const char *const COUNTS[] = {
        "SELECT COUNT(*) FROM verdict",          "SELECT COUNT(*) FROM hold",
        "SELECT COUNT(*) FROM measured",         "SELECT COUNT(*) FROM corrective_action",
        "SELECT COUNT(*) FROM complaint_change", "SELECT COUNT(*) FROM follow_entry",
        "SELECT COUNT(*) FROM setting",          "SELECT COUNT(*) FROM joined"};
    int64_t sum = 0;
    for (size_t i = 0; i < COUNT_OF(COUNTS); i++)
        sum += fixture_count(f, COUNTS[i]);
    return sum;
}

/* Refused, with the member's name. */
static void is_refused(struct fixture *f, const char *what, const json_t *body, const char *name,
                       int *wrongs)
{
    char *text = json_dumps(body, 0);
    int64_t before = rows(f);
    struct asked *a = fixture_ask(f, f->store, what, text);
    if (a->status < 400 || a->status >= 500 || !strstr(a->body.data, name))
        print_error("%s %s: %d %s\n", what, text, a->status, a->body.data), (*wrongs)++;
    if (rows(f) != before)
        print_error("%s %s changed something\n", what, text), (*wrongs)++;
    fixture_asked_free(a);
    free(text);
}

static void every_member_is_looked_at(void **state)
{
    struct fixture *f = *state;
    int wrongs = 0;
    for (size_t i = 0; i < COUNT_OF(POSTED); i++) {
        const char *name;
        json_t *body = parsed(POSTED[i].body), *value;
        json_object_foreach(body, name, value)
        {
            char word[40];
            json_t *wrong = json_copy(body);
            snprintf(word, sizeof word, " %s ", name);
            json_object_set_new(wrong, name, json_pack("{s:i}", "x", 1));
            if (!strstr(POSTED[i].unchecked, word))
                is_refused(f, POSTED[i].what, wrong, name, &wrongs);
            json_decref(wrong);
        }
        json_decref(body);
        fixture_does(f, POSTED[i].what, POSTED[i].body, POSTED[i].status);
    }
    assert_int_equal(wrongs, 0);
}

/* ---- the plant ---- */

#define LOT(code, line, day)                                                                       \
    code ",W24," line "," day "T00:00:00-05:00," day "T03:00:00-05:00," day "T04:00:00-05:00," day \
         "T07:00:00-05:00,5000,2026-11-24\n"

static int setup(void **state)
{
    struct fixture *f = fixture_start(FIXTURE_SETTINGS);
    fixture_does(f, "POST records/products?source=p.csv",
                 "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat,pan-bread,10,680\n",
                 200);
    fixture_does(f, "POST records/lots?source=l.csv",
                 "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" LOT(
                     "L1 6318 A0400", "1", "2026-11-14") LOT("L2 6318 A0400", "2", "2026-11-14"),
                 200);
    fixture_log(f, FIRST,
                ",'lot_text':'L1 6318 A0400','contact':{'name':'Ann Bee','phone':'555-0101'}");
    fixture_log(f, SECOND, ",'lot_text':'L1 6318 A0400'");
    *state = f;
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_member_is_looked_at)};
    return cmocka_run_group_tests(tests, setup, teardown);
}
