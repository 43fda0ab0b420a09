/* The complaint form: what people type becomes the words of the contract. */
#include "base/jsonx.h"
#include "base/when.h"
#include "form/form.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

static struct form_day day(void)
{
    return (struct form_day){.today = day_from_civil(2026, 11, 25)};
}

/* The whole complaint after one field is set; "refused" if it is not taken. */
static void check_at(const struct tz *tz, const char *field, const char *text, const char *expected)
{
    json_t *complaint = json_object();
    struct form_day d = {.today = day().today, .tz = tz};
    struct error err = {0};
    int rc = form_set(complaint, fields_named(field), text, &d, &err);
    char *shown = rc ? NULL : jsonx_dump(complaint);
    if (strcmp(shown ? shown : "refused", expected) != 0)
        fail_msg("%s '%s': %s instead of %s", field, text, shown ? shown : "refused", expected);
    free(shown);
    json_decref(complaint);
}

static void check(const char *field, const char *text, const char *expected)
{
    check_at(NULL, field, text, expected);
}

static void choices_by_number_word_and_other_words(void **state)
{
    (void)state;
    check("symptom", "1", "{\"symptom\":\"mold\"}");
    check("symptom", "Mould", "{\"symptom\":\"mold\"}");
    check("symptom", "off", "{\"symptom\":\"off-odor\"}");
    check("symptom", "stale", "{\"symptom\":\"staling\"}");
    check("symptom", "the bag was torn, it is underweight", "{\"symptom\":\"other\"}");
    check("symptom", "wrong label", "{\"symptom\":\"other\",\"harm\":[\"wrong-label\"]}");
    check("symptom", "it was the wrong bread",
          "{\"symptom\":\"other\",\"harm\":[\"wrong-label\"]}");
    check("symptom", "burnt", "{\"symptom\":\"other\"}");
    check("symptom", "5", "refused");
    check("symptom", "broken", "refused");
    check("colour", "green", "{\"observed\":{\"colour\":\"blue-green\"}}");
    check("colour", "white", "refused"); /* chalky or fluffy? */
    check("where", "bottom", "{\"observed\":{\"where\":\"base\"}}");
    check("observed.where", "mostly on the bottom", "{\"observed\":{\"where\":\"base\"}}");
    check("observed.where", "on the top and the bottom", "refused");
    check("observed.where", "not on the top", "refused");
    check("observed.wet_inside_bag", "yep, lots", "{\"observed\":{\"wet_inside_bag\":true}}");
    check("observed.kept", "bread box", "{\"observed\":{\"kept\":\"counter\"}}");
}

static void lists_take_several_and_none(void **state)
{
    (void)state;
    check("harm", "no", "{\"harm\":[]}");
    check("harm", "1, 3", "{\"harm\":[\"illness\",\"allergic-reaction\"]}");
    check("harm", "illness and metal", "{\"harm\":[\"illness\",\"foreign-matter\"]}");
    check("harm", "", "{}"); /* not asked is not "no" */
    check("odor", "a bit like vinegar and old socks",
          "{\"observed\":{\"odor\":[\"cheesy\",\"vinegar\"]}}");
    check("odor", "not of vinegar at all", "refused");
    check("harm", "somebody threw up", "{\"harm\":[\"illness\"]}");
    check("odor", "nail polish", "{\"observed\":{\"odor\":[\"solvent\"]}}");
    check("odor", "sour,cheesy", "{\"observed\":{\"odor\":[\"sour\",\"cheesy\"]}}");
    check("odor", "sour, purple", "refused");
}

static void numbers_yes_and_no(void **state)
{
    (void)state;
    check("spots", "4", "{\"observed\":{\"spots\":4}}");
    check("spots", "four", "{\"observed\":{\"spots\":4}}");
    check("spots", "4.5", "refused");
    check("spots", "-1", "refused");
    check("packs", "0", "refused");
    check("wet-inside", "y", "{\"observed\":{\"wet_inside_bag\":true}}");
    check("wet-inside", "NO", "{\"observed\":{\"wet_inside_bag\":false}}");
    check("wet-inside", "perhaps", "refused");
}

static void dates_and_times(void **state)
{
    struct tz *tz = NULL;
    (void)state;
    setenv("TZ", "Pacific/Auckland", 1); /* what this machine thinks is of no concern */
    tzset();
    assert_int_equal(tz_open("America/New_York", &tz, NULL), 0);
    check("found", "yesterday", "{\"found_on\":\"2026-11-24\"}");
    check("code-date", "11/27", "{\"code_date\":\"2026-11-27\"}");
    check("received-at", "2026-11-20T09:14:00-05:00",
          "{\"received_at\":\"2026-11-20T09:14:00-05:00\"}");
    /* the start of that day, with the offset of that day's season */
    check_at(tz, "received-at", "2026-11-20", "{\"received_at\":\"2026-11-20T00:00:00-05:00\"}");
    check_at(tz, "received-at", "2026-07-20", "{\"received_at\":\"2026-07-20T00:00:00-04:00\"}");
    tz_close(tz);
}

static void measured_quantities(void **state)
{
    (void)state;
    check("measured", "crumb_ph=5.9, crumb_aw=0.95",
          "{\"measured\":{\"crumb_ph\":5.9,\"crumb_aw\":0.95}}");
    check("measured", "crumb_ph", "refused");
    check("measured", "crumb_ph=", "refused");
    check("measured", "crumb_ph=nan", "refused");
}

static void text_is_kept_as_said(void **state)
{
    (void)state;
    check("lot", "  L2 63?1 ", "{\"lot_text\":\"L2 63?1\"}");
    check("note", "caf\xC3\xA9", "{\"note\":\"caf\xC3\xA9\"}");
    check("note", "caf\xE9", "{\"note\":\"caf\xC3\xA9\"}"); /* Latin-1 */
    check("phone", "555 0100", "{\"contact\":{\"phone\":\"555 0100\"}}");
}

static void a_refusal_names_field_value_and_words(void **state)
{
    json_t *complaint = json_object();
    struct form_day d = day();
    struct error err = {0};
    (void)state;
    assert_int_equal(form_set(complaint, fields_named("bag"), "bent", &d, &err), ERROR_INVALID);
    assert_string_equal(err.field, "observed/bag");
    assert_string_equal(err.value, "bent");
    assert_string_equal(err.text, "not one of sound torn closure-missing seal-open blown");
    json_decref(complaint);
}

static void unset_leaves_no_empty_group(void **state)
{
    json_t *complaint = json_object();
    struct form_day d = day();
    (void)state;
    form_set(complaint, fields_named("phone"), "1", &d, NULL);
    form_set(complaint, fields_named("phone"), "", &d, NULL);
    assert_int_equal(json_object_size(complaint), 0);
    json_decref(complaint);
}

/* What is read back: a word with what it means, days with how far they are, figures, lists. */
static void what_was_typed_is_read_back(void **state)
{
    static const struct {
        const char *field, *complaint, *shown;
    } ROWS[] = {
        {"found", "{\"found_on\":\"2026-11-24\"}", "yesterday"},
        {"found", "{\"found_on\":\"soon\"}", "soon"},
        {"symptom", "{\"symptom\":\"mold\"}", "mold"},
        {"symptom", "{\"symptom\":\"never heard of\"}", "never heard of"},
        {"odor", "{\"observed\":{\"odor\":[\"sour\",\"cheesy\"]}}", "sour"},
        {"odor", "{\"observed\":{\"odor\":[\"sour\",\"cheesy\"]}}", ", cheesy"},
        {"harm", "{\"harm\":[]}", "none"},
        {"measured", "{\"measured\":{\"crumb_ph\":5.9,\"crumb_aw\":0.95}}",
         "crumb_ph=5.9, crumb_aw=0.95"},
        {"packs", "{\"packs\":12}", "12"},
        {"note", "{\"note\":\"sour\"}", "sour"},
        {"note", "{}", ""},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        struct form_day d = day();
        json_t *complaint = json_loads(ROWS[i].complaint, 0, NULL);
        char *shown = form_show(complaint, fields_named(ROWS[i].field), &d);
        if (!strstr(shown, ROWS[i].shown) || (!*ROWS[i].shown && *shown))
            fail_msg("%s: '%s' instead of '%s'", ROWS[i].field, shown, ROWS[i].shown);
        free(shown);
        json_decref(complaint);
    }
    const struct field_word *word = fields_word(fields_named("symptom")->words, "mold");
    json_t *complaint = json_pack("{s:s}", "symptom", "mold");
    struct form_day d = day();
    char *shown = form_show(complaint, fields_named("symptom"), &d), expected[256];
    snprintf(expected, sizeof expected, "mold%s%s%s", word->say ? " (" : "",
             word->say ? word->say : "", word->say ? ")" : "");
    assert_string_equal(shown, expected);
    free(shown);
    json_decref(complaint);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(choices_by_number_word_and_other_words),
        cmocka_unit_test(lists_take_several_and_none),
        cmocka_unit_test(numbers_yes_and_no),
        cmocka_unit_test(dates_and_times),
        cmocka_unit_test(measured_quantities),
        cmocka_unit_test(text_is_kept_as_said),
        cmocka_unit_test(a_refusal_names_field_value_and_words),
        cmocka_unit_test(unset_leaves_no_empty_group),
        cmocka_unit_test(what_was_typed_is_read_back),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
