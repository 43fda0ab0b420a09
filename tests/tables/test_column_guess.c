/* Maps that are proposed: kind, columns, dates, numbers; what is said where two readings fit. */
#include "base/jsonx.h"
#include "base/text.h"
#include "tables/column_guess.h"
#include <stdio.h>
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

static void a_german_sheet_that_says_from_and_to(void **state)
{
    (void)state;
    check_guess(
        "Charge Nr.;Artikel-Nr.;Linie;Schicht;Datum;Von;Bis;Verpackt von;Verpackt bis;Anzahl;"
        "Haltbar bis\nL1;W24;1;A;20.11.2026;6:05;7:50;7:30;9:00;1240;27.11.2026\n",
        "{\"kind\":\"lots\",\"columns\":{\"Charge "
        "Nr.\":\"lot\",\"Artikel-Nr.\":\"product\",\"Linie\":\"line\",\"Schicht\":\"shift\","
        "\"Datum\":[\"made_from\",\"made_to\",\"packed_from\",\"packed_to\"],\"Von\":"
        "\"made_from\",\"Bis\":\"made_to\",\"Verpackt von\":\"packed_from\",\"Verpackt "
        "bis\":\"packed_to\",\"Anzahl\":\"units\",\"Haltbar bis\":\"code_date\"},\"dates\":{"
        "\"made_from\":\"DD.MM.YYYY hh:mm\",\"made_to\":\"DD.MM.YYYY "
        "hh:mm\",\"packed_from\":\"DD.MM.YYYY hh:mm\",\"packed_to\":\"DD.MM.YYYY "
        "hh:mm\",\"code_date\":\"DD.MM.YYYY\"}}",
        "[]");
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
                "taken as degF\",\"columns that are not known, and not used: Signed\"]");
}

static void days_and_times_apart_and_both_orders(void **state)
{
    (void)state;
    check_guess("Lot,Date,Time,Aw,Result\nA1,03/04/2026,16:05,0.945,\nA2,04/05/2026,9:30,0.95,\n",
                "{\"kind\":\"readings\",\"columns\":{\"Lot\":\"lot\",\"Date\":\"at\",\"Time\":"
                "\"at\",\"Aw\":\"crumb_aw\"},\"dates\":{\"at\":\"MM/DD/YYYY hh:mm\"}}",
                "[\"Date: its dates may be MM/DD/YYYY or DD/MM/YYYY; MM/DD/YYYY is taken, look at "
                "it\",\"columns that are not known, and not used: Result\"]");
}

/* What one column of dates decides holds for all of the file. */
static void one_order_a_file(void **state)
{
    (void)state;
    check_guess("Lot,Product,Line,Mixing begins,Out of oven,Bagging begins,Bagging ends,Units,Bake "
                "day,Use by\nA1,W24,1,6:05,7:50,7:30,9:00,1200,11/29/2026,12/06/2026\n",
                "{\"kind\":\"lots\",\"columns\":{\"Lot\":\"lot\",\"Product\":\"product\",\"Line\":"
                "\"line\",\"Bake day\":[\"made_from\",\"made_to\",\"packed_from\",\"packed_to\"],"
                "\"Mixing begins\":\"made_from\",\"Out of oven\":\"made_to\",\"Bagging begins\":"
                "\"packed_from\",\"Bagging ends\":\"packed_to\",\"Units\":\"units\",\"Use by\":"
                "\"code_date\"},\"dates\":{\"made_from\":\"MM/DD/YYYY hh:mm\",\"made_to\":\"MM/DD/"
                "YYYY hh:mm\",\"packed_from\":\"MM/DD/YYYY hh:mm\",\"packed_to\":\"MM/DD/YYYY "
                "hh:mm\",\"code_date\":\"MM/DD/YYYY\"}}",
                "[]");
}

/* What the map makes of one heading of a table of a kind, and what is said of it. */
static void check_heading(const char *start, const char *row, const char *heading,
                          const char *target, const char *notes)
{
    char csv[400], column[64];
    json_t *map = NULL, *said = NULL;
    snprintf(csv, sizeof csv, "%s,\"%s\"\n%s,41\n", start, heading, row);
    assert_int_equal(column_guess(csv, strlen(csv), NULL, &map, &said, NULL), 0);
    const json_t *at = json_object_get(json_object_get(map, "columns"), heading);
    snprintf(column, sizeof column, "%s", at ? json_string_value(at) : "-");
    char *told = jsonx_dump(said);
    if (strcmp(column, target) != 0 || !strstr(told, notes))
        fail_msg("%s: %s, not %s; %s", heading, column, target, told);
    free(told);
    json_decref(map);
    json_decref(said);
}

/* A pound taken for a kilogram ruins every dose. */
static void units_in_headings(void **state)
{
    (void)state;
    static const struct {
        const char *heading, *target, *notes;
    } MIXES[] = {
        {"Flour lb", "flour [lb]", "[]"},
        {"Flour (lbs)", "flour [lbs]", "[]"},
        {"Flour [oz]", "flour [oz]", "[]"},
        {"flour_lb", "flour [lb]", "[]"},
        {"FlourLb", "flour [Lb]", "[]"},
        {"Flour, lb.", "flour [lb]", "[]"},
        {"Flour in pounds", "flour [pounds]", "[]"},
        {"Lbs of flour", "flour [Lbs]", "[]"},
        {"Harina (libras)", "flour [libras]", "[]"},
        {"Flour kg", "flour_kg", "[]"},
        {"Flour", "flour_kg", "taken without a unit in the heading, look at it: Flour as kg"},
        {"Flour (sacks)", "-", "Flour (sacks): 'sacks' is no unit known of flour_kg: not used"},
        {"Flour (\xC2\xB0"
         "F)",
         "-", "is no unit known of flour_kg"},
        {"Batch weight lb", "-", "columns that are not known, and not used: Batch weight lb"},
    };
    for (size_t i = 0; i < sizeof MIXES / sizeof *MIXES; i++)
        check_heading("lot,mix,at", "A1,1,2026-11-20T09:00:00Z", MIXES[i].heading, MIXES[i].target,
                      MIXES[i].notes);
    static const struct {
        const char *heading, *target, *notes;
    } READINGS[] = {
        {"Core F", "core_at_pack [F]", "[]"},
        {"Core \xC2\xB0"
         "F",
         "core_at_pack [\xC2\xB0"
         "F]",
         "[]"},
        {"Core temp, deg F", "core_at_pack [deg F]", "[]"},
        {"CoreTempF", "core_at_pack [F]", "[]"},
        {"Temp. interna (\xC2\xB0"
         "F)",
         "core_at_pack [\xC2\xB0"
         "F]",
         "[]"},
        {"Core (lb)", "-", "'lb' is no unit known of core_at_pack_c"},
        {"Core temp end of bake F", "core_end_bake [F]", "[]"},
        {"Bake temp F", "-", "columns that are not known, and not used: Bake temp F"},
        {"FDT", "dough_temp_c", "taken without a unit"},
        {"pH miga", "crumb_ph", "[]"},
        {"Humedad %", "crumb_moisture_pct", "[]"},
    };
    for (size_t i = 0; i < sizeof READINGS / sizeof *READINGS; i++)
        check_heading("lot,aw", "A1,.95", READINGS[i].heading, READINGS[i].target,
                      READINGS[i].notes);
    check_heading("product,description,family,shelf life days", "W24,White,pan-bread,9",
                  "Net wt (oz)", "unit [oz]", "[]");
}

/* A day is no time; a reading may be of its lot's packing, a mix may not. */
static void days_go_where_days_are_taken(void **state)
{
    (void)state;
    static const char WHY[] = "Datum: has no time of day, which at needs: not used, each reading "
                              "is taken at its lot's packing\"";
    json_t *map = NULL, *said = NULL;
    static const char CSV[] = "Datum,Charge,pH Krume,aw\n28.11.2026,L1,\"5,41\",.94\n";
    assert_int_equal(column_guess(CSV, strlen(CSV), NULL, &map, &said, NULL), 0);
    char *told = jsonx_dump(said);
    assert_null(json_object_get(json_object_get(map, "columns"), "Datum"));
    if (!strstr(told, WHY))
        fail_msg("%s", told);
    free(told);
    json_decref(map);
    json_decref(said);
}

static void what_packs_and_materials_are_called(void **state)
{
    (void)state;
    static const char LOTS[] = "Lot,Product,Line,Start,Stop,Units,Best by,Pack start",
                      LOT[] = "L1,W,1,2026-11-29T05:00:00Z,2026-11-29T05:00:00Z,4,2026-12-11,"
                              "2026-11-29T05:00:00Z",
                      USES[] = "Partie,Rohstoff,Teig", USE[] = "L1,Salz,M1";
    static const struct {
        const char *start, *row, *heading, *target, *notes;
    } ROWS[] = {
        {LOTS, LOT, "Pack stop", "packed_to", ""},
        {USES, USE, "Charge Rohstoff", "material_lot", ""},
        {USES, USE, "Rohstoff Charge Nr", "material_lot", ""},
        {USES, USE, "Menge lb", "amount [lb]", ""},
        {USES, USE, "Pounds", "-", "Pounds: is a unit, and does not say of what"},
        {USES, USE, "Ounces", "-", "Ounces: is a unit"},
        {"Route,Batch,Shipped", "R1,L1,2026-11-29T05:00:00Z", "Cases", "-",
         "Cases: counts cases and not packs"},
    };
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++)
        check_heading(ROWS[i].start, ROWS[i].row, ROWS[i].heading, ROWS[i].target, ROWS[i].notes);
}

/* The load looks the column up by its whole name. */
static void a_long_heading_stays_whole(void **state)
{
    (void)state;
    static const char LONG[] = "Core temperature at packing, the middle slice of the loaf in the "
                               "middle of the row (\xC2\xB0"
                               "F)";
    check_heading("lot,aw", "A1,.95", LONG,
                  "core_at_pack [\xC2\xB0"
                  "F]",
                  "[]");
}

static void two_columns_for_one(void **state)
{
    (void)state;
    check_guess("lot,aw,Core temp,Core temp by the bagger\nA1,.95,36,37\n",
                "{\"kind\":\"readings\",\"columns\":{\"lot\":\"lot\",\"aw\":\"crumb_aw\","
                "\"Core temp\":\"core_at_pack_c\"}}",
                "[\"taken without a unit in the heading, look at it: Core temp as degC\",\"Core "
                "temp by the bagger: not used, Core temp is taken for core_at_pack_c\"]");
}

static void what_is_not_known(void **state)
{
    (void)state;
    check_guess("", "no row of names is known in its first 20 rows", "");
    check_guess("a,b\n1,2\n", "no row of names is known in its first 20 rows", "");
}

/* ---- by what stands in the columns ---- */

/* A member of what is proposed for rows behind a heading ("" it has none), and what is said. */
static void check_member(const enum record_kind *kind, const char *csv, const char *member,
                         const char *value, const char *notes)
{
    json_t *map = NULL, *said = NULL;
    assert_int_equal(column_guess(csv, strlen(csv), kind, &map, &said, NULL), 0);
    const json_t *at = json_object_get(map, member);
    char *got = at ? json_dumps(at, JSON_ENCODE_ANY | JSON_COMPACT) : strdup("");
    char *told = jsonx_dump(said);
    if (strcmp(got, value) != 0 || strcmp(told, notes) != 0)
        fail_msg("%s\n%s: %s, not %s; %s", csv, member, got, value, told);
    free(got);
    free(told);
    json_decref(map);
    json_decref(said);
}

static void signs_of_numbers(void **state)
{
#define SAID(text, sign, of)                                                                       \
    "[\"" text ": its " sign " is taken as the sign of " of ", look at it\"]"
    static const struct {
        const char *numbers, *decimal, *thousands, *notes;
    } CASES[] = {
        {"450;451.5", "", "", "[]"},
        {"450,5;451", "\",\"", "", "[]"},
        {"1.234.567;1", "\",\"", "\".\"", SAID("1.234.567", "point", "thousands")},
        {"1,234,567;1", "", "\",\"", SAID("1,234,567", "comma", "thousands")},
        {"1.234,5;1", "\",\"", "\".\"", SAID("1.234,5", "point", "thousands")},
        {"1,234.5;1", "", "\",\"", SAID("1,234.5", "comma", "thousands")},
        {"1,234;1", "", "\",\"", SAID("1,234", "comma", "thousands")},
        {"1.234;1", "", "", SAID("1.234", "point", "decimals")},
        {"0,234;1", "\",\"", "", "[]"},
        {"0.234;1", "", "", "[]"},
        {"1,2345;1", "\",\"", "", "[]"},
        {"450,5;451.5", "", "",
         "[\"numbers are written with a comma and with a point: the point is taken as the decimal "
         "sign\"]"},
        {"450,5;451,5;451.5", "\",\"", "",
         "[\"numbers are written with a comma and with a point: the comma is taken as the decimal "
         "sign\"]"},
    };
    static const enum record_kind MIXES = RECORD_MIXES;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char csv[400] = "lot\tmix\tat\tflour_kg\n", numbers[64], *save = NULL;
        snprintf(numbers, sizeof numbers, "%s", CASES[i].numbers);
        for (char *one = strtok_r(numbers, ";", &save); one; one = strtok_r(NULL, ";", &save)) {
            size_t length = strlen(csv);
            snprintf(csv + length, sizeof csv - length, "A1\t1\t2026-11-20 04:05\t%s\n", one);
        }
        check_member(&MIXES, csv, "decimal", CASES[i].decimal, CASES[i].notes);
        check_member(&MIXES, csv, "thousands", CASES[i].thousands, CASES[i].notes);
    }
    /* of a whole number the sign is one of thousands */
    static const enum record_kind LOTS = RECORD_LOTS;
    json_t *map = NULL, *said = NULL;
    static const char csv[] = "lot\tunits\nA1\t1.234\n";
    assert_int_equal(column_guess(csv, strlen(csv), &LOTS, &map, &said, NULL), 0);
    assert_string_equal(json_string_value(json_object_get(map, "decimal")), ",");
    assert_string_equal(json_string_value(json_object_get(map, "thousands")), ".");
    json_decref(map);
    json_decref(said);
}

static void forms_of_dates(void **state)
{
    static const struct {
        const char *first, *second, *dates, *notes;
    } CASES[] = {
        {"2026-11-20 04:05", "2026-11-20 5:05", "", "[]"},
        {"2026-11-20T04:05:06", "", "", "[]"},
        {"2026-11-20T04:05:06Z", "2026-11-20T04:05:06-05:00", "", "[]"},
        {"20.11.2026 04:05", "", "{\"at\":\"DD.MM.YYYY hh:mm\"}", "[]"},
        {"20.11.26 04:05:59", "", "{\"at\":\"DD.MM.YY hh:mm:ss\"}", "[]"},
        {"11/20/26 4:05 pm", "", "{\"at\":\"MM/DD/YY hh:mm AM\"}", "[]"},
        {"11/20/2026 4:05:06 pm", "", "{\"at\":\"MM/DD/YYYY hh:mm:ss AM\"}", "[]"},
        {"20/11/2026 14:05", "11/12/2026 14:05", "{\"at\":\"DD/MM/YYYY hh:mm\"}", "[]"},
        {"20-11-2026 14:05", "", "{\"at\":\"DD-MM-YYYY hh:mm\"}", "[]"},
        {"11-20-2026 14:05", "", "{\"at\":\"MM-DD-YYYY hh:mm\"}", "[]"},
        {"2026/11/20 14:05", "", "{\"at\":\"YYYY/MM/DD hh:mm\"}", "[]"},
        {"20261120 14:05", "", "{\"at\":\"YYYYMMDD hh:mm\"}", "[]"},
        {"11/12/2026 14:05", "", "{\"at\":\"MM/DD/YYYY hh:mm\"}",
         "[\"At: its dates may be MM/DD/YYYY hh:mm or DD/MM/YYYY hh:mm; MM/DD/YYYY hh:mm is taken, "
         "look at it\"]"},
        {"20.11.2026 14:05", "2026-11-20 14:05", "", "[\"At: is no date that is known for at\"]"},
        {"yesterday", "", "", "[\"At: is no date that is known for at\"]"},
        {"", "", "", "[\"At: is no date that is known for at\"]"},
        {"2026-11-20", "", "", "[\"At: has no time of day, which at needs\"]"},
    };
    static const enum record_kind MIXES = RECORD_MIXES;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char csv[400];
        snprintf(csv, sizeof csv, "lot;mix;At;flour_kg\nA1;1;%s;1\nA1;2;%s;1\n", CASES[i].first,
                 CASES[i].second);
        check_member(&MIXES, csv, "dates", CASES[i].dates, CASES[i].notes);
    }
}

/* A core of 60 and more is no Celsius at packing, one of 130 none out of the oven. */
static void units_by_values(void **state)
{
    static const struct {
        const char *heading, *values, *target;
    } CASES[] = {{"Core", "59.9", "core_at_pack_c"},
                 {"Core", "60", "core_at_pack [degF]"},
                 {"Core", "40;80", "core_at_pack [degF]"},
                 {"Core", "40;79", "core_at_pack_c"},
                 {"Core", "97 C;99", "core_at_pack_c"},
                 {"Core", "\"97,5\"", "core_at_pack [degF]"},
                 {"Core", "hot", "core_at_pack_c"},
                 {"Final core", "129.9", "core_end_bake_c"},
                 {"Final core", "130", "core_end_bake [degF]"},
                 {"Moisture", "97", "crumb_moisture_pct"},
                 {"Core (F)", "40", "core_at_pack [F]"},
                 {"Core (C)", "97", "core_at_pack_c"}};
    static const enum record_kind READINGS = RECORD_READINGS;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char csv[400], values[64], *save = NULL;
        json_t *map = NULL, *said = NULL;
        snprintf(values, sizeof values, "%s", CASES[i].values);
        snprintf(csv, sizeof csv, "lot,%s\n", CASES[i].heading);
        for (char *one = strtok_r(values, ";", &save); one; one = strtok_r(NULL, ";", &save)) {
            size_t length = strlen(csv);
            snprintf(csv + length, sizeof csv - length, "A1,%s\n", one);
        }
        assert_int_equal(column_guess(csv, strlen(csv), &READINGS, &map, &said, NULL), 0);
        const json_t *at = json_object_get(json_object_get(map, "columns"), CASES[i].heading);
        if (strcmp(json_string_value(at), CASES[i].target) != 0)
            fail_msg("%s of %s: %s", CASES[i].heading, CASES[i].values, json_string_value(at));
        json_decref(map);
        json_decref(said);
    }
}

/* Where the names stand, and columns that say what they count. */
static void rows_of_names(void **state)
{
    static const enum record_kind MIXES = RECORD_MIXES;
    static const char START[] = "Lot,Mix,At,Flour kg,%s\nA1,1,2026-11-20 04:05,450,3\n";
    static const struct {
        const char *heading, *notes;
    } UNUSED[] = {
        {"Cases", "[\"Cases: counts cases and not packs: not used\"]"},
        {"Pounds", "[\"Pounds: is a unit, and does not say of what: not used, name it in the "
                   "map\"]"},
        {"L", "[\"columns that are not known, and not used: L\"]"},
        {"Crumb pH", "[\"of readings, which are another kind, and not used: Crumb pH\"]"},
        {"Weather", "[\"columns that are not known, and not used: Weather\"]"},
        {"Total flour", "[\"Total flour: not used, Flour kg is taken for flour_kg\"]"},
        {"", "[]"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(UNUSED); i++) {
        char csv[200];
        snprintf(csv, sizeof csv, START, UNUSED[i].heading);
        check_member(&MIXES, csv, "header", "", UNUSED[i].notes);
    }
    for (int above = 0; above < 3; above++) {
        struct text_buffer csv = {0};
        const char *const header[] = {"", "2", "3"};
        for (int i = 0; i < above; i++)
            text_append(&csv, i ? "\n" : "a report of the week,,,\n");
        text_append(&csv, "Lot,Mix,At,Flour kg\nA1,1,2026-11-20 04:05,450\n");
        check_member(NULL, csv.data, "header", header[above], "[]");
        text_buffer_free(&csv);
    }
    struct error err = {0};
    json_t *map = NULL, *said = NULL;
    assert_int_equal(column_guess("a,b\n1,2\n", 8, NULL, &map, &said, &err), ERROR_INVALID);
    assert_string_equal(err.text, "no row of names is known in its first 20 rows");
    assert_null(map);
}

/* No more than the first rows are looked at, and of a row no more than so many columns. */
static void what_is_not_looked_at(void **state)
{
    static const enum record_kind MIXES = RECORD_MIXES;
    struct text_buffer csv = {0};
    (void)state;
    text_append(&csv, "lot,mix,at,flour_kg\n");
    for (int i = 0; i < 399; i++)
        text_appendf(&csv, "A1,%d,20.11.2026 04:05,450\n", i);
    text_append(&csv, "A1,x,yesterday,much\n");
    check_member(&MIXES, csv.data, "dates", "{\"at\":\"DD.MM.YYYY hh:mm\"}", "[]");
    text_reset(&csv);
    text_append(&csv, "lot,mix,at");
    for (int i = 0; i < 96; i++)
        text_append(&csv, ",");
    text_append(&csv, ",flour_kg,Weather\nA1,1,2026-11-20 04:05\n"); /* the hundredth is its last */
    check_member(&MIXES, csv.data, "columns",
                 "{\"lot\":\"lot\",\"mix\":\"mix\",\"at\":\"at\",\"flour_kg\":\"flour_kg\"}", "[]");
    text_buffer_free(&csv);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_german_sheet_of_lots),
        cmocka_unit_test(a_german_sheet_that_says_from_and_to),
        cmocka_unit_test(a_us_sheet_of_readings),
        cmocka_unit_test(one_order_a_file),
        cmocka_unit_test(days_and_times_apart_and_both_orders),
        cmocka_unit_test(units_in_headings),
        cmocka_unit_test(days_go_where_days_are_taken),
        cmocka_unit_test(what_packs_and_materials_are_called),
        cmocka_unit_test(a_long_heading_stays_whole),
        cmocka_unit_test(two_columns_for_one),
        cmocka_unit_test(what_is_not_known),
        cmocka_unit_test(signs_of_numbers),
        cmocka_unit_test(forms_of_dates),
        cmocka_unit_test(units_by_values),
        cmocka_unit_test(rows_of_names),
        cmocka_unit_test(what_is_not_looked_at),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
