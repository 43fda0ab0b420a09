/* Bits in words. */
#include "base/weight.h"
#include <math.h>

#include "check.h"

static void words_rise_with_the_weight(void **state)
{
    (void)state;
    static const struct {
        double bits;
        const char *word, *gain;
    } ROWS[] = {{-7, "strongly", "tells little"},     {3, "strongly", "tells much"},
                {2.99, "clearly", "tells much"},      {-1.5, "clearly", "tells little"},
                {0.5, "somewhat", "tells much"},      {0.49, "slightly", "tells something"},
                {0.1, "slightly", "tells something"}, {0, "slightly", "tells little"},
                {NAN, "slightly", "tells little"}};
    for (size_t i = 0; i < sizeof ROWS / sizeof *ROWS; i++) {
        assert_string_equal(weight_word(ROWS[i].bits), ROWS[i].word);
        assert_string_equal(weight_gain(ROWS[i].bits), ROWS[i].gain);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_rise_with_the_weight),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
