/* How a report came is kept once: in its own row until that changes. */
#include "fixture.h"
#include "store/entry.h"
#include "store/entry_find.h"
#include "store/joined.h"

static const char UUID[] = "01990000-0000-7000-8000-000000000001";
static const char OTHER[] = "01990000-0000-7000-8000-000000000002";

static struct complaint_new complaint_of(const char *uuid, const char *body)
{
    return (struct complaint_new){.uuid = uuid,
                                  .received_ms = 1000,
                                  .logged_ms = 2000,
                                  .channel = "phone",
                                  .symptom = "mold",
                                  .code_day = WHEN_UNKNOWN_DAY,
                                  .bought_day = WHEN_UNKNOWN_DAY,
                                  .found_day = WHEN_UNKNOWN_DAY,
                                  .packs = 1,
                                  .logged_by = "desk",
                                  .taken = "[{\"field\":\"x\"}]",
                                  .body = body};
}

static int setup(void **state)
{
    return fixture_with(state, "");
}

static int take_first(void *arg, const struct entry_row *row)
{
    text_clip(row->first, arg, 64);
    assert_string_equal(row->logged_by, "desk");
    assert_string_equal(row->taken, "[{\"field\":\"x\"}]");
    return 0;
}

static void assert_came_as(struct fixture *f, const char *uuid, const char *body)
{
    char first[64] = "";
    struct error err = {0};
    if (entry_get(f->store, uuid, take_first, first, &err))
        fail_msg("%s", err.text);
    assert_string_equal(first, body);
}

static int64_t copies(struct fixture *f)
{
    int64_t n = -1;
    assert_int_equal(
        db_number(f->store, "SELECT count(*) FROM entry WHERE sent <> ''", NULL, &n, NULL), 0);
    return n;
}

static void test_it_stays_when_the_complaint_changes_and_goes(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed placed = {0};
    struct complaint_new c = complaint_of(UUID, "{\"note\":\"first\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    assert_came_as(f, UUID, "{\"note\":\"first\"}");
    assert_int_equal(copies(f), 0);
    for (int i = 0; i < 2; i++) {
        c.body = i ? "{\"note\":\"third\"}" : "{\"note\":\"second\"}";
        assert_int_equal(complaint_rewrite(f->store, placed.complaint_id, &c, 3000, NULL), 0);
        assert_came_as(f, UUID, "{\"note\":\"first\"}");
    }
    assert_int_equal(complaint_take_out(f->store, placed.complaint_id, 0, 4000, NULL), 0);
    assert_came_as(f, UUID, "{\"note\":\"first\"}");
    assert_int_equal(copies(f), 1);
}

static void test_it_stays_when_the_report_is_joined_and_taken_from_it(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed placed = {0};
    struct complaint_new c = complaint_of(UUID, "{\"note\":\"first\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    c = complaint_of(OTHER, "{\"note\":\"again\"}");
    assert_int_equal(entry_put(f->store, OTHER, &c, NULL), 0);
    const struct joined_row row = {.complaint_id = placed.complaint_id,
                                   .received_ms = 1,
                                   .logged_ms = 1,
                                   .joined_ms = 1,
                                   .uuid = OTHER,
                                   .body = c.body};
    assert_int_equal(joined_add(f->store, &row, NULL), 0);
    assert_came_as(f, OTHER, "{\"note\":\"again\"}");
    assert_int_equal(copies(f), 0);
    assert_int_equal(joined_rewrite(f->store, OTHER, 1, "{\"note\":\"more\"}", NULL), 0);
    assert_came_as(f, OTHER, "{\"note\":\"again\"}");
    assert_int_equal(joined_remove(f->store, OTHER, NULL), 0);
    assert_came_as(f, OTHER, "{\"note\":\"again\"}");
}

static void test_what_is_masked_later_is_masked_in_what_came(void **state)
{
    struct fixture *f = *state;
    struct complaint_placed placed = {0};
    struct complaint_new c = complaint_of(UUID, "{\"note\":\"ring 1\"}");
    assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    const struct entry_report row = {
        .report = UUID, .complaint_id = placed.complaint_id, .entry = 1};
    c.body = "{\"note\":\"ring [phone]\"}";
    assert_int_equal(entry_rewrite(f->store, &row, &c, NULL, NULL, NULL), 0);
    assert_came_as(f, UUID, "{\"note\":\"ring [phone]\"}");
    assert_int_equal(entry_rewrite(f->store, &row, &c, "{\"note\":\"[phone]\"}", NULL, NULL), 0);
    assert_came_as(f, UUID, "{\"note\":\"[phone]\"}");
}

static void test_rows_of_one_moment_are_named_by_as_many_digits_as_tell_them_apart(void **state)
{
    static const char *const CASES[][2] = {
        {"01990000-0000-8a10-8000-000000000001", "01990000-0000-8a10-"},
        {"01990000-0000-8a10-9000-000000000001", "01990000-0000-8a10-9"},
        {"01990000-0000-8b10-8000-000000000001", "01990000-0000-8b"},
        {"01990001-0000-8a10-8000-000000000001", "01990001-0000"}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        struct complaint_placed placed = {0};
        const struct complaint_new c = complaint_of(CASES[i][0], "{}");
        assert_int_equal(complaint_log(f->store, &c, &placed, NULL), 0);
    }
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        char beginning[UUID_TEXT], found[2][UUID_TEXT];
        int count = 0;
        assert_int_equal(entry_find_beginning(f->store, CASES[i][0], beginning, NULL), 0);
        assert_memory_equal(beginning, CASES[i][1], strlen(CASES[i][1]));
        assert_int_equal(entry_find_named(f->store, beginning, found, 2, &count, NULL), 0);
        assert_int_equal(count, 1);
        assert_string_equal(found[0], CASES[i][0]);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_it_stays_when_the_complaint_changes_and_goes, setup,
                                        fixture_close),
        cmocka_unit_test_setup_teardown(test_it_stays_when_the_report_is_joined_and_taken_from_it,
                                        setup, fixture_close),
        cmocka_unit_test_setup_teardown(
            test_rows_of_one_moment_are_named_by_as_many_digits_as_tell_them_apart, setup,
            fixture_close),
        cmocka_unit_test_setup_teardown(test_what_is_masked_later_is_masked_in_what_came, setup,
                                        fixture_close),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
