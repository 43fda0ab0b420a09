/* How severe: each point, each level, the shipped file, and that harm is never weighed away. */
#include "base/text.h"
#include "base/words.h"
#include "check.h"
#include "rules/severity.h"
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static struct severity_rules *shipped(void)
{
    struct severity_rules *rules = NULL;
    struct error err = {0};
    if (severity_load(ODDLOAF_SOURCE_DIR "/rules/severity.json", NULL, NULL, &rules, &err))
        fail_msg("%s: %s", err.field, err.text);
    return rules;
}

static void test_each_step_gives_its_points(void **state)
{
    static const struct {
        enum severity_fact fact;
        double value;
        int points;
    } ROWS[] = {
        {SEVERITY_HARM, 0, 0},       {SEVERITY_HARM, 1, 8},         {SEVERITY_MAY_HARM, 1, 4},
        {SEVERITY_COMPLAINTS, 1, 0}, {SEVERITY_COMPLAINTS, 2, 1},   {SEVERITY_COMPLAINTS, 3, 1},
        {SEVERITY_COMPLAINTS, 4, 2}, {SEVERITY_COMPLAINTS, 900, 4}, {SEVERITY_PACKS, 9, 0},
        {SEVERITY_PACKS, 50, 2},     {SEVERITY_SURE, 0.49, 0},      {SEVERITY_SURE, 0.5, 1},
        {SEVERITY_SURE, 0.95, 2},    {SEVERITY_IN_CODE, 0, 0},      {SEVERITY_IN_CODE, 1, 1},
        {SEVERITY_IN_CODE, 5000, 2}};
    struct severity_rules *rules = shipped();
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        int points = severity_points(rules, ROWS[i].fact, ROWS[i].value);
        if (points != ROWS[i].points)
            fail_msg("row %zu: %d points", i, points);
    }
    severity_free(rules);
}

static void test_points_add_up_to_a_level(void **state)
{
    struct severity_rules *rules = shipped();
    (void)state;
    assert_int_equal(severity_level(rules, 0), SEVERITY_LOW);
    assert_int_equal(severity_level(rules, 2), SEVERITY_USUAL);
    assert_int_equal(severity_level(rules, 3), SEVERITY_USUAL);
    assert_int_equal(severity_level(rules, 4), SEVERITY_HIGH);
    assert_int_equal(severity_level(rules, 99), SEVERITY_URGENT);
    const struct severity_known known = {
        {[SEVERITY_COMPLAINTS] = 5, [SEVERITY_SURE] = 0.6, [SEVERITY_IN_CODE] = 12000}};
    assert_int_equal(severity_sum(rules, &known), 5);
    assert_int_equal(severity_due_days(rules, SEVERITY_URGENT), 1);
    assert_int_equal(severity_due_days(rules, SEVERITY_LOW), 30);
    assert_int_equal(severity_call_back_days(rules, SEVERITY_LOW), -1);
    severity_free(rules);
}

static void test_the_working_is_told_whole(void **state)
{
    struct severity_rules *rules = shipped();
    const struct severity_known known = {{[SEVERITY_HARM] = 1, [SEVERITY_COMPLAINTS] = 4}};
    json_t *told = severity_working(rules, &known), *row;
    size_t i;
    json_int_t sum = 0;
    (void)state;
    json_array_foreach(json_object_get(told, "working"), i, row)
    {
        sum += json_integer_value(json_object_get(row, "points"));
        assert_true(json_string_length(json_object_get(row, "because")) > 0);
        assert_true(json_string_length(json_object_get(row, "source")) > 0);
    }
    assert_int_equal(i, SEVERITY_FACTS);
    assert_int_equal(sum, 10);
    assert_int_equal(json_integer_value(json_object_get(told, "points")), 10);
    assert_int_equal(json_array_size(json_object_get(told, "levels")), SEVERITIES);
    json_decref(told);
    severity_free(rules);
}

/* What a plant may not write, and why. */
static void refuse(const char *levels, const char *points, const char *field, const char *says)
{
    char path[] = "/tmp/oddloaf-severity-XXXXXX";
    struct error err = {0};
    struct severity_rules *rules = NULL;
    int file = mkstemp(path);
    FILE *out = fdopen(file, "w");
    assert_non_null(out);
    fprintf(out, "{\"levels\": {%s}, \"points\": {%s}}", levels, points);
    fclose(out);
    int rc = severity_load(path, NULL, NULL, &rules, &err);
    unlink(path);
    severity_free(rules);
    if (!says) {
        assert_int_equal(rc, 0);
        return;
    }
    assert_int_equal(rc, ERROR_INVALID);
    if (strcmp(err.field, field) != 0 || !strstr(err.text, says) || err.line != 1)
        fail_msg("%s: %s", err.field, err.text);
}

#define LEVEL(name, from) "\"" name "\": {\"from\": " from ", \"source\": \"s\"}"
#define LEVELS LEVEL("low", "0") "," LEVEL("usual", "2") "," LEVEL("high", "4") ","
#define WHY "\"because\": \"b\", \"source\": \"s\"}"
#define HARM(points) "\"harm\": {\"steps\": [[1, " points "]], " WHY

static void test_harm_cannot_be_weighed_away(void **state)
{
    (void)state;
    refuse(LEVELS LEVEL("urgent", "8"), HARM("8"), "", NULL);
    refuse(LEVELS LEVEL("urgent", "9"), HARM("8"), "/points/harm", "must make a case urgent");
    refuse(LEVELS LEVEL("urgent", "8"), "\"packs\": {\"steps\": [[1, 9]], " WHY, "/points/harm",
           "must make a case urgent");
}

static void test_levels_and_steps_rise(void **state)
{
    (void)state;
    refuse(LEVELS LEVEL("urgent", "4"), HARM("8"), "/levels/urgent", "more points");
    refuse(
        LEVEL("low", "1") "," LEVEL("usual", "2") "," LEVEL("high", "4") "," LEVEL("urgent", "8"),
        HARM("8"), "/levels/low", "begin at 0");
    refuse(LEVEL("low", "0") "," LEVEL("usual", "2") "," LEVEL("urgent", "8"), HARM("8"),
           "/levels/high", "missing");
    refuse(LEVELS LEVEL("urgent", "8"), HARM("8") ", \"packs\": {\"steps\": [[5, 2], [5, 3]], " WHY,
           "/points/packs/steps/1", "must rise");
    refuse(LEVELS LEVEL("urgent", "8"), HARM("8") ", \"weather\": {\"steps\": [[1, 1]], " WHY,
           "/points/weather", "no points");
}

/* A step is [from that value on, whole points, none fewer than the one before]. */
static void test_steps_are_pairs_that_rise(void **state)
{
    static const struct {
        const char *steps, *field, *says; /* NULL: it is good */
    } ROWS[] = {
        {"[1, 0]", "", NULL},
        {"[1, 1000]", "", NULL},
        {"[1, 2], [2, 2]", "", NULL},
        {"[-1000000000, 2], [1000000000, 3]", "", NULL},
        {"[1, 2], [2, 1]", "/points/packs/steps/1", "must rise"},
        {"[2, 1], [1, 2]", "/points/packs/steps/1", "must rise"},
        {"[1, 1.5]", "/points/packs/steps/0", "whole number"},
        {"[1]", "/points/packs/steps/0", "points]"},
        {"[1, 2, 3]", "/points/packs/steps/0", "points]"},
        {"{}", "/points/packs/steps/0", "points]"},
        {"[1, -1]", "/points/packs/steps/0/1", ""},
        {"[1, 1001]", "/points/packs/steps/0/1", ""},
        {"[\"1\", 1]", "/points/packs/steps/0/0", ""},
        {"[1, \"1\"]", "/points/packs/steps/0/1", ""},
        {"", "/points/packs/steps", ""},
        {"[1, 1], [2, 1], [3, 1], [4, 1], [5, 1], [6, 1], [7, 1], [8, 1]", "", NULL},
        {"[1, 1], [2, 1], [3, 1], [4, 1], [5, 1], [6, 1], [7, 1], [8, 1], [9, 1]",
         "/points/packs/steps", ""},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char points[400];
        snprintf(points, sizeof points, "%s, \"packs\": {\"steps\": [%s], %s", HARM("8"),
                 ROWS[i].steps, WHY);
        refuse(LEVELS LEVEL("urgent", "8"), points, ROWS[i].field, ROWS[i].says);
    }
    refuse(LEVELS LEVEL("urgent", "8") "," LEVEL("grave", "9"), HARM("9"), "/levels/grave",
           "no such severity");
    refuse(LEVELS LEVEL("urgent", "5"), HARM("8"), "", NULL);
}

static void test_words_are_in_the_order_of_the_levels(void **state)
{
    char word[16];
    (void)state;
    assert_int_equal(words_place(WORDS_SEVERITIES, "low"), SEVERITY_LOW);
    assert_int_equal(words_place(WORDS_SEVERITIES, "urgent"), SEVERITY_URGENT);
    assert_int_equal(words_place(WORDS_SEVERITIES, "urge"), -1);
    assert_string_equal(words_at(WORDS_SEVERITIES, SEVERITY_HIGH, word, sizeof word), "high");
    assert_string_equal(words_at(WORDS_SEVERITIES, SEVERITIES, word, sizeof word), "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_each_step_gives_its_points),
        cmocka_unit_test(test_points_add_up_to_a_level),
        cmocka_unit_test(test_the_working_is_told_whole),
        cmocka_unit_test(test_harm_cannot_be_weighed_away),
        cmocka_unit_test(test_levels_and_steps_rise),
        cmocka_unit_test(test_steps_are_pairs_that_rise),
        cmocka_unit_test(test_words_are_in_the_order_of_the_levels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
