/* What a manager reads on Monday, and beside harm. */
#include "check.h"
#include "notify/message.h"
#include "show/view.h"
#include <stdlib.h>
#include <string.h>

static const char WEEK[] =
    "{'week':'2026-W47','units':958173,'complaints':{'mold':25,'off-odor':1,'staling':3},"
    "'charts':{'mold':{'weeks':[{'expected':3},{'expected':18.57}]},'staling':{'weeks':[]}},"
    "'by':{'line':[{'level':'3','symptom':'mold','complaints':1,'units':0,'per_million':0,'low':0,"
    "'high':0},{'level':'2','symptom':'mold','complaints':21,'units':319000,'per_million':65.83,'"
    "low':40.75,"
    "'high':100.6},{'level':'1','symptom':'mold','complaints':0,'per_million':0,'low':0,"
    "'high':11.7}]},"
    "'causes':[{'cause':'packed-hot','title':'Packed too hot','symptom':'mold','expected':23.5,"
    "'share':0.94},{'cause':'pack-leak','title':'Leaks','symptom':'mold','expected':0.1,"
    "'share':0.004}],"
    "'to_come':[{'made_week':'2026-W47','symptom':'mold','reported':8,'expected_final':19.2,"
    "'low':12,'high':29},{'made_week':'2026-W46','symptom':'mold','reported':21,"
    "'expected_final':21.2,'low':21,'high':22}],"
    "'tested':{'series':201,'recent_weeks':8},"
    "'headline':['Staling: 44 complaints since 2 November, usual none; most likely baked too long',"
    "'2 lots on hold, 30 000 packs; 9 000 of them still in code'],"
    "'stories':[{'symptom':'staling','led_by':{'factor':'cause','level':'overbaked',"
    "'title':'Baked <too> long'},'since':'2026-W45','observed':43.6,'expected':0.19,'still':true,"
    "'beneath':[{'factor':'shift','level':'B'}]},{'symptom':'staling','led_by':{'factor':'line',"
    "'level':'1'},'beneath':[],'since':'2026-W43','observed':56,'expected':5,'still':false}],"
    "'signals':[{'factor':'cause','level':'overbaked','title':'Baked <too> long','symptom':"
    "'staling','since':'2026-W45','observed':43.6,'expected':0.19,'ratio':37.6,'low':27.4,"
    "'high':49.5,'q':9.7e-38,'still':true},{'factor':'line','level':'1','symptom':'staling',"
    "'since':'2026-W43','observed':56,'expected':5,'ratio':8.6,'low':6,'high':11.8,'q':0.004,"
    "'still':false}],"
    "'right':{'quarter':{'verdicts':12,'ranked':12,'top1':0.75,'days_to_verdict':{'median':2.4}}},"
    "'stages':[{'stage':'owned','n':2,'median_days':0.5},{'stage':'found','n':0,'median_days':null}"
    ","
    "{'stage':'settled','n':4,'median_days':3}],"
    "'open_cases':[{'age':'this week or last','cases':23},{'age':'older','cases':1277}]}";

static json_t *json_of(const char *format, const char *part)
{
    char text[4096];
    snprintf(text, sizeof text, format, part);
    for (char *p = text; *p; p++)
        *p = *p == '\'' ? '"' : *p;
    json_t *json = json_loads(text, 0, NULL);
    assert_non_null(json);
    return json;
}

static json_t *event_of(const char *week)
{
    return json_of("{'event':'digest','plant':'Harrow Mill','week':%s}", week);
}

static char *body_of(json_t *event, void (*render)(const struct view *, struct text_buffer *))
{
    struct view view = {0};
    struct text_buffer body = {0};
    view_of_event(event, &view);
    render(&view, &body);
    view_free(&view);
    return text_take(&body);
}

static void says_what_matters_and_no_more(void **state)
{
    static const char *const SAID[] = {
        "Week 2026-W47, 2026-11-16 to 2026-11-22",
        "Mold          25 (usual 18.6)\n",
        "Staling       3\n",
        "Units packed  958 173\n",
        "Open cases    1 300, 1 277 of them older than 12 weeks\n",
        "it in 75 %; 2.4",
        "Days until    owned 0.50, settled 3 (median of 13 weeks)\n",
        "Staling: 44 complaints since 2 November, usual none; most",
        "2 lots on hold, 30 000 packs; 9 000 of them still in code",
        "Baked <too> long (staling): 44 since W45, usual 0; also in shift B",
        "Line 1 (staling): 56 since W43, usual 5, easing",
        "Line 3, mold: 1; no pack of that week is on record",
        "Line 2, mold: 21, that is 65.8 per million (40.8 to 101)",
        "Packed too hot (mold): 23.5, 94 % of the symptom",
        "Packed in W47, mold: 8 so far, 19 in the end (90 %: 12 to 29)",
        "oddloaf trace --symptom staling --from 2026-10-26 --to",
        "oddloaf week 2026-W47 --html week.html"};
    static const char *const UNSAID[] = {"e-38",     "43.6",  " q ",
                                         "Line 1, ", "Leaks", "Packed in W46"};
    (void)state;
    json_t *event = event_of(WEEK);
    char *plain = body_of(event, view_plain);
    for (size_t i = 0; i < COUNT_OF(SAID); i++) {
        if (!strstr(plain, SAID[i]))
            fail_msg("'%s' is not in:\n%s", SAID[i], plain);
    }
    for (size_t i = 0; i < COUNT_OF(UNSAID); i++)
        assert_null(strstr(plain, UNSAID[i]));
    for (const char *line = plain; *line; line += strcspn(line, "\n") + 1)
        assert_true(strcspn(line, "\n") <= 78);
    char *html = body_of(event, view_html);
    assert_non_null(strstr(html, "Baked &lt;too&gt; long"));
    char subject[128];
    message_subject(event, subject, sizeof subject);
    assert_string_equal(subject, "Week 2026-W47: 29 complaints, 2 rises");
    free(html);
    free(plain);
    json_decref(event);
}

/* A ranking is about the bread: no line that speaks of harm names a cause. */
static void harm_is_not_explained(void **state)
{
    static const struct {
        const char *harm, *subject;
    } CASES[] = {{"", "C5 mold, L1: Packed hot, 81 %"},
                 {",'harm':true", "HARM REPORTED: C5 mold, L1"},
                 {",'harm_possible':true", "MAY BE HARM: C5 mold, L1"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char subject[128];
        json_t *ranking = json_of("{'case':'C5','symptom':'mold','lot_named':'L1','ranked':[{"
                                  "'title':'Packed hot','probability':0.81}]%s}",
                                  CASES[i].harm);
        json_t *event = json_pack("{s:s, s:o}", "event", "case", "ranking", ranking);
        message_subject(event, subject, sizeof subject);
        assert_string_equal(subject, CASES[i].subject);
        json_decref(event);
    }
    json_t *summary = json_of("{'event':'summary','count':2,'cases':[{'case':'C5','symptom':'mold',"
                              "'lot':'L1','title':'Packed hot','probability':0.81,'why':'x'%s},"
                              "{'case':'C6','symptom':'mold','lot':'L2','title':'Leaks',"
                              "'probability':0.5,'why':'y'}]}",
                              ",'harm':true");
    char *plain = body_of(summary, view_plain);
    assert_null(strstr(plain, "Packed hot"));
    assert_non_null(strstr(plain, "C5 mold, L1: HARM REPORTED (x)"));
    assert_non_null(strstr(plain, "C6 mold, L2: Leaks, 50 % (y)"));
    free(plain);
    json_decref(summary);
}

static void a_quiet_week_and_a_young_plant(void **state)
{
    (void)state;
    char subject[128];
    json_t *event = event_of("{'week':'2026-W47','complaints':{'mold':1},'stories':[],"
                             "'tested':{'series':9,'recent_weeks':8}}");
    char *plain = body_of(event, view_plain);
    assert_non_null(strstr(plain, "Nothing is up beyond chance."));
    assert_null(strstr(plain, "oddloaf trace"));
    assert_null(strstr(plain, "By line"));
    message_subject(event, subject, sizeof subject);
    assert_string_equal(subject, "Week 2026-W47: 1 complaint, nothing rose");
    free(plain);
    json_decref(event);
    event = event_of("{'week':'2026-W47','stories':[],'tested':{'series':0,'recent_weeks':0}}");
    plain = body_of(event, view_plain);
    assert_non_null(strstr(plain, "Too early to tell"));
    free(plain);
    json_decref(event);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(says_what_matters_and_no_more),
        cmocka_unit_test(harm_is_not_explained),
        cmocka_unit_test(a_quiet_week_and_a_young_plant),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
