/* Each value of a row by itself: what is just good, what just is not, and what is kept of it. */
#include "fixture.h"
#include "store/db.h"

/* Rows of one kind behind `header`, each alone: what is refused of it ("" nothing), and what a
 * question finds afterwards. */
struct row {
    const char *text, *refused, *question, *kept;
};
#define TAKEN(text)                                                                                \
    {                                                                                              \
        text, "", NULL, NULL                                                                       \
    }
#define REFUSED(text, why)                                                                         \
    {                                                                                              \
        text, why, NULL, NULL                                                                      \
    }

static void expect_refused(json_t *answer, const char *row, const char *refused)
{
    const json_t *first = json_array_get(json_object_get(answer, "refused"), 0);
    struct text_buffer got = {0};
    if (first)
        text_appendf(&got, "%s: %s", json_string_value(json_object_get(first, "column")),
                     json_string_value(json_object_get(first, "reason")));
    if (strcmp(got.data ? got.data : "", refused) != 0)
        fail_msg("%s: '%s', not '%s'", row, got.data ? got.data : "", refused);
    assert_int_equal(fixture_number(answer, "refused_total"), *refused != '\0');
    assert_int_equal(json_is_true(json_object_get(answer, "applied")), *refused == '\0');
    text_buffer_free(&got);
}

static void expect_kept(struct fixture *f, const struct row *row)
{
    struct error err = {0};
    struct text_buffer got = {0};
    struct db_query q = db_query(f->store, row->question, NULL, &err);
    assert_true(db_next(&q));
    struct record_cell cell = db_cell(&q, 0);
    if (cell.form == RECORD_TEXT)
        text_append(&got, cell.text);
    else if (cell.form == RECORD_INTEGER)
        text_appendf(&got, "%lld", (long long)cell.integer);
    else if (cell.form == RECORD_NUMBER)
        text_appendf(&got, "%g", cell.number);
    if (strcmp(got.data, row->kept) != 0)
        fail_msg("%s: keeps '%s', not '%s'", row->text, got.data, row->kept);
    assert_int_equal(db_end(&q, 0), 0);
    text_buffer_free(&got);
}

static void expect_rows(struct fixture *f, enum record_kind kind, enum import_format format,
                        const char *header, const struct row *rows)
{
    for (; rows->text; rows++) {
        struct text_buffer text = {0};
        struct load_options options = fixture_options(f, kind);
        options.format = format;
        text_appendf(&text, "%s%s\n", header, rows->text);
        json_t *answer = fixture_load(f, &options, text.data, text.length, 1 << 16);
        expect_refused(answer, rows->text, rows->refused);
        if (rows->question)
            expect_kept(f, rows);
        json_decref(answer);
        text_buffer_free(&text);
    }
}

#define TEN "1234567890"
#define SIXTY TEN TEN TEN TEN TEN TEN
#define TWO_HUNDRED SIXTY SIXTY SIXTY TEN TEN
#define TWO_THOUSAND                                                                               \
    TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED            \
        TWO_HUNDRED TWO_HUNDRED TWO_HUNDRED

/* ---- products ---- */

static void products(void **state)
{
    static const struct row ROWS[] = {
        {SIXTY ",Rye,bun,14,500,", "", "SELECT length(product) FROM product WHERE name = 'Rye'",
         "60"},
        REFUSED(SIXTY "1,Rye,bun,14,500,", "product: is longer than 60 bytes"),
        {"P1," TWO_HUNDRED ",bun,14,500,", "",
         "SELECT length(name) FROM product WHERE product = 'P1'", "200"},
        REFUSED("P1," TWO_HUNDRED "1,bun,14,500,", "name: is longer than 200 bytes"),
        {"P2, Rye \xC3\xA4,bun,14,500,", "", "SELECT name FROM product WHERE product = 'P2'",
         " Rye \xC3\xA4"},
        REFUSED("P2,Rye \xC3,bun,14,500,", "name: is not UTF-8"),
        REFUSED("P2,Rye\tx,bun,14,500,", "name: has a control character in it"),
        REFUSED("P2,Rye\x1Fx,bun,14,500,", "name: has a control character in it"),
        REFUSED("P2,Rye\x7Fx,bun,14,500,", "name: has a control character in it"),
        REFUSED("P2,\"Rye\nx\",bun,14,500,", "name: has a line break in it"),
        {"P2,Rye~x,bun,14,500,", "", "SELECT name FROM product WHERE product = 'P2'", "Rye~x"},
        {"P3,R,BUN,14,500,", "", "SELECT family FROM product WHERE product = 'P3'", "bun"},
        {"P3,R,Flatbread,14,500,", "", "SELECT family FROM product WHERE product = 'P3'",
         "flatbread"},
        {"P3,R,SWEET-GOOD,14,500,", "", "SELECT family FROM product WHERE product = 'P3'",
         "sweet-good"},
        REFUSED("P3,R,PAN-BREADZ,14,500,",
                "family: is no family; they are pan-bread, bun, flatbread, sweet-good"),
        REFUSED("P3,R,bun_,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b/n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b:n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b@n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b[n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b`n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,b{n,14,500,", "family: must be one word of letters, digits and hyphens"),
        REFUSED("P3,R,,14,500,", "family: is required"),
        {"P3,R, bun ,14,500,", "", "SELECT family FROM product WHERE product = 'P3'", "bun"},
        {" P4 ,R,bun,14,500,", "", "SELECT count(*) FROM product WHERE product = 'P4'", "1"},
        REFUSED("  ,R,bun,14,500,", "product: is required"),
        {"P5,R,bun,1,500,", "", "SELECT shelf_life_days FROM product WHERE product = 'P5'", "1"},
        {"P5,R,bun,1000,500,", "", "SELECT shelf_life_days FROM product WHERE product = 'P5'",
         "1000"},
        REFUSED("P5,R,bun,1001,500,",
                "shelf_life_days: is outside the plausible range 1 to 1000 d"),
        REFUSED("P5,R,bun,1.000,500,",
                "shelf_life_days: may mean thousands: write whole numbers without a point"),
        REFUSED("P5,R,bun,+123.000,500,",
                "shelf_life_days: may mean thousands: write whole numbers without a point"),
        {"P5,R,bun,14.00,500,", "", "SELECT shelf_life_days FROM product WHERE product = 'P5'",
         "14"},
        {"P5,R,bun,15.0000,500,", "", "SELECT shelf_life_days FROM product WHERE product = 'P5'",
         "15"},
        {"P5,R,bun,0014.000,500,", "", "SELECT shelf_life_days FROM product WHERE product = 'P5'",
         "14"},
        REFUSED("P5,R,bun,.000,500,",
                "shelf_life_days: is outside the plausible range 1 to 1000 d"),
        REFUSED("P5,R,bun,14.0000001,500,", "shelf_life_days: is no whole number"),
        REFUSED("P5,R,bun,15.9999999,500,", "shelf_life_days: is no whole number"),
        REFUSED("P5,R,bun,\"14,5\",500,",
                "shelf_life_days: is no number (the decimal sign is a point; a map of the file may "
                "say another: \"decimal\": \",\")"),
        REFUSED("P5,R,bun,14d,500,", "shelf_life_days: is no number"),
        {0}};
    expect_rows(*state, RECORD_PRODUCTS, IMPORT_CSV,
                "product,name,family,shelf_life_days,unit_g,gtin\n", ROWS);
}

/* GTIN-8 96385074 and the others' check digits: GS1 General Specifications, section 7.9 (the
 * figures of the examples from memory, their digits worked out by hand). */
static void numbers_of_articles(void **state)
{
    static const char LENGTH[] = "gtin: must be 8, 12, 13 or 14 digits",
                      DIGIT[] = "gtin: its check digit does not fit",
                      KEPT[] = "SELECT gtin FROM product WHERE product = 'G1'";
    static const struct row ROWS[] = {
        {"G1,R,bun,14,500,96385074", "", KEPT, "00000096385074"},
        {"G1,R,bun,14,500,614141000036", "", KEPT, "00614141000036"},
        {"G1,R,bun,14,500,4006381333931", "", KEPT, "04006381333931"},
        {"G1,R,bun,14,500,10614141000415", "", KEPT, "10614141000415"},
        REFUSED("G1,R,bun,14,500,96385070", DIGIT),
        REFUSED("G1,R,bun,14,500,614141000037", DIGIT),
        REFUSED("G1,R,bun,14,500,4006381333930", DIGIT),
        REFUSED("G1,R,bun,14,500,4006381339331", DIGIT),
        REFUSED("G1,R,bun,14,500,000000000000", DIGIT),
        REFUSED("G1,R,bun,14,500,00000000000000", DIGIT),
        REFUSED("G1,R,bun,14,500,9638507", LENGTH),
        REFUSED("G1,R,bun,14,500,963850740", LENGTH),
        REFUSED("G1,R,bun,14,500,96385074000", LENGTH),
        REFUSED("G1,R,bun,14,500,400638133393100", LENGTH),
        REFUSED("G1,R,bun,14,500,9638507A", LENGTH),
        {"G1,R,bun,14,500,", "", "SELECT gtin IS NULL FROM product WHERE product = 'G1'", "1"},
        {0}};
    expect_rows(*state, RECORD_PRODUCTS, IMPORT_CSV,
                "product,name,family,shelf_life_days,unit_g,gtin\n", ROWS);
}

/* ---- lots ---- */

#define MADE "2026-11-17T04:00:00Z,2026-11-17T07:00:00Z,"
#define PACKED "2026-11-17T06:30:00Z,2026-11-17T09:30:00Z,"

static void lots(void **state)
{
    static const struct row ROWS[] = {
        {"A1,W24,2," MADE PACKED "9000,2026-11-27,A,north", "",
         "SELECT lot || fold || line || shift || plant || units || code_day FROM lot WHERE lot = "
         "'A1'",
         "A1A12Anorth900020784"},
        REFUSED("A1,W24,2," MADE PACKED "9000,2026-11-27,A,south",
                "plant: a lot of this code is plant north's: codes differ between plants, by a "
                "letter of "
                "the plant's; if that was a mistake, load the lot without a plant first"),
        TAKEN("A1,W24,2," MADE PACKED "9000,2026-11-27,A,north"),
        TAKEN("A1,W24,2," MADE PACKED "9000,2026-11-27,A,"),
        REFUSED("A2,W24,2," MADE PACKED "9000,2026-11-27,A,\"north,south\"",
                "plant: a plant's name has no comma in it"),
        {"b-2,W24,2," MADE PACKED "9000,2026-11-27,A,", "",
         "SELECT fold FROM lot WHERE lot = 'b-2'", "B2"},
        REFUSED("-,W24,2," MADE PACKED "9000,2026-11-27,A,", "lot: has no letter or digit"),
        /* all at once, and each bound a second off */
        TAKEN("A3,W24,2,2026-11-17T04:00:00Z,2026-11-17T04:00:00Z,2026-11-17T04:00:00Z,"
              "2026-11-17T04:00:00Z,9000,2026-11-27,,"),
        REFUSED("A4,W24,2,2026-11-17T04:00:00Z,2026-11-17T03:59:59Z,2026-11-17T04:00:00Z,"
                "2026-11-17T04:00:00Z,9000,2026-11-27,,",
                "made_to: is before made_from"),
        REFUSED("A4,W24,2,2026-11-17T04:00:00Z,2026-11-17T04:00:00Z,2026-11-17T03:59:59Z,"
                "2026-11-17T04:00:00Z,9000,2026-11-27,,",
                "packed_from: is before made_from"),
        REFUSED("A4,W24,2,2026-11-17T04:00:00Z,2026-11-17T04:00:00Z,2026-11-17T04:00:00Z,"
                "2026-11-17T03:59:59Z,9000,2026-11-27,,",
                "packed_to: is before packed_from"),
        /* a day of slack: the date's own day and the one behind it, to their last second */
        TAKEN("A5,W24,2,2026-11-17T23:59:59Z,2026-11-17T23:59:59Z,2026-11-17T23:59:59Z,"
              "2026-11-17T23:59:59Z,9000,2026-11-16,,"),
        REFUSED("A6,W24,2,2026-11-18T00:00:00Z,2026-11-18T00:00:00Z,2026-11-18T00:00:00Z,"
                "2026-11-18T00:00:00Z,9000,2026-11-16,,",
                "code_date: is before the lot was packed"),
        REFUSED("A6,W24,2," MADE PACKED "9000,1969-12-31,,", "code_date: this cannot be the year"),
        REFUSED("A6,W24,2,1969-12-31T00:00:00Z,2026-11-17T07:00:00Z," PACKED "9000,2026-11-27,,",
                "made_from: this cannot be the year"),
        REFUSED("A6,W24,2,2226-12-31T00:00:00Z,2226-12-31T00:00:00Z,2226-12-31T00:00:00Z,"
                "2226-12-31T00:00:00Z,9000,2026-11-27,,",
                "made_from: this cannot be the year"),
        {0}};
    expect_rows(*state, RECORD_LOTS, IMPORT_CSV,
                "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date,shift,"
                "plant\n",
                ROWS);
}

/* The first and the last instant and day that the catalogue takes for a year. */
static void years(void **state)
{
    struct fixture *f = *state;
    int64_t bounds[2];
    catalogue_times(f->catalogue, &bounds[0], &bounds[1]);
    for (int end = 0; end < 2; end++) {
        for (int off = -1; off < 1; off++) {
            char when[32], text[256];
            bool good = end == 0 ? off == 0 : off == -1;
            struct load_options options = fixture_options(f, RECORD_MIXES);
            options.dry_run = true;
            when_format_utc(bounds[end] + off, when);
            snprintf(text, sizeof text, "mix,lot,at,flour_kg\nM1,L2 6321 A,%s,450\n", when);
            json_t *answer = fixture_load(f, &options, text, strlen(text), 1 << 16);
            assert_int_equal(fixture_number(answer, "refused_total"), !good);
            json_decref(answer);
        }
    }
}

/* ---- uses ---- */

static void uses(void **state)
{
#define KEPT(column, lot)                                                                          \
    "SELECT coalesce(" column ", 'none') FROM material_use WHERE material_lot = '" lot "'"
    static const struct row ROWS[] = {
        {"L2 6321 A,flour,F1,1,t,,,", "", KEPT("round(amount) || unit", "F1"), "1000.0kg"},
        {"L2 6321 A,flour,F2,2000,mL,,,", "", KEPT("round(amount) || unit", "F2"), "2.0L"},
        {"L2 6321 A,film,F3,300,cm,,,", "", KEPT("round(amount) || unit", "F3"), "3.0m"},
        {"L2 6321 A,film,F4,3,1,,,", "", KEPT("round(amount) || unit", "F4"), "3.01"},
        {"L2 6321 A,film,F5,0,kg,,,", "", KEPT("round(amount) || unit", "F5"), "0.0kg"},
        {"L2 6321 A,film,F6,3,,,,", "", KEPT("unit", "F6"), "none"},
        {"L2 6321 A,film,F7,,g,,,", "", KEPT("unit", "F7"), "kg"},
        TAKEN("L2 6321 A,film,F8,10000000,kg,,,"),
        REFUSED("L2 6321 A,film,F8,10000.001,t,,,", "amount: is more than anybody weighs in"),
        REFUSED("L2 6321 A,film,F8,-0.5,kg,,,", "amount: is less than 0"),
        REFUSED("L2 6321 A,film,F8,1,min,,,", "unit: is no unit of mass, volume, length or count"),
        REFUSED("L2 6321 A,film,F8,1,qq,,,", "unit: the unit is not known"),
        {"L2 6321 A,film,F9,1,kg,0,,", "", KEPT("active_pct", "F9"), "0"},
        {"L2 6321 A,film,F9,1,kg,100,,", "", KEPT("active_pct", "F9"), "100"},
        REFUSED("L2 6321 A,film,F9,1,kg,100.1,,",
                "active_pct: is outside the plausible range 0 to 100 %"),
        {"L2 6321 A,film,F9,1,kg,,Dough,", "", KEPT("applied", "F9"), "dough"},
        {"L2 6321 A,film,F9,1,kg,,surface,", "", KEPT("applied", "F9"), "surface"},
        REFUSED("L2 6321 A,film,F9,1,kg,,inside,", "applied: must be dough or surface"),
        TAKEN("L2 6321 A,film,F9,1,kg,,,calcium-propionate"),
        REFUSED("L2 6321 A,film,F9,1,kg,,,nothing", "kind: is no kind of preserving ingredient; "
                                                    "rules/preservers.json has them, and a plant "
                                                    "adds its own"),
        {0}};
    expect_rows(*state, RECORD_USES, IMPORT_CSV,
                "lot,material,material_lot,amount,unit,active_pct,applied,kind\n", ROWS);
}

static void amounts_in_the_unit_of_their_column(void **state)
{
    static const struct row ROWS[] = {
        {"L2 6321 A,flour,C1,500", "", KEPT("round(amount, 3) || unit", "C1"), "0.5kg"},
        {"L2 6321 A,flour,C2,", "", KEPT("unit", "C2"), "none"},
        TAKEN("L2 6321 A,flour,C3,10000000000"),
        REFUSED("L2 6321 A,flour,C3,10000000001", "amount [g]: is more than anybody weighs in"),
        {0}};
    expect_rows(*state, RECORD_USES, IMPORT_CSV, "lot,material,material_lot,amount [g]\n", ROWS);
    static const struct row MINUTES[] = {
        REFUSED("L2 6321 A,flour,C4,5",
                "amount [min]: its unit is none of mass, volume, length or count"),
        {0}};
    expect_rows(*state, RECORD_USES, IMPORT_CSV, "lot,material,material_lot,amount [min]\n",
                MINUTES);
}

/* ---- readings and the plant's log ---- */

static void readings(void **state)
{
#define READ(what, note) "SELECT " what " FROM reading WHERE note = '" note "'"
    static const struct row ROWS[] = {
        {"L2 6321 A,core_at_pack_c,-30,,n1", "", READ("value", "n1"), "-30"},
        {"L2 6321 A,core_at_pack_c,75,,n2", "", READ("value", "n2"), "75"},
        REFUSED("L2 6321 A,core_at_pack_c,75.1,,",
                "value: is outside the plausible range -30 to 75 degC"),
        REFUSED("L2 6321 A,core_at_pack_c,-30.1,,",
                "value: is outside the plausible range -30 to 75 degC"),
        REFUSED("L2 6321 A,crumb_aw,1.01,,", "value: is outside the plausible range 0.3 to 1"),
        /* without a time it is as the lot was packed, at its end */
        {"L2 6321 A,crumb_ph,5.5,,n3", "", READ("at_ms", "n3"), "1794925800000"},
        {"L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:00Z,n4", "", READ("at_ms", "n4"),
         "1794909600000"},
        {"L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:01Z,n5", "", READ("at_ms", "n5"),
         "1794909601000"},
        {"L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:02Z,\"a\tb\r\nc\"", "",
         "SELECT note FROM reading WHERE at_ms = 1794909602000", "a\tb\r\nc"},
        REFUSED("L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:02Z,a\bc",
                "note: has a control character in it"),
        {"L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:03Z," TWO_THOUSAND, "",
         "SELECT length(note) FROM reading WHERE at_ms = 1794909603000", "2000"},
        REFUSED("L2 6321 A,crumb_ph,5.5,2026-11-17T10:00:03Z," TWO_THOUSAND "1",
                "note: is longer than 2000 bytes"),
        REFUSED("L2 6321 A,cleaned,1,,", "quantity: belongs to the plant log"),
        REFUSED("L2 6321 A,mold_genus,7,,",
                "value: mold_genus is told in words: enter it with `oddloaf measure`"),
        REFUSED("L2 6321 A,crumb_p,5.5,,",
                "quantity: there is no such quantity; nearest: crumb_ph, crumb_aw, dough_ph; all: "
                "oddloaf rules quantities"),
        REFUSED("L2 6321 A,crumb_ph,\"5,5\",,",
                "value: is no number (the decimal sign is a point; a map of the file may say "
                "another: \"decimal\": \",\")"),
        REFUSED("L2 6321 A,crumb_ph,five,,", "value: is no number"),
        {0}};
    expect_rows(*state, RECORD_READINGS, IMPORT_CSV, "lot,quantity,value,at,note\n", ROWS);
}

static void log_of_the_plant(void **state)
{
    static const struct row ROWS[] = {
        {"2026-11-17T10:00:00Z,slicer,cleaned,0", "", "SELECT value FROM plantlog", "0"},
        {"2026-11-17T10:00:00Z,Slicer,cleaned,1", "", "SELECT value || place FROM plantlog",
         "1.0slicer"},
        REFUSED("2026-11-17T10:00:00Z,slicer,cleaned,2", "value: must be 0 or 1"),
        REFUSED("2026-11-17T10:00:00Z,slicer,crumb_ph,5",
                "quantity: is measured on lots, not in the plant log"),
        REFUSED("2026-11-17T10:00:00Z,slicer,cleaned,0.5", "value: must be 0 or 1"),
        REFUSED("2026-11-17T10:00:00Z,slice,cleaned,1",
                "place: there is no such place; nearest: slicer, bagger, hands; all: oddloaf rules "
                "places"),
        REFUSED("2026-11-17T10:00:00Z,the slicer,cleaned,1",
                "place: must be one word of letters, digits and hyphens"),
        {0}};
    expect_rows(*state, RECORD_PLANTLOG, IMPORT_CSV, "at,place,quantity,value\n", ROWS);
}

/* ---- what JSON has beside text ---- */

static void forms_of_json(void **state)
{
    static const char TEXT[] = "mix: must be text";
    static const struct row ROWS[] = {
        {"{\"lot\":\"L2 6321 A\",\"mix\":4711,\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":450}",
         "", "SELECT flour_kg FROM mix WHERE mix = '4711'", "450"},
        {"{\"lot\":\"L2 6321 A\",\"mix\":0.5,\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":\"450\"}",
         "", "SELECT flour_kg FROM mix WHERE mix = '0.5'", "450"},
        REFUSED(
            "{\"lot\":\"L2 6321 A\",\"mix\":true,\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":450}",
            TEXT),
        REFUSED("{\"lot\":\"L2 6321 A\",\"mix\":\"M\",\"at\":true,\"flour_kg\":450}",
                "at: must be text"),
        {"{\"lot\":\"L2 6321 A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":true}",
         "", "SELECT flour_kg FROM mix WHERE mix = 'M'", "1"},
        REFUSED(
            "{\"lot\":\"L2 6321 A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":[]}",
            "flour_kg: must be a text or a number"),
        REFUSED("{\"lot\":\"L2 6321 "
                "A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":null}",
                "flour_kg: this column is missing"),
        REFUSED("{\"lot\":\"L2 6321 "
                "A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":\"\"}",
                "flour_kg: is required"),
        REFUSED("{\"lot\":\"L2 6321 "
                "A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\",\"flour_kg\":\"-\"}",
                "flour_kg: is no number"),
        REFUSED("{\"refused\":[{\"column\":\"mix\",\"value\":\"x\",\"reason\":\"so it is\"}]}",
                "mix: so it is"),
        REFUSED("{\"refused\":[{\"column\":\"mix\"}]}", "mix: could not be read by its sender"),
        REFUSED("{\"refused\":[]}", ": could not be read by its sender"),
        REFUSED("[]", ": must be an object"),
        {0}};
    expect_rows(*state, RECORD_MIXES, IMPORT_NDJSON, "", ROWS);
}

/* A mark at the beginning of a file and blank lines are nothing, and are no rows. */
static void blank_lines_of_json(void **state)
{
    static const struct {
        const char *text;
        int read, refused;
    } CASES[] = {
        {"\xEF\xBB\xBF{\"lot\":\"L2 6321 A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\","
         "\"flour_kg\":450}\n",
         1, 0},
        {"\n \t\r\n{\"lot\":\"L2 6321 A\",\"mix\":\"M\",\"at\":\"2026-11-17T10:00:00Z\","
         "\"flour_kg\":450}\n",
         1, 0},
        {"\n\xEF\xBB\xBF{}\n", 1, 1},
        {"\xEF\xBB\n", 1, 1},
        {"x\n", 1, 1},
        {"\xEF\xBB\xBF", 0, 0},
    };
    for (size_t i = 0; i < sizeof CASES / sizeof *CASES; i++) {
        struct load_options options = fixture_options(*state, RECORD_MIXES);
        options.format = IMPORT_NDJSON;
        options.dry_run = true;
        json_t *answer =
            fixture_load(*state, &options, CASES[i].text, strlen(CASES[i].text), 1 << 16);
        assert_int_equal(fixture_number(answer, "read"), CASES[i].read);
        assert_int_equal(fixture_number(answer, "refused_total"), CASES[i].refused);
        json_decref(answer);
    }
}

/* ---- the first line ---- */

static void headers(void **state)
{
    static const char NAMES[] = "lot, quantity, at, mix, point, value, note, or a quantity each";
    static const struct row ROWS[] = {
        TAKEN("lot,quantity,value [degC]"),
        TAKEN("Lot, QUANTITY ,value [degC]  "),
        REFUSED("lot [kg],quantity,value", "lot [kg]: takes no unit"),
        REFUSED("lot,quantity,value [degC",
                "value [degC: the unit's bracket is not closed at the end"),
        REFUSED("lot,quantity,value [degC] x",
                "value [degC] x: the unit's bracket is not closed at the end"),
        REFUSED("lot,quantity,value []", "value []: there is no unit in the brackets"),
        REFUSED("lot,quantity,value,value", "value: this column is there twice"),
        REFUSED("lot,core_at_pack_c,core_at_pack_c", "core_at_pack_c: this column is there twice"),
        TAKEN("lot,core_at_pack_c,crumb_ph"),
        REFUSED("lot,core_at_pack_c,settle_plate_cfu",
                "settle_plate_cfu: belongs to the plant log: load it as plantlog"),
        REFUSED("lot,quantity,crumb_ph",
                "quantity: a file has either quantity and value or a column a quantity"),
        REFUSED("lot,value,crumb_ph",
                "value: a file has either quantity and value or a column a quantity"),
        REFUSED("lot,quantity", "value: this column is missing (or a column for each quantity)"),
        REFUSED("quantity,value", "lot: this column is missing"),
        {0}};
    for (const struct row *row = ROWS; row->text; row++) {
        json_t *answer = fixture_load_text(*state, RECORD_READINGS, row->text);
        const json_t *first = json_array_get(json_object_get(answer, "refused"), 0);
        struct text_buffer got = {0};
        if (first)
            text_appendf(&got, "%s: %s", json_string_value(json_object_get(first, "column")),
                         json_string_value(json_object_get(first, "reason")));
        assert_string_equal(got.data ? got.data : "", row->refused);
        text_buffer_free(&got);
        json_decref(answer);
    }
    json_t *answer = fixture_load_text(*state, RECORD_READINGS, "lot,nothing_of_ours_xyz\n");
    const json_t *first = json_array_get(json_object_get(answer, "refused"), 0);
    assert_non_null(strstr(json_string_value(json_object_get(first, "reason")), NAMES));
    json_decref(answer);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(products),      cmocka_unit_test(numbers_of_articles),
        cmocka_unit_test(lots),          cmocka_unit_test(years),
        cmocka_unit_test(uses),          cmocka_unit_test(amounts_in_the_unit_of_their_column),
        cmocka_unit_test(readings),      cmocka_unit_test(log_of_the_plant),
        cmocka_unit_test(forms_of_json), cmocka_unit_test(blank_lines_of_json),
        cmocka_unit_test(headers),
    };
    return cmocka_run_group_tests(tests, fixture_setup, fixture_teardown);
}
