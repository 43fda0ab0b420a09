#include "store/export.h"
#include "base/words.h"
#include "store/db.h"
#include "store/hold_inside.h"
#include <string.h>

#define T EXPORT_TEXT
#define W EXPORT_TIME
#define D EXPORT_DAY
#define N EXPORT_NUMBER
#define LENGTH(array) (int)(sizeof(array) / sizeof((array)[0]))

/* ---- records: columns as a load takes them ---- */

static const struct export_column PRODUCTS[] = {
    {"product", T, "code"},
    {"name", T, "for people"},
    {"family", T, "pan-bread, bun, flatbread, sweet-good"},
    {"shelf_life_days", N, ""},
    {"unit_g", N, "grams a pack"},
    {"gtin", T, "14 digits"},
    {"also", T, "other codes and names of it, a ; between"}};
static const struct export_column TARGETS[] = {
    {"product", T, ""},
    {"quantity", T, "rules/quantities.json has its unit"},
    {"from", D, "of lots packed from that day on; empty: of all before"},
    {"target", N, ""},
    {"low", N, ""},
    {"high", N, ""}};
static const struct export_column LOTS[] = {
    {"lot", T, "code"},   {"product", T, ""},    {"line", T, ""},
    {"made_from", W, ""}, {"made_to", W, ""},    {"packed_from", W, ""},
    {"packed_to", W, ""}, {"units", N, "packs"}, {"code_date", D, "printed on the pack"},
    {"shift", T, ""},     {"plant", T, ""}};
static const struct export_column MIXES[] = {
    {"lot", T, ""}, {"mix", T, ""}, {"at", W, ""}, {"flour_kg", N, ""}};
static const struct export_column USES[] = {{"lot", T, ""},
                                            {"material", T, "flour, inhibitor, film, ..."},
                                            {"material_lot", T, ""},
                                            {"mix", T, "empty: the whole lot"},
                                            {"amount", N, ""},
                                            {"unit", T, "of the amount"},
                                            {"active_pct", N, "percent active"},
                                            {"supplier", T, ""},
                                            {"kind", T, "of preserving ingredient"},
                                            {"applied", T, "dough, surface; empty: as usual"}};
static const struct export_column READINGS[] = {
    {"lot", T, ""}, {"quantity", T, ""}, {"value", N, "in the quantity's unit"},
    {"at", W, ""},  {"mix", T, ""},      {"point", T, "where it was measured"},
    {"note", T, ""}};
static const struct export_column PLANTLOG[] = {
    {"at", W, ""},   {"place", T, ""}, {"quantity", T, ""}, {"value", N, ""},
    {"line", T, ""}, {"note", T, ""},  {"plant", T, ""}};
static const struct export_column DISPATCH[] = {{"lot", T, ""},
                                                {"route", T, ""},
                                                {"at", W, ""},
                                                {"units", N, "packs"},
                                                {"store", T, ""},
                                                {"transit_c", N, "degrees Celsius on the way"},
                                                {"retailer", T, "whose store it is"}};

/* ---- what was found and done ---- */

static const struct export_column CASES[] = {{"case", T, "as people say it: C12"},
                                             {"symptom", T, ""},
                                             {"lot", T, "empty: not certain"},
                                             {"state", T, "open, settled, moved"},
                                             {"moved_to", T, "the case its complaints moved to"},
                                             {"opened", W, ""},
                                             {"as_of", W, "its newest complaint"},
                                             {"complaints", N, ""},
                                             {"packs", N, ""},
                                             {"harm", N, "complaints that report harm"},
                                             {"top_cause", T, "by its newest ranking"},
                                             {"top_probability", N, "0 to 1"}};
static const struct export_column PLACED[] = {{"complaint", T, "id"},
                                              {"case", T, ""},
                                              {"logged_at", W, ""},
                                              {"withdrawn_at", W, "empty: it stands"},
                                              {"lot_state", T, "how sure the lot is"},
                                              {"lot", T, "a lot it may be about"},
                                              {"weight", N, "how likely, 0 to 1"}};
static const struct export_column RANKINGS[] = {{"case", T, ""},
                                                {"revision", N, ""},
                                                {"as_of", W, ""},
                                                {"rules", T, "hash of the rules it was made by"},
                                                {"mailed", T, "why; empty: it was not"},
                                                {"place", N, "0: the likeliest"},
                                                {"cause", T, ""},
                                                {"probability", N, "0 to 1"}};
static const struct export_column VERDICTS[] = {
    {"case", T, ""},  {"complaint", T, "one of the case: settle takes it for the case"},
    {"cause", T, ""}, {"confirmed_by", T, WORDS_CONFIRMED_BY},
    {"note", T, ""},  {"by", T, ""},
    {"at", W, ""},    {"reopened_at", W, "empty: it stands"}};
static const struct export_column HOLDS[] = {
    {"hold", T, "number"},
    {"lot", T, "or a code that no record bears"},
    {"plant", T, "the lot's; of a code that no record bears whose people hold it"},
    {"reason", T, "empty: it was decided without a hold"},
    {"by", T, "who decided, as signed"},
    {"user", T, "who sent it, as the daemon knows them"},
    {"case", T, ""},
    {"at", W, ""},
    {"disposition", T, "release, rework, divert, destroy; empty: it stands"},
    {"end_reason", T, ""},
    {"ended_by", T, ""},
    {"ended_user", T, ""},
    {"ended_at", W, ""}};
static const struct export_column MEASURED[] = {
    {"lot", T, ""},
    {"quantity", T, "of the rules, or as it was written"},
    {"said", T, "the result, as it was written"},
    {"value", N, "empty: words, or the rules did not know the quantity"},
    {"unit", T, "of the value"},
    {"lab", T, ""},
    {"sample", T, "its number"},
    {"method", T, ""},
    {"note", T, ""},
    {"at", W, "of the test"},
    {"case", T, "it was asked for by"},
    {"by", T, "who entered it, as signed"},
    {"user", T, "who sent it, as the daemon knows them"},
    {"logged_at", W, ""},
    {"ended_at", W, "corrected or taken back; empty: it stands"},
    {"end_reason", T, ""}};
static const struct export_column ATTACHED[] = {
    {"attachment", N, "number; the file is attachments/ and that number"},
    {"case", T, "empty: it is a complaint's"},
    {"complaint", T, "id; of a case one of its complaints"},
    {"name", T, ""},
    {"type", T, ""},
    {"bytes", N, ""},
    {"sha256", T, "of the file"},
    {"by", T, "who attached it, as signed"},
    {"user", T, "as the daemon knows them"},
    {"at", W, ""},
    {"detached_at", W, "empty: it is there"},
    {"end_reason", T, ""}};
static const struct export_column FOLLOWED[] = {
    {"case", T, ""},
    {"complaint", T, "one of the case: follow takes it for the case"},
    {"severity", T, WORDS_SEVERITIES},
    {"by_rule", T, "as the rules weigh it"},
    {"owner", T, ""},
    {"due", D, ""},
    {"since", W, "when it was first weighed"}};
static const struct export_column FOLLOW_NOTES[] = {
    {"case", T, ""},
    {"at", W, ""},
    {"what", T, "noted, owner, due, severity, call-back, answered"},
    {"complaint", T, "of whom it is about"},
    {"was", T, ""},
    {"is", T, "of a call-back the day, of an answer when it was given"},
    {"text", T, "note, reason, what to tell or what was told"},
    {"by", T, "as signed; empty: the rules"},
    {"user", T, "who sent it, as the daemon knows them"}};
static const struct export_column CALL_BACKS[] = {{"complaint", T, "whose caller"},
                                                  {"due", D, ""},
                                                  {"why", T, "what to tell"},
                                                  {"asked_at", W, ""},
                                                  {"answered_at", W, "empty: it waits"}};
static const struct export_column ACTIONS[] = {{"action", N, "number"}, {"cause", T, ""},
                                               {"line", T, ""},         {"place", T, ""},
                                               {"symptom", T, ""},      {"at", W, "in force since"},
                                               {"note", T, ""},         {"by", T, ""},
                                               {"logged_at", W, ""},    {"plant", T, ""}};
static const struct export_column CHANGES[] = {
    {"complaint", T, "id"}, {"at", W, ""},  {"by", T, ""}, {"reason", T, ""},
    {"field", T, ""},       {"was", T, ""}, {"is", T, ""}};
static const struct export_column ERASURES[] = {
    {"complaint", T, "id"}, {"at", W, ""}, {"basis", T, "request, date"}};
static const struct export_column MAILS[] = {{"mail", N, "number"},
                                             {"event", T, "urgent, case, digest, due, …"},
                                             {"case", T, ""},
                                             {"revision", N, "of the ranking it told"},
                                             {"message_id", T, ""},
                                             {"queued_at", W, ""},
                                             {"sent_at", W, "empty: it has not left"}};
static const struct export_column LOADS[] = {{"source", T, "file, as its sender called it"},
                                             {"kind", T, ""},
                                             {"accepted_at", W, ""},
                                             {"state", T, "waiting, done, failed"},
                                             {"new", N, "rows"},
                                             {"changed", N, "rows"},
                                             {"same", N, "rows"}};
static const struct export_column REPLACED[] = {{"kind", T, "of record"},
                                                {"key", T, "of the row, a JSON list"},
                                                {"was", T, "the row before, JSON"},
                                                {"replaced_at", W, ""},
                                                {"source", T, "file that changed it"},
                                                {"now", T, "the columns that changed, JSON"}};

#define OF_LOT                                                                                     \
    " JOIN lot l ON l.id = t.lot_id WHERE t.lot_id > ?1 AND t.lot_id <= ?2 ORDER BY t.lot_id"
#define KEYS(first, last) first, last
#define IDS_OF(key, table) "SELECT min(" key ") - 1 FROM " table, "SELECT max(" key ") FROM " table
#define IDS(table) IDS_OF("id", table)
/* The places of WORDS_SEVERITIES. */
#define SEVERITY(place)                                                                            \
    "CASE " place " WHEN 0 THEN 'low' WHEN 1 THEN 'usual' WHEN 2 THEN 'high' ELSE 'urgent' END"
#define BETWEEN " WHERE t.id > ?1 AND t.id <= ?2 ORDER BY t.id"
#define CASE_NAME(id) "CASE WHEN " id " > 0 THEN 'C' || " id " END"
#define ROW(name, what, columns, ids, rows, span)                                                  \
    {                                                                                              \
        name, what, columns, LENGTH(columns), ids, rows, span                                      \
    }

static const struct export_table TABLES[] = {
    ROW("products", "what is made", PRODUCTS, IDS("product"),
        "SELECT product, name, family, shelf_life_days, unit_g, gtin, also FROM product t" BETWEEN,
        5000),
    ROW("targets", "what it should be like", TARGETS, IDS("product"),
        "SELECT p.product, q.name, nullif(t.from_day, 0), t.target, t.low, t.high FROM target t "
        "JOIN"
        " product p ON p.id = "
        "t.product_id"
        " JOIN quantity q ON q.id = t.quantity_id WHERE t.product_id > ?1 AND t.product_id <= ?2"
        " ORDER BY t.product_id, q.name, t.from_day",
        1000),
    ROW("lots", "what was made and packed", LOTS, IDS("lot"),
        "SELECT t.lot, p.product, t.line, t.made_from_ms, t.made_to_ms, t.packed_from_ms, "
        "t.packed_to_ms, t.units,"
        " t.code_day, t.shift, t.plant FROM lot t JOIN product p ON p.id = t.product_id" BETWEEN,
        5000),
    ROW("mixes", "doughs of a lot", MIXES, IDS("lot"),
        "SELECT l.lot, t.mix, t.at_ms, t.flour_kg FROM mix t" OF_LOT ", t.mix", 1000),
    ROW("uses", "materials of a lot", USES, IDS("lot"),
        "SELECT l.lot, t.material, t.material_lot, t.mix, t.amount, t.unit, t.active_pct, "
        "t.supplier, t.kind, t.applied"
        " FROM material_use t" OF_LOT ", t.material, t.material_lot, t.mix",
        500),
    ROW("readings", "what was measured of a lot", READINGS, IDS("lot"),
        "SELECT l.lot, q.name, t.value, t.at_ms, t.mix, t.point, t.note FROM reading t"
        " JOIN quantity q ON q.id = t.quantity_id" OF_LOT
        ", t.quantity_id, t.at_ms, t.mix, t.point",
        200),
    ROW("plantlog", "what was seen and done in the plant", PLANTLOG,
        KEYS("SELECT min(at_ms) / 86400000 - 1 FROM plantlog",
             "SELECT max(at_ms) / 86400000 + 1 FROM plantlog"),
        "SELECT t.at_ms, t.place, q.name, t.value, t.line, t.note, t.plant FROM plantlog t JOIN "
        "quantity q "
        "ON q.id ="
        " t.quantity_id WHERE t.at_ms > ?1 * 86400000 AND t.at_ms <= ?2 * 86400000"
        " ORDER BY t.at_ms, t.place, q.name, t.plant, t.line",
        90),
    ROW("dispatch", "where a lot went", DISPATCH, IDS("lot"),
        "SELECT l.lot, t.route, t.at_ms, t.units, t.store, t.transit_c, t.retailer FROM dispatch "
        "t" OF_LOT ", t.at_ms, t.route, t.store",
        500),
    ROW("cases", "complaints of one symptom about one lot", CASES, IDS("complaint_case"),
        "SELECT 'C' || t.id, t.symptom, l.lot, t.state, " CASE_NAME(
            "t.moved_to") ", t.opened_ms, t.as_of_ms,"
                          " t.complaints, t.packs, t.harm, t.top_cause, t.top_probability FROM "
                          "complaint_case t"
                          " LEFT JOIN lot l ON l.id = t.lot_id" BETWEEN,
        5000),
    ROW("placed", "the case of each complaint, and the lots it may be about", PLACED,
        IDS("complaint"),
        "SELECT t.uuid, 'C' || t.case_id, t.logged_ms, t.withdrawn_ms, t.lot_state, l.lot, "
        "w.weight FROM complaint "
        "t"
        " LEFT JOIN complaint_lot w ON w.complaint_id = t.id LEFT JOIN lot l ON l.id = "
        "w.lot_id" BETWEEN ", w.weight DESC",
        2000),
    ROW("rankings", "likely causes, as they were told", RANKINGS, IDS("complaint_case"),
        "SELECT 'C' || t.case_id, t.revision, t.as_of_ms, s.hash, t.why, r.place, c.name, "
        "r.probability FROM ranking t"
        " JOIN ranking_cause r ON r.case_id = t.case_id AND r.revision = t.revision JOIN cause c "
        "ON c.id = r.cause_id JOIN rule_set s ON s.id = t.rule_set_id"
        " WHERE t.case_id > ?1 AND t.case_id <= ?2 ORDER BY t.case_id, t.revision, r.place",
        500),
    ROW("verdicts", "causes that QA confirmed", VERDICTS, IDS("verdict"),
        "SELECT 'C' || t.case_id, (SELECT min(c.uuid) FROM complaint c WHERE c.case_id = "
        "t.case_id AND c.withdrawn_ms IS NULL), t.cause,"
        " t.confirmed_by, t.note, t.by_name, t.at_ms, t.reopened_ms FROM verdict t" BETWEEN,
        5000),
    ROW("holds", "lots held, and how each hold ended", HOLDS, IDS("hold"),
        "SELECT 'H' || t.id, t.code, " HOLD_PLANT(
            "t") ", t.reason, t.by_name, t.by_user, 'C' || t.case_id, t.at_ms,"
                 " t.disposition, t.end_reason, t.ended_by, t.ended_user, t.ended_ms FROM hold "
                 "t" HOLD_OWNERS("t") BETWEEN,
        5000),
    ROW("measured", "results of laboratories and retained samples", MEASURED, IDS("measured"),
        "SELECT l.lot, t.quantity, t.said, t.value, t.unit, t.lab, t.sample, t.method, t.note,"
        " t.at_ms, " CASE_NAME(
            "t.case_id") ", t.by_name, t.by_user, t.logged_ms, t.ended_ms,"
                         " t.end_reason FROM measured t JOIN lot l ON l.id = t.lot_id" BETWEEN,
        5000),
    ROW("attached", "photos and reports", ATTACHED, IDS("attached"),
        "SELECT t.id, " CASE_NAME(
            "t.case_id") ", coalesce(c.uuid, (SELECT min(o.uuid) FROM complaint"
                         " o WHERE o.case_id = t.case_id AND o.withdrawn_ms IS NULL)), t.name, "
                         "t.type, t.bytes,"
                         " t.sha256, t.by_name, t.by_user, t.at_ms, t.ended_ms, t.end_reason FROM "
                         "attached t LEFT JOIN"
                         " complaint c ON c.id = t.complaint_id" BETWEEN,
        2000),
    ROW("follow", "how cases are followed up", FOLLOWED, IDS_OF("case_id", "case_follow"),
        "SELECT 'C' || t.case_id, (SELECT min(c.uuid) FROM complaint c WHERE c.case_id = t.case_id"
        " AND c.withdrawn_ms IS NULL), " SEVERITY("coalesce(t.set_to, t.by_rule)") ", " SEVERITY(
            "t.by_rule") ", t.owner, t.due_day, t.since_ms FROM case_follow t WHERE t.case_id > ?1"
                         " AND t.case_id <= ?2 ORDER BY t.case_id",
        5000),
    ROW("follow_notes", "what was noted, decided and answered", FOLLOW_NOTES, IDS("follow_entry"),
        "SELECT 'C' || t.case_id, t.at_ms, t.what, t.report, t.was, t.now, t.text, t.by_name,"
        " t.by_user FROM follow_entry t" BETWEEN,
        5000),
    ROW("call_backs", "callers to be called back", CALL_BACKS, IDS("call_back"),
        "SELECT t.report, t.due_day, e.text, e.at_ms, a.at_ms FROM call_back t JOIN follow_entry e"
        " ON e.id = t.asked_id LEFT JOIN follow_entry a ON a.id = t.answered_id" BETWEEN,
        5000),
    ROW("actions", "corrective actions", ACTIONS, IDS("corrective_action"),
        "SELECT id, cause, line, place, symptom, at_ms, note, by_name, logged_ms, plant FROM "
        "corrective_action t" BETWEEN,
        5000),
    ROW("changes", "what became of complaints", CHANGES, IDS("complaint_change"),
        "SELECT complaint, at_ms, by_name, reason, field, was, now FROM complaint_change t" BETWEEN,
        5000),
    ROW("erasures", "contact data that was erased", ERASURES,
        KEYS("SELECT min(seq) - 1 FROM erased", "SELECT max(seq) FROM erased"),
        "SELECT report, at_ms, basis FROM erased WHERE seq > ?1 AND seq <= ?2 ORDER BY seq", 5000),
    ROW("mails", "mail, without its text", MAILS, IDS("outbox"),
        "SELECT id, event, " CASE_NAME(
            "case_id") ", revision, message_id, created_ms, sent_ms FROM outbox t" BETWEEN,
        5000),
    ROW("loads", "files of records that were loaded", LOADS,
        KEYS("SELECT min(rowid) - 1 FROM load_file", "SELECT max(rowid) FROM load_file"),
        "SELECT source, kind, accepted_ms, state, new, changed, same FROM load_file WHERE rowid > "
        "?1 AND rowid <= ?2"
        " ORDER BY rowid",
        5000),
    ROW("replaced", "what rows of records were before a load changed them", REPLACED,
        IDS("replaced_row"),
        "SELECT kind, row_key, was, replaced_ms, source, now FROM replaced_row t" BETWEEN, 5000),
};

const struct export_table *export_tables(int *ret_count)
{
    *ret_count = LENGTH(TABLES);
    return TABLES;
}

const struct export_table *export_table(const char *name)
{
    for (int i = 0; i < LENGTH(TABLES); i++) {
        if (strcmp(TABLES[i].name, name) == 0)
            return &TABLES[i];
    }
    return NULL;
}

const struct export_table *export_events(void)
{
    static const struct export_table EVENTS = {
        .name = "events",
        .count = 9,
        .first = "SELECT min(id) - 1 FROM lot",
        .last = "SELECT max(id) FROM lot",
        .rows =
            "SELECT 0, l.lot, p.product, p.gtin, l.packed_to_ms AS at_ms, l.units, l.code_day, "
            "NULL, NULL,"
            " l.id FROM lot l JOIN product p ON p.id = l.product_id WHERE l.id > ?1 AND l.id <= ?2"
            " UNION ALL SELECT 1, l.lot, p.product, p.gtin, d.at_ms, d.units, l.code_day, d.route,"
            " d.store, l.id FROM dispatch d JOIN lot l ON l.id = d.lot_id JOIN product p ON p.id ="
            " l.product_id WHERE d.lot_id > ?1 AND d.lot_id <= ?2 ORDER BY 10, 1, 5, 8, 9",
        .span = 500};
    return &EVENTS;
}

/* ---- spans of keys ---- */

struct span {
    int64_t from, to; /* (from, to] */
    bool more;
};

/* An empty table has no keys: from 0 to 0. */
static int next_span(struct store *store, const struct export_table *table, int64_t at,
                     struct span *ret, struct error *err)
{
    int64_t first = 0, last = 0;
    int rc = db_number(store, table->first, NULL, &first, err);
    if (!rc)
        rc = db_number(store, table->last, NULL, &last, err);
    ret->from = at == INT64_MIN ? first : at;
    ret->more = ret->from + table->span < last;
    ret->to = ret->more ? ret->from + table->span : last;
    return rc;
}

int export_next(struct store *store, const struct export_table *table, struct export_cursor *cursor,
                export_each each, void *arg, struct error *err)
{
    struct span span;
    struct record_cell cells[EXPORT_COLUMNS];
    int rc = next_span(store, table, cursor->at, &span, err);
    if (rc)
        return rc;
    struct db_query q = db_query(store, table->rows, DB(DB_INT(span.from), DB_INT(span.to)), err);
    while (!rc && db_next(&q)) {
        for (int i = 0; i < table->count; i++)
            cells[i] = db_cell(&q, i);
        rc = each(arg, cells, table->count);
    }
    *cursor = (struct export_cursor){span.to, span.more};
    return db_end(&q, rc);
}

/* ---- what was decided ---- */

static const struct export_column FOLLOW[] = {
    {"", T, ""},         {"", T, ""},       {"owner", T, ""}, {"due", D, ""},
    {"severity", T, ""}, {"reason", T, ""}, {"by", T, ""}};
static const struct export_column SETTLE[] = {
    {"", T, ""},     {"", T, ""},   {"", T, ""},   {"confirmed-by", T, ""},
    {"note", T, ""}, {"by", T, ""}, {"at", W, ""}, {"anyway", T, ""}};
static const struct export_column HOLD[] = {{"", T, ""},
                                            {"", T, ""},
                                            {"reason", T, ""},
                                            {"by", T, ""},
                                            {"case", T, ""},
                                            {"at", W, ""},
                                            {"hold", T, ""},
                                            {"disposition", T, ""},
                                            {"still-about", N, ""},
                                            {"plant", T, ""},
                                            {"anyway", T, ""}};
static const struct export_column ACTION[] = {
    {"", T, ""},     {"cause", T, ""}, {"line", T, ""}, {"place", T, ""}, {"symptom", T, ""},
    {"date", D, ""}, {"note", T, ""},  {"by", T, ""},   {"plant", T, ""}};

#define COMPLAINT_OF(case_id)                                                                      \
    "(SELECT min(c.uuid) FROM complaint c WHERE c.case_id = " case_id " AND c.withdrawn_ms IS "    \
    "NULL)"

/* What was decided although harm was open is decided again; a verdict that harm came after is not:
 * that harm has been read by nobody. */
#define ANYWAY "'as it was exported'"

const struct export_table *export_decisions(int *ret_count)
{
    /* a hold ends as soon as it is there: its number is how many of them came first */
    static const struct export_table DECISIONS[] = {
        /* before the verdicts: of open cases; the rest is weighed anew */
        ROW("follow", "", FOLLOW, IDS_OF("case_id", "case_follow"),
            "SELECT 'follow', " COMPLAINT_OF(
                "t.case_id") ", t.owner, t.due_day * 86400000 +"
                             " 36000000, CASE WHEN t.set_to IS NOT NULL THEN " SEVERITY(
                                 "t.set_to") " END,"
                                             " 'as it was exported', (SELECT e.by_name FROM "
                                             "follow_entry e WHERE e.id = (SELECT"
                                             " max(l.id) FROM follow_entry l WHERE l.case_id = "
                                             "t.case_id AND l.by_user <> ''))"
                                             " FROM case_follow t JOIN complaint_case k ON k.id = "
                                             "t.case_id AND k.complaints > 0 AND"
                                             " k.state = 'open' WHERE EXISTS (SELECT 1 FROM "
                                             "follow_entry p WHERE p.case_id ="
                                             " t.case_id AND p.by_user <> '' AND p.what IN "
                                             "('owner', 'due', 'severity'))"
                                             " AND t.case_id > ?1 AND t.case_id <= ?2 ORDER BY "
                                             "t.case_id",
            5000),
        ROW("settle", "", SETTLE, IDS("verdict"),
            "SELECT 'settle', " COMPLAINT_OF(
                "t.case_id") ", t.cause, t.confirmed_by, t.note,"
                             " t.by_name, t.at_ms, CASE WHEN k.harm_unseen = 0 AND (k.harm <> 0 OR "
                             "EXISTS (SELECT 1 FROM"
                             " case_follow f WHERE f.case_id = k.id AND f.may_harm = 1)) "
                             "THEN " ANYWAY " END FROM verdict t JOIN complaint_case k ON k.id = "
                             "t.case_id"
                             " AND k.complaints > 0 WHERE t.reopened_ms IS NULL"
                             " AND t.id > ?1 AND t.id <= ?2 ORDER BY t.id",
            5000),
        ROW("hold", "", HOLD, IDS("hold"),
            "SELECT 'hold', t.code, t.reason, t.by_name, " COMPLAINT_OF(
                "coalesce(k.moved_to, k.id)") ", t.at_ms, NULL, NULL, 1, CASE WHEN t.lot_id IS "
                                              "NULL THEN"
                                              " nullif(t.plant, '') END, NULL, t.id AS nr, 0 AS "
                                              "ends "
                                              "FROM hold t LEFT JOIN complaint_case k"
                                              " ON k.id = t.case_id WHERE t.reason <> '' AND t.id "
                                              "> ?1 AND t.id <= ?2"
                                              " UNION ALL SELECT 'release', t.code, t.end_reason, "
                                              "t.ended_by, NULL, t.ended_ms,"
                                              " 'H' || (SELECT count(*) FROM hold h WHERE h.reason "
                                              "<> '' AND h.id <= t.id),"
                                              " t.disposition, NULL, NULL, " ANYWAY
                                              ", t.id, 1 FROM hold t WHERE "
                                              "t.reason <> '' AND t.ended_ms IS NOT"
                                              " NULL AND t.id > ?1 AND t.id <= ?2 ORDER BY nr, "
                                              "ends",
            5000),
        ROW("action", "", ACTION, IDS("corrective_action"),
            "SELECT 'action', t.cause, t.line, t.place, t.symptom, t.at_ms, t.note, t.by_name,"
            " nullif(t.plant, '') FROM"
            " corrective_action t" BETWEEN,
            5000)};
    *ret_count = LENGTH(DECISIONS);
    return DECISIONS;
}

/* ---- complaints ---- */

#define OWN(standing)                                                                              \
    "SELECT t.id, '' AS report, coalesce(f.body, t.body), '' AS same_as, 0 AS nr FROM complaint t" \
    " LEFT JOIN joined_first f ON f.complaint_id = t.id WHERE t.id > ?1 AND t.id <= ?2"            \
    " AND t.withdrawn_ms IS " standing
#define REPORTS(standing)                                                                          \
    "SELECT c.id, t.uuid, t.body, c.uuid, t.id AS nr FROM joined t"                                \
    " JOIN complaint c ON c.id = t.complaint_id AND c.withdrawn_ms IS " standing

int export_complaints(struct store *store, enum export_of of, struct export_cursor *cursor,
                      export_complaint_each each, void *arg, struct error *err)
{
    static const struct export_table KINDS[] = {
        [EXPORT_STANDING] = {.first = "SELECT min(id) - 1 FROM complaint",
                             .last = "SELECT max(id) FROM complaint",
                             .rows = OWN("NULL") " ORDER BY t.id",
                             .span = 2000},
        [EXPORT_JOINED] = {.first = "SELECT min(id) - 1 FROM joined",
                           .last = "SELECT max(id) FROM joined",
                           .rows = REPORTS("NULL") BETWEEN,
                           .span = 2000},
        [EXPORT_WITHDRAWN] = {.first = "SELECT min(id) - 1 FROM complaint",
                              .last = "SELECT max(id) FROM complaint",
                              .rows = OWN("NOT NULL") " UNION ALL " REPORTS(
                                  "NOT NULL") " WHERE c.id > ?1 AND c.id <= ?2 ORDER BY 1, 5",
                              .span = 20000}};
    struct span span;
    int rc = next_span(store, &KINDS[of], cursor->at, &span, err);
    if (rc)
        return rc;
    struct db_query q =
        db_query(store, KINDS[of].rows, DB(DB_INT(span.from), DB_INT(span.to)), err);
    db_keep(&q); /* callbacks ask for contacts */
    while (!rc && db_next(&q)) {
        const struct export_complaint one = {db_int64(&q, 0), db_text(&q, 1), db_text(&q, 2),
                                             db_text(&q, 3)};
        rc = each(arg, &one);
    }
    *cursor = (struct export_cursor){span.to, span.more};
    return db_end(&q, rc);
}
