/* Contact data in answers: the desk sees what was said, QA and managers never a digit of it. */
#include "fixture.h"

#define FIRST "01990000-0000-7000-8000-000000000001"
#define PHONE "555-0199"
#define NAME "Ann Bee"

static const struct {
    const char *what, *body;
    bool seen; /* by the desk */
} ASKED[] = {
    {"POST complaints/" FIRST "/correct",
     "{'fields':{'note':'sour, ring " PHONE ", as %s heard'},'reason':'rang again'}", true},
    {"GET complaints/" FIRST, NULL, true},
    {"GET history/" FIRST, NULL, true},
    {"GET complaints?word=sour", NULL, true},
    {"GET complaints?phone=" PHONE, NULL, true},
    {"GET call-backs", NULL, true},
    {"GET cases/C1/follow", NULL, true},
    {"GET export/complaints.ndjson", NULL, false},
    {"GET export/changes.csv", NULL, false},
    {"GET cases/C1", NULL, false},
    {"GET cases/C1.html", NULL, false},
    {"GET history/C1", NULL, true},
    {"GET found?word=sour", NULL, false},
    {"GET outbox", NULL, false},
};

static bool tells(struct fixture *f, unsigned roles, const char *what, const char *body)
{
    char said[256];
    const char *who = roles & ROLE_DESK ? "the desk" : "QA", *at = body ? strchr(body, '%') : NULL;
    snprintf(said, sizeof said, "%.*s%s%s", at ? (int)(at - body) : 0, body ? body : "",
             at ? who : "", at ? at + 2 : "");
    f->roles = roles;
    struct asked *a = fixture_ask(f, f->store, what, body ? said : NULL);
    bool told = a->body.length && (strstr(a->body.data, PHONE) || strstr(a->body.data, NAME));
    if (a->status != 200 && (roles & ROLE_DESK || a->status != 403))
        fail_msg("%s: %d %s", what, a->status, a->body.length ? a->body.data : "");
    fixture_asked_free(a);
    return told;
}

static void the_desk_alone_sees_contact_data(void **state)
{
    struct fixture *f = fixture_start(FIXTURE_SETTINGS);
    (void)state;
    fixture_log(f, FIRST, ",'note':'sour','contact':{'name':'" NAME "','phone':'" PHONE "'}");
    fixture_does(f, "POST cases/C1/follow",
                 "{'by':'mira','call_back':'2027-01-01','complaint':'" FIRST "'}", 200);
    for (size_t i = 0; i < COUNT_OF(ASKED); i++) {
        if (tells(f, ROLE_DESK, ASKED[i].what, ASKED[i].body) != ASKED[i].seen)
            fail_msg("the desk: %s", ASKED[i].what);
        if (tells(f, ROLE_QA | ROLE_MANAGER, ASKED[i].what, ASKED[i].body))
            fail_msg("QA is told: %s", ASKED[i].what);
    }
    fixture_stop(f);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_desk_alone_sees_contact_data),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
