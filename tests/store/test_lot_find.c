/* The code of a lot as it is compared: letters and digits, nothing else. */
#include "check.h"
#include "store/lot_find.h"

static void codes_are_folded(void **state)
{
    char out[LOT_FIND_CODE];
    (void)state;
    assert_string_equal(lot_find_fold("L2 6321 b0412", out, sizeof out), "L26321B0412");
    assert_string_equal(lot_find_fold("/09:-AZaz@[`{", out, sizeof out), "09AZAZ");
    assert_string_equal(lot_find_fold("ABCD", out, 4), "ABC"); /* cut to fit */
}

int main(void)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(codes_are_folded)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
