/* Harm where no field takes it: in members that are none, in values of another kind, in sentences
 * where a name belongs, in what else a note names. And complaints stamped by a clock that cannot be
 * right. */
#include "base/text.h"
#include "check.h"
#include "intake/complaint_form.h"
#include "intake/fields.h"
#include "intake/lexicon.h"
#include "intake/receipt.h"
#include "intake/stray.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static struct lexicon *lexicon;

static int load_shipped(void **state)
{
    (void)state;
    return lexicon_load(ODDLOAF_SOURCE_DIR "/rules/lexicon", NULL, NULL, &lexicon, NULL);
}

static int free_shipped(void **state)
{
    (void)state;
    lexicon_free(lexicon);
    return 0;
}

static json_t *json(const char *text)
{
    json_error_t why;
    json_t *json = json_loads(text, JSON_DECODE_ANY, &why);
    if (!json)
        fail_msg("%s: %s", text, why.text);
    return json;
}

/* ---- which words they are ---- */

static void add(void *arg, const char *text, bool kept)
{
    text_appendf(arg, "%s%s;", text, kept ? " (kept)" : "");
}

static void where_words_stray(void **state)
{
    static const struct {
        const char *complaint, *strays;
    } CASES[] = {
        {"{}", ""},
        {"{\"note\":\"a whole long sentence\"}", ""},
        {"{\"note\":[\"a\",\"b\"]}", "a;b;"},
        {"{\"comment\":\"x\"}", "x;"},
        {"{\"comment\":[\"x\",{\"y\":\"z\"},1,true,null]}", "x;z;"},
        {"{\"symptom\":\"mold\"}", ""},
        {"{\"symptom\":\"she fell ill\"}", "she fell ill;"},
        {"{\"symptom\":[\"mold\",\"ill\"]}", "ill;"},
        {"{\"symptom\":{\"a\":\"mold\"}}", "mold;"},
        {"{\"harm\":[\"illness\",\"rash\"]}", "rash;"},
        {"{\"store\":\"0417\"}", ""},
        {"{\"store\":\"two words\"}", ""},
        {"{\"store\":\"now three words\"}", "now three words (kept);"},
        {"{\"store\":[\"one\"]}", "one;"},
        {"{\"code_date\":\"on a sunny day\"}", "on a sunny day;"},
        {"{\"code_date\":\"a day\"}", ""},
        {"{\"observed\":{\"colour\":\"blue-green\",\"taste\":\"bad\"}}", "bad;"},
        {"{\"observed\":{\"colour\":\"blood red\"}}", "blood red;"},
        {"{\"observed\":\"all of it\"}", "all of it;"},
        {"{\"nothing\":{\"a\":{\"b\":\"c\"}}}", "c;"},
        {"{\"refused\":[{\"reason\":\"x\"}]}", ""},
        {"{\"observed\":{\"refused\":\"x\"}}", ""},
        {"{\"packs\":{\"many\":\"of them\"}}", "of them;"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct text_buffer out = {0};
        json_t *complaint = json(CASES[i].complaint);
        stray_each(complaint, add, &out);
        if (strcmp(out.data ? out.data : "", CASES[i].strays) != 0)
            fail_msg("%s: %s", CASES[i].complaint, out.data ? out.data : "");
        json_decref(complaint);
        text_buffer_free(&out);
    }
}

/* ---- what they say ---- */

/* What is filled of `filled` by the strays of a complaint, and from which words. */
static void check_filled(const char *complaint, const char *before, const char *after,
                         const char *from)
{
    json_t *of = json(complaint), *filled = json(before), *want = json(after),
           *taken = json_array();
    lexicon_fill_stray(lexicon, of, filled, taken);
    const char *told = json_string_value(json_object_get(json_array_get(taken, 0), "from"));
    char *got = json_dumps(filled, JSON_SORT_KEYS);
    if (!json_equal(filled, want) || strcmp(told ? told : "", from) != 0)
        fail_msg("%s: %s from '%s'", complaint, got, told ? told : "");
    assert_int_equal(json_array_size(taken), *from != '\0');
    free(got);
    json_decref(of);
    json_decref(filled);
    json_decref(want);
    json_decref(taken);
}

#define VOMITED "{\"comment\":\"my son vomited\"}"

static void harm_in_them_is_heard(void **state)
{
    static char complaint[24000], after[24000], before[24000], many[20000];
    (void)state;
    check_filled(VOMITED, "{}", "{\"harm_possible\":true,\"note\":\"my son vomited\"}", "vomited");
    check_filled(VOMITED, "{\"note\":\"moldy\"}",
                 "{\"harm_possible\":true,\"note\":\"moldy; my son vomited\"}", "vomited");
    check_filled(VOMITED, "{\"note\":\"\"}", "{\"harm_possible\":true,\"note\":\"my son vomited\"}",
                 "vomited");
    check_filled(VOMITED, "{\"note\":null}", "{\"harm_possible\":true,\"note\":\"my son vomited\"}",
                 "vomited");
    check_filled(VOMITED, "{\"note\":7}",
                 "{\"harm_possible\":true,\"note\":7,\"reason\":\"my son vomited\"}", "vomited");
    check_filled(VOMITED, "{\"harm\":[\"illness\"]}", "{\"harm\":[\"illness\"]}", "");
    check_filled(VOMITED, "{\"harm\":[]}",
                 "{\"harm\":[],\"harm_possible\":true,\"note\":\"my son vomited\"}", "vomited");
    check_filled(VOMITED, "{\"harm_possible\":true}", "{\"harm_possible\":true}", "");
    check_filled("{\"comment\":\"it was stale\"}", "{}", "{}", "");
    /* of two each is kept, and the first told */
    check_filled("{\"a\":\"my son vomited\",\"b\":\"stale\",\"c\":\"she got hives\"}", "{}",
                 "{\"harm_possible\":true,\"note\":\"my son vomited; she got hives\"}", "vomited");
    /* a name may have a word in it that is harm by itself no more than possible */
    check_filled("{\"store\":\"the market where my son vomited\"}", "{}",
                 "{\"harm_possible\":true}", "vomited");
    /* as much as a note may have, no more */
    const size_t most = (size_t)fields_find("note")->high, text = strlen("my son vomited");
    for (size_t more = 0; more < 2; more++) {
        size_t length = most - text - 2 + more;
        memset(many, 'x', sizeof many);
        many[length < sizeof many ? length : sizeof many - 1] = '\0';
        assert_true(length < sizeof many);
        snprintf(before, sizeof before, "{\"note\":\"%s\"}", many);
        snprintf(after, sizeof after, "{\"harm_possible\":true,\"note\":\"%s%s\"}", many,
                 more ? "" : "; my son vomited");
        check_filled(VOMITED, before, after, "vomited");
    }
    /* and of one word after the other a thousand bytes, or two hundred as a reason */
    memset(many, 'y', 1500);
    many[1500] = '\0';
    snprintf(complaint, sizeof complaint, "{\"comment\":\"my son vomited %s\"}", many);
    snprintf(after, sizeof after, "{\"harm_possible\":true,\"note\":\"my son vomited %.985s\"}",
             many);
    check_filled(complaint, "{}", after, "vomited");
    snprintf(after, sizeof after,
             "{\"harm_possible\":true,\"note\":7,\"reason\":\"my son vomited %.185s\"}", many);
    check_filled(complaint, "{\"note\":7}", after, "vomited");
}

static void what_may_be_harm_by_itself(void **state)
{
    static const struct {
        const char *note, *before, *after, *from;
    } CASES[] = {
        {"almonds", "{\"symptom\":\"other\"}", "{\"symptom\":\"other\",\"harm_possible\":true}",
         "almonds"},
        {"bought almonds here", "{\"symptom\":\"other\",\"harm\":null}",
         "{\"symptom\":\"other\",\"harm\":null,\"harm_possible\":true}", "almonds"},
        {"almonds", "{\"symptom\":\"mold\"}", "{\"symptom\":\"mold\"}", ""},
        {"almonds", "{}", "{}", ""},
        {"almonds", "{\"symptom\":\"other\",\"harm\":[\"illness\"]}",
         "{\"symptom\":\"other\",\"harm\":[\"illness\"]}", ""},
        {"the shop was closed", "{\"symptom\":\"other\"}", "{\"symptom\":\"other\"}", ""},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *filled = json(CASES[i].before), *want = json(CASES[i].after), *taken = json_array();
        lexicon_fill_bare(lexicon, CASES[i].note, filled, taken);
        const char *told = json_string_value(json_object_get(json_array_get(taken, 0), "from"));
        char *got = json_dumps(filled, JSON_SORT_KEYS);
        if (!json_equal(filled, want) || strcmp(told ? told : "", CASES[i].from) != 0)
            fail_msg("%s of %s: %s from '%s'", CASES[i].note, CASES[i].before, got,
                     told ? told : "");
        free(got);
        json_decref(filled);
        json_decref(want);
        json_decref(taken);
    }
    lexicon_fill_bare(NULL, "almonds", NULL, NULL);
}

static void kinds_of_harm_in_a_text(void **state)
{
    static const struct {
        const char *text, *kinds; /* NULL: none */
        size_t at;
    } CASES[] = {{"my son vomited", "[\"illness\"]", 7},
                 {"glass in it, my son vomited", "[\"foreign-matter\",\"illness\"]", 0},
                 {"can you get sick from eating a little mold", "[]", 8},
                 {"it was stale", NULL, 0}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        size_t at[LEXICON_HARMS] = {0};
        json_t *kinds = lexicon_harm(lexicon, CASES[i].text, at);
        char *got = kinds ? json_dumps(kinds, JSON_COMPACT) : NULL;
        if ((got == NULL) != (CASES[i].kinds == NULL) ||
            (got && strcmp(got, CASES[i].kinds) != 0) || at[0] != CASES[i].at)
            fail_msg("%s: %s at %zu", CASES[i].text, got ? got : "none", at[0]);
        free(got);
        json_decref(kinds);
        kinds = lexicon_harm(lexicon, CASES[i].text, NULL);
        assert_int_equal(kinds != NULL, CASES[i].kinds != NULL);
        json_decref(kinds);
    }
}

static void harm_as_it_was_said(void **state)
{
    static const struct {
        const char *complaint, *known; /* NULL: none */
        bool possible;
    } CASES[] = {
        {"{}", NULL, false},
        {"{\"harm\":null}", NULL, false},
        {"{\"harm\":[]}", NULL, false},
        {"{\"harm\":[\"illness\",\"rash\",\"injury\"]}", "[\"illness\",\"injury\"]", false},
        {"{\"harm\":\"illness\"}", "[\"illness\"]", false},
        {"{\"harm\":[\"rash\"]}", NULL, true},
        {"{\"harm\":\"rash\"}", NULL, true},
        {"{\"harm\":7}", NULL, true},
        {"{\"harm_possible\":true}", NULL, true},
        {"{\"harm_possible\":false}", NULL, false},
        {"{\"harm\":[\"illness\"],\"harm_possible\":true}", "[\"illness\"]", false},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        bool possible = !CASES[i].possible;
        json_t *complaint = json(CASES[i].complaint);
        json_t *known = complaint_form_harm(complaint, &possible);
        char *got = known ? json_dumps(known, JSON_COMPACT) : NULL;
        if ((got == NULL) != (CASES[i].known == NULL) ||
            (got && strcmp(got, CASES[i].known) != 0) || possible != CASES[i].possible)
            fail_msg("%s: %s %d", CASES[i].complaint, got ? got : "none", possible);
        free(got);
        json_decref(known);
        json_decref(complaint);
    }
}

/* ---- fields ---- */

static void values_are_taken_off(void **state)
{
    static const struct {
        const char *complaint, *field, *value, *left;
    } CASES[] = {
        {"{\"harm\":[\"illness\",\"injury\"]}", "harm", "\"illness\"", "{\"harm\":[\"injury\"]}"},
        {"{\"harm\":[\"injury\",\"illness\"]}", "harm", "\"illness\"", "{\"harm\":[\"injury\"]}"},
        {"{\"harm\":[\"illness\",\"illness\"]}", "harm", "\"illness\"", "{}"},
        {"{\"harm\":[\"injury\"]}", "harm", "\"illness\"", "{\"harm\":[\"injury\"]}"},
        {"{\"harm\":\"illness\"}", "harm", "\"illness\"", "{}"},
        {"{\"store\":\"0417\"}", "store", "\"0417\"", "{}"},
        {"{\"store\":\"0417\"}", "store", "\"0418\"", "{\"store\":\"0417\"}"},
        {"{\"observed\":{\"colour\":\"white\"}}", "observed/colour", "\"white\"", "{}"},
        {"{}", "store", "\"0417\"", "{}"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *complaint = json(CASES[i].complaint), *value = json(CASES[i].value),
               *left = json(CASES[i].left);
        fields_take_off(complaint, fields_find(CASES[i].field), value);
        if (!json_equal(complaint, left))
            fail_msg("%s without %s", CASES[i].complaint, CASES[i].value);
        json_decref(complaint);
        json_decref(value);
        json_decref(left);
    }
}

static void what_people_type(void **state)
{
    (void)state;
    assert_true(fields_is_typed("note"));
    assert_true(fields_is_typed("lot_text"));
    assert_false(fields_is_typed("symptom"));
    assert_false(fields_is_typed("nothing"));
    assert_true(fields_is_prose("note"));
    assert_false(fields_is_prose("store"));
    assert_int_equal(fields_group(fields_find("observed/colour")), strlen("observed/"));
    assert_int_equal(fields_group(fields_find("note")), 0);
    assert_string_equal(fields_leaf(fields_find("observed/colour")), "colour");
    assert_string_equal(fields_leaf(fields_find("note")), "note");
}

/* ---- a clock that cannot be right ---- */

static void times_of_receipt(void **state)
{
    static const int64_t NOW_MS = INT64_C(1795219200000); /* 2026-11-21T00:00:00Z */
    static const struct {
        int64_t ms;
        int rc;
    } CASES[] = {{INT64_C(946684800000), 0},
                 {INT64_C(946684799999), ERROR_INVALID},
                 {INT64_C(1795219200000), 0},
                 {INT64_C(1795219800000), 0},
                 {INT64_C(1795219800001), ERROR_INVALID}};
    static const struct {
        const char *complaint, *mended;
    } MENDED[] = {
        {"{}", "{}"},
        {"{\"received_at\":7}", "{\"received_at\":7}"},
        {"{\"received_at\":\"noon\"}", "{\"received_at\":\"noon\"}"},
        {"{\"received_at\":\"2026-11-20T23:00:00Z\",\"a\":1}",
         "{\"received_at\":\"2026-11-20T23:00:00Z\",\"a\":1}"},
        {"{\"received_at\":\"2027-11-20T23:00:00Z\",\"a\":1}",
         "{\"received_at\":\"2026-11-21T00:00:00+00:00\",\"received_said\":"
         "\"2027-11-20T23:00:00Z\",\"a\":1}"},
        {"{\"received_at\":\"1999-12-31T23:00:00Z\"}",
         "{\"received_at\":\"2026-11-21T00:00:00+00:00\",\"received_said\":"
         "\"1999-12-31T23:00:00Z\"}"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        assert_int_equal(receipt_check(NULL, CASES[i].ms, NOW_MS, NULL), CASES[i].rc);
        if (CASES[i].ms >= INT64_C(946684800000)) /* nobody knows what time it is */
            assert_int_equal(receipt_check(NULL, CASES[i].ms, 0, NULL), 0);
    }
    for (size_t i = 0; i < COUNT_OF(MENDED); i++) {
        json_t *complaint = json(MENDED[i].complaint), *want = json(MENDED[i].mended);
        json_t *before = json_deep_copy(complaint);
        json_t *mended = receipt_mend(complaint, NULL, NOW_MS);
        char *got = json_dumps(mended, 0);
        if (!json_equal(mended, want))
            fail_msg("%s: %s", MENDED[i].complaint, got);
        assert_true(json_equal(complaint, before)); /* the complaint itself stays as it is */
        free(got);
        json_decref(before);
        json_decref(mended);
        json_decref(want);
        json_decref(complaint);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(where_words_stray),          cmocka_unit_test(harm_in_them_is_heard),
        cmocka_unit_test(what_may_be_harm_by_itself), cmocka_unit_test(kinds_of_harm_in_a_text),
        cmocka_unit_test(harm_as_it_was_said),        cmocka_unit_test(values_are_taken_off),
        cmocka_unit_test(what_people_type),           cmocka_unit_test(times_of_receipt),
    };
    return cmocka_run_group_tests(tests, load_shipped, free_shipped);
}
