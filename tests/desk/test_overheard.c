/* Harm in what is written about a case beside its complaints. */
#include "desk/overheard.h"
#include "desk/overheard_file.h"
#include "fixture.h"
#include "store/verdict.h"

static const char URGENT[] = "SELECT count(*) FROM outbox WHERE event = 'urgent'";
static const char POSSIBLE[] =
    "SELECT count(*) FROM complaint WHERE json_extract(body, '$.harm_possible') = 1";

/* What it hears is cleared. */
static struct overheard hear(struct fixture *f, const char *text)
{
    struct error err = {0};
    struct overheard o = {.desk = &f->desk,
                          .case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                          .where = "a note of the case says so",
                          .why = {"jo", text, f->now_ms + 60000}};
    if (overheard_hear(f->store, &o, &err))
        fail_msg("%s", err.text);
    json_decref(o.harm);
    return o;
}

static void what_is_said_is_mailed_and_marked(void **state)
{
    static const struct {
        const char *text;
        bool possible;
    } ROWS[] = {{"caller phoned back: her daughter is in hospital, vomiting blood since", false},
                {"wants a call: her son was cut by glass in the loaf", false},
                {"told her that a doctor has to see the burns", true},
                {"metal splinters found in the sample", false},
                {"the caller's doctor says food poisoning", false}};
    struct fixture *f = *state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        fixture_begin(f);
        fixture_log(f, FIRST, "{}");
        assert_int_equal(fixture_number(f, URGENT), 0);
        struct overheard o = hear(f, ROWS[i].text);
        if (!o.harm || (o.possible && !ROWS[i].possible) || !o.mailed)
            fail_msg("%s: heard %d, possible %d", ROWS[i].text, o.harm != NULL, o.possible);
        assert_string_equal(o.complaint, FIRST);
        assert_int_equal(fixture_number(f, URGENT), 1);
        assert_int_equal(fixture_number(f, POSSIBLE), 1);
        fixture_end(f, false);
    }
}

static void what_the_case_tells_is_no_news(void **state)
{
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{'harm':['illness']}");
    assert_int_equal(fixture_number(f, URGENT), 1);
    struct overheard same = hear(f, "she vomited all night"), other = hear(f, "the tray is back"),
                     none = hear(f, "nobody got sick");
    assert_true(same.harm && !same.mailed && !other.harm && !none.harm);
    assert_int_equal(fixture_number(f, URGENT), 1);
    assert_null(hear(f, "told her that a doctor has to see the burns").harm);
    assert_true(hear(f, "her son was cut by glass in the loaf").mailed);
    assert_int_equal(fixture_number(f, POSSIBLE), 0);
}

/* News whatever the case tells; the same is told once, and what only hears it marks no complaint.
 */
static void gravity_is_news(void **state)
{
    static const char *const TEXTS[] = {"salmonella positive", "listeria monocytogenes detected",
                                        "two more customers in hospital, both vomiting",
                                        "she died of food poisoning",
                                        "ambulancia: vomito toda la noche, esta enferma"};
    struct fixture *f = *state;
    struct error err = {0};
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++) {
        fixture_begin(f);
        fixture_log(f, FIRST, "{'harm':['illness']}");
        struct overheard o = {.desk = &f->desk,
                              .case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                              .where = "a laboratory's result of the lot says so",
                              .why = {"jo", TEXTS[i], f->now_ms + 60000}};
        assert_int_equal(overheard_hear(f->store, &o, &err), 0);
        if (!o.harm || !o.mailed || o.gathered)
            fail_msg("%s: heard %d, mailed %d, gathered %d", TEXTS[i], o.harm != NULL, o.mailed,
                     o.gathered);
        json_t *told = overheard_json(f->store, &o, false);
        assert_non_null(json_object_get(told, "alarm"));
        assert_null(json_object_get(told, "script"));
        assert_null(json_object_get(told, "record")); /* illness is on record */
        json_decref(told);
        assert_int_equal(fixture_number(f, URGENT), 2);
        assert_int_equal(fixture_number(f, POSSIBLE), 0);
        o.told_before = true;
        assert_int_equal(overheard_hear(f->store, &o, &err), 0);
        assert_false(o.mailed);
        told = overheard_json(f->store, &o, true);
        assert_null(json_object_get(told, "alarm"));
        assert_non_null(json_object_get(told, "no_mail"));
        assert_non_null(json_object_get(told, "script"));
        json_decref(told);
        json_decref(o.harm);
        fixture_end(f, false);
    }
}

/* A later caller of the same case, who left no number and told of no harm, is not who is rung. */
static void it_is_about_who_reported_harm(void **state)
{
    static const struct {
        const char *first, *third; /* what they say beside their numbers */
        bool about_first;
    } ROWS[] = {
        {"{'harm':['injury'],'contact':{'phone':'555 0123'}}", "{'store':'C'}", true},
        {"{'note':'could it be that a child got sick from this','contact':{'phone':'555 0123'}}",
         "{'store':'C'}", true},
        {"{'contact':{'phone':'555 0123'}}", "{'store':'C'}", false},
    };
    static const char THIRD[] = "01990000-0000-7000-8000-000000000003";
    static const char TOLD[] = "SELECT count(*) FROM outbox_text WHERE payload LIKE"
                               " '%hospital%' AND payload LIKE '%\"contact\":true%'";
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        fixture_begin(f);
        fixture_log(f, FIRST, ROWS[i].first);
        fixture_log(f, SECOND, "{'received_at':'2026-11-20T10:00:00-05:00','store':'B'}");
        fixture_log(f, THIRD, ROWS[i].third);
        struct overheard o = hear(f, "rang the mother, child was taken to hospital");
        assert_true(o.mailed);
        assert_int_equal(strcmp(o.complaint, FIRST) == 0, ROWS[i].about_first);
        assert_int_equal(fixture_number(f, TOLD), ROWS[i].about_first ? 1 : 0);
        fixture_end(f, false);
    }
}

/* With what it tells: a correction sets all of it. */
static void what_is_to_be_put_on_record(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    fixture_log(f, FIRST, "{'harm':['foreign-matter','injury']}");
    struct overheard o = {.desk = &f->desk,
                          .case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                          .where = "the reason of a hold says so",
                          .why = {"jo", "a piece of metal in the loaf", f->now_ms + 60000}};
    assert_int_equal(overheard_hear(f->store, &o, &err), 0);
    assert_non_null(o.harm);
    json_t *told = overheard_json(f->store, &o, false);
    assert_null(json_object_get(told, "record"));
    json_decref(told);
    o.why.reason = "she vomited all night";
    assert_int_equal(overheard_hear(f->store, &o, &err), 0);
    told = overheard_json(f->store, &o, false);
    json_t *kinds = fixture_json("['foreign-matter','injury','illness']");
    assert_true(json_equal(json_object_get(told, "record"), kinds));
    json_decref(kinds);
    json_decref(told);
    json_decref(o.harm);
}

/* What the desk and QA write all day. */
static void work_is_no_harm(void **state)
{
    static const char *const TEXTS[] = {"ours after all",
                                        "another bakery's",
                                        "typed twice",
                                        "second sample",
                                        "not our product",
                                        "told the caller that the lot is held",
                                        "the caller meant another bread",
                                        "wrong lot",
                                        "retained sample is fine",
                                        "called back, nobody home",
                                        "two packs, not three"};
    struct fixture *f = *state;
    fixture_log(f, FIRST, "{}");
    for (size_t i = 0; i < sizeof TEXTS / sizeof TEXTS[0]; i++)
        if (hear(f, TEXTS[i]).harm)
            fail_msg("heard in: %s", TEXTS[i]);
}

/* Asked about as a caller's note is; a trade's words are not, nor the names in a result. */
static void what_is_in_a_language_that_is_not_read_may_be_harm(void **state)
{
    static const struct {
        const char *text, *sentences;
        bool may;
    } ROWS[] = {{"musteri aradi cocugu kusmus hastaneye goturmusler", NULL, true},
                {"\xD0\xB1\xD0\xBE\xD0\xBB\xD1\x8C\xD0\xBD\xD0\xB8\xD1\x86\xD0\xB0", NULL, true},
                {"Rang back.\nklient dzwonil corka zatrula sie chlebem", NULL, true},
                {"vinegar dosing pump primed", NULL, false},
                {"scale recalibrated, certificate filed", NULL, false},
                {"cladosporium herbarum aspergillus niger eurotium repens", "", false},
                {"cladosporium herbarum aspergillus niger eurotium repens", NULL, true}};
    struct fixture *f = *state;
    struct error err = {0};
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++) {
        fixture_begin(f);
        fixture_log(f, FIRST, "{}");
        struct overheard o = {.desk = &f->desk,
                              .case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                              .where = "a note of the case says so",
                              .why = {"jo", ROWS[i].text, f->now_ms + 60000},
                              .sentences = ROWS[i].sentences};
        assert_int_equal(overheard_hear(f->store, &o, &err), 0);
        if ((o.harm != NULL) != ROWS[i].may || o.mailed != ROWS[i].may || o.possible != ROWS[i].may)
            fail_msg("%s: heard %d", ROWS[i].text, o.harm != NULL);
        assert_int_equal(fixture_number(f, POSSIBLE), ROWS[i].may);
        json_decref(o.harm);
        fixture_end(f, false);
    }
}

static void reasons_are_heard(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    json_t *fields = fixture_json("{'packs':2}");
    struct correcting c = {.uuid = FIRST,
                           .why = {"ivo", "she vomited all night", f->now_ms + 60000},
                           .fields = fields};
    fixture_log(f, FIRST, "{}");
    assert_int_equal(correcting_apply(&f->desk, f->store, &c, &err), 0);
    assert_true(c.heard.harm && c.heard.mailed);
    assert_int_equal(fixture_number(f, POSSIBLE), 1);
    fixture_corrected_clear(&c);
    json_decref(fields);
    /* who read it says that it was none: no more than that */
    assert_int_equal(fixture_correct(f, FIRST, "{'harm':[]}", &c, &err), 0);
    assert_int_equal(fixture_number(f, POSSIBLE), 0);
    fixture_corrected_clear(&c);
    c = (struct correcting){.uuid = FIRST,
                            .why = {"ivo", "doctor says food poisoning", f->now_ms + 120000}};
    int64_t before = fixture_number(f, URGENT);
    assert_int_equal(correcting_withdraw(&f->desk, f->store, &c, false, &err), 0);
    assert_true(c.heard.harm && c.heard.mailed);
    assert_int_equal(fixture_number(f, URGENT), before + 1);
    fixture_corrected_clear(&c);
}

/* Of a lot that no case is about, and of a case that has no complaint left. */
static void what_no_complaint_tells_is_mailed(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    struct overheard o = {.desk = &f->desk,
                          .lot_id = 1,
                          .lot = "L1 6318 A0400",
                          .where = "a laboratory's result of the lot says so",
                          .why = {"jo", "metal splinters found in the sample", f->now_ms}};
    assert_int_equal(overheard_hear(f->store, &o, &err), 0);
    assert_true(o.harm && o.mailed && !*o.complaint);
    assert_int_equal(fixture_number(f, URGENT), 1);
    o.told_before = true;
    assert_int_equal(overheard_hear(f->store, &o, &err), 0);
    assert_true(o.harm && !o.mailed);
    json_decref(o.harm);
    assert_int_equal(fixture_number(f, URGENT), 1);
    struct correcting c = {.uuid = FIRST, .why = {"ivo", "typed twice", f->now_ms + 120000}};
    fixture_log(f, FIRST, "{}");
    assert_int_equal(correcting_withdraw(&f->desk, f->store, &c, false, &err), 0);
    fixture_corrected_clear(&c);
    assert_true(hear(f, "her daughter is in hospital, vomiting blood since").mailed);
    assert_int_equal(fixture_number(f, URGENT), 2);
}

/* No case says whose people are to be told: the lot does, or whoever wrote of a code on no record.
 */
static void what_no_case_tells_says_whose_it_is(void **state)
{
    static const char OF_QUARR[] =
        "SELECT count(*) FROM outbox_text WHERE payload LIKE '%\"of_plant\":\"Quarrhill\"%'";
    struct fixture *f = *state;
    struct error err = {0};
    assert_int_equal(db_exec(f->store, "UPDATE lot SET plant = 'Quarrhill' WHERE id = 1", &err), 0);
    for (int i = 0; i < 6; i++) {
        const bool known = i % 2;
        struct overheard o = {.desk = &f->desk,
                              .lot_id = known,
                              .lot = known ? "L1 6318 A0400" : "Q7 7777",
                              .plant = i % 3 ? "Quarrhill" : "",
                              .where = "the reason of a hold says so",
                              .why = {"jo", "metal splinters found in the sample", f->now_ms + i}};
        assert_int_equal(overheard_hear(f->store, &o, &err), 0);
        json_decref(o.harm);
    }
    /* three at once, then a mail for each that gathers: 1 to 2, 3 and 5, 4 */
    assert_int_equal(fixture_number(f, OF_QUARR), 2 + 1);
    assert_int_equal(fixture_number(f, URGENT), 3 + 1);
}

static void settle(struct fixture *f)
{
    struct error err = {0};
    const struct verdict_new verdict = {.case_id =
                                            fixture_number(f, "SELECT max(id) FROM complaint_case"),
                                        .at_ms = f->now_ms,
                                        .cause = "packed-hot",
                                        .confirmed_by = "assay",
                                        .by_name = "mira"};
    if (verdict_add(f->store, &verdict, &err))
        fail_msg("%s", err.text);
}

static void a_settled_case_is_open_again(void **state)
{
    static const char UNSEEN[] = "SELECT count(*) FROM complaint_case WHERE harm_unseen";
    struct fixture *f = *state;
    struct correcting c;
    struct error err = {0};
    fixture_log(f, FIRST, "{'harm':['illness']}");
    settle(f);
    assert_true(hear(f, "she vomited all night").mailed);
    assert_int_equal(fixture_number(f, UNSEEN), 1);
    fixture_end(f, false);
    fixture_begin(f);
    fixture_log(f, FIRST, "{}");
    settle(f);
    fixture_log(f, SECOND, "{'note':'the doctor has to see the burns'}");
    assert_int_equal(fixture_number(f, UNSEEN), 1);
    fixture_end(f, false);
    fixture_begin(f);
    fixture_log(f, FIRST, "{}");
    settle(f);
    assert_int_equal(fixture_correct(f, FIRST, "{'packs':3}", &c, &err), 0);
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, UNSEEN), 0);
}

/* A laboratory's report and a letter, long and in paragraphs. */
static void files_are_heard_by_their_paragraphs(void **state)
{
    static const char CLEAN[] =
        "Sample: white pan loaf, L1 6319\r\nForeign matter: none found\r\n"
        "Metal: not detected\r\nGlass: none\r\nMold count: 40 cfu/g\r\n\r\n";
    static const char LETTER[] =
        "Dear all,\nthe loaf was green.\n\nOur daughter vomited all night\n"
        "and is in hospital.\n\nShe vomited again.\n\n"
        "My son was cut by glass in the loaf.\n";
    struct fixture *f = *state;
    struct overheard_file file;
    struct text_buffer text = {0};
    for (int i = 0; i < 200; i++)
        text_append(&text, CLEAN);
    overheard_file_read(&f->desk, text.data, &file);
    if (file.harm)
        fail_msg("heard in: %s", file.quotes.data);
    text_append(&text, LETTER);
    overheard_file_read(&f->desk, text.data, &file);
    assert_true(json_array_size(file.harm) >= 2);
    assert_string_equal(json_string_value(json_array_get(file.harm, 0)), "illness");
    assert_string_equal(file.quotes.data,
                        "Our daughter vomited all night / My son was cut by glass in the loaf.");
    overheard_file_clear(&file);
    text_buffer_free(&text);
}

/* As a file of results of many lots brings it. */
static void what_no_case_tells_is_mailed_together(void **state)
{
    static const char REPORTS[] = "SELECT sum(json_array_length(payload, '$.reports')) FROM"
                                  " outbox_text WHERE payload LIKE '%\"reports\"%'";
    struct fixture *f = *state;
    struct error err = {0};
    for (int i = 0; i < 120; i++) {
        char lot[24];
        snprintf(lot, sizeof lot, "L9 %04d A0400", i);
        struct overheard o = {.desk = &f->desk,
                              .lot = lot,
                              .where = "a laboratory's result of the lot says so",
                              .why = {"jo", "glass found in it", f->now_ms + i * 100}};
        assert_int_equal(overheard_hear(f->store, &o, &err), 0);
        assert_true(o.mailed && o.gathered == (i >= 3));
        json_decref(o.harm);
    }
    assert_int_equal(fixture_number(f, URGENT), 3 + 2);
    assert_int_equal(fixture_number(f, REPORTS), 117);
}

static bool is_heard(struct fixture *f, const char *text)
{
    struct overheard_file file;
    overheard_file_read(&f->desk, text, &file);
    bool heard = file.harm != NULL;
    overheard_file_clear(&file);
    return heard;
}

static void rows_that_deny_are_no_harm(void **state)
{
    static const char *const CLEAN[] = {"Salmonella: absent/25 g",
                                        "Salmonella (ISO 6579-1): n.d.",
                                        "Salmonella spp: negative in 25 g",
                                        "Listeria monocytogenes: not found",
                                        "Listeria monocytogenes: < 10 cfu/g",
                                        "E. coli: <1",
                                        "Foreign matter: absent.",
                                        "Glass: 0",
                                        "Metal\tnil",
                                        "Salmonella|not detected",
                                        "Salmonella: ausencia en 25 g",
                                        "No glass found.",
                                        "Salmonella,not detected",
                                        "Salmonella spp;25 g;absent",
                                        "\"Foreign matter\",\"none\"",
                                        "Listeria monocytogenes,< 10 cfu/g",
                                        "Glass, 0",
                                        "Salmonella\t25 g\tn.d.",
                                        "Sample: glass jar",
                                        "method: glass beads, filter plate; metal sieve",
                                        "Method: ISO 6579-1, Salmonella detection",
                                        "method: Listeria monocytogenes, ISO 11290-1",
                                        "Method: E. coli, MPN, ISO 7251",
                                        "Equipment: glass electrode, steel probe",
                                        "materials: glass petri dishes, plastic bags",
                                        "Test method: ELISA, gluten, peanut",
                                        "Procedure: AOAC 993.26, insects and rodent hairs",
                                        "Preparation: 25 g cut with a knife, blender",
                                        "reagents: sulphuric acid, ethanol, bleach",
                                        "Sample preparation: acid digestion",
                                        "equipo: varilla de vidrio, aguja, acero"};
    static const char *const HARM[] = {"Salmonella: positive",
                                       "Salmonella: detected in 25 g",
                                       "Salmonella|detected",
                                       "Glass: 0.5 mm splinters found",
                                       "Foreign matter: absent. My son vomited",
                                       "Result: negative, but he was sick",
                                       "Glass: none, but metal was found",
                                       "Listeria monocytogenes: 120 cfu/g",
                                       "Salmonella,detected",
                                       "Salmonella;25 g;positive",
                                       "Glass,0,5 mm",
                                       "Salmonella,absent,but our son vomited",
                                       "Found glass in it, none",
                                       "method: Listeria monocytogenes positive",
                                       "Equipment: glass cover broke, shards in the dough",
                                       "method: her son vomited after this sample",
                                       "materials: two of the panel vomited",
                                       "Preparation: the cook was cut by a metal sliver",
                                       "Equipment: glass rod, two people in hospital",
                                       "Method: man died of food poisoning",
                                       "Equipment: wire of the sieve missing, metal in a loaf",
                                       "method: our customer got salmonella",
                                       "equipo: vidrio roto en la masa"};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CLEAN); i++)
        if (is_heard(f, CLEAN[i]))
            fail_msg("heard: %s", CLEAN[i]);
    for (size_t i = 0; i < COUNT_OF(HARM); i++)
        if (!is_heard(f, HARM[i]))
            fail_msg("not heard: %s", HARM[i]);
}

/* Letters of two bytes, cut by neither end; of what one paragraph says, a line of each kind. */
static void what_is_quoted_can_be_read(void **state)
{
    struct fixture *f = *state;
    struct overheard_file file;
    for (size_t ahead = 90; ahead < 94; ahead++) {
        struct text_buffer text = {0};
        for (size_t i = 0; i < ahead; i++)
            text_append(&text, "ñ");
        text_append(&text, ahead % 2 ? "x" : "");
        text_append(&text, " and our daughter vomited all night ");
        for (size_t i = 0; i < 100; i++)
            text_append(&text, "ñ");
        overheard_file_read(&f->desk, text.data, &file);
        assert_non_null(file.harm);
        assert_null(strchr(file.quotes.data, '?'));
        assert_non_null(strstr(file.quotes.data, "vomited"));
        overheard_file_clear(&file);
        text_buffer_free(&text);
    }
    overheard_file_read(
        &f->desk, "Our daughter vomited all night.\nMy son was cut by glass in the loaf.\n", &file);
    assert_string_equal(file.quotes.data,
                        "Our daughter vomited all night. / My son was cut by glass in the loaf.");
    overheard_file_clear(&file);
    overheard_file_read(&f->desk,
                        "Our daughter vomited all night.\n\nShe vomited again.\n"
                        "My son was cut by glass in the loaf.\n",
                        &file);
    assert_string_equal(file.quotes.data,
                        "Our daughter vomited all night. / My son was cut by glass in the loaf.");
    overheard_file_clear(&file);
}

static void what_was_read_before_is_mailed_as_quoted(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    json_t *kinds = fixture_json("['illness']");
    fixture_log(f, FIRST, "{}");
    struct overheard o = {.desk = &f->desk,
                          .case_id = fixture_number(f, "SELECT max(id) FROM complaint_case"),
                          .report = FIRST,
                          .where = "a text that is attached says so",
                          .why = {"jo", "and is in hospital", f->now_ms + 60000},
                          .read = kinds};
    assert_int_equal(overheard_hear(f->store, &o, &err), 0);
    assert_true(o.mailed && json_equal(o.harm, kinds));
    assert_int_equal(fixture_number(f, POSSIBLE), 1);
    json_decref(o.harm);
    json_decref(kinds);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_is_said_is_mailed_and_marked, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_the_case_tells_is_no_news, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(gravity_is_news, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(it_is_about_who_reported_harm, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_is_to_be_put_on_record, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(work_is_no_harm, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_is_in_a_language_that_is_not_read_may_be_harm,
                                        fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(reasons_are_heard, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_no_complaint_tells_is_mailed, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_no_case_tells_says_whose_it_is, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(a_settled_case_is_open_again, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_no_case_tells_is_mailed_together, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(rows_that_deny_are_no_harm, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(files_are_heard_by_their_paragraphs, fixture_clean,
                                        fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_is_quoted_can_be_read, fixture_clean, fixture_cleaned),
        cmocka_unit_test_setup_teardown(what_was_read_before_is_mailed_as_quoted, fixture_clean,
                                        fixture_cleaned),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
