#include "check.h"

#include "lots/code_pattern.h"
#include <stdio.h>
#include <string.h>

static const struct code_pattern_rule PLAIN = {
    .plant = "",
    .name = "plain",
    .expression =
        "L ?(?<line>[1-3]) ?(?<y>[0-9])(?<doy>[0-9]{3}) ?(?<shift>[ABC])(?<hhmm>[0-9]{4})",
    .code = "L{line} {y}{doy} {shift}{hhmm}",
    .effective_from = WHEN_UNKNOWN_DAY,
    .effective_to = WHEN_UNKNOWN_DAY,
    .max_age_days = 400};

static int32_t day(const char *text)
{
    int32_t ret = WHEN_UNKNOWN_DAY;
    assert_int_equal(day_parse(text, &ret, NULL), 0);
    return ret;
}

static struct code_pattern *make(const struct code_pattern_rule *rule)
{
    struct code_pattern *p = NULL;
    struct error err = {0};
    if (code_pattern_new(rule, &p, &err) < 0)
        fail_msg("%s", err.text);
    return p;
}

static void line_day_and_time(void **state)
{
    (void)state;
    struct code_pattern *p = make(&PLAIN);
    struct code_pattern_reading got;
    static const char *const TEXTS[] = {"L2 6321 B0412", "L26321B0412", "L2 6321B0412"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        assert_int_equal(code_pattern_read(p, TEXTS[i], day("2026-11-20"), &got, NULL), 0);
        assert_string_equal(got.line, "2");
        assert_string_equal(got.shift, "B");
        assert_string_equal(got.code, "L2 6321 B0412");
        assert_string_equal(got.pattern, "plain");
        assert_int_equal(got.day, day("2026-11-17"));
        assert_int_equal(got.minute, 4 * 60 + 12);
        assert_true(got.whole);
    }
    struct tz *tz = NULL;
    assert_int_equal(tz_open("America/New_York", &tz, NULL), 0);
    int64_t at = 0;
    assert_int_equal(when_parse("2026-11-17T04:12:00-05:00", &at, NULL), 0);
    assert_true(code_pattern_instant_ms(&got, tz) == at);
    tz_close(tz);
    code_pattern_free(p);
}

/* As long as a line's name may be on record. */
static void a_long_line_is_read_whole(void **state)
{
    (void)state;
    static const char LINE[] = "OVEN-HALL-THREE-TUNNEL-NORTH-BAGGER-TWO";
    const struct code_pattern_rule rule = {.plant = "",
                                           .name = "long",
                                           .expression =
                                               "(?<line>[A-Z-]+) (?<y>[0-9])(?<doy>[0-9]{3})",
                                           .effective_from = WHEN_UNKNOWN_DAY,
                                           .effective_to = WHEN_UNKNOWN_DAY,
                                           .max_age_days = 400};
    struct code_pattern *p = make(&rule);
    struct code_pattern_reading got;
    char text[64];
    snprintf(text, sizeof text, "%s 6321", LINE);
    assert_int_equal(code_pattern_read(p, text, day("2026-11-20"), &got, NULL), 0);
    assert_string_equal(got.line, LINE);
    code_pattern_free(p);
}

/* Every digit was read, and it is no code that the plant could print. */
static void what_cannot_be(void **state)
{
    (void)state;
    static const struct code_pattern_rule DATED = {
        .plant = "",
        .name = "dated",
        .expression = "(?<yy>[0-9]{2})(?<mm>[0-9]{2})(?<dd>[0-9]{2})",
        .effective_from = WHEN_UNKNOWN_DAY,
        .effective_to = WHEN_UNKNOWN_DAY,
        .max_age_days = 400};
    static const struct {
        const struct code_pattern_rule *rule;
        const char *text, *wrong; /* NULL: it does not fit */
    } READ[] = {{&PLAIN, "L2 6367 B0412", "day 367"},     {&PLAIN, "L2 6366 B0412", "day 366"},
                {&PLAIN, "L2 6000 B0412", "day 000"},     {&PLAIN, "L2 6321 B2412", "time 2412"},
                {&PLAIN, "L2 6321 B0460", "time 0460"},   {&PLAIN, "THE L2 6367 B0412", NULL},
                {&DATED, "261132", "day 32 of month 11"}, {&DATED, "260229", "day 29 of month 02"},
                {&DATED, "261312", "month 13"},           {&DATED, "191112", NULL}};
    for (size_t i = 0; i < COUNT_OF(READ); i++) {
        struct code_pattern *p = make(READ[i].rule);
        struct code_pattern_reading got = {.wrong = ""};
        int rc = code_pattern_read(p, READ[i].text, day("2026-11-20"), &got, NULL);
        assert_int_equal(rc, READ[i].wrong ? ERROR_INVALID : ERROR_NOT_FOUND);
        assert_string_equal(got.wrong, READ[i].wrong ? READ[i].wrong : "");
        code_pattern_free(p);
    }
}

static void part_of_a_text(void **state)
{
    (void)state;
    struct code_pattern *p = make(&PLAIN);
    struct code_pattern_reading got;
    const char *text = "ON THE BAG: L2 6321 B0412, 27 NOV";
    assert_int_equal(code_pattern_read(p, text, day("2026-11-20"), &got, NULL), 0);
    assert_false(got.whole);
    assert_int_equal(got.from, 12);
    assert_int_equal(got.to, 25);
    /* not inside a longer word */
    assert_int_equal(code_pattern_read(p, "XL26321B04125", day("2026-11-20"), &got, NULL),
                     ERROR_NOT_FOUND);
    code_pattern_free(p);
}

static void what_does_not_fit(void **state)
{
    (void)state;
    struct code_pattern *p = make(&PLAIN);
    struct code_pattern_reading got;
    static const char *const TEXTS[] = {"", "L4 6321 B0412", /* no such line */
                                        "L2 8321 B0412",     /* two years ahead, or eight old */
                                        "L2 6321"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++)
        assert_int_equal(code_pattern_read(p, TEXTS[i], day("2026-11-20"), &got, NULL),
                         ERROR_NOT_FOUND);
    /* a day that has not come is told as one, not as ten years ago */
    assert_int_equal(code_pattern_read(p, "L2 6330 B0412", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-26"));
    code_pattern_free(p);
}

static void holds_from_a_date(void **state)
{
    (void)state;
    struct code_pattern_rule rule = PLAIN;
    struct code_pattern_reading got;
    rule.effective_from = day("2026-11-18");
    struct code_pattern *p = make(&rule);
    assert_int_equal(code_pattern_read(p, "L2 6321 B0412", day("2026-11-20"), &got, NULL),
                     ERROR_NOT_FOUND);
    assert_int_equal(code_pattern_read(p, "L2 6322 B0412", day("2026-11-20"), &got, NULL), 0);
    code_pattern_free(p);
    rule = PLAIN;
    rule.effective_to = day("2026-11-16");
    p = make(&rule);
    assert_int_equal(code_pattern_read(p, "L2 6321 B0412", day("2026-11-20"), &got, NULL),
                     ERROR_NOT_FOUND);
    code_pattern_free(p);
}

static void production_day_begins_in_the_morning(void **state)
{
    (void)state;
    struct code_pattern_rule rule = PLAIN;
    struct code_pattern_reading got;
    rule.day_starts_min = 6 * 60;
    struct code_pattern *p = make(&rule);
    assert_int_equal(code_pattern_read(p, "L2 6321 C0412", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-17"));
    assert_true(got.next_morning);
    int64_t at = 0;
    assert_int_equal(when_parse("2026-11-18T04:12:00Z", &at, NULL), 0);
    assert_true(code_pattern_instant_ms(&got, NULL) == at);
    code_pattern_free(p);
}

static void other_forms(void **state)
{
    (void)state;
    struct code_pattern_reading got;
    struct code_pattern_rule months = PLAIN;
    months.expression =
        "(?<plant>[A-Z]{2})(?<yy>[0-9]{2})(?<m>[A-M])(?<dd>[0-9]{2})(?<hh>[0-9]{2})";
    months.month_letters = "ABCDEFGHJKLM"; /* no I */
    months.code = NULL;
    struct code_pattern *p = make(&months);
    assert_int_equal(code_pattern_read(p, "HM26L1704", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-17"));
    assert_int_equal(got.minute, 240);
    assert_string_equal(got.plant, "HM");
    assert_string_equal(got.code, "");
    assert_int_equal(code_pattern_read(p, "HM26I1704", day("2026-11-20"), &got, NULL),
                     ERROR_NOT_FOUND);
    code_pattern_free(p);
    struct code_pattern_rule best = PLAIN;
    best.expression = "(?<mm>[0-9]{2})(?<dd>[0-9]{2})(?<product>[A-Z][0-9]{2})-(?<serial>[0-9]+)";
    best.is_code_date = true;
    best.max_age_days = 60;
    best.code = "{mm}{dd}{product}-{serial}";
    p = make(&best);
    assert_int_equal(code_pattern_read(p, "1127W24-17", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-27"));
    assert_true(got.is_code_date);
    assert_string_equal(got.product, "W24");
    assert_string_equal(got.serial, "17");
    assert_int_equal(got.minute, -1);
    code_pattern_free(p);
}

/* One expression may have two ways of telling the day. */
static void either_form_of_the_day(void **state)
{
    (void)state;
    struct code_pattern_reading got;
    struct code_pattern_rule rule = PLAIN;
    rule.expression = "(?<y>[0-9])(?:(?<m>[A-L])(?<dd>[0-9]{2})|(?<doy>[0-9]{3}))";
    rule.month_letters = "ABCDEFGHIJKL";
    rule.code = NULL;
    struct code_pattern *p = make(&rule);
    static const char *const TEXTS[] = {"6K17", "6321"};
    for (size_t i = 0; i < COUNT_OF(TEXTS); i++) {
        assert_int_equal(code_pattern_read(p, TEXTS[i], day("2026-11-20"), &got, NULL), 0);
        assert_int_equal(got.day, day("2026-11-17"));
    }
    assert_int_equal(code_pattern_read(p, "6A31", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-01-31"));
    code_pattern_free(p);
    rule.expression = "(?<y>[0-9])(?:(?<m>[A-L])|(?<mm>[0-9]{2}))(?<dd>[0-9]{2})";
    p = make(&rule);
    assert_int_equal(code_pattern_read(p, "6K17", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-17"));
    assert_int_equal(code_pattern_read(p, "61117", day("2026-11-20"), &got, NULL), 0);
    assert_int_equal(got.day, day("2026-11-17"));
    code_pattern_free(p);
}

/* A time has all its digits, and is one of a day; a code without one has none. */
static void a_time_has_all_its_digits(void **state)
{
    static const struct {
        const char *expression, *text;
        int minute; /* -2: the code does not fit */
    } ROWS[] = {{"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hh>[0-9]{1,2})", "6321-04", 240},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hh>[0-9]{1,2})", "6321-4", -2},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hh>[0-9]{2})(?<mi>[0-9]{1,2})", "6321-0412", 252},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hh>[0-9]{2})(?<mi>[0-9]{1,2})", "6321-041", -2},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hhmm>[0-9]{3,4})", "6321-412", -2},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hhmm>[0-9]{3,4})", "6321-2359", 1439},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hhmm>[0-9]{3,4})", "6321-2400", -2},
                {"(?<y>[0-9])(?<doy>[0-9]{3})-(?<hhmm>[0-9]{3,4})", "6321-2360", -2},
                {"(?<y>[0-9])(?<doy>[0-9]{3})", "6321", -1}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct code_pattern_rule rule = PLAIN;
        struct code_pattern_reading got;
        rule.expression = ROWS[i].expression;
        rule.code = NULL;
        struct code_pattern *p = make(&rule);
        int rc = code_pattern_read(p, ROWS[i].text, day("2026-11-20"), &got, NULL);
        if ((rc != 0) != (ROWS[i].minute == -2) || (!rc && got.minute != ROWS[i].minute))
            fail_msg("%s: %d, minute %d", ROWS[i].text, rc, got.minute);
        code_pattern_free(p);
    }
}

static void wrong_rules_are_refused(void **state)
{
    (void)state;
    static const struct {
        const char *expression, *code, *letters, *field, *text;
    } CASES[] = {
        {"L(?<line>[1-3](?<doy>[0-9]{3})", NULL, NULL, "pattern", "parenthes"},
        {"L(?<lane>[1-3])(?<doy>[0-9]{3})", NULL, NULL, "pattern", "no meaning"},
        {"L(?<line>[1-3])", NULL, NULL, "pattern", "give a day"},
        {"(?<doy>[0-9]{3})(?<dd>[0-9]{2})(?<m>[A-L])", NULL, NULL, "month_letters", "needs"},
        {"(?<m>[A-L])(?<dd>[0-9]{2})", NULL, "ABC", "month_letters", "twelve"},
        {"(?<doy>[0-9]{3})", "L{line}", NULL, "code", "has not"},
        {"(?<doy>[0-9]{3})", "{doy", NULL, "code", "has not"},
        {"(?<doy>\\C{3})", NULL, NULL, "pattern", ""},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct code_pattern_rule rule = PLAIN;
        struct code_pattern *p = NULL;
        struct error err = {0};
        rule.expression = CASES[i].expression;
        rule.code = CASES[i].code;
        rule.month_letters = CASES[i].letters;
        assert_int_equal(code_pattern_new(&rule, &p, &err), ERROR_INVALID);
        assert_string_equal(err.field, CASES[i].field);
        assert_non_null(strstr(err.text, CASES[i].text));
        assert_null(p);
    }
}

static void the_code_of_another_day(void **state)
{
    (void)state;
    static const struct {
        const char *expression, *code, *later;
        int days;
    } ROWS[] = {
        {"L ?(?<line>[1-3]) ?(?<y>[0-9])(?<doy>[0-9]{3}) ?(?<shift>[ABC])(?<hhmm>[0-9]{4})",
         "L2 6321 B0412", "L2 6329 B0412", 8},
        {"L ?(?<line>[1-3]) ?(?<y>[0-9])(?<doy>[0-9]{3}) ?(?<shift>[ABC])(?<hhmm>[0-9]{4})",
         "L2 6364 B0412", "L2 7002 B0412", 3},
        {"(?<dd>[0-9]{2})(?<m>[A-L])(?<yy>[0-9]{2})", "30K26", "02L26", 2},
    };
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct code_pattern_rule rule = PLAIN;
        char out[CODE_PATTERN_CODE];
        rule.expression = ROWS[i].expression;
        rule.code = NULL;
        rule.month_letters = "ABCDEFGHIJKL";
        struct code_pattern *p = make(&rule);
        assert_true(code_pattern_later(p, ROWS[i].code, day("2027-01-08"), ROWS[i].days, out));
        assert_string_equal(out, ROWS[i].later);
        assert_false(code_pattern_later(p, "none of ours", day("2027-01-08"), 1, out));
        code_pattern_free(p);
    }
}

/* An expression with exponential backtracking and a text made for it end in a moment. */
static void bounded(void **state)
{
    (void)state;
    struct code_pattern_rule rule = PLAIN;
    struct code_pattern_reading got;
    struct error err = {0};
    rule.code = NULL;
    rule.expression = "Q7(?:(?:A+)+)+(?<doy>[0-9]{3})"; /* no text that is tried begins so */
    struct code_pattern *p = make(&rule);
    /* the second takes some 3 to the 11th steps: longer than we wait, not than the library would */
    static const char *const LONG[] = {"Q7AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA!",
                                       "Q7AAAAAAAAAAAA!"};
    for (size_t i = 0; i < COUNT_OF(LONG); i++) {
        err = (struct error){0};
        assert_int_equal(code_pattern_read(p, LONG[i], day("2026-11-20"), &got, &err),
                         ERROR_TOO_LARGE);
        assert_non_null(strstr(err.text, "takes too long"));
    }
    assert_int_equal(code_pattern_read(p, "Q7AAA!", day("2026-11-20"), &got, &err),
                     ERROR_NOT_FOUND);
    code_pattern_free(p);
    code_pattern_free(NULL);
}

/* Named when the rules are checked, by texts as long as somebody may type. */
static void what_takes_for_ever_is_refused(void **state)
{
    static const char *const SLOW[] = {"(?<y>[0-9])(?<doy>[0-9]{3}) ?([0-9]+ ?)+[YZ]",
                                       "(?<y>[0-9])(?<doy>[0-9]{3})([^!]+)*[YZ]",
                                       "(?:(?:A+)+)+(?<y>[0-9])(?<doy>[0-9]{3})"};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(SLOW); i++) {
        struct code_pattern_rule rule = PLAIN;
        struct code_pattern *p = NULL;
        struct error err = {0};
        rule.expression = SLOW[i];
        rule.code = "{y}{doy}";
        assert_int_equal(code_pattern_new(&rule, &p, &err), ERROR_INVALID);
        assert_string_equal(err.field, "pattern");
        assert_non_null(strstr(err.text, "takes too long"));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(line_day_and_time),
        cmocka_unit_test(what_takes_for_ever_is_refused),
        cmocka_unit_test(a_long_line_is_read_whole),
        cmocka_unit_test(what_cannot_be),
        cmocka_unit_test(part_of_a_text),
        cmocka_unit_test(what_does_not_fit),
        cmocka_unit_test(holds_from_a_date),
        cmocka_unit_test(production_day_begins_in_the_morning),
        cmocka_unit_test(other_forms),
        cmocka_unit_test(either_form_of_the_day),
        cmocka_unit_test(a_time_has_all_its_digits),
        cmocka_unit_test(wrong_rules_are_refused),
        cmocka_unit_test(the_code_of_another_day),
        cmocka_unit_test(bounded),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
