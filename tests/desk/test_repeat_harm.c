/* What of harm is news in a report that comes again, by what is kept and was mailed of it. */
#include "desk/event.h"
#include "desk/repeat_harm.h"
#include "fixture.h"
#include "intake/fields.h"
#include "store/outbox.h"

/* Kinds as the letters they have in the id of a mail: "illness injury", "?" for what may be. */
static void letters_of(const char *kinds, char out[REPEAT_HARM_MARKS])
{
    size_t length = 0;
    const struct field_word *words = fields_find("harm")->words;
    char copy[80], *rest = copy;
    snprintf(copy, sizeof copy, "%s", kinds);
    for (char *kind = strsep(&rest, " "); kind && *kind; kind = strsep(&rest, " "))
        out[length++] = *kind == '?' ? 'z' : (char)('a' + (fields_word(words, kind) - words));
    out[length] = '\0';
}

static void mailed(struct fixture *f, const char *marks)
{
    char id[128];
    event_again_id("mill.example", FIRST, marks, id, sizeof id);
    const struct outbox_new row = {
        .event = "urgent", .message_id = id, .payload = "{}", .created_ms = f->now_ms};
    assert_int_equal(outbox_add(f->store, &row, NULL), 0);
}

static void news(struct fixture *f, const char *says, char marks[REPEAT_HARM_MARKS])
{
    struct error err = {0};
    json_t *said = fixture_complaint(FIRST, says);
    struct taking t = {.user = "mira", .alone = true};
    taking_read(&f->desk, f->store, said, f->now_ms, &t);
    if (repeat_harm_news(&f->desk, f->store, t.form, marks, &err))
        fail_msg("%s", err.text);
    json_decref(said);
    taking_clear(&t);
}

static void a_kind_is_news_once(void **state)
{
    static const struct {
        const char *kept, *mailed, *says, *news; /* mailed: kinds of one mail, NULL none */
    } ROWS[] = {
        {"{}", NULL, "{}", ""},
        {"{}", NULL, "{'harm':['illness']}", "illness"},
        {"{}", NULL, "{'harm':['illness','injury']}", "illness injury"},
        {"{'harm':['illness']}", NULL, "{'harm':['illness']}", ""},
        {"{'harm':['illness']}", NULL, "{'harm':['injury','illness']}", "injury"},
        {"{}", "illness", "{'harm':['illness']}", ""},
        {"{}", "injury", "{'harm':['illness']}", "illness"},
        {"{'harm':['allergic-reaction']}", "injury",
         "{'harm':['illness','injury','allergic-reaction']}", "illness"},
        {"{}", NULL, "{'note':'so hard you could break a tooth'}", "?"},
        {"{}", "?", "{'note':'so hard you could break a tooth'}", ""},
        {"{'harm':['illness']}", NULL, "{'note':'so hard you could break a tooth'}", ""},
        {"{}", "?", "{'harm':['injury']}", "injury"},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char marks[REPEAT_HARM_MARKS], expected[REPEAT_HARM_MARKS];
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].kept);
        if (ROWS[i].mailed) {
            letters_of(ROWS[i].mailed, marks);
            mailed(f, marks);
        }
        news(f, ROWS[i].says, marks);
        letters_of(ROWS[i].news, expected);
        if (strcmp(marks, expected) != 0)
            fail_msg("%s then %s: '%s', not '%s'", ROWS[i].kept, ROWS[i].says, marks, expected);
        fixture_end(f, false);
    }
}

/* Words of gravity beside it are, too, four capitals each. */
static void a_graver_word_is_news_once(void **state)
{
    static const char ILL[] = "{'harm':['illness'],'note':'she was ill'}",
                      DIED[] = "{'harm':['illness'],'note':'she was ill and died'}",
                      WARD[] = "{'harm':['illness'],'note':'she was ill, died in the hospital'}";
    struct fixture *f = *state;
    char died[REPEAT_HARM_MARKS], both[REPEAT_HARM_MARKS], again[REPEAT_HARM_MARKS];
    fixture_log(f, FIRST, ILL);
    news(f, ILL, again);
    assert_string_equal(again, "");
    news(f, DIED, died);
    assert_int_equal(strlen(died), 4);
    assert_int_equal(strspn(died, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"), 4);
    news(f, WARD, both);
    assert_int_equal(strlen(both), 8);
    assert_non_null(strstr(both, died));
    mailed(f, died);
    news(f, DIED, again);
    assert_string_equal(again, "");
    news(f, WARD, again);
    assert_int_equal(strlen(again), 4);
    assert_string_not_equal(again, died);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_kind_is_news_once, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_graver_word_is_news_once, fixture_clean, fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
