#include "desk/following.h"
#include "base/plant_level.h"
#include "base/short_id.h"
#include "base/text.h"
#include "base/tz_of.h"
#include "base/words.h"
#include "desk/call_backs.h"
#include "desk/logged.h"
#include "desk/named.h"
#include "rank/triage.h"
#include "rules/severity.h"
#include "store/complaint.h"
#include "store/hold.h"
#include "store/lot_find.h"
#include <assert.h>
#include <stdlib.h>
#include <string.h>

enum { WORD = 16, SHOWN_MOST = 100 };

static const char *word_of(int severity, char out[static WORD])
{
    return words_at(WORDS_SEVERITIES, severity, out, WORD);
}

/* ---- what is known of a case ---- */

/* As of its newest complaint, as a ranking is: told again it is the same. */
static struct severity_known known_of(const struct desk *desk, struct store *store,
                                      const struct case_row *row, bool may_harm)
{
    struct severity_known known = {{0}};
    struct lot_find_row lot;
    known.value[SEVERITY_HARM] = row->harm;
    known.value[SEVERITY_MAY_HARM] = may_harm && !row->harm;
    known.value[SEVERITY_COMPLAINTS] = row->complaints;
    known.value[SEVERITY_PACKS] = row->packs;
    if (row->top_cause[0] && triage_cause_in_plant(desk->triage, row->top_cause))
        known.value[SEVERITY_SURE] = row->top_probability;
    if (row->lot_id > 0 && lot_find_by_id(store, row->lot_id, &lot, NULL) == 0 &&
        lot.code_day >= tz_day(tz_of(desk->tz, row->plant), row->as_of_ms))
        known.value[SEVERITY_IN_CODE] = (double)lot.units;
    return known;
}

/* Bread of its lot is on sale until that day, and what is wrong with it lies in the bread: past it
 * nothing can be stopped. WHEN_UNKNOWN_DAY: it is not, or on hold, or the cause lies behind the
 * plant or is not known. */
static int32_t sold_until(const struct desk *desk, struct store *store, const struct case_row *row,
                          bool may_harm, int32_t today)
{
    struct lot_find_row lot;
    bool in_plant = row->top_cause[0] && triage_cause_in_plant(desk->triage, row->top_cause);
    if (row->lot_id <= 0 || !(row->harm || may_harm || in_plant) ||
        lot_find_by_id(store, row->lot_id, &lot, NULL) || lot.code_day == WHEN_UNKNOWN_DAY ||
        lot.code_day < today || lot.units == 0 || hold_stands(store, row->lot_id))
        return WHEN_UNKNOWN_DAY;
    return lot.code_day;
}

static bool is_open(const struct case_row *row)
{
    return row->complaints > 0 && (!row->settled || row->harm_unseen);
}

/* ---- what moves ---- */

struct moving {
    const struct desk *desk;
    const struct tz *tz; /* of the case's plant, and so are the rules */
    const struct severity_rules *rules;
    struct store *store;
    const struct following_who *who;
    const char *reason;
    int32_t sold_until; /* by then at the latest; WHEN_UNKNOWN_DAY: at any time */
    struct follow_row row;
};

static int record(const struct moving *m, const char *what, const char *was, const char *now,
                  struct error *err)
{
    const struct follow_entry entry = {.case_id = m->row.case_id,
                                       .at_ms = m->who->at_ms,
                                       .what = what,
                                       .report = "",
                                       .was = was,
                                       .now = now,
                                       .text = m->reason ? m->reason : "",
                                       .by_name = m->who->by,
                                       .user = m->who->user};
    return follow_add(m->store, &entry, NULL, err);
}

static int move_due(struct moving *m, int32_t day, struct error *err)
{
    char was[16] = "", now[16] = "";
    if (m->row.due_day == day)
        return 0;
    if (m->row.due_day != WHEN_UNKNOWN_DAY)
        day_format(m->row.due_day, was);
    if (day != WHEN_UNKNOWN_DAY)
        day_format(day, now);
    m->row.due_day = day;
    return record(m, "due", was, now, err);
}

static bool is_later(int32_t day, int32_t than)
{
    return than != WHEN_UNKNOWN_DAY && (day == WHEN_UNKNOWN_DAY || day > than);
}

static int32_t rule_day(const struct moving *m, int severity)
{
    int days = severity_due_days(m->rules, (enum severity)severity);
    int32_t day = days < 0 ? WHEN_UNKNOWN_DAY : tz_day(m->tz, m->who->at_ms) + days;
    return is_later(day, m->sold_until) ? m->sold_until : day;
}

/* The one place where the rules move a day: a severity that rises brings it nearer. */
static int take_severity(struct moving *m, int was, struct error *err)
{
    char before[WORD], after[WORD];
    int is = follow_severity(&m->row);
    if (is == was)
        return 0;
    int rc = record(m, "severity", word_of(was, before), word_of(is, after), err);
    int32_t day = rule_day(m, is);
    return rc || is < was || !is_later(m->row.due_day, day) ? rc : move_due(m, day, err);
}

/* ---- by the rules ---- */

static const char BY_RULES[] = "by the rules";
static const char BY_BEST_BY[] = "by the rules: bread of its lot is on sale until then";

struct asking {
    struct store *store;
    const struct moving *m;
    int32_t day;
    struct error *err;
};

static int ask_for(void *arg, const char *report)
{
    const struct asking *a = arg;
    char day[16];
    int64_t id = 0;
    const struct follow_entry entry = {.case_id = a->m->row.case_id,
                                       .at_ms = a->m->who->at_ms,
                                       .what = "call-back",
                                       .report = report,
                                       .was = "",
                                       .now = day_format(a->day, day),
                                       .text = BY_RULES,
                                       .by_name = "",
                                       .user = ""};
    int rc = follow_add(a->store, &entry, &id, a->err);
    return rc ? rc : call_back_ask(a->store, report, a->day, id, a->err);
}

static int ask_callers(struct moving *m, struct error *err)
{
    int days = severity_call_back_days(m->rules, (enum severity)follow_severity(&m->row));
    struct asking a = {m->store, m, tz_day(m->tz, m->who->at_ms) + days, err};
    return days < 0 ? 0 : call_back_none_yet(m->store, m->row.case_id, ask_for, &a, err);
}

static int look_for_person(void *arg, const struct follow_entry *entry)
{
    bool *by_person = arg;
    if (strcmp(entry->what, "due") == 0)
        *by_person = *entry->by_name || *entry->user;
    return 0;
}

/* What people decided stands, and said why if it is later. */
static int keep_in_time(struct moving *m, struct error *err)
{
    bool by_person = false;
    if (!is_later(m->row.due_day, m->sold_until))
        return 0;
    int rc = follow_entries(m->store, m->row.case_id, look_for_person, &by_person, err);
    m->reason = BY_BEST_BY;
    return rc || by_person ? rc : move_due(m, m->sold_until, err);
}

static int weigh(struct moving *m, int level, struct error *err)
{
    int was = follow_severity(&m->row);
    if (m->row.since_ms == WHEN_UNKNOWN_MS) {
        m->row.since_ms = m->who->at_ms;
        m->row.by_rule = level;
        m->row.due_day = rule_day(m, level);
        return 0;
    }
    if (level > m->row.by_rule && m->row.set_to < level)
        m->row.set_to = FOLLOW_NOT_SET;
    m->row.by_rule = level;
    int rc = take_severity(m, was, err);
    return rc ? rc : keep_in_time(m, err);
}

int following_weigh(const struct desk *desk, struct store *store, int64_t case_id, bool may_harm,
                    int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    const struct following_who rules = {"", "", now_ms};
    struct moving m = {.desk = desk,
                       .store = store,
                       .who = &rules,
                       .reason = BY_RULES,
                       .sold_until = WHEN_UNKNOWN_DAY};
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    if (rc || row.id != case_id || row.complaints == 0)
        return rc;
    m.tz = tz_of(desk->tz, row.plant);
    m.rules = severity_of(desk->severity, row.plant);
    rc = follow_get(store, case_id, &m.row, err);
    if (rc)
        return rc;
    const struct severity_known known = known_of(desk, store, &row, may_harm);
    m.sold_until = sold_until(desk, store, &row, may_harm, tz_day(m.tz, now_ms));
    m.row.may_harm = may_harm;
    rc = weigh(&m, (int)severity_level(m.rules, severity_sum(m.rules, &known)), err);
    if (!rc)
        rc = follow_put(store, &m.row, err);
    return rc || row.settled ? rc : ask_callers(&m, err);
}

int following_reopened(const struct desk *desk, struct store *store, int64_t case_id,
                       int64_t now_ms, struct error *err)
{
    assert(store_writing(store));
    const struct following_who rules = {"", "", now_ms};
    struct moving m = {.desk = desk, .store = store, .who = &rules, .reason = "it was reopened"};
    struct case_row row;
    int rc = case_get(store, case_id, &row, err);
    m.tz = tz_of(desk->tz, rc ? "" : row.plant);
    m.rules = severity_of(desk->severity, rc ? "" : row.plant);
    rc = rc ? rc : follow_get(store, case_id, &m.row, err);
    if (rc || m.row.since_ms == WHEN_UNKNOWN_MS)
        return rc ? rc : following_weigh(desk, store, case_id, false, now_ms, err);
    m.sold_until = sold_until(desk, store, &row, m.row.may_harm, tz_day(m.tz, now_ms));
    rc = move_due(&m, rule_day(&m, follow_severity(&m.row)), err);
    return rc ? rc : follow_put(store, &m.row, err);
}

/* ---- by a person ---- */

static int refuse(struct error *err, const char *field, const char *value, const char *hint)
{
    error_field(err, field, value);
    error_hint(err, "%s", hint);
    return err ? (int)err->code : ERROR_CONFLICT;
}

/* An earlier day than today, or a later one than bread of the lot is on sale, wants a reason. */
static int check_day(const struct tz *tz, const struct following_change *change, int32_t until,
                     struct error *err)
{
    char day[16], last[16];
    int32_t today = tz_day(tz, change->who.at_ms);
    if (change->reason || change->due_day == WHEN_UNKNOWN_DAY)
        return 0;
    day_format(change->due_day, day);
    if (change->due_day < today) {
        error_set(err, ERROR_CONFLICT, "is over in the plant: it is %s there",
                  day_format(today, last));
        return refuse(err, "due", day,
                      "set a day from today on, or say why it is an earlier one: --reason");
    }
    if (!is_later(change->due_day, until))
        return 0;
    error_set(err, ERROR_CONFLICT, "bread of its lot is on sale until %s", day_format(until, last));
    return refuse(err, "due", day, "set a day until then, or say why it is a later one: --reason");
}

static int check(const struct moving *m, const struct following_change *change,
                 const struct case_row *row, struct error *err)
{
    const char *name = CASE_ID(row->id);
    bool decides = change->owner || change->due || change->severity;
    if (decides && !is_open(row)) {
        error_set(err, ERROR_CONFLICT, "%s is %s: owner, day and severity are of open cases", name,
                  row->settled ? "settled" : "without complaints");
        return refuse(err, NULL, NULL, "reopen it first: oddloaf settle CASE --reopen");
    }
    if (change->severity && row->harm && change->set_to >= 0 && change->set_to < SEVERITY_URGENT) {
        error_set(err, ERROR_CONFLICT, "harm is reported of %s: it stays urgent", name);
        return refuse(err, "severity", NULL,
                      "if it is none, correct the complaint that reports it: oddloaf correct");
    }
    if (change->due && change->due_day == WHEN_UNKNOWN_DAY && row->harm) {
        error_set(err, ERROR_CONFLICT, "harm is reported of %s: it has a day", name);
        return refuse(err, "due", NULL, "set another one");
    }
    return change->due ? check_day(m->tz, change, m->sold_until, err) : 0;
}

static int set_owner(struct moving *m, const char *owner, struct error *err)
{
    char was[LENGTH_PERSON + 1];
    text_clip(m->row.owner, was, sizeof was);
    if (strcmp(was, owner) == 0)
        return 0;
    text_clip(owner, m->row.owner, sizeof m->row.owner);
    m->reason = "";
    return record(m, "owner", was, owner, err);
}

static int decide(struct moving *m, const struct following_change *change, struct error *err)
{
    int rc = change->owner ? set_owner(m, change->owner, err) : 0;
    m->reason = change->reason;
    if (!rc && change->severity) {
        int was = follow_severity(&m->row);
        m->row.set_to = change->set_to;
        rc = take_severity(m, was, err);
    }
    if (!rc && change->due)
        rc = move_due(m, change->due_day, err);
    return rc ? rc : follow_put(m->store, &m->row, err);
}

static int say(const struct moving *m, const struct follow_entry *said, int64_t *ret_id,
               struct error *err)
{
    struct follow_entry entry = *said;
    entry.case_id = m->row.case_id;
    entry.at_ms = m->who->at_ms;
    entry.was = "";
    entry.by_name = m->who->by;
    entry.user = m->who->user;
    return follow_add(m->store, &entry, ret_id, err);
}

static int ask_back(const struct moving *m, const struct following_change *change,
                    struct error *err)
{
    char day[16];
    int64_t id = 0;
    bool known = false;
    const struct follow_entry entry = {.what = "call-back",
                                       .report = change->report,
                                       .now = day_format(change->call_back_day, day),
                                       .text = change->call_back_why ? change->call_back_why : ""};
    int rc = call_back_possible(m->store, change->report, &known, err);
    if (!rc && !known) {
        error_set(err, ERROR_CONFLICT, "no contact data is kept of who reported it");
        return refuse(err, "complaint", change->report, "there is nobody to call back");
    }
    if (!rc)
        rc = say(m, &entry, &id, err);
    return rc ? rc : call_back_ask(m->store, change->report, change->call_back_day, id, err);
}

static int answer(const struct moving *m, const struct following_change *change, struct error *err)
{
    char when[40];
    int64_t id = 0;
    const struct follow_entry entry = {.what = "answered",
                                       .report = change->report,
                                       .now = when_format(m->tz, change->answered_ms, when),
                                       .text = change->answered};
    int rc = say(m, &entry, &id, err);
    return rc ? rc : call_back_answer(m->store, change->report, id, err);
}

int following_change(const struct desk *desk, struct store *store,
                     const struct following_change *change, struct error *err)
{
    assert(store_writing(store));
    struct moving m = {.desk = desk, .store = store, .who = &change->who};
    struct case_row row;
    int rc = case_get(store, change->case_id, &row, err);
    m.tz = tz_of(desk->tz, rc ? "" : row.plant);
    m.rules = severity_of(desk->severity, rc ? "" : row.plant);
    if (!rc)
        rc = follow_get(store, row.id, &m.row, err);
    if (!rc) {
        m.sold_until =
            sold_until(desk, store, &row, m.row.may_harm, tz_day(m.tz, change->who.at_ms));
        rc = check(&m, change, &row, err);
    }
    if (!rc && m.row.since_ms == WHEN_UNKNOWN_MS && row.complaints > 0) {
        rc = following_weigh(desk, store, row.id, false, change->who.at_ms, err);
        if (!rc)
            rc = follow_get(store, row.id, &m.row, err);
    }
    if (!rc && (change->owner || change->due || change->severity))
        rc = decide(&m, change, err);
    if (!rc && change->note)
        rc = say(
            &m,
            &(struct follow_entry){.what = "noted", .report = "", .now = "", .text = change->note},
            NULL, err);
    if (!rc && change->call_back_day != WHEN_UNKNOWN_DAY)
        rc = ask_back(&m, change, err);
    return rc || !change->answered ? rc : answer(&m, change, err);
}

/* ---- whom ---- */

struct meant {
    int count;
    char report[40];
};

static int take_waiting(void *arg, const struct call_back_row *row)
{
    struct meant *meant = arg;
    meant->count++;
    text_clip(row->report, meant->report, sizeof meant->report);
    return 0;
}

static int take_complaint(void *arg, const struct complaint_row *row)
{
    struct meant *meant = arg;
    meant->count++;
    text_clip(row->uuid, meant->report, sizeof meant->report);
    return 0;
}

int following_report(struct store *store, const struct case_row *row, char *out, size_t size,
                     struct error *err)
{
    enum { TWO = 2 };
    struct meant meant = {0};
    const struct call_back_query waiting = {row->id, WHEN_UNKNOWN_DAY, TWO};
    int rc = call_back_waiting(store, &waiting, take_waiting, &meant, err);
    if (!rc && meant.count == 0)
        rc = complaint_newest_of_case(store, row->id, TWO, take_complaint, &meant, err);
    if (rc)
        return rc;
    if (meant.count == 1) {
        text_clip(meant.report, out, size);
        return 0;
    }
    error_set(err, ERROR_CONFLICT,
              meant.count ? "several people reported %s: say who is meant"
                          : "nobody reports %s any more",
              CASE_ID(row->id));
    return refuse(err, "complaint", "", "name the complaint: --complaint ID, as of `history CASE`");
}

/* ---- told ---- */

void following_case_json(const struct follow_row *row, bool harm, int32_t today, json_t *into)
{
    char word[WORD], day[16];
    bool due = row->due_day != WHEN_UNKNOWN_DAY;
    if (row->since_ms == WHEN_UNKNOWN_MS)
        return;
    json_object_set_new(into, "severity",
                        json_string(word_of(harm ? SEVERITY_URGENT : follow_severity(row), word)));
    json_object_set_new(into, "owner", *row->owner ? json_string(row->owner) : json_null());
    json_object_set_new(into, "due",
                        due ? json_string(day_format(row->due_day, day)) : json_null());
    json_object_set_new(into, "overdue", json_boolean(due && row->due_day < today));
}

struct late {
    struct store *store;
    int32_t today;
    json_t *list;
};

static int add_late(void *arg, const struct follow_row *follow)
{
    const struct late *late = arg;
    struct case_row row;
    struct lot_find_row lot;
    if (case_get(late->store, follow->case_id, &row, NULL))
        return 0;
    bool known = row.lot_id > 0 && lot_find_by_id(late->store, row.lot_id, &lot, NULL) == 0;
    json_t *item = json_pack("{s:o, s:s, s:b, s:i, s:i, s:o, s:o}", "case", CASE_ID_JSON(row.id),
                             "symptom", row.symptom, "harm", row.harm, "complaints", row.complaints,
                             "days", (int)(late->today - follow->due_day), "lot",
                             known ? json_string(lot.code) : json_null(), "line",
                             known ? json_string(lot.line) : json_null());
    following_case_json(follow, row.harm, late->today, item);
    plant_level_set(item, row.plant);
    json_object_del(item, "overdue"); /* all are */
    return json_array_append_new(late->list, item);
}

int following_overdue_json(struct store *store, const struct follow_late *of, json_t **ret,
                           int64_t *ret_count, struct error *err)
{
    struct late late = {store, of->today, json_array()};
    int rc = follow_overdue(store, of, add_late, &late, err);
    if (!rc)
        rc = follow_overdue_count(store, of, ret_count, err);
    if (rc)
        json_decref(late.list);
    else
        *ret = late.list;
    return rc;
}

struct telling {
    const struct tz *tz;
    struct store *store;
    json_t *entries;
};

static int add_entry(void *arg, const struct follow_entry *entry)
{
    const struct telling *t = arg;
    char when[40];
    json_t *item = json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:s}", "at",
                             when_format(t->tz, entry->at_ms, when), "what", entry->what, "by",
                             *entry->by_name ? entry->by_name : "oddloaf", "user", entry->user,
                             "was", entry->was, "is", entry->now, "text", entry->text);
    if (*entry->report) {
        json_object_set_new(item, "complaint", json_string(entry->report));
        named_short_json(t->store, entry->report, item);
    }
    return json_array_append_new(t->entries, item);
}

static void add_working(const struct desk *desk, struct store *store, const struct case_row *row,
                        const struct follow_row *follow, int32_t today, json_t *into)
{
    char word[WORD], day[16];
    const struct severity_known known = known_of(desk, store, row, follow->may_harm);
    json_t *working = severity_working(severity_of(desk->severity, row->plant), &known);
    json_object_set_new(working, "by_rule", json_string(word_of(follow->by_rule, word)));
    json_object_set_new(working, "set", json_boolean(follow->set_to != FOLLOW_NOT_SET));
    json_object_set_new(into, "working", working);
    int32_t until = sold_until(desk, store, row, follow->may_harm, today);
    json_object_set_new(into, "sold_until",
                        until == WHEN_UNKNOWN_DAY ? json_null()
                                                  : json_string(day_format(until, day)));
}

int following_json(const struct desk *desk, struct store *store, int64_t case_id,
                   const struct following_view *view, json_t **ret, struct error *err)
{
    struct case_row row;
    struct follow_row follow = {0};
    json_t *calls = NULL, *entries = json_array();
    int rc = case_get(store, case_id, &row, err);
    const struct tz *tz = tz_of(desk->tz, rc ? "" : row.plant);
    int32_t today = tz_day(tz, view->now_ms);
    const struct call_backs_view seen = {today, view->shown};
    struct telling telling = {tz, store, entries};
    const struct call_back_query query = {rc ? 0 : row.id, WHEN_UNKNOWN_DAY, SHOWN_MOST};
    if (!rc)
        rc = follow_get(store, row.id, &follow, err);
    if (!rc)
        rc = follow_entries(store, row.id, add_entry, &telling, err);
    if (!rc)
        rc = call_backs_json(desk, store, &query, &seen, &calls, err);
    if (rc) {
        json_decref(entries);
        return rc;
    }
    *ret = json_pack("{s:o, s:s, s:s, s:b, s:i, s:o, s:o}", "case", CASE_ID_JSON(row.id), "symptom",
                     row.symptom, "state",
                     is_open(&row) ? "open"
                     : row.settled ? "settled"
                                   : "empty",
                     "harm", row.harm, "complaints", row.complaints, "entries", entries,
                     "call_backs", calls);
    logged_case_json(desk, store, row.id, *ret, NULL);
    following_case_json(&follow, row.harm, today, *ret);
    char there[16];
    if (tz_of_apart(desk->tz, row.plant))
        json_object_set_new(*ret, "today", json_string(day_format(today, there)));
    if (!view->plain && follow.since_ms != WHEN_UNKNOWN_MS)
        add_working(desk, store, &row, &follow, today, *ret);
    return 0;
}
