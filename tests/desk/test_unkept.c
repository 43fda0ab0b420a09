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

#define RESULT(quantity, value)                                                                    \
    "{'lot':'L3 6319 NOLOT','lab':'Millgate','sample':'1','results':[{'quantity':'" quantity       \
    "','value':" value "}]}"

/* Its name is half the sentence; what denies is none. */
static void a_result_is_heard_as_one_that_is_kept(void **state)
{
    static const struct {
        const char *said, *harm;
        bool possible;
    } ROWS[] = {
        {RESULT("salmonella", "'positive'"), "['illness']", false},
        {RESULT("listeria_monocytogenes", "'detected in 25 g'"), "['illness']", false},
        {RESULT("glass", "'found'"), "['foreign-matter']", false},
        {RESULT("glass", "'3 grains'"), "", true},
        {RESULT("glass_pieces", "3"), "['foreign-matter']", false},
        {RESULT("salmonella", "'absent/25 g'"), "", false},
        {RESULT("glass", "0"), "", false},
        {RESULT("salmonella", "null"), "", false},
        {RESULT("ph", "5.4"), "", false},
        {RESULT("ph", "'glass in the crumb'"), "['foreign-matter']", false},
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

/* A letter in an old program's letters, a page, a photo; beside what the request says. */
static void a_file_that_is_refused_is_heard(void **state)
{
    static const struct {
        const char *bytes;
        size_t length;
        const char *before, *after, *name;
    } ROWS[] = {
        {"\x89PNG\0", 5, "{}", "['foreign-matter']", "glass_in_the-bread.png"},
        {"\x89PNG\0", 5, "{}", "null", "glass_lid_photo.png"},
        {"my s\xF6hnchen is fine.\nmy daughter vomited all night\f", 0, "{}", "['illness']", NULL},
        {"<p>glass cut my mouth</p>", 0, "{'harm':['illness']}", "['illness','injury']", NULL},
        {"\x89PNG\0 my daughter vomited all night", 40, "{}", "null", NULL},
        {"crumb pH 5.8, glass: none\n", 0, "{'harm':['illness']}", "['illness']", NULL},
        {"", 0, "{}", "null", NULL}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *answer = fixture_json(ROWS[i].before);
        size_t length = ROWS[i].length ? ROWS[i].length : strlen(ROWS[i].bytes);
        unkept_file(&f->desk, &(struct unkept_file){ROWS[i].name, ROWS[i].bytes, length}, answer);
        json_t *harm = json_object_get(answer, "harm");
        json_t *expected = *ROWS[i].after == '[' ? fixture_json(ROWS[i].after) : NULL;
        for (size_t k = 0; k < json_array_size(expected); k++)
            if (!jsonx_holds(harm, json_array_get(expected, k)))
                fail_msg("%zu: %s", i, json_dumps(answer, 0));
        assert_true(expected || !harm);
        json_decref(expected);
        json_decref(answer);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(harm_is_heard_in_any_body),
        cmocka_unit_test(a_result_is_heard_as_one_that_is_kept),
        cmocka_unit_test(what_may_be_harm_is_told_as_that),
        cmocka_unit_test(it_is_read_so_far),
        cmocka_unit_test(what_was_taken_is_told_together),
        cmocka_unit_test(a_file_that_is_refused_is_heard),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
