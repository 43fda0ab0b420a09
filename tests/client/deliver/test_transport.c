/* What an answer's status means. */
#include "check.h"
#include "deliver/transport.h"

static void two_hundred_and_its_like_are_good(void **state)
{
    static const struct {
        long status;
        bool good;
    } ROWS[] = {{0, false},  {100, false}, {199, false}, {200, true},  {201, true},
                {204, true}, {299, true},  {300, false}, {404, false}, {503, false}};
    (void)state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        assert_int_equal(transport_is_good(&(struct reply){.status = ROWS[i].status}),
                         ROWS[i].good);
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(two_hundred_and_its_like_are_good)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
