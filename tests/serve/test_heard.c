/* Every free text that a route of writing takes is heard for harm: whatever it is meant for, people
 * write such words into it. */
#include "fixture.h"

/* "@": the number of a lot and its complaint, "%": of the case. */
#define LOT "L1 6318 A04@"
#define COMPLAINT "01990000-0000-7000-8000-0000000000@"
#define UPLOAD "01990000-0000-4000-8000-0000000000@"
enum { FIRST = 10, CASES = 59 };

static char *numbered(const char *text, int number)
{
    struct text_buffer out = {0};
    for (; *text; text++)
        if (*text == '@' || *text == '%')
            text_appendf(&out, "%d", *text == '@' ? number : number - FIRST + 1);
        else
            text_appendf(&out, "%c", *text);
    return text_take(&out);
}

static int setup(void **state)
{
    struct fixture *f = fixture_start(FIXTURE_SETTINGS);
    struct text_buffer lots = {0};
    *state = f;
    fixture_does(f, "POST records/products?source=p.csv",
                 "product,name,family,shelf_life_days,unit_g\nW24,White 24,pan-bread,10,680\n",
                 200);
    text_append(&lots,
                "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n");
    for (int i = 0; i < CASES; i++)
        text_appendf(&lots,
                     "L1 6318 A04%d,W24,1,2026-11-14T01:00:00-05:00,"
                     "2026-11-14T02:00:00-05:00,2026-11-14T04:00:%02d-05:00,"
                     "2026-11-14T06:00:00-05:00,9000,2026-11-24\n",
                     i + FIRST, i);
    fixture_does(f, "POST records/lots?source=l.csv", lots.data, 200);
    text_buffer_free(&lots);
    for (int i = 0; i < CASES; i++) {
        char *id = numbered(COMPLAINT, i + FIRST),
             *more = numbered(",'lot_text':'" LOT "'", i + FIRST);
        fixture_log(f, id, more);
        free(id);
        free(more);
    }
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

static json_t *answer_of(struct fixture *f, const char *what, const char *body, int number)
{
    json_t *answer = NULL;
    char *path = numbered(what, number), *said = numbered(body, number);
    struct asked *a = fixture_ask(f, f->store, path, said);
    if (a->status >= 300 || jsonx_parse(a->body.data, a->body.length, &answer, NULL))
        fail_msg("%s %s: %d %s", path, said, a->status, a->body.data);
    fixture_asked_free(a);
    free(path);
    free(said);
    return answer;
}

static int64_t mails(struct fixture *f)
{
    return fixture_count(f, "SELECT count(*) FROM outbox WHERE event = 'urgent'");
}

static const struct written {
    const char *what, *body, *first, *first_body; /* to be done before; NULL: nothing */
} WRITTEN[] = {
    {"POST cases/C%/verdict", "{'reopen':true,'by':'jo','note':'*'}", "POST cases/C%/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'jo'}"},
    {"POST cases/C%/verdict", "{'reopen':true,'by':'*','note':'again'}", "POST cases/C%/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'jo'}"},
    {"POST cases/C%/verdict", "{'cause':'packed-hot','confirmed_by':'assay','by':'*'}", NULL, NULL},
    {"POST cases/C%/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'jo','anyway':'*'}", NULL, NULL},
    {"POST cases/C%/follow", "{'by':'*','note':'called'}", NULL, NULL},
    {"POST cases/C%/follow", "{'by':'jo','owner':'*'}", NULL, NULL},
    {"POST lots/hold", "{'by':'*','reason':'mold','lots':['" LOT "']}", NULL, NULL},
    {"POST lots/release",
     "{'by':'*','reason':'looked at','disposition':'divert','lots':['" LOT "']}", "POST lots/hold",
     "{'by':'jo','reason':'mold','lots':['" LOT "']}"},
    {"POST lots/release",
     "{'by':'jo','reason':'looked at','anyway':'*','disposition':'divert','lots':['" LOT "']}",
     "POST lots/hold", "{'by':'jo','reason':'mold','lots':['" LOT "']}"},
    {"POST lots/measure",
     "{'by':'jo','lab':'*','sample':'S1','lot':'" LOT
     "','results':[{'quantity':'crumb_ph','value':5.4}]}",
     NULL, NULL},
    {"POST lots/measure",
     "{'by':'jo','lab':'Millgate','sample':'*','lot':'" LOT
     "','results':[{'quantity':'crumb_ph','value':5.4}]}",
     NULL, NULL},
    {"POST lots/measure",
     "{'by':'*','lab':'Millgate','sample':'S1','lot':'" LOT
     "','results':[{'quantity':'crumb_ph','value':5.4}]}",
     NULL, NULL},
    {"POST actions", "{'by':'*','cause':'packed-hot','line':'1','note':'cooled','at':'2026-11-23'}",
     NULL, NULL},
    {"POST complaints/" COMPLAINT "/correct", "{'by':'*','reason':'typed','fields':{'packs':2}}",
     NULL, NULL},
    {"POST attachments", "{'by':'jo','upload':'" UPLOAD "','to':'C%','name':'*.txt'}",
     "POST attachments/parts?part=0&upload=" UPLOAD, "Crumb pH 6.4,\n"},
    {"POST attachments", "{'by':'*','upload':'" UPLOAD "','to':'C%','name':'a.txt'}",
     "POST attachments/parts?part=0&upload=" UPLOAD, "Crumb pH 6.4,\n"},
};

/* With that word in the place of "*". */
static void check(struct fixture *f, const struct written *w, int number, const char *word, bool is)
{
    struct text_buffer said = {0};
    const char *place = strchr(w->body, '*');
    text_appendf(&said, "%.*s%s%s", (int)(place - w->body), w->body, word, place + 1);
    if (w->first)
        json_decref(answer_of(f, w->first, w->first_body, number));
    int64_t before = mails(f);
    json_t *answer = answer_of(f, w->what, said.data, number),
           *heard_so = json_object_get(answer, "heard");
    bool heard = heard_so != NULL; /* a fourth of no case in a minute waits for others */
    bool mailed = mails(f) > before || json_object_get(heard_so, "alarm");
    if (heard != is || mailed != is)
        fail_msg("%s %s: heard %d, mailed %d", w->what, said.data, heard, mailed);
    json_decref(answer);
    text_buffer_free(&said);
}

static void whatever_is_written_is_heard(void **state)
{
    static const char *const WORDS[] = {"Anna Burns", "my child is ill from it",
                                        "Not at desk. Found glass in it"};
    int number = FIRST;
    for (size_t i = 0; i < COUNT_OF(WRITTEN); i++)
        for (size_t k = 0; k < COUNT_OF(WORDS); k++)
            check(*state, &WRITTEN[i], number++, WORDS[k], k > 0);
    assert_true(number <= FIRST + CASES);
}

/* One mail leaves, and says of which lots. */
static void all_lots_of_a_hold_are_named(void **state)
{
    struct fixture *f = *state;
    json_decref(answer_of(f, "POST lots/hold",
                          "{'by':'jo','reason':'a customer is ill from it','lots':['L1 6318 A0410',"
                          "'L1 6318 A0411']}",
                          FIRST));
    assert_int_equal(fixture_count(f, "SELECT count(*) FROM outbox_text WHERE payload LIKE"
                                      " '%of L1 6318 A0410, L1 6318 A0411%'"),
                     1);
}

/* The same bytes under a name that says more; not under one that is on record. */
static void a_file_s_new_name_is_heard(void **state)
{
    static const struct {
        const char *name;
        bool heard;
    } NAMES[] = {{"sheet.txt", false},
                 {"glass_in_the_bread.txt", true},
                 {"sheet.txt", false},
                 {"my-child-vomited.txt", true},
                 {"page.txt", false}};
    const int number = FIRST + CASES + 1;
    struct fixture *f = *state;
    char *id = numbered(COMPLAINT, number);
    fixture_log(f, id, "");
    free(id);
    for (size_t i = 0; i < COUNT_OF(NAMES); i++) {
        struct text_buffer said = {0};
        json_decref(
            answer_of(f, "POST attachments/parts?part=0&upload=" UPLOAD, "pH 6.4,\n", number));
        text_appendf(&said, "{'by':'jo','upload':'" UPLOAD "','to':'C%%','name':'%s'}",
                     NAMES[i].name);
        json_t *answer = answer_of(f, "POST attachments", said.data, number);
        if ((json_object_get(answer, "heard") != NULL) != NAMES[i].heard)
            fail_msg("%s", NAMES[i].name);
        json_decref(answer);
        text_buffer_free(&said);
    }
}

static void answer_without(struct fixture *f, const char *what, const char *body, int number)
{
    json_decref(answer_of(f, what, body, number));
}

/* A verdict closed the harm that the case carries: what reopens it is news, of the same kind too.
 */
static void what_a_verdict_closed_is_said_anew(void **state)
{
    struct fixture *f = *state;
    int number = FIRST + CASES;
    char *id = numbered(COMPLAINT, number);
    fixture_log(f, id, ",'harm':['illness']");
    free(id);
    answer_without(f, "POST cases/C%/verdict",
                   "{'cause':'packed-hot','confirmed_by':'assay','by':'jo','anyway':'seen'}",
                   number);
    int64_t before = mails(f);
    answer_without(f, "POST cases/C%/verdict",
                   "{'reopen':true,'by':'jo','note':'another child vomited'}", number);
    assert_int_equal(mails(f), before + 1);
}

/* Why it is done all the same may say what no complaint does; of a lot of no case, though its hold
 * told the very reason. */
static void why_all_the_same_is_heard(void **state)
{
    static const char HOLD[] = "{'by':'jo','reason':'glass in it','lots':['L1 6318 A0469']}";
    struct fixture *f = *state;
    fixture_does(f, "POST records/lots?source=m.csv",
                 "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n"
                 "L1 6318 A0469,W24,1,2026-11-14T01:00:00-05:00,2026-11-14T02:00:00-05:00,"
                 "2026-11-14T04:01:09-05:00,2026-11-14T06:00:00-05:00,9000,2026-11-24\n",
                 200);
    answer_without(f, "POST lots/hold", HOLD, FIRST);
    int64_t before = mails(f);
    answer_without(f, "POST lots/release",
                   "{'by':'jo','reason':'glass in it','disposition':'destroy','anyway':'a child "
                   "died of it','lots':['L1 6318 A0469']}",
                   FIRST);
    assert_int_equal(mails(f), before + 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        /* those first that count mails: of no case, a fourth in a minute waits for others */
        cmocka_unit_test(what_a_verdict_closed_is_said_anew),
        cmocka_unit_test(why_all_the_same_is_heard),
        cmocka_unit_test(all_lots_of_a_hold_are_named),
        cmocka_unit_test(whatever_is_written_is_heard),
        cmocka_unit_test(a_file_s_new_name_is_heard),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
