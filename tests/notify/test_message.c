/* An event as mail: its subject, its headers, and what they never hold. */
#include "check.h"

#include "base/when.h"
#include "notify/message.h"
#include <stdlib.h>
#include <string.h>

static json_t *event_of(const char *text)
{
    char copy[1024];
    snprintf(copy, sizeof copy, "%s", text);
    for (char *p = copy; *p; p++)
        *p = *p == '\'' ? '"' : *p;
    json_t *event = json_loads(copy, 0, NULL);
    assert_non_null(event);
    return event;
}

static void subjects(void **state)
{
    static const struct {
        const char *event, *subject;
    } ROWS[] = {
        {"{'event':'case','ranking':{'case':'C5','symptom':'mold','lot_named':'L1','ranked':[{'"
         "title':'Hot',"
         "'probability':0.81}]}}",
         "C5 mold, L1: Hot, 81 %"},
        {"{'event':'case','ranking':{'case':'C5','symptom':'mold','lot_named':'L1','harm':true,'"
         "harm_possible':true}}",
         "HARM REPORTED: C5 mold, L1"},
        {"{'event':'case','ranking':{'case':'C5','symptom':'other','lot_named':'L1','ranked':[]}}",
         "C5 other, L1: to be read"},
        {"{'event':'case','ranking':{'case':'C5','symptom':'mold','lot_named':'L1','harm':false,'"
         "harm_possible':true}}",
         "MAY BE HARM: C5 mold, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1'}", "URGENT C5: harm reported, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1','possible':true}",
         "To read C5: a complaint may speak of harm, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1','possible':true,'taken_back':true}",
         "C5: a report of harm was taken back, L1"},
        {"{'event':'urgent','lot_named':'L1','alone':true}", "URGENT: harm is spoken of, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1','alone':true,'possible':true}",
         "To read C5: harm may be meant, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1','harm':['illness'],'heard_in':'a note'}",
         "URGENT C5: harm is spoken of in what was written of it, L1"},
        {"{'event':'urgent','case':'C5','lot_named':'L1','possible':true,'heard_in':'a note'}",
         "To read C5: harm may be meant in what was written of it, L1"},
        {"{'event':'urgent','refused':'why'}", "URGENT: harm reported in a refused complaint"},
        {"{'event':'urgent','refused':'why','possible':true}",
         "To read: a refused complaint may speak of harm"},
        {"{'event':'gathered','alone':true,'reports':[{'alone':true},{'alone':true}]}",
         "URGENT: 2 more that speak of harm, of no case"},
        {"{'event':'gathered','alone':true,'reports':[{'alone':true,'lot_named':'lot "
         "L1','why':'x'}]}",
         "URGENT: harm is spoken of, lot L1"},
        {"{'event':'gathered','case':'C5','lot_named':'L1','reports':[{}]}",
         "URGENT C5: 1 more report of harm, L1"},
        {"{'event':'gathered','case':'C5','lot_named':'L1','reports':[{'possible':true},{}]}",
         "URGENT C5: 2 more reports of harm, L1"},
        {"{'event':'gathered','case':'C5','lot_named':'L1','reports':[{'possible':true},"
         "{'possible':true,'why':'x'}]}",
         "To read C5: 2 more complaints may speak of harm, L1"},
        {"{'event':'gathered','case':'C5','lot_named':'L1','reports':[{'case':'C5','lot_named':"
         "'L1','possible':true,'why':'its lot is known now'}]}",
         "To read C5: a complaint may speak of harm, L1"},
        {"{'event':'despite','case':'C5','did':'L1: hold ended (divert)'}",
         "URGENT C5: harm is open, and yet: L1: hold ended (divert)"},
        {"{'event':'despite','case':'C5','did':'L1: hold ended "
         "(rework)','harm':[],'possible':false,"
         "'unfit':'Packed too hot: the bag sweats, 97 %'}",
         "URGENT C5: moldy or ropy bread is open, and yet: L1: hold ended (rework)"},
        {"{'event':'emptied','case':'C5','symptom':'mold','lot_named':'L1'}",
         "C5 mold: its last complaint was withdrawn, L1"},
        {"{'event':'emptied','case':'C5','symptom':'mold','lot_named':'L1','back':true}",
         "C5 mold: it has a complaint again, L1"},
        {"{'event':'summary','count':1}", "1 case ranks otherwise than mailed"},
        {"{'event':'summary','count':12}", "12 cases rank otherwise than mailed"},
        {"{'event':'digest','week':{'week':'2026-W47','complaints':{'mold':1,'staling':0}}}",
         "Week 2026-W47: 1 complaint, nothing rose"},
        {"{'event':'digest','week':{'week':'2026-W47','complaints':{'mold':1,'staling':2},'stories'"
         ":[1]}}",
         "Week 2026-W47: 3 complaints, 1 rise"},
        {"{'event':'digest','week':{'week':'2026-W47','complaints':{'mold':1},'other':2}}",
         "Week 2026-W47: 3 complaints, nothing rose"},
        {"{'event':'digest','week':{'week':'2026-W47','complaints':{'mold':9},'stories':[1,2]}}",
         "Week 2026-W47: 9 complaints, 2 rises"},
        {"{'event':'due','overdue_count':1,'call_back_count':0,'unreachable_count':0}",
         "1 case overdue"},
        {"{'event':'due','overdue_count':0,'call_back_count':1,'unreachable_count':2}",
         "1 call-back due, 2 callers of harm without a number"},
        {"{'event':'due','overdue_count':2,'call_back_count':3,'unreachable_count':1}",
         "2 cases overdue, 3 call-backs due, 1 caller of harm without a number"},
        {"{'event':'summary','of':'file','count':1}", "1 case of a file of complaints"},
        {"{'event':'summary','of':'file','count':3}", "3 cases of a file of complaints"},
        {"{'event':'records','file':'lots.csv','outcome':'done'}", "Records: lots.csv was taken"},
        {"{'event':'records','file':'lots.csv','outcome':'refused'}",
         "Records: lots.csv was refused"},
        {"{'event':'urgent','lot_named':'L1'}", "URGENT: harm reported, L1"},
        {"{'event':'urgent','lot_named':'L1','possible':true}",
         "To read: a complaint may speak of harm, L1"},
        {"{'event':'gathered','alone':true,'reports':[{'possible':true},{'possible':true}]}",
         "To read: 2 more that speak of harm, of no case"},
        {"{'event':'gathered','case':'C5','lot_named':'L1','reports':[{'possible':true}]}",
         "To read C5: 1 more complaint may speak of harm, L1"},
        {"{'event':'despite','did':'lot L1 was released'}",
         "URGENT: harm is open, and yet: lot L1 was released"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char subject[256], clipped[256];
        json_t *event = event_of(ROWS[i].event);
        message_subject(event, subject, sizeof subject);
        assert_string_equal(subject, ROWS[i].subject);
        for (size_t room = 1; room <= strlen(subject); room++) { /* never beyond it */
            memset(clipped, '#', sizeof clipped);
            message_subject(event, clipped, room);
            assert_int_equal(strlen(clipped), room - 1);
            assert_memory_equal(clipped, subject, room - 1);
            for (size_t at = room; at < sizeof clipped; at++)
                assert_int_equal(clipped[at], '#');
        }
        json_decref(event);
    }
}

static int compose(struct message_envelope envelope, const char *to, char **ret, struct error *err)
{
    json_t *event =
        event_of("{'event':'summary','plant':'Harrow Mill','count':2,'rules':'sha256:00'}");
    json_t *list = event_of(to);
    envelope.to = list;
    int rc = message_compose(event, &envelope, ret, err);
    json_decref(list);
    json_decref(event);
    return rc;
}

static const struct message_envelope GOOD = {.from = "oddloaf@mill.example",
                                             .message_id = "<abc-1.2@mill.example>",
                                             .queued_ms = 1763561640000};

static void a_message_is_whole(void **state)
{
    static const char HEAD[] =
        "From: oddloaf@mill.example\n"
        "To: a@m.example,\n b@m.example\n"
        "Subject: [Harrow Mill] 2 cases rank otherwise than mailed\n"
        "Date: Wed, 19 Nov 2025 14:14:00 +0000\n"
        "Message-ID: <abc-1.2@mill.example>\n"
        "Auto-Submitted: auto-generated\nMIME-Version: 1.0\n"
        "Content-Type: multipart/alternative;\n boundary=\"=_part_abc-1.2\"\n\n"
        "--=_part_abc-1.2\nContent-Type: text/plain; charset=UTF-8\n"
        "Content-Transfer-Encoding: quoted-printable\n\n"
        "Cases that rank otherwise than mailed\n";
    static const char HTML[] = "\n--=_part_abc-1.2\nContent-Type: text/html; charset=UTF-8\n";
    static const char END[] = "</html>\n--=_part_abc-1.2--\n";
    char *text = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(compose(GOOD, "['a@m.example','b@m.example']", &text, &err), 0);
    if (strncmp(text, HEAD, strlen(HEAD)) != 0)
        fail_msg("it begins\n%.700s", text);
    assert_non_null(strstr(text, HTML));
    assert_string_equal(text + strlen(text) - strlen(END), END);
    free(text);
}

static void no_header_is_smuggled_in(void **state)
{
    char *text = NULL;
    struct error err = {0};
    struct message_envelope bad = GOOD;
    (void)state;
    assert_int_equal(compose(GOOD, "['a@m.example','b@m.example\\nBcc: x@y.example']", &text, &err),
                     ERROR_INVALID);
    assert_string_equal(err.field, "mail/to");
    err = (struct error){0};
    bad.from = "o@m.example\nBcc: x@y.example";
    assert_int_equal(compose(bad, "['a@m.example']", &text, &err), ERROR_INVALID);
    assert_string_equal(err.field, "mail/from");
    err = (struct error){0};
    bad = GOOD;
    bad.message_id = "<a@b>\nBcc: x@y.example";
    assert_int_equal(compose(bad, "['a@m.example']", &text, &err), ERROR_INVALID);
    assert_non_null(strstr(err.text, "control character"));
    assert_null(text);
}

/* The name of a file that was dropped, what a caller wrote: neither parks the mail, nor turns it.
 */
static void what_others_wrote_is_shown_in_order(void **state)
{
    static const char FILE_NAME[] = "{'event':'records','plant':'Harrow Mill','outcome':'refused',"
                                    "'file':'lots\\nBcc: x\u202exslx.csv'}";
    json_t *event = event_of(FILE_NAME), *to = event_of("['a@m.example']");
    struct message_envelope envelope = GOOD;
    char *text = NULL;
    struct error err = {0};
    (void)state;
    envelope.to = to;
    assert_int_equal(message_compose(event, &envelope, &text, &err), 0);
    assert_non_null(
        strstr(text, "\nSubject: [Harrow Mill] Records: lots?Bcc: x?xslx.csv was refused\n"));
    assert_null(strstr(text, "=E2=80=AE"));
    *strstr(text, "\n\n") = '\0';
    assert_null(strstr(text, "\nBcc"));
    free(text);
    json_decref(to);
    json_decref(event);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(subjects),
        cmocka_unit_test(a_message_is_whole),
        cmocka_unit_test(no_header_is_smuggled_in),
        cmocka_unit_test(what_others_wrote_is_shown_in_order),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
