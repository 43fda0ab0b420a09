#include "check.h"

#include "serve/uploads.h"
#include <stdio.h>

static struct uploads *uploads;
static int64_t now_ms;

static int begin(const char *user, int n)
{
    char id[64];
    size_t length;
    struct error err = {0};
    snprintf(id, sizeof id, "00000000-0000-4000-8000-%06d%06d", n, (int)user[0]);
    const struct uploads_part part = {
        .id = id, .user = user, .bytes = "x", .length = 1, .most = 9, .steady_ms = now_ms++};
    return uploads_add(uploads, &part, &length, &err);
}

static int take(const char *user, int n)
{
    char id[64];
    struct text_buffer bytes = {0};
    struct error err = {0};
    snprintf(id, sizeof id, "00000000-0000-4000-8000-%06d%06d", n, (int)user[0]);
    int rc = uploads_take(uploads, id, user, &bytes, &err);
    text_buffer_free(&bytes);
    return rc;
}

static int setup(void **state)
{
    (void)state;
    uploads = uploads_new();
    now_ms = 1000;
    return 0;
}

static int teardown(void **state)
{
    (void)state;
    uploads_free(uploads);
    return 0;
}

static void one_user_has_so_many(void **state)
{
    (void)state;
    for (int i = 0; i < UPLOADS_OF_USER; i++)
        assert_int_equal(begin("ann", i), 0);
    assert_int_equal(begin("ann", 9), ERROR_BUSY);
    assert_int_equal(take("ann", 0), 0);
    assert_int_equal(begin("ann", 9), 0);
}

/* Four who fill all places keep nobody out: who has the most gives up what moved longest ago. */
static void a_few_do_not_keep_out_the_rest(void **state)
{
    static const char *const hogs[] = {"bea", "cal", "dov", "eli"};
    (void)state;
    for (int i = 0; i < UPLOADS_MOST; i++)
        assert_int_equal(begin(hogs[i / UPLOADS_OF_USER], i), 0);
    assert_int_equal(begin("ann", 50), 0);
    assert_int_equal(take("bea", 0), ERROR_NOT_FOUND);
    assert_int_equal(take("bea", 1), 0);
    assert_int_equal(take("ann", 50), 0);
}

/* Sixteen who send one file each are not cut short by a seventeenth. */
static void who_sends_one_keeps_it(void **state)
{
    char user[2] = "a";
    (void)state;
    for (int i = 0; i < UPLOADS_MOST; i++, user[0]++)
        assert_int_equal(begin(user, i), 0);
    assert_int_equal(begin("z", 99), ERROR_BUSY);
    assert_int_equal(take("a", 0), 0);
}

/* A reload may allow less than has come of a file already. */
static void what_is_too_large_by_now_is_dropped(void **state)
{
    static const char ID[] = "00000000-0000-4000-8000-000000000001";
    struct uploads_part part = {.id = ID, .user = "ann", .bytes = "xyz", .length = 3, .most = 9};
    struct text_buffer bytes = {0};
    size_t length = 0;
    (void)state;
    assert_int_equal(uploads_add(uploads, &part, &length, NULL), 0);
    part.number = 1;
    part.length = 1;
    part.most = 2;
    assert_int_equal(uploads_add(uploads, &part, &length, NULL), ERROR_TOO_LARGE);
    assert_int_equal(uploads_take(uploads, ID, "ann", &bytes, NULL), ERROR_NOT_FOUND);
}

/* By the clock of the caller, from when a part came last; a part that comes too late begins none.
 */
static void what_nothing_comes_for_is_dropped(void **state)
{
    static const char ID[] = "00000000-0000-4000-8000-000000000001";
    static const struct {
        int64_t asked_ms;
        int is;
    } ROWS[] = {{60000, 0}, {60001, ERROR_NOT_FOUND}, {-3600000, 0}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        for (int parts = 1; parts <= 2; parts++) {
            struct uploads_part part = {.id = ID, .user = "ann", .bytes = "xyz", .length = 1};
            struct text_buffer bytes = {0};
            size_t length = 0;
            part.most = 9;
            for (int n = 0; n < parts; n++) {
                part.number = n;
                part.steady_ms = 5000 + n * 40000;
                assert_int_equal(uploads_add(uploads, &part, &length, NULL), 0);
            }
            uploads_expire(uploads, part.steady_ms + ROWS[i].asked_ms);
            assert_int_equal(uploads_take(uploads, ID, "ann", &bytes, NULL), ROWS[i].is);
            assert_int_equal(bytes.length, ROWS[i].is ? 0 : parts);
            text_buffer_free(&bytes);
        }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(one_user_has_so_many, setup, teardown),
        cmocka_unit_test_setup_teardown(a_few_do_not_keep_out_the_rest, setup, teardown),
        cmocka_unit_test_setup_teardown(who_sends_one_keeps_it, setup, teardown),
        cmocka_unit_test_setup_teardown(what_nothing_comes_for_is_dropped, setup, teardown),
        cmocka_unit_test_setup_teardown(what_is_too_large_by_now_is_dropped, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
