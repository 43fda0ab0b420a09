/* What was said of a complaint is corrected and taken back, and every change is on record. */
#include "desk/apart.h"
#include "fixture.h"
#include "store/contact.h"
#include "store/hold.h"
#include "store/outbox.h"
#include "store/verdict.h"

#define CHANGES                                                                                    \
    "SELECT count(*) FROM complaint_change WHERE field NOT IN ('lot','lot_state','case')"
#define URGENT "SELECT count(*) FROM outbox WHERE event = 'urgent'"

static const char *text_of(const json_t *list, size_t at, const char *name)
{
    const char *text = json_string_value(json_object_get(json_array_get(list, at), name));
    return text ? text : "";
}

static void what_is_corrected_is_on_record_with_what_it_was(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{'packs':1}");
    assert_int_equal(
        fixture_correct(f, FIRST, "{'packs':3,'observed.colour':'blue-green'}", &c, NULL), 0);
    assert_int_equal(json_array_size(c.changed), 2);
    assert_int_equal(fixture_number(f, CHANGES " AND by_name = 'ivo' AND reason <> ''"), 2);
    assert_int_equal(fixture_number(f, CHANGES " AND field = 'packs' AND was = '1' AND now = '3'"),
                     1);
    assert_int_equal(fixture_number(f, "SELECT packs FROM complaint"), 3);
    fixture_corrected_clear(&c);
}

/* Asked, and nobody was hurt: another thing than not asked. */
static void that_nobody_was_hurt_is_an_answer(void **state)
{
    static const char NONE[] = "SELECT json_extract(body, '$.harm') = '[]' FROM complaint";
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{}");
    for (int round = 0; round < 2; round++) {
        assert_int_equal(fixture_correct(f, FIRST, "{'harm':[]}", &c, NULL), 0);
        assert_int_equal(json_array_size(c.changed), round ? 0 : 1);
        assert_int_equal(fixture_number(f, NONE), 1);
        fixture_corrected_clear(&c);
    }
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'green on the crust'}", &c, NULL), 0);
    assert_int_equal(fixture_number(f, NONE), 1);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_correct(f, FIRST, "{'harm':null}", &c, NULL), 0);
    assert_int_equal(fixture_number(f, "SELECT body LIKE '%\"harm\"%' FROM complaint"), 0);
    fixture_corrected_clear(&c);
}

static void what_it_said_before_is_no_change(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{'packs':2}");
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':2,'symptom':'mold'}", &c, NULL), 0);
    assert_int_equal(json_array_size(c.changed), 0);
    assert_true(c.placed.again);
    assert_int_equal(fixture_number(f, CHANGES), 0);
    fixture_corrected_clear(&c);
}

static void all_that_is_wrong_is_named_and_nothing_is_written(void **state)
{
    static const char *const FIELDS[] = {"id", "shoe_size", "packs"};
    struct fixture *f = *state;
    struct correcting c;
    struct error err = {0};
    fixture_log(f, FIRST, "{'packs':2}");
    assert_int_equal(
        fixture_correct(f, FIRST, "{'id':'x','shoe_size':9,'packs':-4,'store':'12'}", &c, &err),
        ERROR_INVALID);
    assert_int_equal(json_array_size(c.faults), COUNT_OF(FIELDS));
    for (size_t i = 0; i < COUNT_OF(FIELDS); i++)
        assert_string_equal(text_of(c.faults, i, "field"), FIELDS[i]);
    assert_int_equal(fixture_number(f, CHANGES), 0);
    assert_int_equal(fixture_number(f, "SELECT packs FROM complaint"), 2);
    fixture_corrected_clear(&c);
}

/* Beside another that is refused the writer undoes a job and runs it again. */
static void a_job_that_runs_again_answers_as_at_first(void **state)
{
    struct fixture *f = *state;
    json_t *fields = fixture_json("{'packs':-4,'shoe_size':9}");
    struct correcting c = {.uuid = FIRST, .why = {"ivo", "", f->now_ms}, .fields = fields};
    fixture_log(f, FIRST, "{'harm':['illness'],'note':'sour'}");
    for (int run = 0; run < 2; run++) {
        fixture_begin(f);
        assert_int_equal(correcting_apply(&f->desk, f->store, &c, NULL), ERROR_INVALID);
        fixture_end(f, false);
        assert_int_equal(json_array_size(c.faults), 2);
    }
    json_decref(fields);
    c.fields = fields = fixture_json("{'note':'blue spots'}");
    for (int run = 0; run < 2; run++) {
        fixture_begin(f);
        assert_int_equal(correcting_apply(&f->desk, f->store, &c, NULL), 0);
        fixture_end(f, false);
        assert_int_equal(json_array_size(c.faults), 0);
        assert_int_equal(json_array_size(c.harm), 1);
    }
    json_decref(fields);
    fixture_corrected_clear(&c);
}

static void none_of_that_id_is_not_found(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':2}", &c, NULL), ERROR_NOT_FOUND);
    fixture_corrected_clear(&c);
}

static void another_code_moves_it_to_the_other_lots_case(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{}");
    fixture_log(f, SECOND, "{'lot_text':'L2 6318 A0400'}");
    assert_int_equal(fixture_number(f, "SELECT count(DISTINCT case_id) FROM complaint"), 2);
    assert_int_equal(fixture_correct(f, FIRST, "{'lot_text':'L2 6318 A0400'}", &c, NULL), 0);
    assert_int_equal(c.placed.lot_id, 2);
    assert_int_equal(fixture_number(f, "SELECT count(DISTINCT case_id) FROM complaint"), 1);
    fixture_corrected_clear(&c);
}

static void a_note_is_read_again_and_what_was_said_besides_stays(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST,
                "{'note':'blue spots on the crust, it smelled sour','observed':{'bag':'torn'}}");
    assert_int_equal(fixture_number(f, "SELECT body LIKE '%\"odor\"%' FROM complaint"), 1);
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'blue spots on the crust'}", &c, NULL), 0);
    assert_int_equal(fixture_number(f, "SELECT body LIKE '%\"odor\"%' FROM complaint"), 0);
    assert_int_equal(fixture_number(f, "SELECT body LIKE '%\"torn\"%' FROM complaint"), 1);
    fixture_corrected_clear(&c);
}

/* The note gave the odor; since then it was taken off and put back by somebody. */
static void what_somebody_said_since_outlives_the_note(void **state)
{
    static const char HAS_ODOR[] = "SELECT body LIKE '%\"odor\"%' FROM complaint";
    static const char *const SAID[] = {"{'observed.odor':null}", "{'observed.odor':['sour']}"};
    struct fixture *f = *state;
    struct correcting c;
    int64_t now_ms = f->now_ms;
    fixture_log(f, FIRST, "{'note':'blue spots on the crust, it smelled sour'}");
    for (size_t i = 0; i < COUNT_OF(SAID); i++, f->now_ms += 1000) {
        assert_int_equal(fixture_correct(f, FIRST, SAID[i], &c, NULL), 0);
        assert_int_equal(fixture_number(f, HAS_ODOR), i == 1);
        fixture_corrected_clear(&c);
    }
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'blue spots on the crust'}", &c, NULL), 0);
    assert_int_equal(fixture_number(f, HAS_ODOR), 1);
    fixture_corrected_clear(&c);
    f->now_ms = now_ms;
}

/* What a note that was corrected gave is the note's still. */
static void what_a_corrected_note_gave_goes_with_it(void **state)
{
    static const char HAS_ODOR[] = "SELECT body LIKE '%\"odor\"%' FROM complaint";
    struct fixture *f = *state;
    struct correcting c;
    int64_t now_ms = f->now_ms;
    fixture_log(f, FIRST, "{'note':'blue spots on the crust'}");
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'blue spots, it smelled sour'}", &c, NULL),
                     0);
    assert_int_equal(fixture_number(f, HAS_ODOR), 1);
    fixture_corrected_clear(&c);
    f->now_ms += 1000;
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'blue spots on the crust'}", &c, NULL), 0);
    assert_int_equal(fixture_number(f, HAS_ODOR), 0);
    fixture_corrected_clear(&c);
    f->now_ms = now_ms;
}

static void harm_that_a_correction_brings_goes_to_the_urgent_address_once(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{}");
    assert_int_equal(fixture_number(f, URGENT), 0);
    assert_int_equal(
        fixture_correct(f, FIRST, "{'note':'my son ate it and was in hospital'}", &c, NULL), 0);
    assert_true(c.harm_came);
    assert_true(json_array_size(c.harm) > 0 || c.harm_possible);
    assert_int_equal(fixture_number(f, URGENT), 1);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':2}", &c, NULL), 0);
    assert_false(c.harm_came);
    assert_int_equal(fixture_number(f, URGENT), 1);
    fixture_corrected_clear(&c);
}

static void harm_that_is_taken_back_is_told_too(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{'harm':['illness']}");
    assert_int_equal(fixture_number(f, URGENT), 1);
    assert_int_equal(fixture_correct(f, FIRST, "{'harm':null}", &c, NULL), 0);
    assert_false(c.harm_came);
    assert_int_equal(fixture_number(f, URGENT ""), 2);
    fixture_corrected_clear(&c);
}

static void write_beside(struct fixture *f, bool result, const char *text)
{
    char sql[700];
    struct error err = {0};
    const char *insert =
        result ? "INSERT INTO measured(lot_id, quantity, lab, sample, said, value, unit, method, "
                 "note, at_ms, case_id, by_name, logged_ms) SELECT 1, 'salmonella', 'Northgate', "
                 "'26-1', says, NULL, '', '', '', 1, NULL, 'Rafa', at"
               : "INSERT INTO follow_entry(case_id, at_ms, what, report, was, now, text, by_name, "
                 "by_user) SELECT (SELECT max(id) FROM complaint_case), at, 'noted', '', '', '', "
                 "says, 'm', ''";
    snprintf(sql, sizeof sql, "%s FROM (SELECT '%s' AS says, %lld AS at) AS written", insert, text,
             (long long)f->now_ms);
    if (db_exec(f->store, sql, &err))
        fail_msg("%s", err.text);
}

/* A clerk's "nobody was hurt" answers the complaint, not the laboratory. */
static void what_a_laboratory_found_is_not_answered_by_a_correction(void **state)
{
    static const char QUOTED[] = "SELECT count(*) FROM outbox_text WHERE payload LIKE "
                                 "'%\"taken_back\"%' AND payload LIKE '%no harm; what was written "
                                 "beside it says so all the same: \\\"%'";
    static const struct {
        bool result;
        const char *text;
        int mails;
    } ROWS[] = {{true, "positive", 1},
                {true, "presumptive positive", 1},
                {true, "absent/25 g", 0},
                {false, "rang back: her daughter vomited all night", 1},
                {false, "told her that a doctor has to see the burns", 0},
                {false, "rang back: the tray is here", 0}};
    struct fixture *f = *state;
    struct correcting c;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        for (int withdrawn = 0; withdrawn < 2; withdrawn++) {
            fixture_begin(f);
            fixture_log(f, FIRST, "{'note':'the doctor has to see the burns'}");
            write_beside(f, ROWS[i].result, ROWS[i].text);
            int64_t before = fixture_number(f, URGENT);
            if (withdrawn)
                c = (struct correcting){.uuid = FIRST, .why = {"ivo", "typed twice", f->now_ms}};
            assert_int_equal(withdrawn ? correcting_withdraw(&f->desk, f->store, &c, false, NULL)
                                       : fixture_correct(f, FIRST, "{'harm':[]}", &c, NULL),
                             0);
            if (fixture_number(f, URGENT) != before + ROWS[i].mails)
                fail_msg("%s: %d mails", ROWS[i].text, (int)(fixture_number(f, URGENT) - before));
            if (!withdrawn)
                assert_int_equal(fixture_number(f, QUOTED), ROWS[i].mails);
            fixture_corrected_clear(&c);
            fixture_end(f, false);
        }
}

static void contact_data_are_on_record_as_changed_and_never_told(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{'note':'moldy on the third day'}");
    assert_int_equal(fixture_correct(f, FIRST,
                                     "{'contact/name':'Ada Marsh','contact/phone':'555-010-2233',"
                                     "'note':'Ada Marsh says it was moldy'}",
                                     &c, NULL),
                     0);
    assert_int_equal(fixture_number(f, CHANGES), 3);
    assert_int_equal(fixture_number(f, CHANGES " AND (was || now || reason) LIKE '%Marsh%'"), 0);
    assert_int_equal(fixture_number(f, CHANGES " AND now LIKE '%2233%'"), 0);
    assert_int_equal(fixture_number(f, "SELECT body LIKE '%Marsh%' FROM complaint"), 0);
    fixture_corrected_clear(&c);
}

static int64_t kept_with_name(struct fixture *f)
{
    return fixture_number(f, "SELECT count(*) FROM outbox_text WHERE payload LIKE '%Marsh%'");
}

/* A note of an action that a digest quotes, which has not left. */
static void a_name_that_becomes_known_leaves_a_waiting_digest(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    static const char PAYLOAD[] = "{\"event\":\"digest\",\"week\":{\"actions\":"
                                  "[{\"note\":\"Ada Marsh was right: the fan is mended\"}]}}";
    const struct outbox_new digest = {
        .event = "digest", .message_id = "w", .payload = PAYLOAD, .created_ms = f->now_ms};
    fixture_begin(f);
    assert_int_equal(outbox_add(f->store, &digest, NULL), 0);
    fixture_end(f, true);
    fixture_log(f, FIRST, "{}");
    assert_int_equal(kept_with_name(f), 1);
    assert_int_equal(fixture_correct(f, FIRST, "{'contact/name':'Ada Marsh'}", &c, NULL), 0);
    fixture_corrected_clear(&c);
    assert_int_equal(kept_with_name(f), 0);
}

static int withdraw(struct fixture *f, const char *uuid, bool undo, struct correcting *c)
{
    *c = (struct correcting){.uuid = uuid, .why = {"ivo", "sent by mistake", f->now_ms + 60000}};
    fixture_begin(f);
    int rc = correcting_withdraw(&f->desk, f->store, c, undo, NULL);
    fixture_end(f, rc == 0);
    return rc;
}

/* Written before anybody knew that Quernstone is who called; then known, then erased. */
static void what_the_plant_wrote_of_a_caller_goes_too(void **state)
{
    static const char WRITTEN[] =
        "INSERT INTO measured(id, lot_id, quantity, lab, sample, said, value, unit, method, note,"
        " at_ms, case_id, by_name, logged_ms) VALUES(1, 1, 'crumb_ph', 'Quernstone lab',"
        " 'Quernstone 1', '5.6', 5.6, 'pH', 'as Quernstone said', 'from Ida Quernstone', 1, 1, 'm',"
        " 1);"
        "INSERT INTO follow_entry(case_id, at_ms, what, report, was, now, text, by_name, by_user)"
        " VALUES(1, 1, 'noted', '', '', '', 'rang Quernstone', 'm', '');"
        "INSERT INTO attached_file(id, sha256, data) VALUES(1, 'x', x'00');"
        "INSERT INTO attached(case_id, file_id, sha256, name, type, bytes, by_name, by_user, at_ms)"
        " VALUES(1, 1, 'x', 'Quernstone.jpg', 'image/jpeg', 1, 'm', '', 1)";
    static const char LEFT[] =
        "SELECT (SELECT count(*) FROM measured WHERE lab || sample || method || note LIKE"
        " '%quernstone%') + (SELECT count(*) FROM follow_entry WHERE text LIKE '%quernstone%')"
        " + (SELECT count(*) FROM attached WHERE name LIKE '%quernstone%')"
        " + (SELECT count(*) FROM contact WHERE body LIKE '%quernstone%')";
    struct fixture *f = *state;
    struct correcting c;
    int erased = 0;
    fixture_log(f, FIRST, "{}");
    fixture_begin(f);
    struct error err = {0};
    if (db_exec(f->store, WRITTEN, &err))
        fail_msg("%s", err.text);
    fixture_end(f, true);
    assert_int_equal(fixture_number(f, LEFT), 3);
    assert_int_equal(fixture_correct(f, FIRST, "{'contact.name':'Ida Quernstone'}", &c, NULL), 0);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, LEFT), 1); /* the contact's own */
    fixture_begin(f);
    assert_int_equal(contact_erase(f->store, "ida quernstone", f->now_ms, &erased, NULL), 0);
    fixture_end(f, true);
    assert_int_equal(erased, 1);
    assert_int_equal(fixture_number(f, LEFT), 0);
}

/* By who called with a name from the first: what was written and mailed before, and until the lot
 * is on record what is held by its code. */
static void what_was_written_before_a_named_caller_is_masked(void **state)
{
    static const char WRITTEN[] =
        "INSERT INTO hold(lot_id, code, fold, reason, by_name, at_ms) VALUES(1, 'L1 6318 A0400',"
        " 'L16318A0400', 'as Tilda Froese told', 'm', 1), (NULL, 'L1 6319 A0400', 'L16319A0400',"
        " 'as Tilda Froese told', 'm', 1), (2, 'L2 6318 A0400', 'L26318A0400', 'Froese of the"
        " other line', 'm', 1);"
        "INSERT INTO verdict(case_id, cause, confirmed_by, note, by_name, at_ms, revision)"
        " VALUES(1, 'packed-hot', 'judgement', 'Froese brought it', 'm', 1, 1);"
        "INSERT INTO outbox(id, event, case_id, message_id, created_ms) VALUES(901, 'case',"
        " 1, '<901@x>', 1); INSERT INTO outbox_text(mail_id, payload) VALUES(901,"
        " '{\"note\": \"Froese brought it\"}')";
    static const char LEFT[] = "SELECT (SELECT count(*) FROM hold WHERE reason LIKE '%froese%')"
                               " + (SELECT count(*) FROM verdict WHERE note LIKE '%froese%')"
                               " + (SELECT count(*) FROM outbox_text WHERE payload LIKE"
                               " '%froese%')";
    static const char NAMED[] = "'contact':{'name':'Tilda Froese'}";
    struct fixture *f = *state;
    char more[120];
    struct error err = {0};
    fixture_log(f, FIRST, "{}");
    fixture_begin(f);
    if (db_exec(f->store, WRITTEN, &err))
        fail_msg("%s", err.text);
    fixture_end(f, true);
    assert_int_equal(fixture_number(f, LEFT), 5);
    snprintf(more, sizeof more, "{%s}", NAMED);
    fixture_log(f, SECOND, more);
    assert_int_equal(fixture_number(f, LEFT), 2);
    snprintf(more, sizeof more, "{%s,'lot_text':'L1 6319 A0400'}", NAMED);
    fixture_log(f, "01990000-0000-7000-8000-000000000003", more);
    assert_int_equal(fixture_number(f, LEFT), 1); /* of another line */
}

/* Who called about a code that no lot on record bears is in nobody's reason, told before or after
 * the call. */
static void a_hold_of_an_unknown_code_names_no_caller(void **state)
{
    static const char LEFT[] = "SELECT count(*) FROM hold WHERE reason LIKE '%Froese%'";
    static const char *const SAID[] = {"L2 6320 B0410", "on the bag: l2-6320 B0410"};
    struct fixture *f = *state;
    struct hold_of of = {.code = "L2 6320 B0410"}, other = {.code = "L2 6321 B0410"};
    const struct hold_entry entry = {
        .reason = "Tilda Froese rang", .by_name = "ivo", .user = "ivo", .at_ms = f->now_ms};
    const struct apart_about about = {.code = of.code}, of_other = {.code = other.code};
    const struct apart_from from = {&f->desk, f->store};
    struct error err = {0};
    bool stood;
    for (size_t i = 0; i < COUNT_OF(SAID); i++) {
        char more[160];
        fixture_begin(f);
        if (hold_add(f->store, &of, &entry, &stood, &err) ||
            hold_add(f->store, &other, &entry, &stood, &err))
            fail_msg("%s", err.text);
        fixture_end(f, true);
        snprintf(more, sizeof more, "{'lot_text':'%s','contact':{'name':'Tilda Froese'}}", SAID[i]);
        fixture_log(f, i ? SECOND : FIRST, more);
        assert_int_equal(fixture_number(f, LEFT), 1); /* of the other */
        char *kept = apart_written(&from, "Froese rang again", &about);
        assert_string_equal(kept, "[name] rang again");
        free(kept);
        kept = apart_written(&from, "Froese rang again", &of_other);
        assert_string_equal(kept, "Froese rang again");
        free(kept);
    }
}

/* An action is about no case. */
static void an_action_names_no_caller(void **state)
{
    static const struct {
        const char *line, *text, *kept;
    } ROWS[] = {
        {"1", "as Froese's sister asked", "as [name]'s sister asked"},
        {"2", "as Froese asked", "as Froese asked"}, /* a fitter may be called so, too */
    };
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'contact':{'name':'Tilda Froese'}}");
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char *kept = apart_written_of(&(struct apart_from){&f->desk, f->store}, ROWS[i].text,
                                      ROWS[i].line, "");
        assert_string_equal(kept, ROWS[i].kept);
        free(kept);
    }
}

/* Its digits are no phone number, whatever they are written beside. */
static void the_plants_codes_are_left_in_what_it_writes(void **state)
{
    static const struct {
        const char *text, *kept;
    } ROWS[] = {
        {"same as A-26322-02 and (A-26324-02).", "same as A-26322-02 and (A-26324-02)."},
        {"as in 2632455, on record", "as in 2632455, on record"},
        {"call 2632455", "call [phone]"},
        {"as in L1 6290A0412, 6075550142", "as in L1 6290A0412, [phone]"}, /* of a pattern */
        {"as in K1 6290-0412", "as in K1 [phone]"},
        {"purchase order 4500123456", "purchase order 4500123456"},
        {"to order 6075550142", "to order [phone]"},
        {"6075550142", "[phone]"},
    };
    struct fixture *f = *state;
    const struct apart_about about = {0};
    struct error err = {0};
    if (db_exec(f->store,
                "INSERT INTO lot SELECT id + 10, CASE id WHEN 1 THEN 'A-26322-02' ELSE '2632455' "
                "END, CASE id WHEN 1 THEN 'A2632202' ELSE '2632455' END, plant, product_id, line, "
                "shift, made_from_ms, made_to_ms, packed_from_ms, packed_to_ms, units, code_day "
                "FROM lot;"
                "INSERT INTO lot SELECT 13, 'A-26324-02', 'A2632402', plant, product_id, line, "
                "shift, made_from_ms, made_to_ms, packed_from_ms, packed_to_ms, units, code_day "
                "FROM lot WHERE id = 1",
                &err))
        fail_msg("%s", err.text);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char *kept = apart_written(&(struct apart_from){&f->desk, f->store}, ROWS[i].text, &about);
        assert_string_equal(kept, ROWS[i].kept);
        free(kept);
    }
}

static void what_is_withdrawn_counts_nowhere_until_it_is_brought_back(void **state)
{
    static const char COUNTED[] = "SELECT total(complaints) FROM complaint_case";
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{}");
    assert_int_equal(withdraw(f, FIRST, false, &c), 0);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, COUNTED), 0);
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':2}", &c, NULL), ERROR_CONFLICT);
    fixture_corrected_clear(&c);
    assert_int_equal(withdraw(f, FIRST, false, &c), 0); /* again: it was so before */
    assert_true(c.placed.again);
    fixture_corrected_clear(&c);
    assert_int_equal(withdraw(f, FIRST, true, &c), 0);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, COUNTED), 1);
    assert_int_equal(fixture_number(f, CHANGES " AND field = 'withdrawn'"), 2);
}

static void a_settled_case_keeps_its_last_complaint(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{}");
    const struct verdict_new verdict = {1, f->now_ms, "packed-hot", "assay", NULL, "ivo"};
    fixture_begin(f);
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    fixture_end(f, true);
    assert_int_equal(withdraw(f, FIRST, false, &c), ERROR_CONFLICT);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM complaint WHERE withdrawn_ms IS NULL"),
                     1);
}

#define ON_A_PLANT(test) cmocka_unit_test_setup_teardown(test, fixture_clean, fixture_cleaned)

int main(void)
{
    const struct CMUnitTest tests[] = {
        ON_A_PLANT(what_is_corrected_is_on_record_with_what_it_was),
        ON_A_PLANT(that_nobody_was_hurt_is_an_answer),
        ON_A_PLANT(what_it_said_before_is_no_change),
        ON_A_PLANT(all_that_is_wrong_is_named_and_nothing_is_written),
        ON_A_PLANT(a_job_that_runs_again_answers_as_at_first),
        ON_A_PLANT(none_of_that_id_is_not_found),
        ON_A_PLANT(another_code_moves_it_to_the_other_lots_case),
        ON_A_PLANT(a_note_is_read_again_and_what_was_said_besides_stays),
        ON_A_PLANT(what_somebody_said_since_outlives_the_note),
        ON_A_PLANT(what_a_corrected_note_gave_goes_with_it),
        ON_A_PLANT(harm_that_a_correction_brings_goes_to_the_urgent_address_once),
        ON_A_PLANT(harm_that_is_taken_back_is_told_too),
        ON_A_PLANT(what_a_laboratory_found_is_not_answered_by_a_correction),
        ON_A_PLANT(contact_data_are_on_record_as_changed_and_never_told),
        ON_A_PLANT(a_name_that_becomes_known_leaves_a_waiting_digest),
        ON_A_PLANT(what_the_plant_wrote_of_a_caller_goes_too),
        ON_A_PLANT(what_was_written_before_a_named_caller_is_masked),
        ON_A_PLANT(an_action_names_no_caller),
        ON_A_PLANT(a_hold_of_an_unknown_code_names_no_caller),
        ON_A_PLANT(the_plants_codes_are_left_in_what_it_writes),
        ON_A_PLANT(what_is_withdrawn_counts_nowhere_until_it_is_brought_back),
        ON_A_PLANT(a_settled_case_keeps_its_last_complaint),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
