/* How much the background rests while others write. */
#include "check.h"
#include "serve/pace.h"

static struct pace at(int64_t ms, uint64_t jobs)
{
    return (struct pace){jobs, ms};
}

static void it_rests_only_beside_many_who_write(void **state)
{
    (void)state;
    assert_int_equal(pace_rest_ms(at(0, 0), at(1000, 100)), 0);
    assert_int_equal(pace_rest_ms(at(0, 0), at(100, 11)), 900); /* a tenth of the time is its own */
    assert_int_equal(pace_rest_ms(at(7000, 70), at(7100, 75)), 0);
    assert_int_equal(pace_rest_ms(at(7000, 70), at(7100, 95)), 900);
}

static void a_long_round_is_rested_from_for_seconds_at_most(void **state)
{
    (void)state;
    assert_int_equal(pace_rest_ms(at(0, 0), at(60000, 60000)), 5000);
}

static void no_time_at_all_is_no_fault(void **state)
{
    (void)state;
    assert_true(pace_is_busy(at(5, 5), at(5, 6)));
    assert_false(pace_is_busy(at(5, 5), at(5, 5)));
    assert_int_equal(pace_rest_ms(at(5, 5), at(5, 6)), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(it_rests_only_beside_many_who_write),
        cmocka_unit_test(a_long_round_is_rested_from_for_seconds_at_most),
        cmocka_unit_test(no_time_at_all_is_no_fault),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
