/* What waits is done when its time has come, and by a clock that was set back no later than that.
 */
#include "base/text.h"
#include "check.h"
#include "state.h"
#include "store/work.h"
#include <stdlib.h>

#define NOW INT64_C(1795942440000)
#define YEAR (366 * WHEN_DAY_MS)

static struct store *store;
static char dir[] = "/tmp/oddloaf-work-XXXXXX";

static int open_store(void **state)
{
    (void)state;
    return !state_folder(dir) || store_open(dir, STORE_WRITE, &store, NULL)
               ? -1
               : store_begin(store, NULL);
}

static int close_store(void **state)
{
    struct text_buffer command = {0};
    (void)state;
    store_close(store);
    text_appendf(&command, "rm -rf %s", dir);
    int rc = system(command.data);
    text_buffer_free(&command);
    return rc;
}

static struct work_row first;

/* How many are due, the first of them in `first`. */
static int due(int64_t now_ms, int capacity)
{
    struct work_row row[8];
    struct work_rows rows = {.row = row, .capacity = capacity};
    assert_int_equal(work_due(store, WORK_RANK, now_ms, &rows, NULL), 0);
    first = row[0];
    return rows.count;
}

static void add(int64_t case_id, int64_t due_ms)
{
    assert_int_equal(work_add(store, WORK_RANK, case_id, due_ms, NULL), 0);
}

static void what_is_due_comes_in_turn(void **state)
{
    int64_t left = -1;
    (void)state;
    add(1, NOW + 1000);
    add(2, NOW);
    assert_int_equal(due(NOW - 1, 8), 0);
    assert_int_equal(due(NOW, 8), 1);
    assert_int_equal(due(NOW + 1000, 8), 2);
    assert_int_equal(first.subject_id, 2);
    assert_int_equal(due(NOW + 1000, 1), 1);
    struct work_row seen = first;
    add(2, NOW + 5000); /* something new of it: what was seen before is not all */
    assert_int_equal(work_done(store, WORK_RANK, &seen, NULL), 0);
    assert_int_equal(due(NOW, 8), 1); /* and no later than it was */
    assert_int_equal(work_retry(store, WORK_RANK, &first, NOW + 60000, NULL), 0);
    assert_int_equal(due(NOW + 59999, 8), 1);
    assert_int_equal(first.subject_id, 1);
    assert_int_equal(work_done(store, WORK_RANK, &first, NULL), 0);
    assert_int_equal(due(NOW + 60000, 8), 1);
    assert_int_equal(first.attempts, 1);
    assert_int_equal(work_done(store, WORK_RANK, &first, NULL), 0);
    assert_int_equal(work_count(store, WORK_RANK, &left, NULL), 0);
    assert_int_equal(left, 0);
}

static void a_clock_set_back_keeps_nothing_waiting(void **state)
{
    (void)state;
    add(3, NOW + YEAR + 60000); /* put off for a minute by a clock that was a year ahead */
    assert_int_equal(due(NOW, 8), 1);
    assert_int_equal(first.subject_id, 3);
    assert_int_equal(work_retry(store, WORK_RANK, &first, NOW + WORK_LATEST_MS, NULL), 0);
    assert_int_equal(due(NOW, 8), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(what_is_due_comes_in_turn),
                                       cmocka_unit_test(a_clock_set_back_keeps_nothing_waiting)};
    return cmocka_run_group_tests(tests, open_store, close_store);
}
