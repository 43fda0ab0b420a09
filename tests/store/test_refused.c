/* What the database refuses, a function of the store never says to have done: each is interrupted
 * at a few steps of SQLite's machine further each time, in a transaction that is taken back, until
 * it gets through undisturbed. */
#include "base/text.h"
#include "check.h"
#include "fixture.h"
#include "store/action.h"
#include "store/complaint.h"
#include "store/complaint_place.h"
#include "store/contact.h"
#include "store/db.h"
#include "store/entry.h"
#include "store/entry_find.h"
#include "store/hold.h"
#include "store/outbox.h"
#include "store/store_inside.h"
#include "store/verdict.h"
#include "store/work.h"
#include <sqlite3.h>
#include <stdlib.h>
#include <string.h>

static struct store *store;
static int64_t case_id, complaint_id;

/* ---- what is done ---- */

static int log_as(const char *uuid, int64_t lot_id, struct complaint_placed *ret, struct error *err)
{
    const struct complaint_new c = fixture_complaint(uuid, lot_id);
    return complaint_log(store, &c, ret, err);
}

static int log_new(struct error *err)
{
    struct complaint_placed placed = {0};
    int rc = log_as("of a new case", 2, &placed, err);
    return rc ? rc : placed.new_case && placed.case_id > 0 ? 0 : 1;
}

static int log_more(struct error *err)
{
    struct complaint_placed placed = {0};
    int rc = log_as("of that case", 1, &placed, err);
    return rc ? rc : placed.case_id == case_id ? 0 : 1;
}

static int log_again(struct error *err)
{
    struct complaint_placed placed = {0};
    int rc = log_as("first", 1, &placed, err);
    return rc ? rc : placed.again && placed.complaint_id == complaint_id ? 0 : 1;
}

static int place(struct error *err)
{
    const struct complaint_lots lots = {.state = LOT_EXACT, .count = 1, .lot = {{2, 0.9}}};
    const struct complaint_why why = {"mira", "misread", 200};
    struct complaint_placed placed = {0};
    int rc = complaint_place(store, complaint_id, &lots, &why, &placed, err);
    return rc ? rc : placed.lot_id == 2 ? 0 : 1;
}

static int settle(struct error *err)
{
    return verdict_add(
        store, &(struct verdict_new){case_id, 300, "packed-hot", "assay", NULL, "mira"}, err);
}

static int reopen(struct error *err)
{
    int rc = settle(err);
    return rc ? rc : verdict_reopen(store, case_id, "mistaken", "mira", 301, err);
}

static int act(struct error *err)
{
    struct action_row row = {.at_ms = 5, .logged_ms = 6, .cause = "packed-hot", .by_name = "mira"};
    int64_t id = 0;
    int rc = action_add(store, &row, &id, err);
    return rc ? rc : id > 0 ? 0 : 1;
}

static int hold(struct error *err)
{
    const struct hold_of of = {.lot_id = 1};
    const struct hold_entry entry = {"glass", "mira", "mira", case_id, 400, .still_about = false};
    bool stood = true;
    int rc = hold_add(store, &of, &entry, &stood, err);
    return rc ? rc : stood ? 1 : 0;
}

static int release(struct error *err)
{
    const struct hold_of of = {.lot_id = 1};
    const struct hold_end end = {.all = true,
                                 .disposition = "release",
                                 .reason = "sound",
                                 .by_name = "mira",
                                 .user = "mira",
                                 .at_ms = 500};
    int rc = hold(err);
    return rc ? rc : hold_end(store, &of, &end, err);
}

static int mail(struct error *err)
{
    static const char *const to[] = {"qa@mill.example"};
    const struct outbox_addresses addresses = {"case", to, 1, false, NULL, NULL, NULL};
    const struct outbox_new one = {"case", case_id, 0, "<1@mill.example>", "{}", 600, 0};
    int rc = outbox_add(store, &one, err);
    rc = rc ? rc : outbox_address(store, &addresses, 600, err);
    return rc ? rc : outbox_addressed(store, "case", false, err);
}

static int keep_contact(struct error *err)
{
    const struct contact_row row = {complaint_id, "", "{\"name\":\"Ada Marsh\"}",
                                    "\nada marsh\n ada\n marsh", 1000};
    int erased = 0;
    int rc = contact_add(store, &row, err);
    if (!rc)
        rc = contact_erase(store, "ada marsh", 700, &erased, err);
    return rc ? rc : erased == 1 ? 0 : 1;
}

static int rank_all(struct error *err)
{
    int64_t waiting = 0;
    int rc = work_rank_open_cases(store, 5, err);
    if (!rc)
        rc = work_count(store, WORK_RANK, &waiting, err);
    return rc ? rc : waiting > 0 ? 0 : 1;
}

static int count_found(void *arg, const struct entry_found *row)
{
    (void)row;
    ++*(int *)arg;
    return 0;
}

static int find_caller(struct error *err)
{
    const struct contact_row row = {complaint_id, "", "{}", "\nada marsh\n marsh", 1000};
    const struct entry_filter filter = {
        .words = "marsh", .held = true, .since_ms = WHEN_UNKNOWN_MS, .limit = 5};
    int found = 0;
    int rc = contact_add(store, &row, err);
    if (!rc)
        rc = entry_find(store, &filter, count_found, &found, err);
    return rc ? rc : found == 1 ? 0 : 1;
}

static const struct {
    const char *name;
    int (*does)(struct error *err); /* positive: it says that it was done, and it was not */
} WRITES[] = {{"log", log_new},
              {"log more", log_more},
              {"log again", log_again},
              {"place", place},
              {"settle", settle},
              {"reopen", reopen},
              {"act", act},
              {"hold", hold},
              {"release", release},
              {"mail", mail},
              {"contact", keep_contact},
              {"rank all", rank_all},
              {"find", find_caller}};

/* ---- interrupted ---- */

enum { STRIDE = 4 /* far fewer than any statement takes */ };
static int steps_left;

/* Statements that are under way: more than one where a search index asks on its own, which may try
 * again. */
static int running(void)
{
    int count = 0;
    for (sqlite3_stmt *st = NULL; (st = sqlite3_next_stmt(store->db, st));)
        count += sqlite3_stmt_busy(st) ? 1 : 0;
    return count;
}

static int interrupt(void *arg)
{
    (void)arg;
    return running() == 1 && --steps_left == 0;
}

/* Whether it was interrupted at that step; false: it was through before. */
static bool is_interrupted(const char *name, int (*does)(struct error *err), int at)
{
    struct error err = {0};
    assert_int_equal(store_begin(store, NULL), 0);
    steps_left = at;
    sqlite3_progress_handler(store->db, 1, interrupt, NULL);
    int rc = does(&err);
    bool interrupted = steps_left <= 0;
    sqlite3_progress_handler(store->db, 0, NULL, NULL);
    store_rollback(store);
    if (rc > 0 || (interrupted ? rc == 0 || !err.code : rc != 0))
        fail_msg("%s, interrupted at step %d: %d %s", name, at, rc, err.text);
    return interrupted;
}

static void nothing_refused_is_said_to_be_done(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof WRITES / sizeof WRITES[0]; i++) {
        int at = 1;
        while (is_interrupted(WRITES[i].name, WRITES[i].does, at))
            at += STRIDE;
        assert_true(at > STRIDE);
    }
}

static int open_store(void **state)
{
    struct complaint_placed placed = {0};
    fixture_open(state);
    store = ((struct fixture *)*state)->store;
    assert_int_equal(log_as("first", 1, &placed, NULL), 0);
    case_id = placed.case_id;
    complaint_id = placed.complaint_id;
    return store_commit(store, NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(nothing_refused_is_said_to_be_done)};
    return cmocka_run_group_tests(tests, open_store, fixture_close);
}
