/* What single cells and headings say: numbers, dates, columns' names with their units. */
#include "base/text.h"
#include "check.h"
#include "tables/cell_number.h"
#include "tables/column_heading.h"
#include "tables/column_map_inside.h"
#include "tables/column_names.h"
#include "tables/csv_rows.h"
#include "tables/date_form.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* ---- numbers ---- */

#define MANY "12345678901234567890123456789012345678" /* as many as there is room for */

static void numbers(void **state)
{
    static const struct {
        const char *text, *signs, *number, *rest; /* number NULL: none */
    } CASES[] = {
        {"12", ".", "12", ""},
        {"  -12.5 kg", ".", "-12.5", "kg"},
        {"+0.5", ".", "+0.5", ""},
        {"1,5", ",", "1.5", ""},
        {"1.234,5", ",.", "1234.5", ""},
        {"1,234,567.8", ".,", "1234567.8", ""},
        {"123,456", ".,", "123456", ""},
        {"1'234", ".'", "1234", ""},
        {"1234,567", ".,", NULL, NULL}, /* four before the first sign */
        {"1,23", ".,", NULL, NULL},     /* two behind it */
        {"1,2345", ".,", NULL, NULL},   /* and four */
        {"1,234,56", ".,", NULL, NULL}, /* the second is none */
        {"1.5,000", ".,", NULL, NULL},  /* not behind the decimal sign */
        {",123", ".,", NULL, NULL},     /* nor before all digits */
        {"1.2.3", ".", NULL, NULL},
        {"1.5", ",", NULL, NULL},
        {"1,5", ".", NULL, NULL},
        {"1.", ".", NULL, NULL},
        {".5", ".", ".5", ""},
        {"-", ".", NULL, NULL},
        {"", ".", NULL, NULL},
        {"kg", ".", NULL, NULL},
        {"1e3", ".", "1e3", ""},
        {"1E-05 g", ".", "1E-05", "g"},
        {"2e+123", ".", "2e+123", ""},
        {"2e1234", ".", "2", "e1234"},
        {"5 eggs", ".", "5", "eggs"},
        {"5eggs", ".", "5", "eggs"},
        {"5e", ".", "5", "e"},
        {"5e-", ".", "5", "e-"},
        {"5%", ".", "5", "%"},
        {"1 2", ".", "1", "2"},
        {MANY, ".", MANY, ""},
        {MANY "9", ".", NULL, NULL},
        {"12345678901234567890123456789012e-3", ".", "12345678901234567890123456789012e-3", ""},
        {"123456789012345678901234567890123e-3", ".", "123456789012345678901234567890123", "e-3"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char out[40] = "";
        const char *rest = "";
        bool is = cell_number(CASES[i].text, CASES[i].signs[0], CASES[i].signs[1], out, &rest);
        if (is != (CASES[i].number != NULL))
            fail_msg("%s (%s): %d %s", CASES[i].text, CASES[i].signs, is, out);
        if (!is)
            continue;
        assert_string_equal(out, CASES[i].number);
        assert_string_equal(rest, CASES[i].rest);
    }
}

/* ---- dates ---- */

static void forms_of_dates(void **state)
{
    static const struct {
        const char *form;
        bool is, timed;
    } CASES[] = {
        {"YYYY-MM-DD", true, false},
        {"DD.MM.YY", true, false},
        {"MM/DD/YYYY hh:mm", true, true},
        {"YYYYMMDDhhmmss", true, true},
        {"MM/DD/YY hh:mm AM", true, true},
        {"MM/DD/YY hh:mm:ss AM", true, true},
        {"YYYY-MM", false, false},
        {"YYYY-DD", false, false},
        {"MM-DD", false, false},
        {"YYYY-MM-DD hh", false, true},
        {"YYYY-MM-DD mm", false, false},
        {"YYYY-MM-DD ss", false, false},
        {"YYYY-MM-DD AM", false, false},
        {"YYYY-MM-DD-DD", false, false},
        {"YYYY-YY-MM-DD", false, false},
        {"YYYY-MM-MM-DD", false, false},
        {"YYYY-MM-DD hh:mm hh:mm", false, false},
        {"YYYY-MM-DD hh:mm:ss:ss", false, true},
        {"YYYY-MM-DD hh:mm AM AM", false, true},
        {"", false, false},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        bool timed = !CASES[i].timed;
        if (date_form_is(CASES[i].form, &timed) != CASES[i].is || timed != CASES[i].timed)
            fail_msg("%s: %d %d", CASES[i].form, !CASES[i].is, timed);
    }
}

static void dates(void **state)
{
    static const struct {
        const char *form, *text;
        int day, hour, minute, second; /* day -1: none so written */
    } CASES[] = {
        {"YYYY-MM-DD", "1970-01-02", 1, -1, -1, 0},
        {"YYYY-MM-DD", "  1970-1-2  ", 1, -1, -1, 0},
        {"YYYY-MM-DD", "970-01-02", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970-01-02x", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970/01/02", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970-02-30", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970-13-01", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970-00-01", -1, 0, 0, 0},
        {"YYYY-MM-DD", "1970--01", -1, 0, 0, 0},
        {"YYYY-MM-DD", "", -1, 0, 0, 0},
        {"DD.MM.YY", "01.02.00", 10988, -1, -1, 0}, /* date -d 2000-02-01 +%s / 86400 */
        {"YYYYMMDD", "19700103", 2, -1, -1, 0},
        {"YYYY-MM-DD hh:mm", "1970-01-01 23:59", 0, 23, 59, 0},
        {"YYYY-MM-DD hh:mm", "1970-01-01 0:00", 0, 0, 0, 0},
        {"YYYY-MM-DD hh:mm", "1970-01-01 24:00", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm", "1970-01-01 23:60", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm:ss", "1970-01-01 23:59:59", 0, 23, 59, 59},
        {"YYYY-MM-DD hh:mm:ss", "1970-01-01 23:59:60", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 12:00 AM", 0, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 12:00 PM", 0, 12, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 1:05 p.m.", 0, 13, 5, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 11:05 a.M", 0, 11, 5, 0},
        {"YYYY-MM-DD hh:mmAM", "1970-01-01 11:05Am", 0, 11, 5, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 11:05 Pm.", 0, 23, 5, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 13:05 pm", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 0:05 am", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 1:05 xm", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 1:05 an", -1, 0, 0, 0},
        {"YYYY-MM-DD hh:mm AM", "1970-01-01 1:05 ", -1, 0, 0, 0},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct date_form_read read = {0};
        bool is = date_form_read(CASES[i].form, CASES[i].text, &read);
        if (is != (CASES[i].day >= 0))
            fail_msg("%s as %s: %d", CASES[i].text, CASES[i].form, is);
        if (!is)
            continue;
        assert_int_equal(read.day, CASES[i].day);
        assert_int_equal(read.hour, CASES[i].hour);
        assert_int_equal(read.minute, CASES[i].minute);
        assert_int_equal(read.second, CASES[i].second);
    }
}

/* ---- headings ---- */

static void headings(void **state)
{
    static const struct {
        enum record_kind kind;
        const char *heading, *ours, *unit, *odd;
        int sure;
    } CASES[] = {
        {RECORD_MIXES, "Flour lb", "flour_kg", "lb", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour (lbs)", "flour_kg", "lbs", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour [lbs]", "flour_kg", "lbs", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour {lbs", "flour_kg", "lbs", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "FlourLb", "flour_kg", "Lb", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "flour_lb", "flour_kg", "lb", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "flour_kg", "flour_kg", "kg", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour, lb", "flour_kg", "lb", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour in lb", "flour_kg", "lb", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Harina en kg", "flour_kg", "kg", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "lbs of flour", "flour_kg", "lbs", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "kg de harina", "flour_kg", "kg", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour", "flour_kg", "", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour (sacks)", "flour_kg", "", "sacks", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour (total)", "flour_kg", "", "", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Flour degC", "flour_kg", "", "degC", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "Mix (kg)", "mix", "", "kg", COLUMN_NAMES_SURE},
        {RECORD_MIXES, "", NULL, "", "", COLUMN_NAMES_NONE},
        {RECORD_MIXES, "Weather", NULL, "", "", COLUMN_NAMES_NONE},
        {RECORD_MIXES, "Weather (kg)", NULL, "", "", COLUMN_NAMES_NONE},
        {RECORD_READINGS, "Core [degF] at packing", "core_at_pack_c", "degF", "",
         COLUMN_NAMES_SURE},
        {RECORD_READINGS, "Core deg F", "core_at_pack_c", "deg F", "", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "Core 1", "core_at_pack_c", "", "", COLUMN_NAMES_LIKELY},
        {RECORD_READINGS, "Core lb", "core_at_pack_c", "", "lb", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "Core (avg)", "core_at_pack_c", "", "", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "Moisture%", "crumb_moisture_pct", "%", "", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "Bake time min", "bake_min", "min", "", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "Units (pcs)", "units", "", "", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "Units (lb)", "units", "", "lb", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "Lot kg", "lot", "", "kg", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "Lot L", "lot", "", "", COLUMN_NAMES_SURE},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct column_heading read;
        column_heading_read(CASES[i].kind, CASES[i].heading, &read);
        const char *ours = read.sure ? read.ours : NULL;
        if (read.sure != CASES[i].sure || strcmp(read.unit, CASES[i].unit) != 0 ||
            strcmp(read.odd, CASES[i].odd) != 0 ||
            strcmp(ours ? ours : "-", CASES[i].ours ? CASES[i].ours : "-") != 0)
            fail_msg("%s: %s '%s' odd '%s' %d", CASES[i].heading, ours ? ours : "-", read.unit,
                     read.odd, read.sure);
    }
}

static void names(void **state)
{
    static const struct {
        enum record_kind kind;
        const char *heading, *ours;
        int sure;
    } CASES[] = {
        {RECORD_LOTS, "Batch No.", "lot", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "BatchNo", "lot", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "N\303\272mero de lote", "lot", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "my batch no", "lot", COLUMN_NAMES_LIKELY},
        {RECORD_LOTS, "Batches", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "Lot code", "lot", COLUMN_NAMES_SURE}, /* and of a product, perhaps */
        {RECORD_LOTS, "my lot code", "lot", COLUMN_NAMES_LIKELY},
        {RECORD_LOTS, "code my lot no", "lot", COLUMN_NAMES_LIKELY},
        {RECORD_LOTS, "band code", "product", COLUMN_NAMES_LIKELY}, /* as long: the first */
        {RECORD_LOTS, "code band", "product", COLUMN_NAMES_LIKELY},
        {RECORD_LOTS, "my band", "line", COLUMN_NAMES_LIKELY},
        {RECORD_LOTS, "my sku", NULL, COLUMN_NAMES_NONE}, /* three letters are too few */
        {RECORD_LOTS, "sku", "product", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "batch of ingredient", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "start time temp", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "my start time", "made_from", COLUMN_NAMES_LIKELY},
        {RECORD_MIXES, "my flour weight", "flour_kg", COLUMN_NAMES_LIKELY},
        {RECORD_MIXES, "my flour temp", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "rebatch no", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "Batch weight", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "material batch", NULL, COLUMN_NAMES_NONE},
        {RECORD_USES, "material batch", "material_lot", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "made_from", "made_from", COLUMN_NAMES_SURE},
        {RECORD_LOTS, "Flour", NULL, COLUMN_NAMES_NONE},
        {RECORD_LOTS, "pH", NULL, COLUMN_NAMES_NONE},
        {RECORD_READINGS, "pH", "crumb_ph", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "CoreTemp", "core_at_pack_c", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "core temp after bake", "core_end_bake_c", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "the core temp after bake today", "core_end_bake_c", COLUMN_NAMES_LIKELY},
        {RECORD_READINGS, "remark", "note", COLUMN_NAMES_SURE},
        {RECORD_READINGS, "-", NULL, COLUMN_NAMES_NONE},
    };
    static const struct {
        const char *heading;
        bool is;
    } DAYS[] = {{"Day", true},          {"Prod. Date", true}, {"datum", true}, {"Fecha", true},
                {"Day of week", false}, {"Days", false},      {"", false},     {"x day", false}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const char *ours = NULL;
        int sure = column_names_find(CASES[i].kind, CASES[i].heading, &ours);
        if (sure != CASES[i].sure || (sure && strcmp(ours, CASES[i].ours) != 0))
            fail_msg("%s: %s %d", CASES[i].heading, ours ? ours : "-", sure);
    }
    for (size_t i = 0; i < COUNT_OF(DAYS); i++)
        if (column_names_is_day(DAYS[i].heading) != DAYS[i].is)
            fail_msg("%s", DAYS[i].heading);
}

static void names_with_another_unit(void **state)
{
    static const struct {
        enum record_kind kind;
        const char *name, *unit, *ours;
    } CASES[] = {
        {RECORD_MIXES, "flour", "lb", "flour_kg"},
        {RECORD_MIXES, "flour", "degC", NULL},
        {RECORD_MIXES, "flou", "lb", NULL},
        {RECORD_MIXES, "flour_kg", "lb", NULL},
        {RECORD_MIXES, "core_at_pack", "degF", NULL},
        {RECORD_READINGS, "core_at_pack", "degF", "core_at_pack_c"},
        {RECORD_READINGS, "core_at_pack", "kg", NULL},
        {RECORD_READINGS, "core_at", "degF", NULL},
        {RECORD_DISPATCH, "transit", "degF", "transit_c"},
    };
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const char *ours = column_heading_own(CASES[i].kind, CASES[i].name, CASES[i].unit);
        if (strcmp(ours ? ours : "-", CASES[i].ours ? CASES[i].ours : "-") != 0)
            fail_msg("%s in %s: %s", CASES[i].name, CASES[i].unit, ours ? ours : "-");
    }
}

/* ---- targets of a map ---- */

#define FIFTEEN "123456789012345"

static void units_of_targets(void **state)
{
    static const struct {
        const char *text, *unit;
        size_t bare;
    } CASES[] = {
        {"core [degF]", "degF", 4}, {"core[degF]", "degF", 4}, {"core  [degF]  ", "degF", 4},
        {"core", NULL, 0},          {"core []", NULL, 0},      {"core [degF", NULL, 0},
        {"core [degF] x", NULL, 0}, {"[degF]", "degF", 0},     {"a [b] [kg]", "kg", 5}};
    char text[64], unit[COLUMN_UNIT];
    size_t bare;
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        const char *got = column_map_unit(CASES[i].text, unit, &bare);
        assert_int_equal(got != NULL, CASES[i].unit != NULL);
        if (got) {
            assert_string_equal(got, CASES[i].unit);
            assert_int_equal(bare, CASES[i].bare);
        }
    }
    for (size_t length = COLUMN_UNIT - 1; length <= COLUMN_UNIT; length++) {
        snprintf(text, sizeof text, "core [%.*s]", (int)length, FIFTEEN FIFTEEN FIFTEEN);
        assert_int_equal(column_map_unit(text, unit, &bare) != NULL, length < COLUMN_UNIT);
    }
}

static void targets(void **state)
{
    static const struct {
        int kind;
        const char *text, *name, *unit; /* name NULL: refused */
        enum column_type type;
    } CASES[] = {
        {RECORD_LOTS, "lot", "lot", "", COLUMN_TEXT},
        {RECORD_LOTS, "made_from", "made_from", "", COLUMN_TIME},
        {RECORD_LOTS, "code_date", "code_date", "", COLUMN_DAY},
        {RECORD_LOTS, "units", "units", "", COLUMN_NUMBER},
        {RECORD_LOTS, "fold", NULL, "", COLUMN_TEXT},
        {RECORD_LOTS, "lot [kg]", NULL, "", COLUMN_TEXT},
        {RECORD_LOTS, "nothing", NULL, "", COLUMN_TEXT},
        {RECORD_MIXES, "flour_kg", "flour_kg", "", COLUMN_NUMBER},
        {RECORD_MIXES, "flour [lb]", "flour", "lb", COLUMN_NUMBER},
        {RECORD_MIXES, "flour [qq]", NULL, "", COLUMN_NUMBER},
        {RECORD_MIXES, "flour", NULL, "", COLUMN_NUMBER},
        {RECORD_MIXES, "flou [lb]", NULL, "", COLUMN_NUMBER},
        {RECORD_READINGS, "value", "value", "", COLUMN_NUMBER},
        {RECORD_READINGS, "any_of_theirs", "any_of_theirs", "", COLUMN_NUMBER},
        {COLUMN_COMPLAINTS, "measured.crumb_ph", "measured.crumb_ph", "", COLUMN_NUMBER},
        {COLUMN_COMPLAINTS, "measured.", NULL, "", COLUMN_NUMBER},
        {COLUMN_COMPLAINTS, "nothing", NULL, "", COLUMN_NUMBER},
        {COLUMN_COMPLAINTS, "lot", "lot_text", "", COLUMN_TEXT},
        {COLUMN_COMPLAINTS, "bought", "bought_on", "", COLUMN_DAY},
        {-1, "whatever", "", "", COLUMN_TEXT},
    };
    struct column_target target;
    struct column_part part = {0};
    struct error err = {0};
    char text[COLUMN_NAME + 2];
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        part.kind = CASES[i].kind;
        int rc = column_map_target(&part, NULL, CASES[i].text, &target, &err);
        if ((rc == 0) != (CASES[i].name != NULL) ||
            (rc == 0 && (strcmp(target.name, CASES[i].name) != 0 ||
                         strcmp(target.unit, CASES[i].unit) != 0 || target.type != CASES[i].type)))
            fail_msg("%s of %d: %d '%s' '%s' %d %s", CASES[i].text, CASES[i].kind, rc, target.name,
                     target.unit, target.type, err.text);
        err = (struct error){0};
    }
    part.kind = RECORD_READINGS;
    for (size_t length = COLUMN_NAME - 1; length <= COLUMN_NAME; length++) {
        memset(text, 'q', sizeof text);
        text[length] = '\0';
        assert_int_equal(column_map_target(&part, NULL, text, &target, &err) == 0,
                         length < COLUMN_NAME);
    }
}

/* ---- lines of text ---- */

static void separators(void **state)
{
    static const struct {
        const char *line;
        char separator;
    } CASES[] = {{"a,b", ','},
                 {"a;b", ';'},
                 {"a\tb", '\t'},
                 {"a", ','},
                 {"", ','},
                 {"a,b;c;d", ';'},
                 {"a,b;c", ','},
                 {"a;b,c\td\te", '\t'},
                 {"\"a;b;c\",d", ','},
                 {"a,b\nc;d;e", ','},
                 {"a;b\tc", ';'}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++)
        assert_int_equal(csv_rows_separator(CASES[i].line, strlen(CASES[i].line)),
                         CASES[i].separator);
}

struct counted {
    size_t fields;
    char last[8];
    int rows;
};

static void on_row(void *arg, long line, struct csv_field *fields, size_t count)
{
    struct counted *counted = arg;
    size_t kept = count < CSV_ROWS_FIELDS ? count : CSV_ROWS_FIELDS;
    counted->rows++;
    counted->fields = count;
    assert_int_equal(line, counted->rows);
    snprintf(counted->last, sizeof counted->last, "%s", fields[kept - 1].text);
    assert_int_equal(strlen(counted->last), fields[kept - 1].length);
}

static void on_refused(void *arg, long line, const char *reason)
{
    (void)arg, (void)line;
    fail_msg("%s", reason);
}

/* As many fields as there is room for, and more, which are counted; with quotes and without. */
static void more_fields_than_there_is_room_for(void **state)
{
    struct counted counted = {0};
    struct csv_rows *rows =
        csv_rows_new(&(struct csv_rows_sink){on_row, on_refused, &counted}, ';');
    (void)state;
    for (size_t more = 0; more < 3; more++) {
        for (int quoted = 0; quoted < 2; quoted++) {
            struct text_buffer line = {0};
            size_t count = CSV_ROWS_FIELDS - 1 + more;
            for (size_t i = 1; i <= count; i++)
                text_appendf(&line, "%s%s%zu%s", i > 1 ? ";" : "", quoted ? "\"" : "", i,
                             quoted ? "\"" : "");
            csv_rows_line(rows, line.data, line.length, counted.rows + 1);
            assert_int_equal(counted.fields, count);
            assert_int_equal(strtol(counted.last, NULL, 10),
                             count < CSV_ROWS_FIELDS ? count : CSV_ROWS_FIELDS);
            text_buffer_free(&line);
        }
    }
    assert_int_equal(counted.rows, 6);
    csv_rows_finish(rows);
    csv_rows_free(rows);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers),
        cmocka_unit_test(forms_of_dates),
        cmocka_unit_test(dates),
        cmocka_unit_test(headings),
        cmocka_unit_test(names),
        cmocka_unit_test(names_with_another_unit),
        cmocka_unit_test(units_of_targets),
        cmocka_unit_test(targets),
        cmocka_unit_test(separators),
        cmocka_unit_test(more_fields_than_there_is_room_for),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
