/* A clock that jumps deletes nothing until it has been plausible for a day. */
#include "base/text.h"
#include "base/when.h"
#include "check.h"
#include "state.h"
#include "store/clock_mark.h"
#include <stdlib.h>
#include <string.h>

#define NOW INT64_C(1795942440000)
#define MINUTE INT64_C(60000)
#define YEAR (366 * WHEN_DAY_MS)

static enum clock_mark look(struct store *store, int64_t now_ms)
{
    enum clock_mark mark = CLOCK_STEADY;
    assert_int_equal(clock_mark_look(store, now_ms, &mark, NULL), 0);
    return mark;
}

/* Minute by minute, as the daemon looks; what the last look said. */
static enum clock_mark pass(struct store *store, int64_t *now_ms, int64_t minutes)
{
    enum clock_mark mark = CLOCK_STEPPED;
    for (int64_t i = 0; i < minutes; i++)
        mark = look(store, *now_ms += MINUTE);
    return mark;
}

static void a_jump_waits_a_day(void **state)
{
    struct store *store = NULL;
    struct text_buffer command = {0};
    char dir[] = "/tmp/oddloaf-clock-XXXXXX";
    int64_t now_ms = NOW;
    (void)state;
    assert_non_null(state_folder(dir));
    assert_int_equal(store_open(dir, STORE_WRITE, &store, NULL), 0);
    assert_int_equal(store_begin(store, NULL), 0);
    assert_int_equal(look(store, now_ms), CLOCK_WAITING); /* nothing is known of it yet */
    assert_int_equal(pass(store, &now_ms, 24 * 60 - 1), CLOCK_WAITING);
    assert_int_equal(pass(store, &now_ms, 2), CLOCK_STEADY);
    assert_int_equal(look(store, now_ms + YEAR), CLOCK_STEPPED); /* ahead */
    assert_int_equal(look(store, now_ms + YEAR + MINUTE), CLOCK_WAITING);
    assert_int_equal(look(store, now_ms), CLOCK_STEPPED); /* and set right again */
    assert_int_equal(store_commit(store, NULL), 0);
    store_close(store);
    assert_int_equal(store_open(dir, STORE_WRITE, &store, NULL), 0); /* a restart forgets nothing */
    assert_int_equal(store_begin(store, NULL), 0);
    assert_int_equal(pass(store, &now_ms, 24 * 60 - 1), CLOCK_WAITING);
    assert_int_equal(pass(store, &now_ms, 2), CLOCK_STEADY);
    store_close(store);
    text_appendf(&command, "rm -rf %s", dir);
    assert_int_equal(system(command.data), 0);
    text_buffer_free(&command);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(a_jump_waits_a_day)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
