/* Whose a complaint is that no lot places: the plant's whose people took it, unless all lots that
 * it may be about are one other plant's, or it says another itself. */
#include "base/tz_of.h"
#include "desk/following.h"
#include "desk/passed_on.h"
#include "desk/told.h"
#include "fixture.h"
#include "lots/lot_rules.h"
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static void set_plants(struct fixture *f, const char *one, const char *two)
{
    char sql[160];
    snprintf(sql, sizeof sql,
             "UPDATE lot SET plant = '%s' WHERE id = 1; UPDATE lot SET plant = '%s' WHERE id = 2",
             one, two);
    assert_int_equal(db_exec(f->store, sql, NULL), 0);
}

static void whose_it_is_where_no_lot_tells(void **state)
{
    static const struct {
        const char *one, *two; /* whose the lots are */
        const char *of, *more, *whose, *from;
    } ROWS[] = {{"north", "south", "north", "{'lot_text':'?'}", "north", "who took it"},
                {"north", "south", NULL, "{'lot_text':'?'}", "", ""},
                {"north", "south", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"south", "south", "north", "{'lot_text':'L? 6318 A0400'}", "", ""},
                {"north", "north", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"", "", "north", "{'lot_text':'L? 6318 A0400'}", "north", "who took it"},
                {"south", "south", "north", "{}", "", ""}, /* its lot is known, and tells */
                {"north", "south", "north", "{'lot_text':'?','plant':'south'}", "south", ""},
                {"north", "south", "north", "{'lot_text':'?','plant':'nrth'}", "north",
                 "who took it; nrth is no plant"}};
    struct fixture *f = *state;
    json_t *plants = json_pack("{s:{}, s:{}}", "north", "south");
    f->desk.plants = plants;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *said = fixture_complaint("01990000-0000-7000-8000-000000000001", ROWS[i].more);
        struct taking t = {.user = "mira", .alone = true, .of_plant = ROWS[i].of};
        set_plants(f, ROWS[i].one, ROWS[i].two);
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        assert_non_null(t.form);
        const char *from = "";
        size_t k;
        json_t *taken;
        json_array_foreach(t.taken, k, taken)
        {
            if (strcmp(json_string_value(json_object_get(taken, "field")), "plant") == 0)
                from = json_string_value(json_object_get(taken, "from"));
        }
        if (strcmp(t.placing.plant, ROWS[i].whose) != 0 || strcmp(from, ROWS[i].from) != 0)
            fail_msg("row %zu: '%s' from '%s', %d lots", i, t.placing.plant, from,
                     t.placing.lots.count);
        const char *kept = json_string_value(json_object_get(t.form->body, "plant"));
        assert_string_equal(kept ? kept : "", ROWS[i].whose);
        taking_clear(&t);
        json_decref(said);
    }
    f->desk.plants = NULL;
    json_decref(plants);
}

/* Who took harm that is another plant's is mailed as well, but where that would be the same people;
 * of the lot the second mail tells nothing. */
static void harm_is_mailed_where_it_was_taken_as_well(void **state)
{
    static const char APART[] = "{'north':{'mail/urgent_to':['n@mill.example']},'south':{'mail/"
                                "urgent_to':['s@m.example']}}";
    static const char SAME[] = "{'north':{'mail/urgent_to':['n@mill.example']},'south':{'mail/"
                               "urgent_to':['n@mill.example']}}";
    /* whoever gets south's urgent mail is told, whichever list they stand in */
    static const char AMONG[] = "{'north':{'mail/to':['n@mill.example']},'south':{'mail/urgent_to':"
                                "['s@m.example','n@mill.example'],'mail/to':['x@m.example']}}";
    static const char OF_NORTH[] =
        "SELECT count(*) FROM outbox o JOIN outbox_text t ON t.mail_id = o.id WHERE o.case_id IS"
        " NULL AND json_extract(t.payload, '$.of_plant') = 'north' AND instr(t.payload, "
        "'\"of_plant_alone\":true') > 0"
        " AND json_extract(t.payload, '$.why') IS NULL AND json_extract(t.payload,"
        " '$.harm[0]') = 'illness' AND json_extract(t.payload, '$.lot') IS NULL AND"
        " json_extract(t.payload, '$.case') IS NULL AND json_extract(t.payload, '$.made') IS NULL";
    static const struct {
        const char *plants, *whose, *of;
        int mails, of_north;
    } ROWS[] = {{APART, "south", "north", 2, 1}, {APART, "north", "north", 1, 0},
                {SAME, "south", "north", 1, 0},  {AMONG, "south", "north", 1, 0},
                {AMONG, "north", "south", 2, 0}, {APART, "south", NULL, 1, 0},
                {APART, "south", "south", 1, 0}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *plants = fixture_json(ROWS[i].plants);
        json_t *said =
            fixture_complaint("01990000-0000-7000-8000-000000000004", "{'harm':['illness']}");
        struct taking t = {.user = "mira", .alone = true, .of_plant = ROWS[i].of};
        f->desk.plants = plants;
        fixture_begin(f);
        set_plants(f, ROWS[i].whose, ROWS[i].whose);
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        assert_int_equal(taking_log(&f->desk, f->store, f->now_ms, &t, NULL), 0);
        assert_int_equal(fixture_number(f, "SELECT count(*) FROM outbox"), ROWS[i].mails);
        assert_int_equal(fixture_number(f, OF_NORTH), ROWS[i].of_north);
        fixture_end(f, false);
        taking_clear(&t);
        json_decref(said);
        f->desk.plants = NULL;
        json_decref(plants);
    }
}

/* A report of 22:00 by the company's clock was of the next day by its plant's: whenever it is read
 * again, what was found a day later is no more in the future than when it was taken, and its lot
 * was packed by the plant's clock. */
static void its_days_are_its_plants_whenever_it_is_read(void **state)
{
    static const char ID[] = "01990000-0000-7000-8000-000000000002";
    static const char FOUND[] = "SELECT coalesce(found_day, 0) FROM complaint WHERE uuid ="
                                " '01990000-0000-7000-8000-000000000002'";
    const int32_t found = day_from_civil(2026, 11, 21);
    struct fixture *f = *state;
    struct error err = {0};
    struct tz *tz = NULL;
    struct correcting c;
    json_t *plants = json_pack("{s:{}}", "east");
    assert_int_equal(tz_open("America/New_York", &tz, &err), 0);
    assert_int_equal(tz_of_add(tz, "east", "Europe/Madrid", &err), 0);
    f->desk.plants = plants;
    f->desk.tz = tz;
    set_plants(f, "east", "east");
    fixture_log(f, ID,
                "{'plant':'east','received_at':'2026-11-19T22:00:00-05:00','found_on':"
                "'2026-11-21'}");
    assert_int_equal(fixture_number(f, FOUND), found);
    if (fixture_correct(f, ID, "{'packs':3}", &c, &err))
        fail_msg("%s", err.text);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, FOUND), found);
    json_t *lot = told_lot(f->store, f->desk.tz, 1);
    const char *packed = json_string_value(json_object_get(lot, "packed_from"));
    assert_non_null(packed);
    assert_string_equal(packed + strlen(packed) - strlen("+01:00"), "+01:00");
    json_decref(lot);
    const struct following_view view = {.now_ms = f->now_ms};
    json_t *follow = NULL;
    char today[16];
    assert_int_equal(following_json(&f->desk, f->store, 1, &view, &follow, &err), 0);
    assert_string_equal(json_string_value(json_object_get(follow, "today")),
                        day_format(tz_day(tz_of(tz, "east"), f->now_ms), today));
    json_decref(follow);
    f->desk.plants = NULL;
    f->desk.tz = f->tz;
    tz_close(tz);
    json_decref(plants);
}

/* The rules of lots, but that its codes are one plant's. */
static struct lot_matcher *codes_of(const char *plant)
{
    char file[] = "/tmp/oddloaf-codes-XXXXXX.json";
    struct lot_matcher *ret = NULL;
    int fd = mkstemps(file, 5);
    assert_true(fd >= 0);
    json_t *rules = json_load_file(ODDLOAF_SOURCE_DIR "/rules/lots.json", 0, NULL);
    json_object_set_new(json_array_get(json_object_get(rules, "plants"), 0), "plant",
                        json_string(plant));
    assert_int_equal(json_dumpfd(rules, fd, 0), 0);
    close(fd);
    assert_int_equal(lot_rules_load(file, NULL, NULL, &ret, NULL), 0);
    unlink(file);
    json_decref(rules);
    return ret;
}

/* Nobody says a plant, but its code does: 14:00 of 18 November at the desk is the 19th there. */
static void what_callers_say_of_days_goes_by_the_plant_of_the_code(void **state)
{
    static const struct {
        const char *note, *bought;
    } ROWS[] = {{"lo compre ayer", "2026-11-18"}, {"comprado hoy", "2026-11-19"}};
    struct fixture *f = *state;
    struct tz *tz = NULL;
    json_t *plants = json_pack("{s:{}}", "isle");
    struct lot_matcher *shipped = f->matcher;
    assert_int_equal(tz_open("America/Chicago", &tz, NULL), 0);
    assert_int_equal(tz_of_add(tz, "isle", "Pacific/Auckland", NULL), 0);
    f->desk.plants = plants;
    f->desk.tz = tz;
    f->desk.matcher = codes_of("isle");
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *said = fixture_complaint(
            "01990000-0000-7000-8000-000000000003",
            "{'lot_text':'L1 6320 A0400','received_at':'2026-11-18T14:00:00-06:00'}");
        json_object_set_new(said, "note", json_string(ROWS[i].note));
        json_object_del(said, "bought_on");
        struct taking t = {.user = "mira", .alone = true};
        taking_read(&f->desk, f->store, said, f->now_ms, &t);
        assert_non_null(t.form);
        const char *bought = json_string_value(json_object_get(t.form->body, "bought_on"));
        assert_non_null(bought);
        assert_string_equal(bought, ROWS[i].bought);
        taking_clear(&t);
        json_decref(said);
    }
    lot_rules_free((struct lot_matcher *)(uintptr_t)f->desk.matcher);
    f->desk.matcher = shipped;
    f->desk.plants = NULL;
    f->desk.tz = f->tz;
    tz_close(tz);
    json_decref(plants);
}

#define NONE(named, says)                                                                          \
    "\"lot\": null, \"lot_text\": null, \"lot_state\": \"unknown\", \"lot_named\": \"" named       \
    "\", \"lot_says\": \"" says "\", \"lot_decides\": [], \"lots\": [], \"when\": 1"

/* What is another plant's, and what nobody has read: no lot, no case where it is only asked of. */
static void what_is_said_of_what_is_anothers(void **state)
{
    static const struct {
        void (*say)(json_t *answer);
        const char *answer;
    } ROWS[] = {
        {passed_on_json, "{" NONE("another plant's", "another plant's: it was passed on to that "
                                                     "plant") ", \"case\": null, \"passed_on\": "
                                                              "true}"},
        {passed_on_lot, "{" NONE("another plant's", "another plant's: ask that plant's people, or "
                                                    "the company's") ", \"elsewhere\": true}"},
        {passed_on_unread,
         "{" NONE("not looked up", "the lot could not be looked up now") ", \"case\": null}"}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        json_t *answer = json_pack("{s:s, s:i, s:s}", "case", "C7", "when", 1, "lot", "L1");
        ROWS[i].say(answer);
        json_t *wanted = json_loads(ROWS[i].answer, 0, NULL);
        if (!json_equal(answer, wanted))
            fail_msg("%s", json_dumps(answer, JSON_COMPACT));
        json_decref(wanted);
        json_decref(answer);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(whose_it_is_where_no_lot_tells),
        cmocka_unit_test(harm_is_mailed_where_it_was_taken_as_well),
        cmocka_unit_test(its_days_are_its_plants_whenever_it_is_read),
        cmocka_unit_test(what_callers_say_of_days_goes_by_the_plant_of_the_code),
        cmocka_unit_test(what_is_said_of_what_is_anothers)};
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
