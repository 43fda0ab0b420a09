/* What is read out and mailed when harm is reported: the plant's words, both kinds of them. */
#include "check.h"

#include "base/error.h"
#include "intake/harm.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static int load(const char *text, json_t **ret, struct error *err)
{
    char path[] = "/tmp/oddloaf-harm-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0 && write(fd, text, strlen(text)) == (ssize_t)strlen(text));
    close(fd);
    int rc = harm_load(path, NULL, NULL, ret, err);
    unlink(path);
    return rc;
}

static void both_kinds_have_their_words(void **state)
{
    json_t *harm = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(load("{\"script\":\"Stop.\",\"mail\":[\"Call\",\"Keep\"],"
                          "\"possible\":{\"script\":\"Was it?\",\"mail\":[\"Read\"]}}",
                          &harm, &err),
                     0);
    assert_int_equal(err.code, 0);
    assert_string_equal(harm_script_of(harm, false), "Stop.");
    assert_string_equal(harm_script_of(harm, true), "Was it?");
    assert_int_equal(json_array_size(harm_needs_of(harm, false)), 2);
    assert_int_equal(json_array_size(harm_needs_of(harm, true)), 1);
    json_decref(harm);
}

/* Nobody is asked again for what was given. */
static void a_number_is_asked_of_who_left_none(void **state)
{
    static const struct {
        bool possible, reachable;
        const char *script;
    } ROWS[] = {
        {false, false, "Stop. Which number?"}, {false, true, "Stop."}, {true, false, "Was it?"}};
    json_t *harm = NULL;
    (void)state;
    assert_int_equal(
        load("{\"script\":\"Stop.\",\"call_back\":\"Which number?\",\"mail\":[\"Call\"],"
             "\"possible\":{\"script\":\"Was it?\",\"mail\":[\"Read\"]}}",
             &harm, NULL),
        0);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *said = harm_read_out(harm, ROWS[i].possible, ROWS[i].reachable);
        assert_string_equal(json_string_value(said), ROWS[i].script);
        json_decref(said);
    }
    json_decref(harm);
}

static void nothing_of_it_may_be_missing(void **state)
{
    static const char *const BAD[] = {
        "{\"mail\":[\"Call\"],\"possible\":{\"script\":\"Was it?\",\"mail\":[\"Read\"]}}",
        "{\"script\":\"Stop.\",\"possible\":{\"script\":\"Was it?\",\"mail\":[\"Read\"]}}",
        "{\"script\":\"Stop.\",\"mail\":[\"Call\"],\"possible\":{\"bags\":[\"moldy\"],\"script\":"
        "\"Was "
        "it?\",\"mail\":[\"Read\"]}}",
        "{\"script\":\"Stop.\",\"mail\":[],\"possible\":{\"script\":\"Was "
        "it?\",\"mail\":[\"Read\"]}}",
        "{\"script\":\"Stop.\",\"mail\":[\"Call\"]}",
        "{\"script\":\"Stop.\",\"mail\":[\"Call\"],\"possible\":{\"mail\":[\"Read\"]}}",
        "{\"script\":\"Stop.\",\"mail\":[\"Call\"],\"possible\":{\"script\":\"Was it?\"}}",
        "{\"script\":\"Stop.\",\"mail\":[\"Call\"],\"possible\":{\"script\":\"Was "
        "it?\",\"mail\":[]}}",
        "{",
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(BAD); i++) {
        json_t *harm = NULL;
        struct error err = {0};
        assert_int_equal(load(BAD[i], &harm, &err), ERROR_INVALID);
        assert_int_equal(err.code, ERROR_INVALID);
        assert_true(err.line >= 1 && err.text[0]);
        assert_null(harm);
    }
    json_t *harm = NULL;
    assert_int_equal(harm_load("/nowhere/harm.json", NULL, NULL, &harm, NULL), ERROR_NOT_FOUND);
    assert_null(harm);
}

static void check_asks(const json_t *harm, enum harm_about about, const char *kinds,
                       const char *want)
{
    char got[200] = "";
    json_t *list = json_loads(kinds, 0, NULL), *asks = harm_asks_of(harm, about, list), *ask;
    size_t i;
    json_array_foreach(asks, i, ask)
    {
        size_t used = strlen(got);
        snprintf(got + used, sizeof got - used, "%s%s", i ? " " : "",
                 json_string_value(json_object_get(ask, "ask")));
    }
    json_decref(asks);
    json_decref(list);
    assert_string_equal(got, want);
}

/* A wrong label is asked of no crumb. */
static void what_is_asked_fits_the_kind(void **state)
{
    json_t *harm = NULL;
    (void)state;
    assert_int_equal(load("{\"script\":\"Stop.\",\"mail\":[\"Call\"],\"ask\":{\"source\":\"none\","
                          "\"harm\":{\"caller\":[\"Now?\"],\"plant\":[\"Records\"]},"
                          "\"other\":{\"caller\":[\"What?\"]},\"kinds\":{"
                          "\"wrong-label\":{\"caller\":[\"Label?\"]},"
                          "\"injury\":{\"caller\":[\"Who?\",\"Found?\"]},"
                          "\"foreign-matter\":{\"caller\":[\"Found?\"],\"lab\":[\"It\"]}}},"
                          "\"possible\":{\"script\":\"Was-it?\",\"mail\":[\"Read\"]}}",
                          &harm, NULL),
                     0);
    check_asks(harm, HARM_SAID, "[\"wrong-label\"]", "Now? Label? Records");
    check_asks(harm, HARM_SAID, "[\"injury\",\"foreign-matter\"]", "Now? Who? Found? Records It");
    check_asks(harm, HARM_SAID, "[\"illness\"]", "Now? Records");
    check_asks(harm, HARM_POSSIBLE, "[]", "Was-it? Now? Records");
    check_asks(harm, HARM_OTHER, "[]", "What?");
    json_decref(harm);
}

static void words_of_gravity(void **state)
{
    static const struct {
        const char *text, *words; /* NULL: none */
    } CASES[] = {{"in the Hospital now", "[\"hospital*\"]"},
                 {"HOSPITALIZED", "[\"hospital*\"]"},
                 {"a hospice", NULL},
                 {"un hospital, y botulismo", "[\"hospital*\",\"botulismo\"]"},
                 {"botulismos", NULL},
                 {"xbotulismo", NULL},
                 {"7botulismo", NULL},
                 {"botulismo7", NULL},
                 {"(botulismo)", "[\"botulismo\"]"},
                 {"botulismos botulismo", "[\"botulismo\"]"},
                 {"", NULL},
                 {NULL, NULL}};
    json_t *harm = json_pack("{s:[s,s,s]}", "grave", "hospital*", "botulismo", "*");
    json_t *none = json_object(), *some = json_pack("{s:f}", "gather_min", 2.5);
    (void)state;
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        json_t *found = harm_grave_of(harm, CASES[i].text);
        char *got = found ? json_dumps(found, JSON_COMPACT) : NULL;
        if ((got == NULL) != (CASES[i].words == NULL) || (got && strcmp(got, CASES[i].words) != 0))
            fail_msg("%s: %s", CASES[i].text ? CASES[i].text : "", got ? got : "none");
        free(got);
        json_decref(found);
        assert_null(harm_grave_of(none, CASES[i].text));
    }
    assert_int_equal(harm_gather_ms(none), 600000);
    assert_int_equal(harm_gather_ms(some), 150000);
    json_decref(harm);
    json_decref(none);
    json_decref(some);
}

/* As shipped: whom it befell may be graver than what. */
static void who_is_weakest_is_grave(void **state)
{
    static const struct {
        const char *text;
        bool grave;
    } CASES[] = {{"a child found glass in it", true},
                 {"the children were sick", true},
                 {"my baby vomited", true},
                 {"a pregnant customer has a fever", true},
                 {"el niño vomitó, su madre está embarazada", true},
                 {"mein Kind hat erbrochen", true},
                 {"a childish drawing on the bag, what kind of glass is it", false},
                 {"the driver found glass", false}};
    struct error err = {0};
    json_t *harm = NULL;
    (void)state;
    assert_int_equal(harm_load(ODDLOAF_SOURCE_DIR "/rules/harm.json", NULL, NULL, &harm, &err), 0);
    for (size_t i = 0; i < sizeof CASES / sizeof CASES[0]; i++) {
        json_t *found = harm_grave_of(harm, CASES[i].text);
        if ((found != NULL) != CASES[i].grave)
            fail_msg("%s", CASES[i].text);
        json_decref(found);
    }
    json_decref(harm);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(both_kinds_have_their_words),
        cmocka_unit_test(a_number_is_asked_of_who_left_none),
        cmocka_unit_test(what_is_asked_fits_the_kind),
        cmocka_unit_test(nothing_of_it_may_be_missing),
        cmocka_unit_test(words_of_gravity),
        cmocka_unit_test(who_is_weakest_is_grave),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
