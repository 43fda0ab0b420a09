/* As store/failing, of what rankings, weeks, exports and loads read row by row, and of what keeps
 * their counts. */
#define FAILING_FIRST 10000 /* every one */
#include "../failing.h"
#include "fixture.h"
#include "store/attached.h"
#include "store/backup_last.h"
#include "store/case.h"
#include "store/change.h"
#include "store/clock_mark.h"
#include "store/company_count.h"
#include "store/complaint_place.h"
#include "store/contact.h"
#include "store/contact_said.h"
#include "store/entry.h"
#include "store/evidence.h"
#include "store/export.h"
#include "store/freshness.h"
#include "store/hold.h"
#include "store/joined.h"
#include "store/load_file.h"
#include "store/lot_around.h"
#include "store/lot_find.h"
#include "store/material_first.h"
#include "store/measured.h"
#include "store/noted.h"
#include "store/outbox.h"
#include "store/pattern.h"
#include "store/pattern_cuts.h"
#include "store/pattern_span.h"
#include "store/ranking.h"
#include "store/record_came.h"
#include "store/record_find.h"
#include "store/record_gaps.h"
#include "store/record_write.h"
#include "store/retained.h"
#include "store/totals.h"
#include "store/verdict.h"
#include "store/work.h"

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"
#define THIRD "01990000-0000-7000-8000-000000000003"
#define GTIN "09501101530003"
#define DAY(n) ((n)*WHEN_DAY_MS)

static const struct when_span EVER = {0, DAY(99)};

#define EACH(name, type)                                                                           \
    static int name(void *arg, type row)                                                           \
    {                                                                                              \
        (void)arg;                                                                                 \
        (void)row;                                                                                 \
        return 0;                                                                                  \
    }
EACH(a_body, const char *)
EACH(a_came, const struct record_came *)
EACH(a_change, const struct record_replaced *)
EACH(a_complaint, const struct complaint_row *)
EACH(a_count, const struct pattern_count *)
EACH(a_counted, const struct company_row *)
EACH(a_day, const struct company_day_row *)
EACH(a_dispatch, const struct evidence_dispatch *)
EACH(a_file, const struct attached_row *)
EACH(a_fresh, const struct freshness *)
EACH(a_hit, const struct pattern_hit *)
EACH(a_joined, const struct joined_row *)
EACH(a_lot, const struct pattern_lot *)
EACH(a_mail, const struct outbox_urgent *)
EACH(a_match, const struct contact_match *)
EACH(a_mix, const struct evidence_mix *)
EACH(a_name, const char *)
EACH(a_line, const struct lot_find_line *)
EACH(a_named, const struct evidence_named *)
EACH(a_packed, const struct evidence_packed *)
EACH(a_part, const struct pattern_part *)
EACH(a_product, const struct lot_find_called *)
EACH(a_reading, const struct evidence_reading *)
EACH(a_recipient, const struct outbox_recipient *)
EACH(a_report, const struct evidence_report *)
EACH(a_result, const struct measured_row *)
EACH(a_sample, const struct lot_around_sample *)
EACH(a_series, const struct pattern_series *)
EACH(a_share, const struct evidence_share *)
EACH(a_sharer, const struct evidence_sharer *)
EACH(a_spot, const struct evidence_entry *)
EACH(a_target, const struct evidence_target *)
EACH(a_use, const struct evidence_use *)
EACH(a_value, const struct record_value *)
EACH(a_verdict, const struct pattern_verdict *)
EACH(an_entry, const struct entry_row *)
EACH(an_exported, const struct export_complaint *)

static int a_route(void *arg, const char *route, int64_t units)
{
    (void)units;
    return a_name(arg, route);
}

static int an_open(void *arg, const char *symptom, int week, int64_t n)
{
    (void)week;
    return a_route(arg, symptom, n);
}

static int a_row(void *arg, const struct record_cell *cells, int count)
{
    (void)cells;
    (void)count;
    return a_name(arg, "");
}

#define DOES(name) static int name(struct store *s, struct error *err)

/* ---- what rankings are made of ---- */

DOES(a_lots_records)
{
    struct evidence_lot lot;
    const struct evidence_spot spot = {"slicer", "cleaned", "", "1"};
    int64_t ms;
    int rc = evidence_lot(s, 1, &lot, err);
    rc = rc ? rc : evidence_readings(s, 1, a_reading, NULL, err);
    rc = rc ? rc : evidence_targets(s, 1, 9, a_target, NULL, err);
    rc = rc ? rc : evidence_mixes(s, 1, a_mix, NULL, err);
    rc = rc ? rc : evidence_uses(s, 1, a_use, NULL, err);
    rc = rc ? rc : evidence_material_first(s, "film", "F1", &ms, err);
    rc = rc ? rc : evidence_plantlog(s, &spot, EVER, a_spot, NULL, err);
    return rc ? rc : evidence_dispatches(s, 1, a_dispatch, NULL, err);
}

DOES(lots_beside_it)
{
    struct store_ids ids = {.id = (int64_t[8]){0}, .capacity = 8};
    const struct evidence_made_at of = {1, ""};
    const struct evidence_line all = {"", ""}, one = {"", "1"};
    const struct evidence_share film = {.kind = "film", .level = "F1", .supplier = ""};
    const struct evidence_share mix = {.kind = "mix", .level = "M1", .supplier = ""};
    int64_t units;
    int rc = evidence_packed(s, EVER, a_packed, NULL, err);
    rc = rc ? rc : evidence_packed_any(s, EVER, a_packed, NULL, err);
    rc = rc ? rc : evidence_lots_of_product(s, &of, EVER, &ids, err);
    rc = rc ? rc : evidence_made(s, EVER, a_share, NULL, err);
    rc = rc ? rc : evidence_made_any(s, EVER, a_share, NULL, err);
    rc = rc ? rc : evidence_preserving(s, EVER, &all, a_share, NULL, err);
    rc = rc ? rc : evidence_preserving(s, EVER, &one, a_share, NULL, err);
    rc = rc ? rc : evidence_traded(s, EVER, a_share, NULL, err);
    rc = rc ? rc : evidence_made_of(s, 1, a_share, NULL, err);
    rc = rc ? rc : evidence_sharers(s, &film, 9, a_sharer, NULL, err);
    rc = rc ? rc : evidence_sharers(s, &mix, 9, a_sharer, NULL, err);
    rc = rc ? rc : evidence_named(s, EVER, a_named, NULL, err);
    rc = rc ? rc : evidence_sent(s, EVER, a_dispatch, NULL, err);
    return rc ? rc : evidence_units(s, EVER, &units, err);
}

DOES(company)
{
    const struct company_count_scope scope = {"mold", 0, 99};
    int64_t serial;
    int rc = evidence_day_reports(s, "mold", 0, a_report, NULL, err);
    rc = rc ? rc : evidence_reports(s, "mold", EVER, a_report, NULL, err);
    rc = rc ? rc : company_count_days(s, &scope, a_day, NULL, err);
    rc = rc ? rc : company_count_days_serial(s, &scope, &serial, err);
    rc = rc ? rc : company_count_list(s, &scope, a_counted, NULL, err);
    rc = rc ? rc : company_count_records_serial(s, &serial, err);
    rc = rc ? rc : company_count(s, 1, "mold", DAY(4), 1, err);
    return rc ? rc : company_count(s, 1, "mold", DAY(4), -1, err);
}

DOES(rankings)
{
    struct ranking ranking = {0};
    int64_t serial;
    int rc = ranking_last_mailed(s, 1, &ranking, err);
    ranking_clear(&ranking);
    rc = rc ? rc : verdict_serial(s, &serial, err);
    return rc ? rc : case_flag_harm(s, 1, err);
}

/* ---- weeks ---- */

DOES(weeks)
{
    const struct pattern_weeks all = {0, PATTERN_LAST_WEEK};
    int64_t n;
    bool is_new;
    int rc = pattern_check_zone(s, NULL, err);
    rc = rc ? rc : pattern_series(s, a_series, NULL, err);
    rc = rc ? rc : pattern_received(s, all, a_count, NULL, err);
    rc = rc ? rc : pattern_units(s, all, a_count, NULL, err);
    rc = rc ? rc : pattern_units_of(s, 1, all, a_count, NULL, err);
    rc = rc ? rc : pattern_made(s, 1, all, a_count, NULL, err);
    rc = rc ? rc : pattern_made_week(s, 1, a_count, NULL, err);
    rc = rc ? rc : pattern_between(s, EVER, a_count, NULL, err);
    rc = rc ? rc : pattern_open(s, NULL, an_open, NULL, err);
    rc = rc ? rc : pattern_verdicts(s, EVER, NULL, a_verdict, NULL, err);
    rc = rc ? rc : pattern_other(s, EVER, NULL, a_body, NULL, err);
    rc = rc ? rc : pattern_harm(s, EVER, NULL, &n, err);
    rc = rc ? rc : pattern_differences(s, &n, err);
    return rc ? rc : pattern_cuts(s, &is_new, err);
}

DOES(scopes)
{
    struct pattern_scope scope = {"", "", "", "mold", "", EVER, DAY(99)};
    const struct pattern_series line = {.factor = "line", .level = "1", .symptom = "mold"};
    const struct pattern_span span = {EVER, 0, 9, DAY(99), 0};
    int rc = pattern_lots(s, &scope, a_lot, NULL, err);
    rc = rc ? rc : pattern_span_received(s, &span, a_count, NULL, err);
    rc = rc ? rc : pattern_span_units(s, &span, a_count, NULL, err);
    rc = rc ? rc : pattern_span_parts(s, &scope, a_part, NULL, err);
    rc = rc ? rc : pattern_span_hit(s, &scope, &line, a_hit, NULL, err);
    scope.cause = "rope";
    return rc ? rc : pattern_lots(s, &scope, a_lot, NULL, err);
}

DOES(counts)
{
    const struct record_cell key[] = {{.form = RECORD_INTEGER, .integer = 1},
                                      {.form = RECORD_TEXT, .text = "R1", .length = 2},
                                      {.form = RECORD_TEXT, .text = "S1", .length = 2},
                                      {.form = RECORD_INTEGER, .integer = 9}};
    int rc = 0;
    for (int way = PATTERN_OUT; way <= PATTERN_IN; way += PATTERN_IN - PATTERN_OUT) {
        rc = rc ? rc : pattern_count_complaint(s, 1, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_lot(s, 1, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_product(s, 1, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_sent(s, key, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_routed(s, key, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_case(s, 1, (enum pattern_way)way, err);
        rc = rc ? rc : pattern_count_causes(s, 1, (enum pattern_way)way, err);
    }
    rc = rc ? rc : pattern_verdict_given(s, 1, err);
    return rc ? rc : pattern_forget(s, "Elm Street", err);
}

DOES(counts_all)
{
    return pattern_recount(s, err);
}

/* ---- records ---- */

static int write_cells(struct store *s, enum record_kind kind, const struct record_cell *cells,
                       struct error *err)
{
    enum record_outcome outcome;
    struct record_writing *writing = record_write_new(s, kind, "input", DAY(3));
    int rc = record_write_compare(writing, cells, &outcome, err);
    rc = rc ? rc : record_write(writing, cells, &outcome, err);
    record_write_free(writing);
    return rc;
}

#define WORD(word)                                                                                 \
    {                                                                                              \
        .form = RECORD_TEXT, .text = (word), .length = sizeof(word) - 1                            \
    }

DOES(rows_that_change)
{
    const struct record_cell use[RECORD_COLUMNS] = {
        {.form = RECORD_INTEGER, .integer = 1}, WORD("film"), WORD("F1"), WORD(""),
        {.form = RECORD_NUMBER, .number = 2},   WORD("kg")};
    const struct record_cell mix[RECORD_COLUMNS] = {{.form = RECORD_INTEGER, .integer = 1},
                                                    WORD("M1"),
                                                    {.form = RECORD_INTEGER, .integer = 1},
                                                    {.form = RECORD_NUMBER, .number = 300}};
    int rc = write_cells(s, RECORD_USES, use, err);
    return rc ? rc : write_cells(s, RECORD_MIXES, mix, err);
}

DOES(gaps)
{
    const struct without film = {RECORD_USES, "film"}, core = {RECORD_READINGS, "core_at_pack_c"},
                         sent = {RECORD_DISPATCH, ""}, mixes = {RECORD_MIXES, ""};
    int64_t ms;
    bool is;
    int rc = record_gaps_newest(s, NULL, &ms, err);
    rc = rc ? rc : record_gaps_has_no_place(s, 1, "film", &is, err);
    rc = rc ? rc : record_gaps_has(s, 1, &film, &is, err);
    rc = rc ? rc : record_gaps_has(s, 1, &core, &is, err);
    rc = rc ? rc : record_gaps_has(s, 1, &sent, &is, err);
    rc = rc ? rc : record_gaps_has(s, 1, &mixes, &is, err);
    rc = rc ? rc : record_gaps_values(s, &(struct record_gaps_of){EVER, NULL}, a_value, NULL, err);
    rc = rc ? rc : record_came_note(s, 1, RECORD_USES, DAY(3), err);
    rc = rc ? rc : record_came_list(s, EVER, a_came, NULL, err);
    rc = rc ? rc : freshness_list(s, a_fresh, NULL, err);
    return rc ? rc : retained_newest(s, &ms, err);
}

static int a_case_of(void *arg, int64_t case_id, bool own)
{
    (void)arg;
    (void)case_id;
    (void)own;
    return 0;
}

DOES(records)
{
    int64_t id, ms;
    int rc = record_find_lot(s, "L1", &id, &ms, err);
    rc = rc ? rc : record_find_product(s, "W24", &id, err);
    rc = rc ? rc : record_find_cases(s, 1, a_case_of, NULL, err);
    rc = rc ? rc : record_find_replaced(s, RECORD_USES, "[", a_change, NULL, err);
    rc = rc ? rc : material_first_used(s, 1, "film", "F1", err);
    rc = rc ? rc : material_first_lot(s, 1, err);
    rc = rc ? rc : material_first_differences(s, &id, err);
    struct totals totals;
    return rc ? rc : totals_get(s, &totals, err);
}

DOES(loads)
{
    struct load_file file = {.kind = RECORD_USES, .accepted_ms = 1, .id = FIRST}, got;
    int64_t count;
    bool found;
    int rc = load_file_accept(s, &file, err);
    rc = rc ? rc : load_file_next(s, &got, &found, err);
    file.state = LOAD_FAILED;
    rc = rc ? rc : load_file_progress(s, &file, err);
    rc = rc ? rc : load_file_get(s, FIRST, &got, err);
    return rc ? rc : load_file_failed(s, &got, &count, err);
}

DOES(lots)
{
    struct lot_find_key key[4];
    struct lot_find_keys keys = {.key = key, .capacity = 4};
    struct lot_find_product product;
    bool is;
    int rc = lot_find_keys(s, "L", 1, &keys, err);
    rc = rc ? rc : lot_find_lines(s, a_line, NULL, err);
    rc = rc ? rc : lot_find_plants(s, a_name, NULL, err);
    rc = rc ? rc : lot_find_product_by_code(s, "W24", &product, err);
    rc = rc ? rc : lot_find_called(s, false, a_product, NULL, err);
    rc = rc ? rc : lot_find_called(s, true, a_product, NULL, err);
    rc = rc ? rc : lot_find_product_by_gtin(s, GTIN, &product, err);
    rc = rc ? rc : lot_find_routes(s, 1, a_route, NULL, err);
    for (int kind = LOT_FIND_STORE; !rc && kind <= LOT_FIND_ROUTE; kind++) {
        rc = lot_find_place_known(s, (enum lot_find_place)kind, "S1", &is, err);
        rc = rc ? rc : lot_find_places(s, (enum lot_find_place)kind, a_name, NULL, err);
    }
    return rc ? rc : lot_around_samples(s, 1, "crumb_ph", a_sample, NULL, err);
}

/* ---- complaints ---- */

DOES(people)
{
    const struct contact_query query = {
        .symptom = "mold", .fold = "#5550123", .received = EVER, .lot_id = 1};
    const struct contact_row row = {1, SECOND, "{}", "#5550199", DAY(90)};
    int rc = contact_same_person(s, &query, 9, a_match, NULL, err);
    rc = rc ? rc : contact_add(s, &row, err);
    rc = rc ? rc : contact_put(s, &row, err);
    rc = rc ? rc : contact_move(s, 1, SECOND, 2, "", err);
    rc = rc ? rc : contact_said_drop(s, 1, err);
    return rc ? rc : contact_said_drop_beside(s, 1, err);
}

DOES(reports)
{
    const struct complaint_new c = {
        .reference = "r", .store = "Elm Street", .note = "it was moldy", .body = "{\"a\":1}"};
    const struct entry_report row = {.report = FIRST, .body = "{}", .complaint_id = 1};
    const struct complaint_slice slice = {0, 0, 9};
    int rc = entry_get(s, FIRST, an_entry, NULL, err);
    rc = rc ? rc : entry_keep(s, FIRST, err);
    rc = rc ? rc : entry_put(s, FIRST, &c, err);
    rc = rc ? rc : entry_rewrite(s, &row, &c, "{}", NULL, err);
    rc = rc ? rc : entry_forget_words(s, err);
    return rc ? rc : complaint_not_exact(s, &slice, a_complaint, NULL, err);
}

DOES(joined)
{
    char *first = NULL;
    int rc = joined_first_put(s, 1, "{}", err);
    rc = rc ? rc : joined_first(s, 1, &first, err);
    free(first);
    rc = rc ? rc : joined_first_remove(s, 1, err);
    const struct joined_row row = {1, DAY(1), DAY(1), DAY(2), THIRD, "{}", NULL};
    rc = rc ? rc : joined_add(s, &row, err);
    return rc ? rc : joined_by_uuid(s, THIRD, a_joined, NULL, err);
}

DOES(written)
{
    const struct change_row change = {
        .id = 1, .complaint = FIRST, .by = "ivo", .reason = "x", .was = "1", .now = "2"};
    const struct noted_row note = {NOTED_FOLLOW, 1, "wet", ""};
    const struct measured_row key = {
        .lot_id = 1, .quantity = "crumb_ph", .lab = "Northgate", .sample = "1"};
    char *bytes = NULL;
    int64_t newest;
    int rc = change_newest(s, &newest, err);
    rc = rc ? rc : change_rewrite(s, &change, err);
    rc = rc ? rc : noted_rewrite(s, &note, err);
    rc = rc ? rc : measured_find(s, &key, a_result, NULL, err);
    rc = rc ? rc : hold_take_code(s, 1, err);
    rc = rc ? rc : attached_get(s, 1, a_file, NULL, &bytes, err);
    free(bytes);
    return rc ? rc : attached_erase(s, 1, err);
}

/* ---- exported ---- */

static int export_all(struct store *s, const struct export_table *table, struct error *err)
{
    struct export_cursor cursor = {INT64_MIN, true};
    int rc = 0;
    while (!rc && cursor.more)
        rc = export_next(s, table, &cursor, a_row, NULL, err);
    return rc;
}

DOES(exports)
{
    int count, rc = 0;
    const struct export_table *tables = export_tables(&count);
    for (int i = 0; i < count && !rc; i++)
        rc = export_all(s, &tables[i], err);
    const struct export_table *decisions = export_decisions(&count);
    for (int i = 0; i < count && !rc; i++)
        rc = export_all(s, &decisions[i], err);
    rc = rc ? rc : export_all(s, export_events(), err);
    for (int of = EXPORT_STANDING; of <= EXPORT_WITHDRAWN && !rc; of++) {
        struct export_cursor cursor = {INT64_MIN, true};
        while (!rc && cursor.more)
            rc = export_complaints(s, (enum export_of)of, &cursor, an_exported, NULL, err);
    }
    return rc;
}

/* ---- mails and the daemon's own ---- */

DOES(mails)
{
    struct outbox_delivery row[2] = {{0}};
    struct outbox_deliveries stranded = {row, 0, 2};
    const struct outbox_new mail = {
        .event = "urgent", .case_id = 1, .message_id = "<9@m>", .payload = "{}", .created_ms = 1};
    static const char *const QA[] = {"qa@mill.example"};
    const struct outbox_addresses to = {.event = "urgent", .recipient = QA, .count = 1};
    bool is;
    int rc = outbox_add(s, &mail, err);
    rc = rc ? rc : outbox_ids(s, "<9", a_name, NULL, err);
    rc = rc ? rc : outbox_gathered_due(s, DAY(9), &is, err);
    rc = rc ? rc : outbox_gathered_now(s, 1, DAY(9), err);
    rc = rc ? rc : outbox_urgent_of(s, 1, EVER, a_mail, NULL, err);
    rc = rc ? rc : outbox_rewrite(s, 1, "{}", err);
    rc = rc ? rc : outbox_recipients(s, 1, a_recipient, NULL, err);
    rc = rc ? rc : outbox_stranded(s, &to, DAY(9), &stranded, err);
    for (int i = 0; i < stranded.count; i++)
        outbox_delivery_free(&row[i]);
    return rc ? rc : outbox_take_up(s, DAY(9), err);
}

DOES(own)
{
    enum clock_mark mark;
    struct backup_last last;
    char *text = NULL;
    int64_t n;
    bool is;
    int rc = clock_mark_look(s, DAY(9), &mark, err);
    rc = rc ? rc : clock_mark_look(s, DAY(10), &mark, err);
    rc = rc ? rc : backup_last_get(s, &last, err);
    rc = rc ? rc : store_setting_set(s, "a test's", "1", err);
    rc = rc ? rc : store_setting_get(s, "a test's", &text, err);
    free(text);
    rc = rc ? rc : work_add(s, WORK_RANK, 1, DAY(1), err);
    rc = rc ? rc : work_waits(s, WORK_RANK, 1, &is, err);
    rc = rc ? rc : work_since(s, 3, &n, err);
    return rc ? rc : work_count(s, WORK_RANK, &n, err);
}

/* ---- */

struct asked {
    struct store *store;
    int (*does)(struct store *store, struct error *err);
};

static int ask(void *arg, struct error *err)
{
    const struct asked *a = arg;
    return a->does(a->store, err);
}

/* A lot with all that records may say of it, complaints and an attached file. */
static void fill(struct fixture *f)
{
    struct complaint_placed placed;
    struct complaint_new first = fixture_complaint(FIRST, 1), second = fixture_complaint(SECOND, 0);
    first.contact = "{\"phone\":\"555 0123\"}";
    first.contact_fold = "#5550123";
    first.note = "sour";
    first.harm = true;
    fixture_write(f, "UPDATE product SET gtin = '" GTIN "';"
                     "INSERT INTO quantity(id, name) VALUES(1, 'crumb_ph'), (2, 'cleaned');"
                     "INSERT INTO reading VALUES(1, 1, 5, '', '', 5.5, NULL);"
                     "INSERT INTO mix VALUES('M1', 1, 1, 200);"
                     "INSERT INTO material_use(lot_id, material, material_lot, mix, kind, applied)"
                     " VALUES(1, 'film', 'F1', '', NULL, NULL),"
                     " (1, 'cultured wheat', 'C1', '', 'cultured-wheat', 'dough'),"
                     " (2, 'film', 'F1', '', NULL, NULL);"
                     "INSERT INTO plantlog VALUES('slicer', 2, '', '1', 4, 1, NULL);"
                     "INSERT INTO dispatch(lot_id, route, store, at_ms, units)"
                     " VALUES(1, 'R1', 'S1', 9, 100)");
    assert_int_equal(pattern_set_up(f->store, NULL, NULL), 0);
    assert_int_equal(complaint_log(f->store, &first, &placed, NULL), 0);
    assert_int_equal(complaint_log(f->store, &second, &placed, NULL), 0);
    struct ranking_cause causes[] = {{"packed-hot", .8}, {"not-known", .2}};
    struct ranking ranking = {
        .case_id = 1, .complaints = 1, .rules = "r", .causes = causes, .cause_count = 2};
    ranking.why = (char[]){"a complaint came"};
    assert_int_equal(ranking_save(f->store, &ranking, NULL), 0);
    const struct verdict_new verdict = {1, DAY(2), "packed-hot", "assay", "", "qa"};
    assert_int_equal(verdict_add(f->store, &verdict, NULL), 0);
    /* "x", as sha256sum says of it */
    const struct attached_row file = {
        .complaint_id = 1,
        .name = "loaf.jpg",
        .type = "image/jpeg",
        .sha256 = "2d711642b726b04401627ca9fbac32f5c8530fb1903cc4db02258717921a4881",
        .data = "x",
        .bytes = 1,
        .by_name = "jo",
        .user = "",
        .at_ms = DAY(2)};
    const struct attached_limits limits = {10, 10};
    int64_t id;
    bool again;
    assert_int_equal(attached_put(f->store, &file, &limits, &id, &again, NULL), 0);
}

static void what_the_disk_fails_at_is_told(void **state)
{
/* `unsaid`: what a changed row said before, of which names are looked up, the store remembers */
#define SAID(name, unsaid)                                                                         \
    {                                                                                              \
#name, name, unsaid                                                                        \
    }
#define NAMED(name) SAID(name, 0)
    static const struct {
        const char *name;
        int (*does)(struct store *, struct error *);
        int unsaid;
    } DONE[] = {
        NAMED(a_lots_records), NAMED(lots_beside_it),
        NAMED(company),        NAMED(rankings),
        NAMED(weeks),          NAMED(scopes),
        NAMED(counts),         NAMED(counts_all),
        NAMED(gaps),           SAID(rows_that_change, 4),
        NAMED(records),        NAMED(loads),
        NAMED(lots),           NAMED(people),
        NAMED(reports),        NAMED(joined),
        NAMED(written),        NAMED(exports),
        NAMED(mails),          NAMED(own),
    };
    struct fixture *f = *state;
    fill(f);
    for (size_t i = 0; i < COUNT_OF(DONE); i++) {
        struct asked a = {f->store, DONE[i].does};
        failing_check(f->store, ask, &a, DONE[i].name, DONE[i].unsaid);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(what_the_disk_fails_at_is_told, fixture_open,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
