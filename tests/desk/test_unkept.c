/* Harm in what could not be kept is heard whatever it stands in, each kind once. */
#include "desk/unkept.h"
#include "fixture.h"

static void assert_heard(struct fixture *f, const char *said, const char *harm, bool possible)
{
    char *body = fixture_text(said);
    json_t *told = unkept_body(&f->desk, body, strlen(body));
    json_t *kinds = json_object_get(told, "harm");
    char *text = kinds ? json_dumps(kinds, JSON_COMPACT) : xstrdup("");
    char *expected = fixture_text(harm);
    if (strcmp(text, expected) != 0 ||
        json_is_true(json_object_get(told, "harm_possible")) != possible)
        fail_msg("%s: %s", said, json_dumps(told, 0));
    bool any = *harm || possible;
    assert_int_equal(json_is_string(json_object_get(told, "script")), any);
    assert_int_equal(json_is_string(json_object_get(told, "alarm")), any);
    free(text);
    free(expected);
    free(body);
    json_decref(told);
}

static void harm_is_heard_in_any_body(void **state)
{
    static const struct {
        const char *said, *harm;
        bool possible;
    } ROWS[] = {
        {"{'note':'she was sick all night'}", "['illness']", false},
        {"{'harm':['injury']}", "['injury']", false},
        {"{'harm':'tampering'}", "['tampering']", false},
        {"{'tampering':'none'}", "", false},
        {"{'comment':{'deep':['there was a piece of glass in it']}}", "['foreign-matter']", false},
        {"[{'harm':['illness']},{'note':'she was sick all night'}]", "['illness']", false},
        {"{'harm':['injury','illness']}", "['injury','illness']", false},
        {"{'note':'mold on top'}", "", false},
        {"", "", false},
        {"{'note':'mold'}\n{'note':'she was sick all night'}\n{'harm':['injury']}\n",
         "['injury','illness']", false},
        {"{'note':'mold'}\n\n{'by':'Ann Sick','note':'fan mended'}\n", "", false},
        {"{'note':'she was sick all night'", "['illness']", false},
        {"{'note':'mold'}\nshe was sick all night", "['illness']", false},
    };
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_heard(*state, ROWS[i].said, ROWS[i].harm, ROWS[i].possible);
}

/* What may be harm is told as that, beside what is. */
static void what_may_be_harm_is_told_as_that(void **state)
{
    assert_heard(*state, "{'note':'so hard you could break a tooth'}", "", true);
    assert_heard(*state, "{'note':'so hard you could break a tooth','harm':['injury']}",
                 "['injury']", true);
}

/* A body is read as far as it is said to be, and no further. */
static void it_is_read_so_far(void **state)
{
    static const char HARM[] = "\nshe was sick all night\n";
    struct fixture *f = *state;
    char *body = xmalloc(UNKEPT_READ + sizeof HARM);
    for (int over = 0; over < 2; over++) {
        size_t before = UNKEPT_READ - (over ? 0 : strlen(HARM));
        memset(body, ' ', before);
        memcpy(body + before, HARM, sizeof HARM);
        json_t *told = unkept_body(&f->desk, body, before + strlen(HARM));
        assert_int_equal(json_object_size(told), over ? 1 : 3);
        assert_int_equal(json_object_get(told, "hint") != NULL, over);
        json_decref(told);
    }
    free(body);
}

static void what_was_taken_is_told_together(void **state)
{
    struct fixture *f = *state;
    json_t *illness = json_pack("[s]", "illness"), *both = json_pack("[ss]", "illness", "injury");
    const struct taking takings[] = {{.reachable = false},
                                     {.harm = illness, .reachable = true},
                                     {.harm = both, .reachable = true},
                                     {.harm_possible = true, .reachable = false}};
    json_t *told = unkept_takings(&f->desk, takings, 1);
    assert_int_equal(json_object_size(told), 0);
    json_decref(told);
    told = unkept_takings(&f->desk, takings, 3);
    const char *asked = json_string_value(json_object_get(told, "script"));
    assert_int_equal(json_array_size(json_object_get(told, "harm")), 2);
    assert_null(json_object_get(told, "harm_possible"));
    json_t *all = unkept_takings(&f->desk, takings, 4);
    assert_true(json_is_true(json_object_get(all, "harm_possible")));
    /* somebody of them left no number: it is asked for */
    assert_string_not_equal(json_string_value(json_object_get(all, "script")), asked);
    json_decref(told);
    json_decref(all);
    json_decref(illness);
    json_decref(both);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(harm_is_heard_in_any_body),
        cmocka_unit_test(what_may_be_harm_is_told_as_that),
        cmocka_unit_test(it_is_read_so_far),
        cmocka_unit_test(what_was_taken_is_told_together),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
