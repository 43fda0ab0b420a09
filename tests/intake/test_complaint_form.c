/* Complaints as they come: what is taken, what is refused and how it is said, what is kept apart.
 */
#include "base/jsonx.h"
#include "check.h"
#include "intake/complaint_form.h"
#include <stdlib.h>
#include <string.h>

#define ID "\"id\":\"01938f4e-1c00-7abc-8def-0123456789ab\","
#define NOW_MS INT64_C(1795219200000) /* 2026-11-21T00:00:00Z */
#define BASE                                                                                       \
    ID "\"received_at\":\"2026-11-20T09:14:00-05:00\",\"channel\":\"phone\",\"symptom\":\"mold\""

static int read_text(const char *text, bool partial, struct complaint_form **ret, struct error *err)
{
    json_t *json = NULL;
    assert_int_equal(jsonx_parse(text, strlen(text), &json, NULL), 0);
    const struct form_options options = {.partial = partial, .now_ms = NOW_MS};
    int rc = complaint_form_read(json, &options, ret, err);
    json_decref(json);
    return rc;
}

static void refused(const char *text, const char *field, const char *value, const char *reason)
{
    struct complaint_form *form = NULL;
    struct error err = {0};
    assert_int_equal(read_text(text, false, &form, &err), ERROR_INVALID);
    assert_null(form);
    assert_string_equal(err.field, field);
    if (value)
        assert_string_equal(err.value, value);
    assert_non_null(strstr(err.text, reason));
}

static void the_whole_complaint(void **state)
{
    static const char TEXT[] =
        "{" BASE ",\"lot_text\":\"L2 6321 B0412\",\"product\":\"W24\",\"code_date\":\"2026-11-27\","
        "\"store\":\"0417\",\"bought_on\":\"2026-11-16\",\"found_on\":\"2026-11-19\","
        "\"observed\":{\"colour\":\"blue-green\",\"where\":\"cut-face\",\"spots\":4,"
        "\"wet_inside_bag\":true,\"bag\":\"sound\",\"kept\":\"counter\",\"opened_days\":1},"
        "\"packs\":1,\"harm\":[],\"note\":\"free text\",\"contact\":{\"name\":\"Dana Quill\","
        "\"phone\":\"(555) 0100 123\",\"email\":\"Dana@example.invalid\"}}";
    struct complaint_form *form = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(read_text(TEXT, false, &form, &err), 0);
    assert_int_equal(form->code_day, day_from_civil(2026, 11, 27));
    assert_int_equal(form->found_day, day_from_civil(2026, 11, 19));
    assert_false(form->harm);
    assert_string_equal(complaint_form_text(form, "lot_text"), "L2 6321 B0412");
    /* contact lives apart from the moment it is read */
    assert_null(json_object_get(form->body, "contact"));
    char *body = jsonx_dump(form->body);
    assert_null(strstr(body, "Dana"));
    free(body);
    assert_string_equal(form->contact_fold, "\ndana quill\n#321001055\ndana@example.invalid\n"
                                            " dana\n quill\n");
    complaint_form_free(form);
}

static void refusals_name_field_value_and_reason(void **state)
{
    (void)state;
    refused("{" BASE ",\"observed\":{\"colour\":\"purple\"}}", "observed/colour", "purple",
            "blue-green");
    refused("{" BASE ",\"harm\":[\"illness\",\"sneezing\"]}", "harm", "sneezing", "illness");
    refused("{" BASE ",\"code_date\":\"2026-02-30\"}", "code_date", "2026-02-30", "date");
    refused("{" BASE ",\"packs\":0}", "packs", "0", "between 1 and");
    refused("{" BASE ",\"packs\":1.5}", "packs", "1.5", "whole");
    refused("{" BASE ",\"observed\":{\"wet_inside_bag\":\"yes\"}}", "observed/wet_inside_bag",
            "yes", "true or false");
    refused("{" ID "\"channel\":\"phone\",\"symptom\":\"mold\"}", "received_at", "", "missing");
    refused("{" ID "\"received_at\":\"2026-11-20T09:14:00\",\"channel\":\"phone\","
            "\"symptom\":\"mold\"}",
            "received_at", "2026-11-20T09:14:00", "offset");
    refused("{" ID "\"received_at\":\"2026-11-20T09:14:00Z\",\"channel\":\"pigeon\","
            "\"symptom\":\"mold\"}",
            "channel", "pigeon", "phone");
    refused("{\"id\":\"7\",\"received_at\":\"2026-11-20T09:14:00Z\",\"channel\":\"web\","
            "\"symptom\":\"mold\"}",
            "id", "7", "UUID");
}

/* The ends belong to the range, and nothing beyond them. */
static void numbers_and_lengths_have_ends(void **state)
{
    static const struct {
        const char *field;
        int low, high;
        bool text;
    } ROWS[] = {
        {"observed/spots", 0, 1000, false},
        {"observed/opened_days", 0, 365, false},
        {"packs", 1, 100000, false},
        {"units", 1, 1000000, false},
        {"lot_text", 1, 200, true},
        {"product", 1, 120, true},
        {"store", 1, 80, true},
        {"route", 1, 80, true},
        {"reason", 1, 200, true},
        {"note", 1, 4000, true},
        {"reference", 1, 80, true},
    };
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        for (int of = ROWS[i].low - 1; of <= ROWS[i].high + 1;
             of += of == ROWS[i].low ? ROWS[i].high - ROWS[i].low : 1) {
            char value[4100], text[4500];
            const char *leaf = strchr(ROWS[i].field, '/');
            snprintf(value, sizeof value, ROWS[i].text ? "\"" : "%d", of);
            if (ROWS[i].text) {
                memset(value + 1, 'x', (size_t)of);
                memcpy(value + 1 + of, "\"", 2);
            }
            snprintf(text, sizeof text,
                     leaf ? "{" BASE ",\"observed\":{\"%s\":%s}}" : "{" BASE ",\"%s\":%s}",
                     leaf ? leaf + 1 : ROWS[i].field, value);
            struct complaint_form *form = NULL;
            struct error err = {0};
            bool within = of <= ROWS[i].high && (ROWS[i].text || of >= ROWS[i].low);
            if (within != (read_text(text, false, &form, &err) == 0))
                fail_msg("%s of %d: %s", ROWS[i].field, of, err.text);
            complaint_form_free(form);
        }
    }
}

static void contact_never_stands_in_an_error(void **state)
{
    struct complaint_form *form = NULL;
    struct error err = {0};
    char text[1024];
    (void)state;
    assert_int_equal(
        read_text("{" BASE ",\"contact\":{\"name\":77,\"phone\":\"5550100\"}}", false, &form, &err),
        ERROR_INVALID);
    error_format(&err, text, sizeof text);
    assert_null(strstr(text, "77"));
    assert_null(strstr(text, "5550100"));
}

static void missing_is_unknown_and_empty_is_missing(void **state)
{
    struct complaint_form *form = NULL;
    (void)state;
    assert_int_equal(read_text("{" BASE ",\"store\":\"\",\"product\":null,\"contact\":"
                               "{\"name\":\"\",\"phone\":null,\"email\":\"\"}}",
                               false, &form, NULL),
                     0);
    assert_null(form->contact);
    assert_null(json_object_get(form->body, "store"));
    assert_null(json_object_get(form->body, "product"));
    assert_int_equal(form->found_day, WHEN_UNKNOWN_DAY);
    complaint_form_free(form);
}

static void doubtful_dates_do_not_lose_the_complaint(void **state)
{
    struct complaint_form *form = NULL;
    (void)state;
    assert_int_equal(read_text("{" BASE
                               ",\"found_on\":\"2027-01-01\",\"bought_on\":\"2026-11-25\"}",
                               false, &form, NULL),
                     0);
    assert_int_equal(form->found_day, WHEN_UNKNOWN_DAY);
    assert_int_equal(form->bought_day, WHEN_UNKNOWN_DAY);
    assert_int_equal(json_array_size(form->doubts), 2);
    complaint_form_free(form);
}

static void received(const char *at, const char *reason)
{
    char text[512];
    snprintf(text, sizeof text,
             "{" ID "\"channel\":\"web\",\"symptom\":\"mold\",\"received_at\":\"%s\"}", at);
    if (reason) {
        refused(text, "received_at", at, reason);
        return;
    }
    struct complaint_form *form = NULL;
    assert_int_equal(read_text(text, false, &form, NULL), 0);
    complaint_form_free(form);
}

static void no_complaint_comes_before_its_time(void **state)
{
    (void)state;
    received("2026-11-21T00:10:00Z", NULL); /* another machine's clock may be ahead */
    received("2026-11-21T00:10:01Z", "it is 2026-11-21T00:00:00+00:00 now");
    received("2062-11-20T09:14:00-05:00", "future");
    received("2000-01-01T00:00:00Z", NULL);
    received("1999-12-31T23:59:59Z", "before the year 2000");
    received("1926-11-20T09:14:00-05:00", "before the year 2000");
}

static void dates_of_another_year_are_doubted(void **state)
{
    static const char *const FIELDS[] = {"found_on", "bought_on", "code_date"};
    struct complaint_form *form = NULL;
    (void)state;
    assert_int_equal(read_text("{" BASE ",\"found_on\":\"2016-11-19\",\"bought_on\":\"2025-11-16\","
                               "\"code_date\":\"2062-11-27\",\"inspected_at\":"
                               "\"2026-12-20T09:14:00-05:00\"}",
                               false, &form, NULL),
                     0);
    assert_int_equal(form->found_day, WHEN_UNKNOWN_DAY);
    assert_int_equal(form->bought_day, WHEN_UNKNOWN_DAY);
    assert_int_equal(form->code_day, WHEN_UNKNOWN_DAY);
    assert_int_equal(json_array_size(form->doubts), 4);
    for (int i = 0; i < 3; i++) /* kept as they were said */
        assert_non_null(complaint_form_text(form, FIELDS[i]));
    complaint_form_free(form);
}

static void every_fault_is_told_at_once(void **state)
{
    static const char TEXT[] =
        "{\"id\":\"7\",\"received_at\":\"2062-11-20T09:14:00Z\",\"channel\":\"pigeon\","
        "\"packs\":0,\"observed\":{\"colour\":\"purple\",\"where\":\"inside\"},"
        "\"measured\":{\"crumb_ph\":\"x\",\"crumb_aw\":null},\"contact\":{\"name\":7}}";
    static const char *const FIELDS[] = {"id",
                                         "contact",
                                         "channel",
                                         "packs",
                                         "observed/colour",
                                         "observed/where",
                                         "measured/crumb_ph",
                                         "measured/crumb_aw",
                                         "symptom",
                                         "received_at"};
    struct complaint_form *form = NULL;
    struct error err = {0};
    json_t *json = NULL, *faults = json_array();
    const struct form_options options = {.now_ms = NOW_MS, .faults = faults};
    (void)state;
    assert_int_equal(jsonx_parse(TEXT, sizeof TEXT - 1, &json, NULL), 0);
    assert_int_equal(complaint_form_read(json, &options, &form, &err), ERROR_INVALID);
    assert_string_equal(err.field, "id");
    assert_int_equal(json_array_size(faults), sizeof FIELDS / sizeof FIELDS[0]);
    for (size_t i = 0; i < sizeof FIELDS / sizeof FIELDS[0]; i++) {
        const json_t *one = json_array_get(faults, i);
        assert_string_equal(json_string_value(json_object_get(one, "field")), FIELDS[i]);
        assert_true(json_string_length(json_object_get(one, "reason")) > 0);
    }
    json_decref(faults);
    json_decref(json);
}

static void names_we_do_not_know_are_dropped_and_said(void **state)
{
    struct complaint_form *form = NULL;
    (void)state;
    assert_int_equal(read_text("{" BASE ",\"caller_name\":\"Dana\"}", false, &form, NULL), 0);
    assert_null(json_object_get(form->body, "caller_name"));
    assert_string_equal(json_string_value(json_array_get(form->ignored, 0)), "caller_name");
    complaint_form_free(form);
#define NINE_TIMES(s) s s s s s s s s s
    assert_int_equal(
        read_text("{" BASE ",\"n" NINE_TIMES(NINE_TIMES("ñ")) "\":1}", false, &form, NULL), 0);
    assert_int_equal(json_array_size(form->ignored), 1); /* cut, and at a character */
    complaint_form_free(form);
}

static void a_preview_needs_the_symptom_alone(void **state)
{
    struct complaint_form *form = NULL;
    struct error err = {0};
    (void)state;
    assert_int_equal(read_text("{\"symptom\":\"staling\"}", true, &form, &err), 0);
    assert_int_equal(form->received_ms, NOW_MS);
    complaint_form_free(form);
    assert_int_equal(read_text("{}", true, &form, &err), ERROR_INVALID);
}

/* Nothing that a caller or a program sent breaks a line, or turns it, where it is shown. */
static void texts_stay_on_their_line(void **state)
{
    struct complaint_form *form = NULL;
    (void)state;
    assert_int_equal(
        read_text(
            "{" BASE ",\"store\":\"04\\n17\",\"note\":\"a\\r\\nb\\t\\u202ec\\u009b\","
            "\"lot_text\":\"10L2\\u001d17261127\\n\",\"contact\":{\"name\":\"Ada\\u2028Marsh\"}}",
            false, &form, NULL),
        0);
    assert_string_equal(complaint_form_text(form, "store"), "04 17");
    assert_string_equal(complaint_form_text(form, "note"), "a \nb\t c ");
    assert_string_equal(complaint_form_text(form, "lot_text"), "10L2\x1d"
                                                               "17261127 ");
    assert_string_equal(json_string_value(json_object_get(form->contact, "name")), "Ada Marsh");
    complaint_form_free(form);
}

static void names_with_two_points_have_both_writings(void **state)
{
    static const struct {
        const char *name, *keys;
    } ROWS[] = {
        {"Jörg Müller", "\njorg muller\njoerg mueller\n jorg\n muller\n joerg\n mueller\n"},
        {"Joerg Mueller", "\njoerg mueller\n joerg\n mueller\n jorg\n muller\n"},
        {"José Ruiz", "\njose ruiz\n jose\n ruiz\n"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *contact = json_pack("{s:s}", "name", ROWS[i].name);
        char *keys = complaint_form_contact_keys(contact), spelled[64] = "";
        assert_string_equal(keys, ROWS[i].keys);
        assert_int_equal(complaint_form_spelled_key(ROWS[i].name, spelled, sizeof spelled), i == 0);
        free(keys);
        json_decref(contact);
    }
}

static void keys_of_people_fold(void **state)
{
    char key[64];
    (void)state;
    complaint_form_contact_key(" (555) 0100-123 ", key, sizeof key);
    assert_string_equal(key, "#321001055");
    complaint_form_contact_key("José  PÉREZ", key, sizeof key);
    assert_string_equal(key, "jose perez");
    complaint_form_contact_key("NGUYỄN Hạnh Đức", key, sizeof key);
    assert_string_equal(key, "nguyen hanh duc");
}

/* Each word, what it is without the letters that stand for marks, and its marks spelled out. */
static void words_that_a_name_is_found_by(void **state)
{
    static const struct {
        const char *name, *keys;
    } CASES[] = {{"Dana Quill", "? dana\n? quill\n"},
                 {"Ebert", "? ebert\n"},
                 {"Mueller", "? mueller\n? muller\n"},
                 {"Aaron Oe", "? aaron\n? oe\n? aron\n? o\n"},
                 {"M\303\274ller", "? muller\n? mueller\n"},
                 {"Poe  Lea ", "? poe\n? lea\n? po\n? lea\n"},
                 {"", ""}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct text_buffer out = {0};
        complaint_form_name_keys(CASES[i].name, "?", &out);
        assert_string_equal(out.data ? out.data : "", CASES[i].keys);
        text_buffer_free(&out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_whole_complaint),
        cmocka_unit_test(refusals_name_field_value_and_reason),
        cmocka_unit_test(numbers_and_lengths_have_ends),
        cmocka_unit_test(contact_never_stands_in_an_error),
        cmocka_unit_test(missing_is_unknown_and_empty_is_missing),
        cmocka_unit_test(doubtful_dates_do_not_lose_the_complaint),
        cmocka_unit_test(no_complaint_comes_before_its_time),
        cmocka_unit_test(dates_of_another_year_are_doubted),
        cmocka_unit_test(every_fault_is_told_at_once),
        cmocka_unit_test(names_we_do_not_know_are_dropped_and_said),
        cmocka_unit_test(a_preview_needs_the_symptom_alone),
        cmocka_unit_test(texts_stay_on_their_line),
        cmocka_unit_test(names_with_two_points_have_both_writings),
        cmocka_unit_test(keys_of_people_fold),
        cmocka_unit_test(words_that_a_name_is_found_by),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
