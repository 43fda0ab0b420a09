/* Dates as people say them. Today is Wednesday 2026-11-25 throughout. */
#include "base/when.h"
#include "intake/said_date.h"
#include <string.h>

/* cmocka.h needs these before it */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

struct row {
    const char *said;
    enum said_span span;
    const char *date; /* NULL: refused */
};

static int32_t today(void)
{
    return day_from_civil(2026, 11, 25);
}

static void check(const struct row *rows, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        int32_t day = 0;
        char date[16] = "refused";
        struct error err = {0};
        int rc = said_date(rows[i].said, today(), rows[i].span, &day, &err);
        if (rc == 0)
            day_format(day, date);
        if (strcmp(date, rows[i].date ? rows[i].date : "refused") != 0)
            fail_msg("'%s': %s instead of %s", rows[i].said, date,
                     rows[i].date ? rows[i].date : "refused");
        if (rc)
            assert_true(err.text[0] != '\0');
    }
}
#define CHECK(rows) check(rows, sizeof(rows) / sizeof *(rows))

static void the_plants_order_of_day_and_month(void **state)
{
    (void)state;
    static const struct row rows[] = {{"2/12", SAID_NEAR | SAID_DAY_FIRST, "2026-12-02"},
                                      {"2/12", SAID_NEAR, "2027-02-12"},
                                      {"2/11", SAID_PAST | SAID_DAY_FIRST, "2026-11-02"},
                                      {"02/12/2026", SAID_FULL | SAID_DAY_FIRST, "2026-12-02"},
                                      {"11/27", SAID_NEAR | SAID_DAY_FIRST, "2026-11-27"},
                                      {"2/12", SAID_PAST | SAID_DAY_FIRST, "2025-12-02"},
                                      {"32/12", SAID_NEAR | SAID_DAY_FIRST, NULL}};
    CHECK(rows);
}

static void words_count_from_today(void **state)
{
    static const struct row rows[] = {
        {"today", SAID_PAST, "2026-11-25"},
        {" Yesterday ", SAID_PAST, "2026-11-24"},
        {"day before yesterday", SAID_PAST, "2026-11-23"},
        {"the day before yesterday", SAID_PAST, "2026-11-23"},
        {"ayer", SAID_PAST, "2026-11-24"},
        {"this morning", SAID_PAST, "2026-11-25"},
        {"last evening", SAID_PAST, "2026-11-24"},
        {"today around noon", SAID_PAST, "2026-11-25"},
        {"yesterday evening", SAID_PAST, "2026-11-24"},
        {"last night", SAID_PAST, "2026-11-24"},
        {"hace 2 dias", SAID_PAST, "2026-11-23"},
        {"hace una semana", SAID_PAST, "2026-11-18"},
        {"last week", SAID_PAST, NULL}, /* which of seven days? */
        {"a few days ago", SAID_PAST, NULL},
        {"2 days ago", SAID_PAST, "2026-11-23"},
        {"two days ago", SAID_PAST, "2026-11-23"},
        {"a couple days ago", SAID_PAST, "2026-11-23"},
        {"about 3 days", SAID_PAST, "2026-11-22"},
        {"a week ago", SAID_PAST, "2026-11-18"},
        {"2 weeks ago", SAID_PAST, "2026-11-11"},
        {"0 days ago", SAID_PAST, "2026-11-25"},
        {"in 3 days", SAID_NEAR, "2026-11-28"},
        {"tomorrow", SAID_NEAR, "2026-11-26"},
        {"tomorrow", SAID_PAST, NULL},
        {"in 3 days", SAID_PAST, NULL},
        {"99999 days ago", SAID_PAST, NULL},
        {"ago", SAID_PAST, NULL},
    };
    (void)state;
    CHECK(rows);
}

static void weekdays_are_the_last_or_for_a_code_the_next(void **state)
{
    static const struct row rows[] = {
        {"last Wed", SAID_PAST, "2026-11-18"},
        {"monday morning", SAID_PAST, "2026-11-23"},
        {"tues night", SAID_PAST, "2026-11-24"},
        {"el lunes", SAID_PAST, "2026-11-23"},
        {"el lunes pasado", SAID_PAST, "2026-11-23"},
        {"sabado", SAID_PAST, "2026-11-21"},
        {"Mon", SAID_PAST, "2026-11-23"},
        {"monday", SAID_PAST, "2026-11-23"},
        {"on Thurs", SAID_PAST, "2026-11-19"},
        {"last friday", SAID_PAST, "2026-11-20"},
        {"Wed", SAID_PAST, "2026-11-25"},
        {"sun", SAID_PAST, "2026-11-22"},
        {"Fri", SAID_NEAR, "2026-11-27"},
        {"next friday", SAID_NEAR, "2026-11-27"},
        {"next wed", SAID_NEAR, "2026-12-02"},
        {"mo", SAID_PAST, NULL},
        {"next friday", SAID_PAST, NULL},
    };
    (void)state;
    CHECK(rows);
}

static void month_and_day_find_their_year(void **state)
{
    static const struct row rows[] = {
        {"11/19", SAID_PAST, "2026-11-19"},
        {"the 19th", SAID_PAST, "2026-11-19"},
        {"30th", SAID_PAST, "2026-10-30"},
        {"the 31st", SAID_PAST, "2026-10-31"},
        {"27th", SAID_NEAR, "2026-11-27"},
        {"32nd", SAID_PAST, NULL},
        {"11-19", SAID_PAST, "2026-11-19"},
        {"nov 19", SAID_PAST, "2026-11-19"},
        {"November 19th", SAID_PAST, "2026-11-19"},
        {"19 nov", SAID_PAST, "2026-11-19"},
        {"the 19th of November", SAID_PAST, "2026-11-19"},
        {"thu nov 19", SAID_PAST, "2026-11-19"},
        {"19.11.", SAID_PAST, "2026-11-19"},
        {"19/11", SAID_PAST, "2026-11-19"}, /* no month 19: the other order */
        {"12/24", SAID_PAST, "2025-12-24"}, /* not yet this year */
        {"12/24", SAID_NEAR, "2026-12-24"},
        {"1/5", SAID_NEAR, "2027-01-05"},
        {"feb 29", SAID_PAST, "2024-02-29"},
        {"2/30", SAID_PAST, NULL},
        {"nov 31", SAID_PAST, NULL},
        {"13/13", SAID_PAST, NULL},
        {"November", SAID_PAST, NULL},
        {"November 2026", SAID_PAST, NULL},
        {"19", SAID_PAST, NULL},
    };
    (void)state;
    CHECK(rows);
}

static void whole_dates_in_the_usual_orders(void **state)
{
    static const struct row rows[] = {
        {"2026-11-19", SAID_PAST, "2026-11-19"},
        {"20261119", SAID_PAST, "2026-11-19"},
        {"11/19/2026", SAID_PAST, "2026-11-19"},
        {"11/19/26", SAID_PAST, "2026-11-19"},
        {"19.11.2026", SAID_PAST, "2026-11-19"},
        {"nov 19 2026", SAID_PAST, "2026-11-19"},
        {"19 Nov 26", SAID_PAST, "2026-11-19"},
        {"Nov 19, 2026", SAID_PAST, "2026-11-19"},
        {"2026/11/19", SAID_PAST, "2026-11-19"},
        {"2026-02-29", SAID_PAST, NULL},
        {"2026-11-26", SAID_PAST, NULL}, /* tomorrow */
        {"2026-11-26", SAID_NEAR, "2026-11-26"},
        {"11/19/126", SAID_PAST, NULL},
        {"1 2 3 4", SAID_PAST, NULL},
        {"", SAID_PAST, NULL},
        {"some time last month", SAID_PAST, NULL},
        {"\xff\xfe", SAID_PAST, NULL},
    };
    (void)state;
    CHECK(rows);
}

static void a_file_must_give_whole_dates(void **state)
{
    static const struct row rows[] = {
        {"2026-11-19", SAID_FULL, "2026-11-19"},
        {"11/19/2026", SAID_FULL, "2026-11-19"},
        {"19 Nov 2026", SAID_FULL, "2026-11-19"},
        {"20261119", SAID_FULL, "2026-11-19"},
        {"11/19", SAID_FULL, NULL},
        {"yesterday", SAID_FULL, NULL},
        {"Mon", SAID_FULL, NULL},
        {"11/19/26", SAID_FULL, NULL},
        {"2 days ago", SAID_FULL, NULL},
    };
    (void)state;
    CHECK(rows);
}

static void shown_back_without_doubt(void **state)
{
    char text[SAID_DATE_TEXT];
    (void)state;
    assert_string_equal(said_date_show(day_from_civil(2026, 11, 19), today(), text),
                        "Thu 2026-11-19, 6 days ago");
    assert_string_equal(said_date_show(today(), today(), text), "Wed 2026-11-25, today");
    assert_string_equal(said_date_show(today() - 1, today(), text), "Tue 2026-11-24, yesterday");
    assert_string_equal(said_date_show(today() + 1, today(), text), "Thu 2026-11-26, tomorrow");
    assert_string_equal(said_date_show(today() + 9, today(), text), "Fri 2026-12-04, in 9 days");
}

/* More than any number of days, weeks or years: refused, and not what is left of it in 32 bits. */
static void numbers_without_end_are_no_date(void **state)
{
    (void)state;
    static const struct row rows[] = {{"4294967297 days ago", SAID_PAST, NULL},
                                      {"4294967298 weeks ago", SAID_PAST, NULL},
                                      {"in 4294967297 days", SAID_NEAR, NULL},
                                      {"99999999 weeks ago", SAID_PAST, NULL},
                                      {"hace 18446744073709551617 dias", SAID_PAST, NULL},
                                      {"2026-W4294967343-4", SAID_PAST, NULL},
                                      {"2026-W99999999-4", SAID_PAST, NULL},
                                      {"4294967315/11/2026", SAID_PAST, NULL},
                                      {"nov 4294967315", SAID_PAST, NULL},
                                      {"4294967315 november 2026", SAID_PAST, NULL},
                                      {"2026-4294967307-19", SAID_PAST, NULL},
                                      {"1 day ago", SAID_PAST, "2026-11-24"}};
    check(rows, sizeof rows / sizeof *rows);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_plants_order_of_day_and_month),
        cmocka_unit_test(words_count_from_today),
        cmocka_unit_test(weekdays_are_the_last_or_for_a_code_the_next),
        cmocka_unit_test(month_and_day_find_their_year),
        cmocka_unit_test(whole_dates_in_the_usual_orders),
        cmocka_unit_test(a_file_must_give_whole_dates),
        cmocka_unit_test(shown_back_without_doubt),
        cmocka_unit_test(numbers_without_end_are_no_date),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
