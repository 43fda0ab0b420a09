/* Edit distances: R. A. Wagner and M. J. Fischer (1974) for kitten/sitting and the like; CA/ABC
 * tells optimal string alignment (3) from Damerau's unrestricted distance (2): Damerau (1964),
 * Lowrance and Wagner (1975). Values computed with the library jellyfish 0.8.9. */
#include "check.h"

#include "lots/reading.h"
#include <math.h>
#include <string.h>

static void published_distances(void **state)
{
    (void)state;
    static const struct {
        const char *a, *b;
        int levenshtein, alignment;
    } CASES[] = {
        {"kitten", "sitting", 3, 3},
        {"saturday", "sunday", 3, 3},
        {"CA", "ABC", 3, 3},
        {"a cat", "an abct", 4, 4},
        {"abcdef", "badcfe", 4, 3},
        {"", "abc", 3, 3},
        {"abc", "abc", 0, 0},
        {"L24031A", "L24013A", 2, 1},
        {"L24O31A", "L24031A", 1, 1},
        {"L240318", "L24031B", 1, 1},
        {"L24031A", "L2403A", 1, 1},
        {"L24031A", "24L031A", 2, 2},
        {"20240117-2", "20240171-2", 2, 1},
        {"ifhs", "fish", 3, 2},
        {"specter", "spectre", 2, 1},
        {"aluminum", "Catalan", 7, 7},
    };
    for (size_t i = 0; i < COUNT_OF(CASES); i++) {
        assert_int_equal(reading_edits(CASES[i].a, CASES[i].b, false), CASES[i].levenshtein);
        assert_int_equal(reading_edits(CASES[i].b, CASES[i].a, false), CASES[i].levenshtein);
        assert_int_equal(reading_edits(CASES[i].a, CASES[i].b, true), CASES[i].alignment);
        assert_int_equal(reading_edits(CASES[i].b, CASES[i].a, true), CASES[i].alignment);
    }
}

static double likelihood(const char *code, const char *text)
{
    struct reading reading;
    struct reading_code c, t;
    reading_defaults(&reading);
    reading_prepare(code, &c);
    reading_prepare(text, &t);
    return exp(reading_log_likelihood(&reading, &c, &t, false));
}

static void right_reading_is_likeliest(void **state)
{
    (void)state;
    static const char CODE[] = "L2 6321 B0412";
    double right = likelihood(CODE, "L26321B0412");
    assert_true(right > 0.6 && right < 1);
    assert_true(right == likelihood(CODE, "l2 6321 b0412"));
    static const char *const WORSE[] = {"L26321BO412", "L26321B0421", "L2632B0412", "L226321B0412",
                                        "26321B0412",  "L26321",      "6321B0412",  "L2B0412"};
    for (size_t i = 0; i < COUNT_OF(WORSE); i++) {
        double p = likelihood(CODE, WORSE[i]);
        assert_true(p < right / 10);
        assert_true(p > 1e-6); /* but each is a thing that happens */
    }
}

static void look_alikes_are_likelier_than_others(void **state)
{
    (void)state;
    static const char CODE[] = "L1 6025 B0852";
    static const char *const PAIRS[][2] = {
        {"L16O25B0852", "L16H25B0852"}, {"LI6025B0852", "LA6025B0852"},
        {"L16025BO852", "L16025B4852"}, {"L1602SB0852", "L1602HB0852"},
        {"L160Z5B0852", "L160H5B0852"}, {"L1602580852", "L16025K0852"},
        {"L1G025B0852", "L1H025B0852"}};
    for (size_t i = 0; i < COUNT_OF(PAIRS); i++)
        assert_true(likelihood(CODE, PAIRS[i][0]) > 5 * likelihood(CODE, PAIRS[i][1]));
}

/* Over all texts of up to two characters (and none), the channel's chances of a short code sum to
 * at most 1, and nearly to it: it is a distribution, not a score. */
static void chances_sum_to_one(void **state)
{
    (void)state;
    static const char LETTERS[] = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";
    double sum = 0;
    for (int a = 0; a < 36; a++) {
        char one[] = {LETTERS[a], '\0'};
        sum += likelihood("B7", one);
        for (int b = 0; b < 36; b++) {
            char two[] = {LETTERS[a], LETTERS[b], '\0'};
            sum += likelihood("B7", two);
        }
    }
    assert_true(sum > 0.97 && sum < 1.0001);
}

static void parts(void **state)
{
    (void)state;
    struct reading_code code;
    reading_prepare("L2 6321-b04", &code);
    assert_int_equal(code.length, 9);
    assert_int_equal(code.parts, 3);
    assert_true(code.part_start[0] && code.part_start[2] && code.part_start[6]);
    assert_false(code.part_start[1]);
    reading_prepare("", &code);
    assert_int_equal(code.length, 0);
    /* a part left out costs far less than its characters one by one */
    assert_true(likelihood("L2 6321 B0412", "L2B0412") >
                100 * likelihood("L26321B0412", "L2B0412"));
}

static void degenerate(void **state)
{
    (void)state;
    assert_true(likelihood("", "A") == 0);
    assert_true(likelihood("A", "") == 0);
    char longest[200];
    memset(longest, '7', sizeof longest - 1);
    longest[sizeof longest - 1] = '\0';
    assert_true(likelihood(longest, longest) > 0);
    struct reading reading;
    reading_defaults(&reading);
    assert_true(reading_is_sound(&reading));
    assert_false(reading_set_alike(&reading, "0o", 1) && reading_set_alike(&reading, "0-", 1));
    assert_true(reading_set_alike(&reading, "0O", 20));
    reading.quality[1].confused = 0.1;
    assert_false(reading_is_sound(&reading));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_distances),
        cmocka_unit_test(right_reading_is_likeliest),
        cmocka_unit_test(look_alikes_are_likelier_than_others),
        cmocka_unit_test(chances_sum_to_one),
        cmocka_unit_test(parts),
        cmocka_unit_test(degenerate),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
