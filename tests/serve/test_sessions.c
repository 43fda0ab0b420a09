/* Uploads under way: their parts in order, each user's own, so many and so much, and how long one
 * is waited for. */
#include "base/text.h"
#include "check.h"
#include "rules/load_catalogue.h"
#include "serve/sessions.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define MINUTE_MS INT64_C(60000)

struct fixture {
    char dir[40];
    struct catalogue *catalogue;
    struct sessions *sessions;
    struct error err; /* of the last part */
};

static int begin_all(void **state)
{
    struct fixture *f = xcalloc(1, sizeof *f);
    strcpy(f->dir, "/tmp/oddloaf-sessions-XXXXXX");
    assert_non_null(mkdtemp(f->dir));
    assert_int_equal(load_catalogue(ODDLOAF_SOURCE_DIR "/rules", NULL, NULL, &f->catalogue, NULL),
                     0);
    *state = f;
    return 0;
}

static int end_all(void **state)
{
    struct fixture *f = *state;
    char command[80];
    catalogue_free(f->catalogue);
    snprintf(command, sizeof command, "rm -r %s", f->dir);
    int rc = system(command);
    free(f);
    return rc;
}

static int begin(void **state)
{
    ((struct fixture *)*state)->sessions = sessions_new();
    return 0;
}

static int end(void **state)
{
    sessions_free(((struct fixture *)*state)->sessions);
    return 0;
}

/* Of upload `n` of a user whose like may have 3 of 10 bytes. Handled until it is given back. */
static int take(struct fixture *f, const char *user, int n, struct sessions_part part)
{
    char id[40];
    struct load *load = NULL;
    const struct load_options options = {
        .kind = RECORD_PRODUCTS, .catalogue = f->catalogue, .state_dir = f->dir};
    snprintf(id, sizeof id, "00000000-0000-4000-8000-%012d", n);
    part.id = id;
    part.user = user;
    part.most = 3;
    part.most_bytes = 10;
    error_clear(&f->err);
    int rc = sessions_take(f->sessions, &part, &options, &load, &f->err);
    assert_int_equal(load != NULL, rc == 0);
    return rc;
}

static void give(struct fixture *f, int n, int64_t steady_ms)
{
    char id[40];
    snprintf(id, sizeof id, "00000000-0000-4000-8000-%012d", n);
    sessions_give(f->sessions, id, false, steady_ms);
}

/* Taken and given back at once. */
static int part(struct fixture *f, const char *user, int n, struct sessions_part part)
{
    int rc = take(f, user, n, part);
    if (!rc)
        give(f, n, part.steady_ms);
    return rc;
}

static void parts_come_one_after_another(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 1}), ERROR_NOT_FOUND);
    assert_int_equal(take(f, "ann", 1, (struct sessions_part){.number = 0}), 0);
    assert_int_equal(take(f, "ann", 1, (struct sessions_part){.number = 1}), ERROR_CONFLICT);
    give(f, 1, 0);
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 0}), ERROR_CONFLICT);
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 2}), ERROR_CONFLICT);
    assert_non_null(strstr(f->err.text, "expects part 1, not 2"));
    assert_int_equal(part(f, "bea", 1, (struct sessions_part){.number = 1}), ERROR_CONFLICT);
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 1}), 0);
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 2}), 0);
}

static void a_user_has_so_many(void **state)
{
    struct fixture *f = *state;
    for (int n = 1; n <= 3; n++)
        assert_int_equal(part(f, "ann", n, (struct sessions_part){.number = 0}), 0);
    assert_int_equal(part(f, "ann", 4, (struct sessions_part){.number = 0}), ERROR_BUSY);
    assert_int_equal(part(f, "bea", 5, (struct sessions_part){.number = 0}), 0);
    assert_int_equal(part(f, "ann", 3, (struct sessions_part){.number = 1}), 0);
}

static void all_have_so_many(void **state)
{
    struct fixture *f = *state;
    for (int n = 0; n < SESSIONS_MOST; n++) {
        char user[8];
        snprintf(user, sizeof user, "u%d", n);
        assert_int_equal(part(f, user, n, (struct sessions_part){.number = 0}), 0);
    }
    assert_int_equal(part(f, "ann", SESSIONS_MOST, (struct sessions_part){.number = 0}),
                     ERROR_BUSY);
}

static void a_user_has_so_much(void **state)
{
    struct fixture *f = *state;
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 0, .bytes = 6}), 0);
    assert_int_equal(part(f, "ann", 2, (struct sessions_part){.number = 0, .bytes = 4}), 0);
    assert_int_equal(part(f, "bea", 3, (struct sessions_part){.number = 0, .bytes = 10}), 0);
    assert_int_equal(part(f, "ann", 2, (struct sessions_part){.number = 1, .bytes = 1}),
                     ERROR_TOO_LARGE);
    assert_int_equal(part(f, "ann", 2, (struct sessions_part){.number = 2}), ERROR_NOT_FOUND);
    assert_int_equal(part(f, "ann", 1, (struct sessions_part){.number = 1, .bytes = 4}), 0);
}

/* Ten minutes from its last part on; three seconds from when its client was gone, unless that goes
 * on; not while a part is handled. */
static void one_left_alone_is_dropped(void **state)
{
    static const struct {
        int64_t left_ms, again_ms; /* after its last part; 0 not */
        int64_t asked_ms;
        bool busy, there;
    } ROWS[] = {
        {0, 0, 10 * MINUTE_MS, false, true},
        {0, 0, 10 * MINUTE_MS + 1, false, false},
        {0, 0, 11 * MINUTE_MS, true, true},
        {1000, 0, 4000, false, true},
        {1000, 0, 4001, false, false},
        {1000, 0, 4001, true, true},
        {1000, 2000, 2000 + 10 * MINUTE_MS, false, true},
        {1000, 2000, 2001 + 10 * MINUTE_MS, false, false},
    };
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        const int64_t at_ms = 5000;
        struct sessions_part one = {.number = 0, .connection = 7, .steady_ms = at_ms};
        f->sessions = sessions_new();
        assert_int_equal(take(f, "ann", 1, one), 0);
        if (!ROWS[i].busy)
            give(f, 1, at_ms);
        sessions_left(f->sessions, 8, at_ms); /* another's */
        if (ROWS[i].left_ms)
            sessions_left(f->sessions, 7, at_ms + ROWS[i].left_ms);
        one.number = 1;
        one.connection = 9;
        one.steady_ms = at_ms + ROWS[i].again_ms;
        if (ROWS[i].again_ms)
            assert_int_equal(part(f, "ann", 1, one), 0);
        sessions_expire(f->sessions, at_ms + ROWS[i].asked_ms);
        give(f, 1, at_ms);
        one.number = ROWS[i].again_ms ? 2 : 1;
        if (part(f, "ann", 1, one) != (ROWS[i].there ? 0 : ERROR_NOT_FOUND))
            fail_msg("row %zu: %s", i, f->err.text);
        sessions_free(f->sessions);
    }
}

#define EACH(test) cmocka_unit_test_setup_teardown(test, begin, end)

int main(void)
{
    const struct CMUnitTest tests[] = {
        EACH(parts_come_one_after_another),
        EACH(a_user_has_so_many),
        EACH(all_have_so_many),
        EACH(a_user_has_so_much),
        cmocka_unit_test(one_left_alone_is_dropped),
    };
    return cmocka_run_group_tests(tests, begin_all, end_all);
}
