/* What a complaint says and the records contradict, each with the day or name on record. */
#include "desk/doubts.h"
#include "fixture.h"

static void records(struct fixture *f)
{
    static const char SQL[] =
        "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g, gtin) "
        "VALUES(2,'R10','Mill Rye','pan-bread',12,500,NULL),(3,'W25','Mill "
        "White','pan-bread',8,500,"
        "NULL);INSERT INTO dispatch(lot_id, route, store, at_ms, units, transit_c) VALUES(1,'R1',"
        "'Ash Street',1794916800000,100,20),(2,'R2','Elm Street',1794916800000,100,20),"
        "(2,'R2','Elm Corner',1794916800000,100,20)";
    struct error err = {0};
    if (db_exec(f->store, SQL, &err))
        fail_msg("%s", err.text);
}

/* "found_on: before …\n" */
static char *told(const json_t *doubts)
{
    size_t i;
    const json_t *one;
    struct text_buffer all = {0};
    text_append(&all, "");
    json_array_foreach(doubts, i, one)
    {
        text_appendf(&all, "%s%s: %s", i ? "\n" : "",
                     json_string_value(json_object_get(one, "field")),
                     json_string_value(json_object_get(one, "says")));
    }
    return text_take(&all);
}

#define UNKNOWN "'lot_text':null,"
/* How many days that are is the models' (models/predict.h). */
#define SOON " lot L1 6318 A0400 was packed, on 2026-11-14: mold takes "

static void each_is_told_by_what_is_on_record(void **state)
{
    static const struct {
        const char *says, *doubts;
    } ROWS[] = {
        {"{}", ""},
        /* the lot was packed on 2026-11-14, from 4:00 on, best by 2026-11-24 */
        {"{'found_on':'2026-11-19'}", ""},
        {"{'found_on':'2026-11-13'}",
         "found_on: before lot L1 6318 A0400 was packed, on 2026-11-14"},
        {"{'bought_on':'2026-11-14'}", ""},
        {"{'bought_on':'2026-11-13'}",
         "bought_on: before lot L1 6318 A0400 was packed, on 2026-11-14"},
        {"{'received_at':'2026-11-14T03:59:59-05:00','symptom':'staling'}",
         "received_at: before lot L1 6318 A0400 was packed, at 2026-11-14T04:00:00-05:00"},
        {"{'received_at':'2026-11-14T04:00:00-05:00','symptom':'staling'}", ""},
        {"{'found_on':'2026-11-14'}", "found_on: the day" SOON},
        {"{'found_on':'2026-11-15'}", "found_on: the day after" SOON},
        {"{'found_on':'2026-11-16'}", ""},
        {"{'found_on':'2026-11-15','symptom':'staling'}", ""},
        {"{'received_at':'2026-11-15T09:00:00-05:00'}", "received_at: the day after" SOON},
        {"{'code_date':'2026-11-24'}", ""},
        {"{'code_date':'2026-11-25'}", "code_date: lot L1 6318 A0400 is best by 2026-11-24"},
        {"{'product':'W24'}", ""},
        {"{'product':'R10'}", "product: lot L1 6318 A0400 is W24"},
        {"{'product':'Q99'}", "product: no product of that code or name is on record; not used"},
        {"{'store':'Ash Street'}", ""},
        {"{'store':'Elm Street'}",
         "store: none of lot L1 6318 A0400 was sent there, by the records"},
        {"{'store':'Oak Street'}", "store: no dispatch on record went there; not used"},
        {"{'store':'Elm'}", "store: fits Elm Corner, Elm Street; not used"},
        {"{'route':'R1'}", ""},
        {"{'route':'R7'}", "route: no dispatch on record went there; not used"},
        {"{'plant':'Pell'}",
         "plant: is no plant: neither the settings nor a lot on record name it"},
        {"{" UNKNOWN "'received_at':'2026-08-16T05:00:00-04:00'}", ""},
        {"{" UNKNOWN "'received_at':'2026-08-16T04:59:59-04:00'}",
         "received_at: long before the plant's first lot on record"},
        /* no lot: a pack made on the day of the report is best by 2026-11-30 at the latest */
        {"{" UNKNOWN "'product':'W24','code_date':'2026-11-30'}", ""},
        {"{" UNKNOWN "'product':'W24','code_date':'2026-12-01'}",
         "code_date: later than a W24 made today is best by, 2026-11-30"},
        {"{" UNKNOWN "'product':'W24','code_date':'2026-11-20'}", ""},
        {"{" UNKNOWN "'product':'W24','code_date':'2026-11-19'}",
         "code_date: before the day of the report: old stock, or misread"},
        {"{" UNKNOWN "'code_date':'2026-12-01'}", ""},
        {"{" UNKNOWN "'product':'Mill'}", "product: fits R10 (Mill Rye), W24 (Mill Wheat), W25 "
                                          "(Mill White); lots of each are looked at"},
    };
    struct fixture *f = *state;
    records(f);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        struct taking t;
        fixture_begin(f);
        if (fixture_take(f, FIRST, ROWS[i].says, &t))
            fail_msg("%s: %s", ROWS[i].says, t.err.text);
        char *is = told(t.form->doubts);
        size_t length = strlen(ROWS[i].doubts);
        bool open_ended = length && ROWS[i].doubts[length - 1] == ' ';
        if (strncmp(is, ROWS[i].doubts, open_ended ? length : length + 1) != 0)
            fail_msg("%s:\n'%s', not\n'%s'\n", ROWS[i].says, is, ROWS[i].doubts);
        free(is);
        taking_clear(&t);
        fixture_end(f, false);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(each_is_told_by_what_is_on_record, fixture_clean,
                                        fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
