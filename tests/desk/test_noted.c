/* What a note says of its complaint: words of the lexicon, names of the plant's records. */
#include "desk/noted.h"
#include "desk/older.h"
#include "desk/sent.h"
#include "fixture.h"
#include "intake/fields.h"

static void names(struct fixture *f)
{
    struct error err = {0};
    if (db_exec(f->store,
                "INSERT INTO product(id, product, name, family, shelf_life_days, unit_g) VALUES"
                "(5,'B24','Black Forest Rye','pan-bread',10,680),"
                "(6,'B20','Black Forest Rye Small','pan-bread',10,400);"
                "INSERT INTO dispatch(lot_id, route, store, at_ms, units) VALUES"
                "(1,'R1','Harrow Mill Street',1,2)",
                &err))
        fail_msg("%s", err.text);
}

/* The fields that a note fills, "product=Mill Wheat store=… observed.colour=green". */
static void fills(struct fixture *f, const char *given, const char *expected)
{
    struct text_buffer got = {0};
    json_t *said = fixture_json(given), *taken = NULL, *item;
    json_t *filled = noted_fill(&f->desk, f->store, said, WHEN_UNKNOWN_DAY, &taken);
    size_t i;
    text_append(&got, "");
    json_array_foreach(taken, i, item)
    {
        const char *path = json_string_value(json_object_get(item, "field"));
        const json_t *value = json_object_get(item, "value");
        text_appendf(&got, "%s%s=%s", i ? " " : "", path,
                     json_is_string(value) ? json_string_value(value) : "?");
        const struct field *field = fields_named(path); /* none of what only answers have */
        const json_t *has = field ? fields_get(filled, field) : json_object_get(filled, path);
        assert_true(json_is_array(has) ? jsonx_holds(has, value) : json_equal(has, value));
    }
    if (strcmp(got.data, expected) != 0)
        fail_msg("%s gives %s, not %s", given, got.data, expected);
    text_buffer_free(&got);
    json_decref(said);
    json_decref(taken);
    json_decref(filled);
}

static void a_product_and_a_store_are_taken_from_the_story(void **state)
{
    struct fixture *f = *state;
    names(f);
    fills(f, "{'symptom':'mold','note':'a loaf of Mill Wheat from the Mill Street store'}",
          "product=Mill Wheat store=Mill Street");
    fills(f,
          "{'symptom':'mold','note':'a loaf of Mill Wheat from the Mill Street "
          "store','product':'B24'}",
          "store=Mill Street");
    fills(f, "{'symptom':'mold','note':'it is moldy'}", "");
}

static void a_name_is_no_colour(void **state)
{
    struct fixture *f = *state;
    names(f);
    fills(f, "{'symptom':'mold','note':'the Black Forest Rye is moldy'}",
          "product=Black Forest Rye");
    fills(f, "{'symptom':'mold','note':'the Black Forest Rye has green mold'}",
          "observed.colour=blue-green product=Black Forest Rye");
    fills(f, "{'symptom':'mold','note':'Black Forest Rye, with black mold'}",
          "observed.colour=black product=Black Forest Rye");
}

/* What was quoted has no hole where the name stood. */
static void a_quote_is_as_it_was_said(void **state)
{
    struct fixture *f = *state;
    json_t *taken = NULL,
           *said = fixture_json("{'symptom':'off-odor','note':'bought at Harrow Mill Street on "
                                "Friday, smells sour'}");
    names(f);
    json_t *filled = noted_fill(&f->desk, f->store, said, 20780, &taken);
    char *text = jsonx_dump(taken);
    if (!strstr(text, "bought at Harrow Mill Street on Friday"))
        fail_msg("%s", text);
    free(text);
    json_decref(taken);
    json_decref(said);
    json_decref(filled);
}

/* As if the desk had typed it: one is meant, several are listed to pick from. */
static void what_is_taken_is_looked_up(void **state)
{
    struct fixture *f = *state;
    struct taking t;
    names(f);
    assert_int_equal(
        fixture_take(f, FIRST, "{'note':'a loaf of Black Forest from Mill Street'}", &t), 0);
    char *doubts = jsonx_dump(t.form->doubts);
    assert_non_null(strstr(doubts, "\"choices\":[{\"value\":\"B20\""));
    assert_string_equal(t.placing.lots.state == LOT_EXACT ? "exact" : "", "exact");
    free(doubts);
    /* what came is kept without it */
    json_t *sent = sent_of(t.form->body, t.taken);
    assert_null(json_object_get(sent, "product"));
    json_decref(sent);
    assert_non_null(strstr(t.body, "\"product\":\"Black Forest\""));
    taking_clear(&t);
}

/* Nothing else explains it, and it is no part of a name on record. */
static void an_allergen_by_itself_may_be_harm(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(db_exec(f->store,
                             "INSERT INTO product(id, product, name, family, shelf_life_days,"
                             " unit_g) VALUES(7,'S1','Sesame Duet','pan-bread',10,680)",
                             NULL),
                     0);
    fills(f, "{'symptom':'other','note':'sesame'}", "harm_possible=?");
    fills(f, "{'symptom':'other','note':'Sesame Duet, soy'}",
          "product=Sesame Duet harm_possible=?");
    fills(f, "{'symptom':'other','note':'ten\u00eda nueces'}", "harm_possible=?");
    fills(f, "{'symptom':'other','note':'Sesame Duet came squashed'}", "product=Sesame Duet");
    fills(f, "{'symptom':'other','note':'Mill Wheat, nut brown'}", "product=Mill Wheat");
    fills(f, "{'symptom':'other','note':'sesame','harm':['illness']}", "");
    fills(f, "{'symptom':'other','note':'sesame','harm':[],'harm_read':true}", "");
    fills(f, "{'symptom':'mold','note':'mold on the sesame'}", "");
}

/* What is kept of it, in the note or the reason of a complaint as filled. */
static void keeps(struct fixture *f, const char *given, const char *member, const char *expected)
{
    json_t *said = fixture_json(given), *taken = NULL;
    json_t *filled = noted_fill(&f->desk, f->store, said, WHEN_UNKNOWN_DAY, &taken);
    const char *got = json_string_value(json_object_get(filled, member));
    if (!got || strcmp(got, expected) != 0)
        fail_msg("%s keeps %s, not %s", given, got ? got : "nothing", expected);
    json_decref(said);
    json_decref(taken);
    json_decref(filled);
}

/* What smells of fuel or cleaner has something in it, whoever says so and wherever; not who has
 * been asked, nor what says its harm. */
static void fuel_and_cleaner_may_be_harm(void **state)
{
    struct fixture *f = *state;
    fills(f, "{'symptom':'off-odor','observed':{'odor':['sour','chemical']}}", "harm_possible=?");
    fills(f, "{'symptom':'other','observed':{'odor':['hydrocarbon']}}", "harm_possible=?");
    fills(f, "{'symptom':'off-odor','note':'smells like bleach'}",
          "observed.odor=chemical harm_possible=?");
    fills(f, "{'symptom':'off-odor','note':'tastes of diesel'}",
          "observed.odor=hydrocarbon harm_possible=?");
    fills(f, "{'symptom':'off-odor','observed':{'odor':['sour','solvent']}}", "");
    fills(f, "{'symptom':'off-odor','observed':{'odor':['chemical']},'harm':[],'harm_read':true}",
          "");
    fills(f, "{'symptom':'off-odor','observed':{'odor':['chemical']},'harm':['illness']}", "");
}

/* What makes gas in a pack is not told by looking: whoever says so is asked, and a person must read
 * it, whatever the symptom. */
static void a_blown_pack_may_be_harm(void **state)
{
    struct fixture *f = *state;
    fills(f, "{'symptom':'off-odor','observed':{'bag':'blown'}}", "harm_possible=?");
    fills(f, "{'symptom':'other','observed':{'bag':'blown'}}", "harm_possible=?");
    fills(f, "{'symptom':'other','note':'the pack was swollen like a balloon'}",
          "observed.bag=blown harm_possible=?");
    fills(f, "{'symptom':'off-odor','note':'bag was closed but all puffed up, smells of beer'}",
          "observed.bag=blown observed.odor=alcohol harm_possible=?");
    fills(f, "{'symptom':'other','note':'la bolsa ven\u00eda inflada de gas'}",
          "observed.bag=blown harm_possible=?");
    fills(f, "{'symptom':'other','observed':{'bag':'torn'}}", "");
    fills(f, "{'symptom':'other','observed':{'bag':'blown'},'harm':[],'harm_read':true}", "");
}

/* What is made of a note of symptom "other": "blown", "possible" or both, the kinds of harm said.
 */
static int hears(struct fixture *f, const char *note, const char *want)
{
    struct text_buffer got = {0};
    json_t *said = json_pack("{s:s, s:s}", "symptom", "other", "note", note), *taken = NULL, *kind;
    json_t *filled = noted_fill(&f->desk, f->store, said, WHEN_UNKNOWN_DAY, &taken);
    const char *bag = json_string_value(fields_get(filled, fields_find("observed/bag")));
    size_t i;
    text_append(&got, bag ? bag : "");
    if (json_is_true(json_object_get(filled, "harm_possible")))
        text_append(&got, bag ? " possible" : "possible");
    json_array_foreach(json_object_get(filled, "harm"), i, kind)
        text_appendf(&got, " %s", json_string_value(kind));
    int wrong = strcmp(got.data, want) != 0;
    if (wrong)
        print_error("%s\n   gives '%s', not '%s'\n", note, got.data, want);
    text_buffer_free(&got);
    json_decref(said);
    json_decref(taken);
    json_decref(filled);
    return wrong;
}

static void a_blown_pack_has_many_words(void **state)
{
    static const char *const BLOWN[] = {
        "rye flats pack blown up tight like a balloon, gas hissed out when opened, sour stink",
        "pack of rye flats blown up like a balloon, gas came out, foul smell",
        "the packet is swollen, looks like it will burst",
        "swollen and about to burst",
        "bag inflated and sour",
        "bag inflated, contents fizzing, smells like vomit",
        "bulging pack of flats",
        "pack puffed up, gas inside",
        "puffed up bag, mouldy inside",
        "the bag is bloated",
        "pack ballooned",
        "bag swelled up",
        "found it blown up like a balloon, the bag burst like a balloon",
        "wrapper tight with gas",
        "packet all puffy with gas",
        "paquete inflado como un globo",
        "bolsa hinchada, huele a podrido",
        "el paquete abombado y con gas",
        "la bolsa abultada, huele agrio",
    };
    static const char *const GERMAN[] = {
        "die Packung ist gew\u00f6lbt",
        "Packung aufgeblaeht",
        "aufgebl\u00e4ht",
        "Die T\u00fcte war aufgequollen",
        "Verpackung ist gebl\u00e4ht",
        "der Beutel ist prall und stinkt",
        "T\u00fcte wie ein Ballon, Gas kam raus",
        "Folie hat sich gew\u00f6lbt",
        "Packung bombiert",
    };
    struct fixture *f = *state;
    int wrong = 0;
    for (size_t i = 0; i < COUNT_OF(BLOWN); i++)
        wrong += hears(f, BLOWN[i], "blown possible");
    for (size_t i = 0; i < COUNT_OF(GERMAN); i++)
        wrong += hears(f, GERMAN[i], "possible");
    wrong += hears(f, "the pack is domed, gas hissed out", "possible");
    wrong += hears(f, "found a balloon in the bread", " foreign-matter");
    wrong += hears(f, "my lips were swollen after eating it", " allergic-reaction illness");
    wrong += hears(f, "the bread is puffy and well risen", "");
    wrong += hears(f, "bread is puffy", "");
    wrong += hears(f, "bag of puffy rolls, nicely risen", "");
    wrong += hears(f, "Brot ist gut aufgegangen", "");
    assert_int_equal(wrong, 0);
}

static void what_german_bread_smells_of_may_be_harm(void **state)
{
    static const char *const NOTES[] = {
        "Brot riecht nach Benzin",
        "Toast schmeckt nach Spuelmittel",
        "Toast schmeckt nach Sp\u00fclmittel",
        "Brot riecht nach Reiniger",
        "Brot riecht nach Heiz\u00f6l",
        "Brot riecht nach Heizoel",
        "Brot riecht nach Terpentin",
        "Brot riecht nach Farbe",
        "Brot schmeckt nach Lack",
        "Toast stinkt nach Putzmittel",
        "riecht nach Petroleum",
        "Semmeln schmecken nach Seife",
        "Brot verschimmelt und ich habe davon gegessen",
        "moldy and I ate some of it",
    };
    struct fixture *f = *state;
    int wrong = 0;
    for (size_t i = 0; i < COUNT_OF(NOTES); i++)
        wrong += hears(f, NOTES[i], "possible");
    wrong += hears(f, "Brot hat eine dunkle Farbe", "");
    wrong += hears(f, "Brot riecht nach Hefe", "");
    assert_int_equal(wrong, 0);
}

/* What is told of a note is told in its own words, the one that says what it was among them. */
static void harm_is_told_with_its_word(void **state)
{
    struct fixture *f = *state;
    static const struct {
        const char *note, *told;
    } CASES[] = {{"she came out in hives after one slice", "came out in hives"},
                 {"he broke out in a rash", "broke out in a rash"},
                 {"came out in welts", "came out in welts"}};
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        json_t *said = json_pack("{s:s, s:s}", "symptom", "other", "note", CASES[i].note);
        json_t *taken = NULL;
        json_decref(noted_fill(&f->desk, f->store, said, WHEN_UNKNOWN_DAY, &taken));
        assert_string_equal(json_string_value(json_object_get(json_array_get(taken, 0), "from")),
                            CASES[i].told);
        json_decref(said);
        json_decref(taken);
    }
}

/* As one says them of mold, and of nothing else. */
static void words_of_mold_are_no_harm(void **state)
{
    static const char *const NOTES[] = {"furry",       "blueish bits", "hairy",     "fuzzy",
                                        "fluffy",      "greenish",     "spotty",    "specks",
                                        "bluish bits", "green bits",   "furry bits"};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(NOTES); i++) {
        json_t *said = json_pack("{s:s, s:s}", "symptom", "mold", "note", NOTES[i]), *taken = NULL;
        json_t *filled = noted_fill(&f->desk, f->store, said, WHEN_UNKNOWN_DAY, &taken);
        if (json_object_get(filled, "harm_possible") || json_object_get(filled, "harm"))
            fail_msg("%s may be harm", NOTES[i]);
        json_decref(said);
        json_decref(taken);
        json_decref(filled);
    }
}

/* Words where no field reads them may be harm all the same, and are kept then. */
static void stray_words_are_heard(void **state)
{
    struct fixture *f = *state;
    fills(f, "{'symptom':'mold','comment':'her child vomited all night'}", "harm_possible=?");
    fills(f, "{'symptom':'mold','unread':{'Clerk':'her child vomited'}}", "harm_possible=?");
    fills(f, "{'symptom':'mold','contact':{'note':'there was glass in it'}}", "harm_possible=?");
    fills(f, "{'symptom':'mold','note':['my son cut his mouth on glass']}", "harm_possible=?");
    fills(f, "{'symptom':'mold','observed':{'colour':'blood, my child vomited'}}",
          "harm_possible=?");
    fills(f, "{'symptom':'mold','observed':{'odor':['sour','my child is ill']}}",
          "harm_possible=?");
    fills(f, "{'symptom':'mold','store':'her child vomited all night'}", "harm_possible=?");
    fills(f, "{'symptom':'mold','packs':'two, and my child is ill'}", "harm_possible=?");
    fills(f, "{'symptom':'mold','comment':'smells of a cellar'}", "");
    fills(f, "{'symptom':'mold','store':'The Glass House Market','product':'Metal Mill Rye'}", "");
    fills(f, "{'symptom':'mold','observed':{'colour':'black'},'found_on':'2026-11-20'}", "");
    fills(f, "{'symptom':'mold','comment':'her child vomited','harm':[],'harm_read':true}", "");
    fills(f, "{'symptom':'mold','comment':'her child vomited','harm':['illness']}", "");
    fills(f, "{'symptom':'mold','refused':{'faults':[{'value':'her child vomited'}]}}", "");
    keeps(f, "{'symptom':'mold','comment':'her child vomited','ref':'77'}", "note",
          "her child vomited");
    keeps(f, "{'symptom':'mold','note':'moldy','comment':'her child vomited'}", "note",
          "moldy; her child vomited");
    keeps(f, "{'symptom':'mold','note':['her child vomited']}", "reason", "her child vomited");
}

static void doubts_date(struct fixture *f, const char *date, const char *why)
{
    struct taking t;
    char more[128], uuid[] = FIRST;
    memcpy(uuid + sizeof uuid - 3, date + 8, 2); /* another report for another date */
    snprintf(more, sizeof more, "{'lot_text':null,'product':'B24','code_date':'%s'}", date);
    assert_int_equal(fixture_take(f, uuid, more, &t), 0);
    char *doubts = jsonx_dump(t.form->doubts);
    if (*why ? !strstr(doubts, why) : strstr(doubts, "code_date") != NULL)
        fail_msg("%s: %s", date, doubts);
    free(doubts);
    taking_clear(&t);
}

/* B24 keeps 10 days; reported on 20 November. */
static void a_date_that_no_pack_can_bear_is_doubted(void **state)
{
    names(*state);
    doubts_date(*state, "2026-12-01", "later than a B24 made today is best by, 2026-11-30");
    doubts_date(*state, "2026-11-30", "");
    doubts_date(*state, "2026-11-20", "");
    doubts_date(*state, "2026-11-19", "before the day of the report");
}

static void a_corrected_note_takes_its_names_with_it(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    names(f);
    fixture_log(f, FIRST, "{'note':'a loaf of Mill Wheat'}");
    assert_int_equal(fixture_correct(f, FIRST, "{'note':'it is moldy'}", &c, NULL), 0);
    assert_null(json_object_get(c.taken, "product"));
    fixture_corrected_clear(&c);
    assert_int_equal(fixture_number(f, "SELECT count(*) FROM complaint WHERE body LIKE "
                                       "'%\"product\"%'"),
                     0);
}

/* As a first note's: whether it was corrected to tell them, or kept by a version that did not look
 * for them. */
static void assert_names_apart(struct fixture *f)
{
    assert_int_equal(fixture_number(f,
                                    "SELECT count(*) FROM complaint WHERE body LIKE '%Koskie%' OR "
                                    "body LIKE '%555-0142%'"),
                     0);
    assert_int_equal(fixture_number(f,
                                    "SELECT count(*) FROM contact WHERE body LIKE '%Koskie%' AND "
                                    "body LIKE '%555-0142%'"),
                     1);
}

static void a_corrected_note_tells_who_called(void **state)
{
    struct fixture *f = *state;
    struct correcting c;
    fixture_log(f, FIRST, "{'note':'it is moldy'}");
    assert_int_equal(fixture_correct(f, FIRST,
                                     "{'note':'My name is Verena Koskie, 555-0142. It is moldy'}",
                                     &c, NULL),
                     0);
    fixture_corrected_clear(&c);
    assert_names_apart(f);
}

static void an_old_report_tells_who_called(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    int count;
    fixture_log(f, FIRST, "{'note':'NOTE'}");
    if (db_exec(f->store,
                "UPDATE complaint SET body = replace(body, 'NOTE', "
                "'My name is Verena Koskie, 555-0142. It is moldy');"
                "DELETE FROM contact; DELETE FROM entry;",
                &err))
        fail_msg("%s", err.text);
    assert_int_equal(older_take_in(&f->desk, f->store, &count, &err), 0);
    assert_int_equal(count, 1);
    assert_names_apart(f);
}

/* A store that an old report names by its caller's number is counted by that number no more. */
static void a_number_for_a_store_is_counted_no_more(void **state)
{
    struct fixture *f = *state;
    struct error err = {0};
    int count;
    fixture_log(f, FIRST, "{'store':'SHOP'}");
    if (db_exec(f->store,
                "UPDATE complaint SET body = replace(body, 'SHOP', 'shop, 607-555-0142');"
                "INSERT INTO pattern_series(factor, level, symptom) VALUES"
                "('store', 'shop, 607-555-0142', 'mold');"
                "DELETE FROM contact; DELETE FROM entry;",
                &err))
        fail_msg("%s", err.text);
    assert_int_equal(older_take_in(&f->desk, f->store, &count, &err), 0);
    assert_int_equal(
        fixture_number(f, "SELECT count(*) FROM pattern_series WHERE level LIKE '%0142%'"), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
#define ROW(test) cmocka_unit_test_setup_teardown(test, fixture_clean, fixture_cleaned)
        ROW(a_product_and_a_store_are_taken_from_the_story),
        ROW(a_name_is_no_colour),
        ROW(a_quote_is_as_it_was_said),
        ROW(what_is_taken_is_looked_up),
        ROW(an_allergen_by_itself_may_be_harm),
        ROW(fuel_and_cleaner_may_be_harm),
        ROW(a_blown_pack_may_be_harm),
        ROW(a_blown_pack_has_many_words),
        ROW(what_german_bread_smells_of_may_be_harm),
        ROW(words_of_mold_are_no_harm),
        ROW(harm_is_told_with_its_word),
        ROW(stray_words_are_heard),
        ROW(a_date_that_no_pack_can_bear_is_doubted),
        ROW(a_corrected_note_takes_its_names_with_it),
        ROW(a_corrected_note_tells_who_called),
        ROW(an_old_report_tells_who_called),
        ROW(a_number_for_a_store_is_counted_no_more),
    };
    return cmocka_run_group_tests(tests, fixture_open, fixture_close);
}
