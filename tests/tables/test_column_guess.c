/* Maps that are proposed: kind, columns, dates, numbers; what is said where two readings fit. */
#include "base/jsonx.h"
#include "tables/column_guess.h"
#include <stdlib.h>
#include <string.h>

#include "check.h"

static void check_guess(const char *csv, const char *map, const char *notes)
{
    json_t *got = NULL, *said = NULL;
    struct error err = {0};
    if (column_guess(csv, strlen(csv), NULL, &got, &said, &err)) {
        assert_string_equal(err.text, map);
        return;
    }
    char *text = jsonx_dump(got), *told = jsonx_dump(said);
    assert_string_equal(text, map);
    assert_string_equal(told, notes);
    free(text);
    free(told);
    json_decref(got);
    json_decref(said);
}

static void a_german_sheet_of_lots(void **state)
{
    (void)state;
    check_guess(
        "Wochenbericht;;;;\n\nCharge;Artikel;Linie;Datum;Beginn;Ende;Verpackungsbeginn;"
        "Verpackungsende;St\xC3\xBC"
        "ckzahl;MHD\nL1;W24;1;20.11.2026;6:05;7:50;7:30;9:00;12.400;27.11.2026\n",
        "{\"kind\":\"lots\",\"header\":3,\"decimal\":\",\",\"thousands\":\".\",\"columns\":{"
        "\"Charge\":\"lot\",\"Artikel\":\"product\",\"Linie\":\"line\",\"Datum\":[\"made_from\","
        "\"made_to\",\"packed_from\",\"packed_to\"],\"Beginn\":\"made_from\",\"Ende\":\"made_to\","
        "\"Verpackungsbeginn\":\"packed_from\",\"Verpackungsende\":\"packed_to\",\"St\xC3\xBC"
        "ckzahl\":\"units\",\"MHD\":\"code_date\"},\"dates\":{\"made_from\":\"DD.MM.YYYY "
        "hh:mm\",\"made_to\":\"DD.MM.YYYY hh:mm\",\"packed_from\":\"DD.MM.YYYY "
        "hh:mm\",\"packed_to\":\"DD.MM.YYYY hh:mm\",\"code_date\":\"DD.MM.YYYY\"}}",
        "[\"12.400: its point is taken as the sign of thousands, look at it\"]");
}

static void a_us_sheet_of_readings(void **state)
{
    (void)state;
    check_guess("Batch,Sampled at,Core (\xC2\xB0"
                "F),pH,Core at slicer,Signed\nA1,11/03/2026 4:05 PM,97.5,5.3,99,R\n"
                "A2,11/04/2026 4:05 PM,98.1,5.28,101,R\n",
                "{\"kind\":\"readings\",\"columns\":{\"Batch\":\"lot\",\"Sampled "
                "at\":\"at\",\"Core (\xC2\xB0"
                "F)\":\"core_at_pack [\xC2\xB0"
                "F]\",\"pH\":\"crumb_ph\",\"Core at slicer\":\"core_at_slicing "
                "[degF]\"},\"dates\":{\"at\":\"MM/DD/YYYY hh:mm AM\"}}",
                "[\"Sampled at: its dates may be MM/DD/YYYY hh:mm AM or DD/MM/YYYY hh:mm AM; "
                "MM/DD/YYYY hh:mm AM is taken, look at it\",\"Core at slicer: values of 100 are "
                "taken as degF\",\"Signed: not used\"]");
}

static void days_and_times_apart_and_both_orders(void **state)
{
    (void)state;
    check_guess("Lot,Date,Time,Aw,Result\nA1,03/04/2026,16:05,0.945,\nA2,04/05/2026,9:30,0.95,\n",
                "{\"kind\":\"readings\",\"columns\":{\"Lot\":\"lot\",\"Date\":\"at\",\"Time\":"
                "\"at\",\"Aw\":\"crumb_aw\"},\"dates\":{\"at\":\"MM/DD/YYYY hh:mm\"}}",
                "[\"Date: its dates may be MM/DD/YYYY or DD/MM/YYYY; MM/DD/YYYY is taken, look at "
                "it\",\"Result: not used\"]");
}

static void what_is_not_known(void **state)
{
    (void)state;
    check_guess("", "no row of names is known in its first 20 rows", "");
    check_guess("a,b\n1,2\n", "no row of names is known in its first 20 rows", "");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_german_sheet_of_lots),
        cmocka_unit_test(a_us_sheet_of_readings),
        cmocka_unit_test(days_and_times_apart_and_both_orders),
        cmocka_unit_test(what_is_not_known),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
