/* Who is asked of every way that complaints come. */
#include "check.h"
#include "intake/whom.h"

static void each_way_has_somebody(void **state)
{
    static const struct {
        const char *channel, *whom;
    } ROWS[] = {{"phone", "the caller"},         {"web", "the caller"},
                {"store", "the store"},          {"route", "the driver"},
                {"return", "who has the bread"}, {NULL, "the caller"},
                {"no channel", "the caller"}};
    (void)state;
    for (size_t i = 0; i < sizeof ROWS / sizeof ROWS[0]; i++)
        assert_string_equal(whom_to_ask(ROWS[i].channel), ROWS[i].whom);
}

int main(void)
{
    static const struct CMUnitTest tests[] = {cmocka_unit_test(each_way_has_somebody)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
